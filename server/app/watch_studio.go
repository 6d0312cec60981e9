package app

import (
	"context"
	"errors"
	"fmt"
	"time"

	"saggar/server/domain"
	"saggar/server/store"
	"saggar/server/watch"
)

// progressEvery is how often those who follow hear how far the log has come while nothing in it is for them, and how often
// it is looked at whether they still may.
const progressEvery = 10 * time.Second

// WatchInput says which changes are followed.
type WatchInput struct {
	StudioID string
	After    *int64 // revision after which to begin; nil: from now on
	Filter   domain.NoticeFilter
}

// WatchAnswer is some of the changes, and up to which revision everything was told.
type WatchAnswer struct {
	Notices  []*domain.Notice
	Revision int64
}

// AllowedFunc says who follows, as it is now. An error ends the watch.
type AllowedFunc func(ctx context.Context) (Call, error)

// RunWatches lets watches hear of changes until the context ends.
func (a *App) RunWatches(ctx context.Context) { a.watches.Run(ctx) }

// EndWatches ends all of them, and refuses further ones, with domain.ErrStopping.
func (a *App) EndWatches() { a.watches.Close() }

// WatchStudio sends the changes of a studio that the caller may see and asks for, in the order of revisions without gap or
// repeat, until the context ends or send fails. The first answer comes at once. allowed is asked before each.
// Errors: domain.ErrNotFound; domain.ErrOutOfRange for a revision that the log has not reached or no longer holds;
// domain.ErrTooMany; domain.ErrStopping; domain.ErrUnavailable; those of allowed and send.
func (a *App) WatchStudio(ctx context.Context, in WatchInput, allowed AllowedFunc, send func(WatchAnswer) error) error {
	call, err := allowed(ctx)
	if err != nil {
		return err
	}
	follower, err := a.follow(ctx, call, in)
	if err != nil {
		return err
	}
	defer follower.Leave()
	told, toldAt := follower.Revision(), time.Now()
	if err := send(WatchAnswer{Revision: told}); err != nil {
		return err
	}
	for {
		notices, err := nextWithin(ctx, follower, progressEvery)
		if err != nil {
			return err
		}
		if call, err = allowed(ctx); err != nil {
			return err
		}
		answer := WatchAnswer{Notices: call.noticed(notices, in.Filter), Revision: follower.Revision()}
		if len(answer.Notices) == 0 && (answer.Revision == told || time.Since(toldAt) < progressEvery) {
			continue
		}
		if err := send(answer); err != nil {
			return err
		}
		told, toldAt = answer.Revision, time.Now()
	}
}

// follow begins where the caller asks.
func (a *App) follow(ctx context.Context, call Call, in WatchInput) (*watch.Follower, error) {
	var studio domain.Studio
	err := a.read(ctx, in.StudioID, func(_ context.Context, _ *store.Tx, found domain.Studio) error {
		studio = found
		return nil
	})
	if err != nil {
		return nil, err
	}
	after := studio.Revision
	if in.After != nil {
		after = *in.After
	}
	if after > studio.Revision {
		return nil, &domain.Error{
			Kind: domain.ErrOutOfRange, Subject: "studios/" + in.StudioID,
			Message: fmt.Sprintf("the studio is at revision %d and was never at %d", studio.Revision, after),
			Cure:    "read anew what you show, and go on from the studio's present revision",
		}
	}
	return a.watches.Follow(studio.Key, fmt.Sprintf("%d/%s", studio.Key, call.Caller.ID), after, studio.Revision)
}

// nextWithin returns what is next, or nothing when nothing came for so long.
func nextWithin(ctx context.Context, follower *watch.Follower, patience time.Duration) ([]*domain.Notice, error) {
	waiting, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	notices, err := follower.Next(waiting)
	if errors.Is(err, context.DeadlineExceeded) && ctx.Err() == nil {
		return nil, nil
	}
	return notices, err
}

// noticed are the notices that the caller may see and asks for.
func (c Call) noticed(notices []*domain.Notice, filter domain.NoticeFilter) []*domain.Notice {
	var found []*domain.Notice
	for _, n := range notices {
		if filter.Passes(n) && c.mayNotice(n) {
			found = append(found, n)
		}
	}
	return found
}
