package watch

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"saggar/server/domain"
)

// feed is one studio's newest notices and the reader that adds to them.
type feed struct {
	hub       *Hub
	studioKey int64
	followers int // under the hub's lock
	rung      chan struct{}
	end       context.CancelFunc
	ctx       context.Context

	mu     sync.Mutex
	ring   []*domain.Notice // a ring once it is full; the oldest stands at next
	next   int
	last   int64         // revision of the newest; the ring ends there
	news   chan struct{} // closed when there is something new, and then another one
	broken error         // why the reader cannot go on
}

func newFeed(h *Hub, studioKey, revision int64) *feed {
	ctx, cancel := context.WithCancel(context.Background())
	return &feed{
		hub: h, studioKey: studioKey, rung: make(chan struct{}, 1), ctx: ctx, end: cancel, last: revision, news: make(chan struct{}),
	}
}

// wake lets the reader look. It does not wait: a reader that was woken and has not looked yet sees everything.
func (f *feed) wake() {
	select {
	case f.rung <- struct{}{}:
	default:
	}
}

func (f *feed) revision() int64 {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.last
}

// read adds what is new at each ring until nobody follows any more.
func (f *feed) read() {
	for {
		select {
		case <-f.ctx.Done():
			return
		case <-f.rung:
		}
		for f.readPage() {
		}
	}
}

// readPage adds one page and reports whether there may be more. When the database is away, the next ring or look tries anew.
func (f *feed) readPage() bool {
	notices, err := f.hub.page(f.ctx, f.studioKey, f.revision())
	switch {
	case errors.Is(err, domain.ErrOutOfRange):
		f.fail(err)
		return false
	case err != nil || len(notices) == 0:
		return false
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, n := range notices {
		if len(f.ring) < f.hub.options.Recent {
			f.ring = append(f.ring, n)
		} else {
			f.ring[f.next] = n
			f.next = (f.next + 1) % len(f.ring)
		}
		f.last = n.Revision
	}
	f.tell()
	return len(notices) == f.hub.options.Page
}

// fail ends everybody who follows; whoever comes anew begins with another feed.
func (f *feed) fail(err error) {
	f.hub.forget(f)
	f.mu.Lock()
	defer f.mu.Unlock()
	f.broken = err
	f.tell()
}

// tell wakes every follower, under the lock.
func (f *feed) tell() {
	close(f.news)
	f.news = make(chan struct{})
}

// after returns notices after a revision from memory, at most limit, oldest first. inMemory is false when the ring has gone
// past. news is closed once there are more.
func (f *feed) after(revision int64, limit int) (found []*domain.Notice, inMemory bool, news <-chan struct{}, err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.broken != nil {
		return nil, true, nil, f.broken
	}
	oldest := f.last - int64(len(f.ring)) + 1
	if revision+1 < oldest {
		return nil, false, nil, nil
	}
	// Revisions have no gaps, so that a revision's place follows from the newest one's.
	for next := revision + 1; next <= f.last && len(found) < limit; next++ {
		found = append(found, f.ring[(f.next+int(next-oldest))%len(f.ring)])
	}
	return found, true, f.news, nil
}

// page reads one page of the log and holds it against gaps: what follows a revision is the next one.
func (h *Hub) page(ctx context.Context, studioKey, after int64) ([]*domain.Notice, error) {
	changes, err := h.source.Changes(ctx, studioKey, after, h.options.Page)
	if err != nil {
		return nil, err
	}
	notices := make([]*domain.Notice, len(changes))
	for i, c := range changes {
		if want := after + 1 + int64(i); c.Revision != want {
			return nil, &domain.Error{
				Kind: domain.ErrOutOfRange, Message: fmt.Sprintf("revision %d is no longer kept; the oldest after it is %d", want, c.Revision),
				Cure: "read anew what you show, and go on from the studio's present revision",
			}
		}
		notices[i] = domain.NoticeOf(c)
	}
	return notices, nil
}
