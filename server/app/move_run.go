package app

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

// MoveRun moves all stages of a run to other windows; none may be charged yet. A maker moves only runs of their own.
// Errors as BookRun; domain.ErrForbidden; domain.ErrWrongState when a load was charged or the run has ended. With
// ValidateOnly the findings are returned and nothing is refused.
func (a *App) MoveRun(ctx context.Context, call Call, in MoveRunInput) (domain.Run, []finding.Finding, error) {
	for range bookAttempts {
		run, findings, err := a.moveOnce(ctx, call, in)
		if !errors.Is(err, errChangedBetween) {
			return run, findings, err
		}
	}
	return domain.Run{}, nil, stale("runs/" + in.RunID)
}

func (a *App) moveOnce(ctx context.Context, call Call, in MoveRunInput) (domain.Run, []finding.Finding, error) {
	p, before, err := a.prepareMove(ctx, call, in)
	switch {
	case err != nil:
		return domain.Run{}, nil, err
	case p.remembered != nil:
		result, err := a.answerRepeat(ctx, call, in.StudioID, p, nil)
		if err != nil {
			return domain.Run{}, nil, err
		}
		return result.Runs[0], nil, nil
	case call.ValidateOnly:
		return p.runs[0], p.result(p.runs).Findings, nil
	}
	if err := refuse(p.findings, in.Acknowledged); err != nil {
		return domain.Run{}, nil, err
	}
	if err := a.giveKeys(ctx, p.runs); err != nil {
		return domain.Run{}, nil, err
	}
	moved := p.runs[0]
	moved.Key, moved.ID, moved.CreateTime = before.Key, before.ID, before.CreateTime
	for _, firing := range moved.Firings() {
		firing.RunID = before.ID
	}
	err = a.store.InTx(ctx, func(ctx context.Context, tx *store.Tx) error {
		locked, err := tx.LockForBooking(ctx, store.BookingLock{
			StudioID: in.StudioID, Since: p.site.Studio.Revision, Window: p.reach, Caller: call.Caller.ID, RequestID: call.RequestID,
		})
		if err != nil {
			return err
		}
		now, err := tx.Run(ctx, locked.Studio.Key, in.RunID)
		if err != nil {
			return err
		}
		if locked.Remembered != nil { // a repeat that overtook this one
			moved = now
			return call.repeats(*locked.Remembered)
		}
		if now.Revision != before.Revision {
			return stale("runs/" + in.RunID)
		}
		if err := p.stillHolds(locked, in.Acknowledged); err != nil {
			return err
		}
		booking := a.moveBooking(call, locked.Studio, before, &moved)
		return lookAgain(tx.Book(ctx, booking))
	})
	return moved, p.result(nil).Findings, err
}

// prepareMove reads the run as it stands and prepares it anew in its new windows, as if its old firings were gone.
func (a *App) prepareMove(ctx context.Context, call Call, in MoveRunInput) (*prepared, domain.Run, error) {
	var before domain.Run
	p := &prepared{movedFrom: map[int64]bool{}}
	err := a.read(ctx, in.StudioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		done, err := a.doneAlready(ctx, tx, call, studio.Key)
		if err != nil || done != nil {
			p.remembered = done
			return err
		}
		if before, err = tx.Run(ctx, studio.Key, in.RunID); err != nil {
			return err
		}
		if err := mayChange(call, before, in.ExpectRevision); err != nil {
			return err
		}
		for _, load := range before.Loads {
			if !load.State.CanBecome(domain.LoadCancelled) {
				return wrongState(before, fmt.Sprintf("stage %s is %s", load.Stage, load.State), "move only what is not charged yet")
			}
		}
		if before.Begun(a.now()) {
			return wrongState(before, "its first window has begun", "book what is left as a run of its own")
		}
		for _, firing := range before.Firings() {
			p.movedFrom[firing.Key] = true
		}
		if p.site, err = readSite(ctx, tx, studio); err != nil {
			return err
		}
		p.revision = studio.Revision
		request := RunRequest{
			ID: before.ID, Title: before.Title, RecipeID: before.RecipeID, RecipeVersion: before.RecipeVersion,
			Scale: before.Scale, Department: before.Department, StartStage: before.StartStage, FromLot: before.FromLot,
			Draws: drawRequests(before), Windows: slices.Clone(in.Windows),
		}
		keepAttendants(request.Windows, before)
		at := runAt{field: "run", request: request, maker: before.Maker, acknowledged: in.Acknowledged, drawn: before.Draws}
		if err := a.prepareRun(ctx, tx, p, at); err != nil {
			return err
		}
		return p.meetOthers(ctx, tx, a.now())
	})
	return p, before, err
}

// keepAttendants lets whoever attended a stage before do so where nobody else is named.
func keepAttendants(windows []domain.StageWindow, before domain.Run) {
	for i := range windows {
		for _, load := range before.Loads {
			if windows[i].AttendedBy == "" && load.Stage == windows[i].Stage && load.Firing != nil {
				windows[i].AttendedBy = load.Firing.AttendedBy
			}
		}
	}
}

// drawRequests are a run's draws on lots for its additions, as they were asked for.
func drawRequests(run domain.Run) []DrawRequest {
	var draws []DrawRequest
	for _, d := range run.Draws {
		if d.Material != "" {
			draws = append(draws, DrawRequest{Lot: d.Lot, Material: d.Material, Stage: d.Stage})
		}
	}
	return draws
}

// moveBooking ends the old firings and gives the run its new ones.
func (a *App) moveBooking(call Call, studio domain.Studio, before domain.Run, moved *domain.Run) store.Booking {
	studio.Revision++
	moved.Revision = studio.Revision
	booking := store.Booking{Studio: studio, EndedFirings: endFirings(before, studio.Revision)}
	for _, firing := range moved.Firings() {
		firing.Revision = studio.Revision
	}
	booking.ChangedRuns, booking.LotMoves = []domain.Run{*moved}, moved.LotMoves(before.Draws)
	booking.Changes = []domain.Change{
		a.logged(call, studio.Revision, "runs/"+moved.ID, before.Summary(), moved.Summary()),
	}
	if call.RequestID != "" {
		remembered := call.remember([]string{moved.ID})
		booking.Remembered = &remembered
	}
	return booking
}

// endFirings are a run's firings called off at a revision.
func endFirings(run domain.Run, revision int64) []domain.Firing {
	var ended []domain.Firing
	for _, firing := range run.Firings() {
		off := *firing
		off.State, off.Revision = domain.LoadCancelled, revision
		ended = append(ended, off)
	}
	return ended
}

// mayChange holds the own-things rule and the etag: a maker changes runs of their own, a technician any.
func mayChange(call Call, run domain.Run, expectRevision int64) error {
	if !call.mayTouch(run.Maker) {
		return &domain.Error{
			Kind: domain.ErrForbidden, Subject: "runs/" + run.ID, Message: "this run was booked by somebody else",
			Cure: "ask its maker or a technician",
		}
	}
	if expectRevision != 0 && expectRevision != run.Revision {
		return stale("runs/" + run.ID)
	}
	return nil
}

func wrongState(run domain.Run, message, cure string) error {
	return &domain.Error{Kind: domain.ErrWrongState, Subject: "runs/" + run.ID, Message: message, Cure: cure}
}
