package app

import (
	"context"
	"slices"

	"saggar/server/domain"
	"saggar/server/store"
)

// RunDecision is a yes or no to what a run waits for.
type RunDecision struct {
	StudioID, RunID string
	ExpectRevision  int64    // the etag; 0: any
	Rules           []string // ids; none: all that waits and the caller may decide
	Note            string
}

// ClearRun says yes to what a run waits for; once nothing waits any more it is confirmed. Errors: domain.ErrNotFound,
// domain.ErrChangedMeanwhile; domain.ErrWrongState when it does not wait, or waited too long; domain.ErrForbidden for its own
// maker and for who may not.
func (a *App) ClearRun(ctx context.Context, call Call, in RunDecision) (domain.Run, error) {
	return a.decideRun(ctx, call, in, domain.Run.Clear)
}

// RefuseRun says no to what a run waits for, which calls it off. Errors as ClearRun.
func (a *App) RefuseRun(ctx context.Context, call Call, in RunDecision) (domain.Run, error) {
	return a.decideRun(ctx, call, in, domain.Run.Refuse)
}

func (a *App) decideRun(
	ctx context.Context, call Call, in RunDecision, decide func(run domain.Run, d domain.Decision) (domain.Run, error),
) (domain.Run, error) {
	return a.changeRun(ctx, call, runChange{studioID: in.StudioID, runID: in.RunID, change: func(run domain.Run) (domain.Run, error) {
		if in.ExpectRevision != 0 && in.ExpectRevision != run.Revision {
			return run, stale("runs/" + run.ID)
		}
		return decide(run, domain.Decision{By: call.Caller, At: a.now().UTC(), Rules: in.Rules, Note: in.Note})
	}})
}

// runChange is what becomes of one run that stands.
type runChange struct {
	studioID, runID string
	change          func(run domain.Run) (domain.Run, error)
}

// changeRun changes one run under the studio's lock. A repeated request id answers with the run as it now stands.
func (a *App) changeRun(ctx context.Context, call Call, in runChange) (domain.Run, error) {
	var changed domain.Run
	err := a.store.InTx(ctx, func(ctx context.Context, tx *store.Tx) error {
		locked, err := tx.LockForBooking(ctx, store.BookingLock{StudioID: in.studioID, Caller: call.Caller.ID, RequestID: call.RequestID})
		if err != nil {
			return err
		}
		run, err := tx.Run(ctx, locked.Studio.Key, in.runID)
		if err != nil {
			return err
		}
		if locked.Remembered != nil {
			changed = run
			return call.repeats(*locked.Remembered)
		}
		before, draws := run.Summary(), slices.Clone(run.Draws)
		if changed, err = in.change(run); err != nil {
			return err
		}
		booking := store.Booking{Studio: locked.Studio}
		changed = booking.Change(changed, draws)
		booking.Changes = []domain.Change{a.logged(call, booking.Studio.Revision, "runs/"+run.ID, before, changed.Summary())}
		if call.RequestID != "" {
			remembered := call.remember([]string{run.ID})
			booking.Remembered = &remembered
		}
		return a.book(ctx, tx, booking)
	})
	return changed, err
}

// ListWaitingRuns lists the runs that wait for a clearance and have keys after the given one, oldest first, at most limit;
// with onlyMine those of which the caller may decide something.
func (a *App) ListWaitingRuns(ctx context.Context, call Call, q WaitingQuery) ([]domain.Run, error) {
	var waiting []domain.Run
	err := a.read(ctx, q.StudioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		for len(waiting) < q.Limit {
			runs, err := tx.ListWaitingRuns(ctx, studio.Key, q.AfterKey, q.Limit)
			if err != nil {
				return err
			}
			for _, run := range runs {
				q.AfterKey = run.Key
				if len(waiting) < q.Limit && (!q.OnlyMine || run.IsFor(call.Caller)) {
					waiting = append(waiting, run)
				}
			}
			if len(runs) < q.Limit {
				return nil
			}
		}
		return nil
	})
	return waiting, err
}

// WaitingQuery says which runs that wait are wanted.
type WaitingQuery struct {
	StudioID string
	OnlyMine bool  // those of which the caller may decide something
	AfterKey int64 // of the last run of the page before
	Limit    int   // above 0
}
