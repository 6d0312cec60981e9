package app

import (
	"context"
	"fmt"
	"time"

	"saggar/server/domain"
)

// CancelRunInput says which run is called off.
type CancelRunInput struct {
	StudioID, RunID string
	ExpectRevision  int64 // the etag; 0: any
	// NeverCharged: a technician has looked, and nothing was charged in the windows that have begun.
	NeverCharged bool
}

// CancelRun calls off what of a run has not begun, and gives up what it reserved for that of lots. A stage whose window has
// begun keeps its furnace: it may be hot and full, and its gas is in the room; it is freed only when a technician says that
// it was never charged. A maker cancels only runs of their own that have not begun.
// Errors: domain.ErrNotFound, domain.ErrForbidden, domain.ErrChangedMeanwhile, domain.ErrWrongState when nothing is left.
func (a *App) CancelRun(ctx context.Context, call Call, in CancelRunInput) (domain.Run, error) {
	return a.changeRun(ctx, call, runChange{studioID: in.StudioID, runID: in.RunID, change: func(run domain.Run) (domain.Run, error) {
		if err := mayChange(call, run, in.ExpectRevision); err != nil {
			return run, err
		}
		if run.Begun(a.now()) && call.Caller.Role < domain.RoleTechnician {
			return run, wrongState(run, "its first window has begun", "ask a technician, who knows what stands in the furnace")
		}
		if err := mayLeave(run, func(load domain.Load) bool { return in.NeverCharged || !load.Begun(a.now()) }, nil); err != nil {
			return run, err
		}
		if err := cancelLoads(&run, a.now(), in.NeverCharged); err != nil {
			return run, err
		}
		run.Release()
		return run, nil
	}})
}

// cancelLoads calls off the loads that have not begun, and those of which a technician says that they were never charged.
func cancelLoads(run *domain.Run, now time.Time, neverCharged bool) error {
	if run.State() == domain.RunCancelled {
		return wrongState(*run, "it is called off already", "")
	}
	changed := false
	for i := range run.Loads {
		load := &run.Loads[i]
		next := domain.LoadCancelled
		if load.Begun(now) {
			if !neverCharged || !load.Window.End.After(now) {
				continue
			}
			next = domain.LoadMissed
		}
		if !load.State.CanBecome(next) {
			return wrongState(*run, fmt.Sprintf("stage %s is %s", load.Stage, load.State), "only what is not charged yet can be called off")
		}
		changed, load.State = true, next
		if load.Firing != nil {
			*load.Firing = load.Firing.Following(run.ID, next)
		}
	}
	if !changed {
		return wrongState(*run, fmt.Sprintf("the last window of run %s has begun, and what is charged cannot be called off", run.ID),
			"let it end; a technician who has looked can say that it was never charged")
	}
	return nil
}
