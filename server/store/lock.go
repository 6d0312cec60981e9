package store

import (
	"context"
	"slices"
	"time"

	"saggar/server/domain"
	"saggar/server/store/queries"
)

// LockedStudio is what a booking needs to know once it holds the studio's lock.
type LockedStudio struct {
	Studio domain.Studio
	// NewFirings hold their furnace, overlap the window and were booked or changed after the revision, by start.
	NewFirings []domain.Firing
	// Lapsed are runs that wait in the database longer than they may, as they stand there.
	Lapsed []domain.Run
	// Remembered is what the request id did before, or nil.
	Remembered *domain.Remembered
}

// BookingLock says which studio is locked, and what is asked besides.
type BookingLock struct {
	StudioID string
	// Since is the revision at which the caller looked, and Window where firings matter; empty: none are needed.
	Since  int64
	Window domain.Window
	// Caller and RequestID are whose request is looked up; an empty id: none.
	Caller, RequestID string
}

// LockForBooking locks a studio as LockStudio does and reads, in the same round trip, what the caller's request id did
// and the firings that have come since the revision at which the caller looked, with phases and releases. It reads every
// firing that is newer than since: an old revision in a studio with a long history is slow. A firing that
// ended after since is not among them. Errors: domain.ErrNotFound.
func (t *Tx) LockForBooking(ctx context.Context, lock BookingLock) (LockedStudio, error) {
	var studio queries.Studio
	var requests []queries.GetRequestInStudioRow
	var lapsed []queries.LapsedRunsRow
	var firings newFirings
	// Statements of their own, since each sees what was committed when it began: what is read together with the lock
	// is as old as the wait for it.
	err := inOneTrip(ctx, t.tx, func(q *queries.Queries) (err error) {
		if studio, err = q.LockStudio(ctx, lock.StudioID); err != nil {
			return named(err, "studios", lock.StudioID)
		}
		if lapsed, err = q.LapsedRuns(ctx, queries.LapsedRunsParams{StudioID: lock.StudioID, At: t.at}); err != nil {
			return err
		}
		if lock.RequestID != "" {
			requests, err = q.GetRequestInStudio(ctx, queries.GetRequestInStudioParams{
				StudioID: lock.StudioID, CallerID: lock.Caller, RequestID: lock.RequestID,
			})
		}
		if err != nil || lock.Window.Start.Equal(lock.Window.End) {
			return err
		}
		return firings.read(ctx, q, t.at, queries.NewFiringsParams{
			StudioID: lock.StudioID, SinceRevision: lock.Since, WindowStart: lock.Window.Start, WindowEnd: lock.Window.End,
		})
	})
	if err != nil {
		return LockedStudio{}, err
	}
	assembled, err := firings.assemble()
	if err != nil {
		return LockedStudio{}, err
	}
	locked := LockedStudio{NewFirings: slices.DeleteFunc(assembled, func(f domain.Firing) bool { return !f.AsOf(t.at).State.Occupies() })}
	if locked.Studio, err = toStudio(studio); err != nil {
		return LockedStudio{}, err
	}
	for _, row := range requests {
		locked.Remembered = toRemembered(queries.GetRequestRow(row))
	}
	locked.Lapsed, err = t.fillRuns(ctx, locked.Studio.Key, collect(lapsed, func(row queries.LapsedRunsRow) queries.GetRunRow {
		return queries.GetRunRow(row)
	}), false)
	return locked, err
}

// newFirings are the answers to four questions about the same firings.
type newFirings struct {
	firings  []queries.NewFiringsRow
	phases   []queries.PhasesOfNewFiringsRow
	releases []queries.ReleasesOfNewFiringsRow
	riders   []queries.RidersOfNewFiringsRow
}

func (n *newFirings) read(ctx context.Context, q *queries.Queries, at time.Time, arg queries.NewFiringsParams) (err error) {
	if n.firings, err = q.NewFirings(ctx, arg); err != nil {
		return err
	}
	if n.phases, err = q.PhasesOfNewFirings(ctx, queries.PhasesOfNewFiringsParams(arg)); err != nil {
		return err
	}
	if n.releases, err = q.ReleasesOfNewFirings(ctx, queries.ReleasesOfNewFiringsParams(arg)); err != nil {
		return err
	}
	n.riders, err = q.RidersOfNewFirings(ctx, queries.RidersOfNewFiringsParams{
		StudioID: arg.StudioID, SinceRevision: arg.SinceRevision, WindowStart: arg.WindowStart, WindowEnd: arg.WindowEnd, At: at,
	})
	return err
}

func (n *newFirings) assemble() ([]domain.Firing, error) {
	firings, err := decodeAll(n.firings, func(row queries.NewFiringsRow) (domain.Firing, error) {
		return toFiring(queries.FiringsOverRow(row))
	})
	if err != nil {
		return nil, err
	}
	return firings, attach(pointers(firings),
		collect(n.phases, func(row queries.PhasesOfNewFiringsRow) queries.PhasesOfFiringsRow {
			return queries.PhasesOfFiringsRow(row)
		}),
		collect(n.releases, func(row queries.ReleasesOfNewFiringsRow) queries.ReleasesOfFiringsRow {
			return queries.ReleasesOfFiringsRow(row)
		}),
		collect(n.riders, func(row queries.RidersOfNewFiringsRow) queries.RidersOfFiringsRow {
			return queries.RidersOfFiringsRow(row)
		}))
}
