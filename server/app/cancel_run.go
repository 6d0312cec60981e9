package app

import (
	"context"
	"fmt"
	"slices"
	"time"

	"saggar/server/domain"
	"saggar/server/store"
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
	studioID, runID := in.StudioID, in.RunID
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
		if err := mayChange(call, run, in.ExpectRevision); err != nil {
			return err
		}
		if run.Begun(a.now()) && call.Caller.Role < domain.RoleTechnician {
			return wrongState(run, "its first window has begun", "ask a technician, who knows what stands in the furnace")
		}
		before := run.Summary()
		studio.Revision++
		ended, err := cancelLoads(&run, a.now(), in.NeverCharged)
		if err != nil {
			return err
		}
		for i := range ended {
			ended[i].Revision = studio.Revision
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

// cancelLoads calls off the loads that have not begun, and those of which a technician says that they were never charged, and
// returns the firings that end by it, at the run's next revision.
func cancelLoads(run *domain.Run, now time.Time, neverCharged bool) ([]domain.Firing, error) {
	var ended []domain.Firing
	if run.State() == domain.RunCancelled {
		return nil, wrongState(*run, "it is called off already", "")
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
			return nil, wrongState(*run, fmt.Sprintf("stage %s is %s", load.Stage, load.State), "only what is not charged yet can be called off")
		}
		changed, load.State = true, next
		if load.Firing != nil {
			load.Firing.State = next
			ended = append(ended, *load.Firing)
		}
	}
	if !changed {
		return nil, wrongState(*run, fmt.Sprintf("the last window of run %s has begun, and what is charged cannot be called off", run.ID),
			"let it end; a technician who has looked can say that it was never charged")
	}
	return ended, nil
}
