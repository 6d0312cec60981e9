package app

import (
	"context"
	"fmt"
	"slices"
	"time"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/domain"
	"saggar/server/store"
)

// movingFiring is a shared firing that moves, as it stands and as it shall.
type movingFiring struct {
	field  string
	before domain.Firing
	after  *domain.Firing // of the same id until it is written, then of its own
}

// movingFiring reports whether a firing moves with all that rides in it, by its key.
func (m *preparedMoves) movingFiring(key int64) bool {
	return slices.ContainsFunc(m.firings, func(f *movingFiring) bool { return f.before.Key == key })
}

// readMovingFirings reads the shared firings that move, and adds a move for each run in them that has none: its other stages stay where
// they are. Errors: finding.Faults, domain.ErrNotFound, domain.ErrForbidden for makers, domain.ErrWrongState, domain.ErrChangedMeanwhile.
func (a *App) readMovingFirings(ctx context.Context, tx *store.Tx, call Call, in *MoveRunsInput, m *preparedMoves) error {
	var faults finding.Faults
	for i, move := range in.Firings {
		field := fmt.Sprintf("firings[%d]", i)
		stands, err := tx.Firing(ctx, m.site.Studio.Key, move.FiringID)
		if err != nil {
			return err
		}
		if err := mayMoveFiring(call, stands, move, a.now()); err != nil {
			return err
		}
		if m.movingFiring(stands.Key) {
			faults.Add(field+".name", fmt.Sprintf("firing %s stands twice in the request", stands.ID), "move each firing once")
			continue
		}
		if !move.Start.After(a.now()) {
			faults.Add(field+".start_time", move.Start.Format(time.RFC3339)+" is past", "choose a later start")
			continue
		}
		moving := &movingFiring{field: field, before: stands, after: movedTo(stands, move.Start)}
		m.firings = append(m.firings, moving)
		m.movedFrom[stands.Key] = true
		m.joint.planned = append(m.joint.planned, plannedFiring{Firing: *moving.after, field: field, named: true})
		m.findings = append(m.findings, moving.check(m.site)...)
		if err := addRiders(ctx, tx, m.site.Studio.Key, stands, in); err != nil {
			return err
		}
	}
	return faults.Err()
}

func mayMoveFiring(call Call, f domain.Firing, move FiringMove, now time.Time) error {
	switch {
	case call.OwnOnly:
		return &domain.Error{
			Kind: domain.ErrForbidden, Subject: "firings/" + f.ID, Message: "what rides in a shared firing is moved by a technician only",
			Cure: "move your own run, which leaves it, or ask a technician",
		}
	case move.ExpectRevision != 0 && move.ExpectRevision != f.Revision:
		return stale("firings/" + f.ID)
	case f.Offer == nil:
		return wrongFiring(f, "it is not shared", "move its run")
	case f.State != domain.LoadConfirmed:
		return wrongFiring(f, fmt.Sprintf("it is %s", f.State), "only what is to come can be moved")
	case !f.Window.Start.After(now):
		return wrongFiring(f, "it has begun", "let it end where it is")
	}
	return nil
}

// movedTo is a firing that starts at another time; it can be joined as long before as it could.
func movedTo(f domain.Firing, start time.Time) *domain.Firing {
	by := start.Sub(f.Window.Start)
	f.Key, f.Window = 0, domain.Window{Start: start, End: f.Window.End.Add(by)}
	f.Phases = slices.Clone(f.Phases)
	for i := range f.Phases {
		w := &f.Phases[i].Window
		*w = domain.Window{Start: w.Start.Add(by), End: w.End.Add(by)}
	}
	offer := *f.Offer
	offer.Until = offer.Until.Add(by)
	f.Offer = &offer
	return &f
}

// check holds the firing in its new place against hours and closures.
func (f *movingFiring) check(site *domain.Site) []finding.Finding {
	window := domain.StageWindow{Stage: "ware", Furnace: f.after.Furnace, Phases: f.after.PhaseWindows()}
	check := windowCheck{
		site: site, recipe: chem.Recipe{Stages: []chem.Stage{{ID: "ware"}}}, windows: []domain.StageWindow{window},
		phases: [][]heat.Phase{phasesOf(*f.after)},
	}
	found := check.findings()
	for i := range found {
		found[i].Field = f.field + ".start_time"
	}
	return found
}

// addRiders adds a move for each run in a firing that has none.
func addRiders(ctx context.Context, tx *store.Tx, studioKey int64, f domain.Firing, in *MoveRunsInput) error {
	for _, rider := range f.Riders {
		if slices.ContainsFunc(in.Moves, func(m RunMove) bool { return m.RunID == rider.RunID }) {
			continue
		}
		run, err := tx.Run(ctx, studioKey, rider.RunID)
		if err != nil {
			return err
		}
		move := RunMove{RunID: run.ID}
		for _, load := range run.Loads {
			window := load.StageWindow()
			if load.Ride != nil && load.Firing.State.Occupies() { // whatever it moves to
				window = domain.StageWindow{Stage: load.Stage, JoinFiring: load.Firing.ID}
			}
			move.Windows = append(move.Windows, window)
		}
		in.Moves = append(slices.Clone(in.Moves), move)
	}
	return nil
}

// shifted is a run as the firings that move take it along.
func (m *preparedMoves) shifted(run domain.Run) domain.Run {
	run.Loads = slices.Clone(run.Loads)
	for i, load := range run.Loads {
		for _, f := range m.firings {
			if load.Ride != nil && load.State.Occupies() && load.Firing.Key == f.before.Key {
				run.Loads[i].Firing, run.Loads[i].Window = f.after, f.after.Window
			}
		}
	}
	return run
}

// keyFirings numbers the firings that move ahead.
func (a *App) keyFirings(ctx context.Context, m *preparedMoves) error {
	_, keys, err := a.store.NextKeys(ctx, 0, len(m.firings))
	for i, f := range m.firings {
		if err == nil {
			f.after.Key, f.after.ID = keys[i], fmt.Sprintf("f%d", keys[i])
		}
	}
	return err
}

// firingsUnchanged looks under the lock whether the firings that move still stand as they were read, with the same loads.
func (m *preparedMoves) firingsUnchanged(ctx context.Context, tx *store.Tx, studioKey int64) error {
	for _, f := range m.firings {
		now, err := tx.Firing(ctx, studioKey, f.before.ID)
		if err != nil {
			return err
		}
		if now.Revision != f.before.Revision || now.State != f.before.State {
			return errChangedBetween
		}
	}
	return nil
}

// moveFirings ends the firings that move and writes them anew in their new places.
func (a *App) moveFirings(call Call, booking *store.Booking, m *preparedMoves) {
	for _, f := range m.firings {
		off := f.before
		off.State = domain.LoadCancelled
		booking.Studio.Revision++
		off.Revision = booking.Studio.Revision
		booking.EndedFirings = append(booking.EndedFirings, off)
		summary := off.Summary()
		summary.Riders, summary.MovedTo = nil, f.after.ID
		booking.Changes = append(booking.Changes, a.logged(call, off.Revision, "firings/"+off.ID, f.before.Summary(), summary))
		booking.Studio.Revision++
		f.after.Revision = booking.Studio.Revision
		booking.Firings = append(booking.Firings, *f.after)
		booking.Changes = append(booking.Changes, a.logged(call, f.after.Revision, "firings/"+f.after.ID, nil, f.after.Summary()))
	}
}
