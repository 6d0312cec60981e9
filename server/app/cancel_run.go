package app

import (
	"context"
	"fmt"
	"slices"

	"saggar/server/domain"
	"saggar/server/store"
)

// CancelRun calls a run off, frees the windows of all loads that are not charged yet, and gives up what it reserved of lots.
// A maker cancels only runs of their own. expectRevision is the revision that the caller saw; 0: any.
// Errors: domain.ErrNotFound, domain.ErrForbidden, domain.ErrChangedMeanwhile, domain.ErrWrongState when it has ended or
// a load is under fire.
func (a *App) CancelRun(ctx context.Context, call Call, studioID, runID string, expectRevision int64) (domain.Run, error) {
	var cancelled domain.Run
	err := a.store.InTx(ctx, func(ctx context.Context, tx *store.Tx) error {
		locked, err := tx.LockForBooking(ctx, store.BookingLock{
			StudioID: studioID, Since: 0, Window: domain.Window{}, Caller: call.Caller.ID, RequestID: call.RequestID,
		})
		if err != nil {
			return err
		}
		studio := locked.Studio
		run, err := tx.Run(ctx, studio.Key, runID)
		if err != nil {
			return err
		}
		if locked.Remembered != nil {
			cancelled = run
			return call.repeats(*locked.Remembered)
		}
		if err := mayChange(call, run, expectRevision); err != nil {
			return err
		}
		if run.Begun(a.now()) && call.Caller.Role < domain.RoleTechnician {
			return wrongState(run, "its first window has begun", "ask a technician, who knows what stands in the furnace")
		}
		before := run.Summary()
		studio.Revision++
		ended := endFirings(run, studio.Revision)
		if err := cancelLoads(&run); err != nil {
			return err
		}
		run.Revision = studio.Revision
		draws := slices.Clone(run.Draws)
		run.Release()
		booking := store.Booking{
			Studio: studio, ChangedRuns: []domain.Run{run}, EndedFirings: ended, LotMoves: run.LotMoves(draws),
			Changes: []domain.Change{a.logged(call, studio.Revision, "runs/"+run.ID, before, run.Summary())},
		}
		if call.RequestID != "" {
			remembered := call.remember([]string{run.ID})
			booking.Remembered = &remembered
		}
		cancelled = run
		return tx.Book(ctx, booking)
	})
	return cancelled, err
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
