package app

import (
	"context"
	"fmt"

	"saggar/server/domain"
)

// CancelRun calls a run off, frees the windows of all loads that are not charged yet, and gives up what it reserved of lots.
// A maker cancels only runs of their own. expectRevision is the revision that the caller saw; 0: any.
// Errors: domain.ErrNotFound, domain.ErrForbidden, domain.ErrChangedMeanwhile, domain.ErrWrongState when it has ended or
// a load is under fire.
func (a *App) CancelRun(ctx context.Context, call Call, studioID, runID string, expectRevision int64) (domain.Run, error) {
	return a.changeRun(ctx, call, runChange{studioID: studioID, runID: runID, change: func(run domain.Run) (domain.Run, error) {
		if err := mayChange(call, run, expectRevision); err != nil {
			return run, err
		}
		if run.Begun(a.now()) && call.Caller.Role < domain.RoleTechnician {
			return run, wrongState(run, "its first window has begun", "ask a technician, who knows what stands in the furnace")
		}
		if err := cancelLoads(&run); err != nil {
			return run, err
		}
		run.Release()
		return run, nil
	}})
}

func cancelLoads(run *domain.Run) error {
	for i := range run.Loads {
		load := &run.Loads[i]
		if !load.State.CanBecome(domain.LoadCancelled) {
			return wrongState(*run, fmt.Sprintf("stage %s is %s", load.Stage, load.State), "only what is not charged yet can be called off")
		}
		load.State = domain.LoadCancelled
		if load.Firing != nil {
			load.Firing.State = domain.LoadCancelled
		}
	}
	return nil
}
