package app

import (
	"context"
	"fmt"

	"saggar/server/domain"
	"saggar/server/store"
)

// CancelFiringInput says which shared firing is called off.
type CancelFiringInput struct {
	StudioID, FiringID string
	ExpectRevision     int64 // the etag; 0: any
}

// CancelFiring calls a shared firing off as a whole. The loads in it are left without a firing, so that their runs can be moved or
// called off; ReplanRuns finds windows for them. Errors: domain.ErrNotFound, domain.ErrChangedMeanwhile; domain.ErrWrongState when
// it has begun, holds its furnace no more or is not shared.
func (a *App) CancelFiring(ctx context.Context, call Call, in CancelFiringInput) (domain.Firing, error) {
	var off domain.Firing
	err := a.store.InTx(ctx, func(ctx context.Context, tx *store.Tx) error {
		locked, err := tx.LockForBooking(ctx, store.BookingLock{StudioID: in.StudioID, Caller: call.Caller.ID, RequestID: call.RequestID})
		if err != nil {
			return err
		}
		if off, err = tx.Firing(ctx, locked.Studio.Key, in.FiringID); err != nil {
			return err
		}
		if locked.Remembered != nil {
			return call.repeats(*locked.Remembered)
		}
		if in.ExpectRevision != 0 && in.ExpectRevision != off.Revision {
			return stale("firings/" + off.ID)
		}
		switch {
		case off.Offer == nil:
			return wrongFiring(off, "it is not shared", "cancel its run")
		case off.State != domain.LoadConfirmed:
			return wrongFiring(off, fmt.Sprintf("it is %s", off.State), "only what is to come can be called off")
		case !off.Window.Start.After(a.now()):
			return wrongFiring(off, "it has begun", "let it end; what rides in it may be hot")
		}
		booking := a.expire(call, locked)
		if off, err = a.callOff(ctx, tx, call, off, &booking); err != nil {
			return err
		}
		if call.RequestID != "" {
			remembered := call.remember([]string{off.ID})
			booking.Remembered = &remembered
		}
		return a.book(ctx, tx, booking)
	})
	return off, err
}

// callOff adds the end of a shared firing to a booking, and what it leaves of the runs in it.
func (a *App) callOff(ctx context.Context, tx *store.Tx, call Call, off domain.Firing, booking *store.Booking) (domain.Firing, error) {
	before := off.Summary()
	riders := off.Riders
	off.State, off.Riders = domain.LoadCancelled, nil
	for _, rider := range riders {
		run, err := tx.Run(ctx, booking.Studio.Key, rider.RunID)
		if err != nil {
			return off, err
		}
		was := run.Summary()
		for i, load := range run.Loads {
			if load.Firing != nil && load.Firing.Key == off.Key && load.State.Occupies() {
				run.Loads[i].State, run.Loads[i].Firing = domain.LoadUnplaced, &off
			}
		}
		run = booking.Change(run, run.Draws)
		booking.Changes = append(booking.Changes, a.logged(call, run.Revision, "runs/"+run.ID, was, run.Summary()))
	}
	booking.Studio.Revision++
	off.Revision = booking.Studio.Revision
	booking.EndedFirings = append(booking.EndedFirings, off)
	booking.Changes = append(booking.Changes, a.logged(call, off.Revision, "firings/"+off.ID, before, off.Summary()))
	return off, nil
}

func wrongFiring(f domain.Firing, message, cure string) error {
	return &domain.Error{Kind: domain.ErrWrongState, Subject: "firings/" + f.ID, Message: message, Cure: cure}
}
