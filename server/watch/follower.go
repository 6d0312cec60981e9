package watch

import (
	"context"

	"saggar/server/domain"
)

// Follower is one caller's place in a studio's changes. It is for one goroutine.
type Follower struct {
	feed     *feed
	owner    string
	revision int64
}

// Follow begins after a revision. now is the studio's present revision, read before the call, and not before the revision;
// owner is whose follower it is, for the bound on their number. Errors: domain.ErrTooMany, domain.ErrStopping.
func (h *Hub) Follow(studioKey int64, owner string, after, now int64) (*Follower, error) {
	f, err := h.enter(studioKey, owner, now)
	if err != nil {
		return nil, err
	}
	f.wake() // another reader may have begun before the present revision
	return &Follower{feed: f, owner: owner, revision: after}, nil
}

// Leave gives the place up. It must be called once.
func (w *Follower) Leave() { w.feed.hub.leave(w.feed, w.owner) }

// Revision is how far the follower has come.
func (w *Follower) Revision() int64 { return w.revision }

// Next returns the next notices in order, without gap or repeat, at most a page. It waits until there is one or the context
// ends. Errors: the context's; domain.ErrStopping; domain.ErrOutOfRange when what comes next is no longer kept;
// domain.ErrUnavailable when the log cannot be read.
func (w *Follower) Next(ctx context.Context) ([]*domain.Notice, error) {
	hub := w.feed.hub
	for {
		select {
		case <-hub.closing: // also for who is far behind
			return nil, stopping()
		default:
		}
		found, inMemory, news, err := w.feed.after(w.revision, hub.options.Page)
		if err == nil && !inMemory {
			found, err = w.readLog(ctx)
		}
		if err != nil {
			return nil, err
		}
		if len(found) > 0 {
			w.revision = found[len(found)-1].Revision
			return found, nil
		}
		select {
		case <-news:
		case <-hub.closing:
			return nil, stopping()
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}

// readLog reads what is no longer in memory. Few followers read at one time; others wait.
func (w *Follower) readLog(ctx context.Context) ([]*domain.Notice, error) {
	hub := w.feed.hub
	select {
	case hub.reads <- struct{}{}:
		defer func() { <-hub.reads }()
	case <-hub.closing:
		return nil, stopping()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	return hub.page(ctx, w.feed.studioKey, w.revision)
}
