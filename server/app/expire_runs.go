package app

import (
	"context"

	"saggar/server/domain"
	"saggar/server/store"
)

// sweeper is who the trace names where no person but time did something.
var sweeper = domain.Caller{ID: "saggard"}

// ExpireRuns writes down what waited too long in any studio, runs for clearances and offers of time for an answer, passes on what
// falls free with it, and returns how many that were. Several servers may do so at once: each looks again under the studio's lock.
func (a *App) ExpireRuns(ctx context.Context) (count int, err error) {
	var studios []string
	err = a.store.InSnapshot(ctx, func(ctx context.Context, tx *store.Tx) (err error) {
		studios, err = tx.StudiosWithLapsed(ctx)
		return err
	})
	for _, id := range studios {
		expired := 0
		err := a.store.InTx(ctx, func(ctx context.Context, tx *store.Tx) error {
			locked, err := tx.LockForBooking(ctx, store.BookingLock{StudioID: id})
			if err != nil {
				return err
			}
			booking := a.expire(Call{}, locked)
			if err := a.offerFreed(ctx, tx, &booking); err != nil {
				return err
			}
			expired = len(locked.Lapsed) + len(booking.TimeRequests)
			if expired == 0 {
				return nil
			}
			return tx.Book(ctx, booking)
		})
		if err != nil {
			return count, err
		}
		count += expired
	}
	return count, err
}

// expire begins a booking with the runs that waited too long, which give their furnaces up before anything else takes them.
func (a *App) expire(call Call, locked store.LockedStudio) store.Booking {
	booking := store.Booking{Studio: locked.Studio}
	by := Call{Caller: sweeper, Method: "ExpireRun", ID: call.ID}
	for _, run := range locked.Lapsed {
		expired := booking.Change(run.AsOf(run.HoldExpireTime()), run.Draws)
		booking.Changes = append(booking.Changes,
			a.logged(by, booking.Studio.Revision, "runs/"+run.ID, run.Summary(), expired.Summary()))
	}
	return booking
}
