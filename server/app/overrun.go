package app

import (
	"context"
	"fmt"
	"slices"
	"time"

	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/domain"
	"saggar/server/store"
)

// mostOverrun is how much longer than booked a firing may be said to last.
const mostOverrun = 31 * 24 * time.Hour

// overran is a firing that lasts longer than booked, with its run as read.
type overran struct {
	field  string
	run    domain.Run
	stage  int // index of the load
	end    time.Time
	firing *domain.Firing // as it now is: without a key, since it takes the place of the one that stands
}

// readOverruns reads the firings that overran. Errors: finding.Faults, domain.ErrNotFound, domain.ErrForbidden.
func (a *App) readOverruns(ctx context.Context, tx *store.Tx, call Call, studioKey int64, overruns []Overrun) ([]*overran, error) {
	var faults finding.Faults
	var read []*overran
	if len(overruns) > 0 && call.OwnOnly {
		return nil, &domain.Error{
			Kind: domain.ErrForbidden, Subject: "overruns", Message: "only a technician says that a firing overran",
			Cure: "ask a technician",
		}
	}
	for i, in := range overruns {
		field := fmt.Sprintf("overruns[%d]", i)
		firing, err := tx.Firing(ctx, studioKey, in.FiringID)
		if err != nil {
			return nil, err
		}
		wrong := checkOverrun(firing, in.End, a.now())
		if slices.ContainsFunc(read, func(o *overran) bool { return o.run.ID == firing.RunID }) {
			wrong.Add("firing", fmt.Sprintf("run %s is said to overrun twice", firing.RunID), "give one overrun for a run")
		}
		faults.AddUnder(field, wrong)
		if len(wrong) > 0 {
			continue
		}
		run, err := tx.Run(ctx, studioKey, firing.RunID)
		if err != nil {
			return nil, err
		}
		o := &overran{field: field, run: run, end: in.End}
		o.stage = slices.IndexFunc(run.Loads, func(l domain.Load) bool { return l.Firing != nil && l.Firing.ID == firing.ID })
		o.firing = prolonged(*run.Loads[o.stage].Firing, in.End)
		read = append(read, o)
	}
	return read, faults.Err()
}

func checkOverrun(firing domain.Firing, end, now time.Time) finding.Faults {
	var faults finding.Faults
	switch {
	case firing.Offer != nil:
		faults.Add("firing", fmt.Sprintf("firing %s is shared, and what else rides in it would be drawn later too", firing.ID),
			"take the furnace out of use with a closure until it is free, and plan anew what that hits")
	case firing.RunID == "":
		faults.Add("firing", "it carries no load any more", "name the firing that does")
	case !firing.State.Occupies():
		faults.Add("firing", fmt.Sprintf("firing %s is %s", firing.ID, firing.State), "name a firing that holds its furnace")
	case firing.Window.Start.After(now):
		faults.Add("firing", "it has not begun", "move its run instead")
	case !end.After(firing.Window.End):
		faults.Add("end_time", "it is not after the firing's end, "+firing.Window.End.Format(time.RFC3339), "give a later one")
	case end.Sub(firing.Window.End) > mostOverrun:
		faults.Add("end_time", "it is more than 31 days after the firing's end", "take the furnace out of use with a closure")
	}
	return faults
}

// prolonged is a firing that ends later: it cools so much longer before it is drawn; one that is not drawn lasts longer.
func prolonged(firing domain.Firing, end time.Time) *domain.Firing {
	more := end.Sub(firing.Window.End)
	firing.Key, firing.ID, firing.Window.End = 0, "", end
	firing.Phases = slices.Clone(firing.Phases)
	drawn := slices.IndexFunc(firing.Phases, func(p domain.FiringPhase) bool { return p.Kind == heat.Draw })
	longer := len(firing.Phases) - 1
	if drawn > 0 {
		longer = drawn - 1
	}
	for i := range firing.Phases {
		if i > longer {
			firing.Phases[i].Window.Start = firing.Phases[i].Window.Start.Add(more)
		}
		if i >= longer {
			firing.Phases[i].Window.End = firing.Phases[i].Window.End.Add(more)
		}
	}
	return &firing
}

// applied is a run as the overrun leaves it.
func (o *overran) applied(run domain.Run) domain.Run {
	if run.ID != o.run.ID {
		return run
	}
	run.Loads = slices.Clone(run.Loads)
	load := &run.Loads[o.stage]
	firing := *o.firing
	load.Firing, load.Window = &firing, firing.Window
	return run
}

// addOverran lets what overran stand as it now is, and adds the runs of which nothing else is moved.
func (m *preparedMoves) addOverran() {
	for _, o := range m.overran {
		old := o.run.Loads[o.stage].Firing
		m.movedFrom[old.Key] = true
		m.joint.overran = append(m.joint.overran, plannedFiring{Firing: *o.firing, field: o.field})
		if slices.ContainsFunc(m.standing, func(r domain.Run) bool { return r.ID == o.run.ID }) {
			continue
		}
		m.standing = append(m.standing, o.run)
		m.runs = append(m.runs, o.applied(o.run))
	}
}
