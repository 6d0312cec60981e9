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

// mostTimeRequests bounds what one person asks for at a time.
const mostTimeRequests = 20

// CreateTimeRequest asks for furnace time that may fall free. Errors: finding.Faults, also for a furnace or department that does
// not stand; domain.ErrForbidden for another department than a maker's own; domain.ErrWrongState for one more than
// mostTimeRequests.
func (a *App) CreateTimeRequest(ctx context.Context, call Call, studioID string, asked domain.TimeRequest) (domain.TimeRequest, error) {
	asked.Asker, asked.AskerRole, asked.State, asked.CreateTime = call.Caller.ID, call.Caller.Role, domain.TimeWaiting, a.now()
	if err := asked.Check(a.now()).Err(); err != nil {
		return asked, err
	}
	err := a.rosterChange(ctx, call, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (domain.Change, error) {
		at := runAt{request: RunRequest{Department: asked.Department}, maker: asked.Asker, ownOnly: call.OwnOnly}
		if err := checkDepartment(ctx, tx, studio.Key, at); err != nil {
			return domain.Change{}, err
		}
		var faults finding.Faults
		for i, id := range asked.Furnaces {
			_, err := tx.EquipmentOne(ctx, studio.Key, domain.KindFurnace, id)
			if err := missing(&faults, err, fmt.Sprintf("furnaces[%d]", i), "furnace "+id); err != nil {
				return domain.Change{}, err
			}
		}
		if err := faults.Err(); err != nil {
			return domain.Change{}, err
		}
		own, err := tx.ListTimeRequests(ctx, studio.Key, store.TimeRequestsQuery{Asker: asked.Asker, Limit: mostTimeRequests})
		if err != nil {
			return domain.Change{}, err
		}
		if len(own) == mostTimeRequests {
			return domain.Change{}, &domain.Error{
				Kind: domain.ErrWrongState, Subject: "people/" + asked.Asker,
				Message: fmt.Sprintf("%s asks for time %d times already, which is the most at once", asked.Asker, mostTimeRequests),
				Cure:    "withdraw one, or name several furnaces in one request",
			}
		}
		asked.AskedRevision, asked.Revision = studio.Revision, studio.Revision
		return a.logged(call, studio.Revision, asked.Name(), nil, asked), tx.InsertTimeRequest(ctx, studio.Key, asked)
	})
	return asked, err
}

// GetTimeRequest returns a request for time as it stands now. Errors: domain.ErrNotFound, also for somebody else's that the
// caller may not see.
func (a *App) GetTimeRequest(ctx context.Context, call Call, studioID, id string) (found domain.TimeRequest, err error) {
	err = a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		found, err = ownTimeRequest(ctx, tx, call, studio.Key, id)
		return err
	})
	return found.AsOf(a.now()), err
}

func ownTimeRequest(ctx context.Context, tx *store.Tx, call Call, studioKey int64, id string) (domain.TimeRequest, error) {
	found, err := tx.TimeRequest(ctx, studioKey, id)
	if err == nil && !call.mayTouch(found.Asker) {
		return domain.TimeRequest{}, domain.NotFound("timeRequests/" + id)
	}
	return found, err
}

// TimeRequestsQuery asks for a page of requests for time.
type TimeRequestsQuery struct {
	StudioID      string
	AfterRevision int64 // at which the last of the page before was asked
	ShowEnded     bool
	Limit         int // 0: all
}

// ListTimeRequests lists requests for time as they stand now, in the order of asking, of those that the caller may see.
func (a *App) ListTimeRequests(ctx context.Context, call Call, q TimeRequestsQuery) (list []domain.TimeRequest, err error) {
	err = a.read(ctx, q.StudioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		list, err = tx.ListTimeRequests(ctx, studio.Key, store.TimeRequestsQuery{
			Asker: call.ownerFilter(), AfterRevision: q.AfterRevision, ShowEnded: q.ShowEnded, Limit: q.Limit,
		})
		return err
	})
	for i := range list {
		list[i] = list[i].AsOf(a.now())
	}
	return list, err
}

// WithdrawTimeRequest ends a request; what it is offered goes to the next. One that ended stays as it is. Errors:
// domain.ErrNotFound, domain.ErrChangedMeanwhile.
func (a *App) WithdrawTimeRequest(ctx context.Context, call Call, studioID, id string, expectRevision int64) error {
	_, err := a.endOffer(ctx, call, offerEnd{studioID, id, expectRevision}, func(r domain.TimeRequest) (domain.TimeRequest, error) {
		if !r.IsOpen() {
			return r, errNothingToDo
		}
		return r.Ended(domain.TimeWithdrawn, ""), nil
	})
	return err
}

// DeclineTimeOffer lets what a request is offered go to the next; the request waits on, for other time. Errors:
// domain.ErrNotFound, domain.ErrChangedMeanwhile, domain.ErrWrongState when it is offered nothing.
func (a *App) DeclineTimeOffer(ctx context.Context, call Call, studioID, id string, expectRevision int64) (domain.TimeRequest, error) {
	return a.endOffer(ctx, call, offerEnd{studioID, id, expectRevision}, func(r domain.TimeRequest) (domain.TimeRequest, error) {
		if r.Held(a.now()) == nil {
			return r, &domain.Error{
				Kind: domain.ErrWrongState, Subject: r.Name(), Message: "it is offered nothing now", Cure: "withdraw it to ask for no more",
			}
		}
		return r.WithoutOffer(), nil
	})
}

// offerEnd says whose offer is to end.
type offerEnd struct {
	studioID, id   string
	expectRevision int64 // the etag; 0: any
}

// endOffer changes one request under the studio's lock and passes on what was held for it.
func (a *App) endOffer(
	ctx context.Context, call Call, in offerEnd, end func(r domain.TimeRequest) (domain.TimeRequest, error),
) (domain.TimeRequest, error) {
	var after domain.TimeRequest
	err := a.store.InTx(ctx, func(ctx context.Context, tx *store.Tx) error {
		locked, err := tx.LockForBooking(ctx, store.BookingLock{StudioID: in.studioID})
		if err != nil {
			return err
		}
		before, err := ownTimeRequest(ctx, tx, call, locked.Studio.Key, in.id)
		if err != nil {
			return err
		}
		if in.expectRevision != 0 && in.expectRevision != before.Revision {
			return stale(before.Name())
		}
		if after, err = end(before); err != nil {
			return err
		}
		booking := a.expire(call, locked)
		after = a.changeTimeRequest(call, &booking, before, after)
		if err := a.book(ctx, tx, booking); err != nil {
			return err
		}
		after, err = tx.TimeRequest(ctx, locked.Studio.Key, in.id) // which may be offered other time by now
		return err
	})
	if errors.Is(err, errNothingToDo) {
		err = nil
	}
	return after.AsOf(a.now()), err
}

// changeTimeRequest adds a request as it becomes to a booking, at the studio's next revision. What is held for whom decides
// bookings, so those that were worked out before are worked out anew.
func (a *App) changeTimeRequest(call Call, booking *store.Booking, before, after domain.TimeRequest) domain.TimeRequest {
	booking.Studio.Revision++
	booking.Studio.EquipmentRevision = booking.Studio.Revision
	after.Revision = booking.Studio.Revision
	booking.TimeRequests = slices.DeleteFunc(booking.TimeRequests, func(r domain.TimeRequest) bool { return r.AskedRevision == after.AskedRevision })
	booking.TimeRequests = append(booking.TimeRequests, after)
	booking.Changes = append(booking.Changes, a.logged(call, after.Revision, after.Name(), before, after))
	return after
}
