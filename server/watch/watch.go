// Package watch lets many callers follow the changes of studios. One reader a studio reads the log, where everything that
// happens stands without gaps in the order of revisions, and shares what is new with all who follow it: each of them keeps
// nothing but how far they have come. The newest notices stay in memory; whoever is too slow for that reads the log again,
// a page at a time. Nothing is dropped, and nobody makes the server remember more.
//
// What wakes a reader is a bell that may be lost: every studio is looked at now and then besides, so that a lost bell delays
// and nothing else. The package knows neither the database nor who may see what.
package watch

import (
	"cmp"
	"context"
	"sync"
	"time"

	"saggar/server/domain"
)

// Source is the log of changes.
type Source interface {
	// Changes returns the changes of a studio after a revision in order, at most limit.
	Changes(ctx context.Context, studioKey, after int64, limit int) ([]domain.Change, error)
	// Revisions returns the revisions of studios by key.
	Revisions(ctx context.Context, studioKeys []int64) (map[int64]int64, error)
	// Listen hears the bell until it breaks or the context ends. ready is called once it would hear, and rang with the
	// studio's key at each ring.
	Listen(ctx context.Context, ready func(), rang func(studioKey int64)) error
}

// Options have defaults for everything that is 0.
type Options struct {
	// Recent is how many notices of a studio are kept in memory; 512.
	Recent int
	// Page is how many changes are read at once; 128.
	Page int
	// PollEvery is how often studios are looked at besides the bell; 1 s.
	PollEvery time.Duration
	// MostReads is how many slow followers read the log at one time; 2.
	MostReads int
	// MostPerOwner is how often one owner may follow at once; 16.
	MostPerOwner int
	// MostInAll is how many may follow at once; 4096.
	MostInAll int
}

func (o Options) withDefaults() Options {
	o.Recent, o.Page = cmp.Or(o.Recent, 512), cmp.Or(o.Page, 128)
	o.PollEvery, o.MostReads = cmp.Or(o.PollEvery, time.Second), cmp.Or(o.MostReads, 2)
	o.MostPerOwner, o.MostInAll = cmp.Or(o.MostPerOwner, 16), cmp.Or(o.MostInAll, 4096)
	return o
}

// Hub is where followers and readers meet. Safe for concurrent use.
type Hub struct {
	source  Source
	options Options
	reads   chan struct{} // a place for each slow follower that reads
	closing chan struct{}
	close   func()

	mu        sync.Mutex
	feeds     map[int64]*feed // by studio
	followers int
	byOwner   map[string]int
}

// New makes a hub. Nobody is woken until Run runs.
func New(source Source, options Options) *Hub {
	options = options.withDefaults()
	h := &Hub{
		source: source, options: options, reads: make(chan struct{}, options.MostReads), closing: make(chan struct{}),
		feeds: map[int64]*feed{}, byOwner: map[string]int{},
	}
	h.close = sync.OnceFunc(func() { close(h.closing) })
	return h
}

// Close ends every follower with domain.ErrStopping, and refuses further ones.
func (h *Hub) Close() { h.close() }

// Run hears the bell and looks at studios now and then until the context ends.
func (h *Hub) Run(ctx context.Context) {
	var group sync.WaitGroup
	group.Go(func() { h.listen(ctx) })
	group.Go(func() { h.poll(ctx) })
	group.Wait()
}

// listen hears the bell, anew whenever it breaks. What rang meanwhile was not heard, so everybody is woken.
func (h *Hub) listen(ctx context.Context) {
	for ctx.Err() == nil {
		// Why it broke does not matter: the database is away, and whoever reads is told so.
		_ = h.source.Listen(ctx, func() { h.each((*feed).wake) }, h.rang)
		pause(ctx, h.options.PollEvery)
	}
}

func (h *Hub) rang(studioKey int64) {
	h.mu.Lock()
	f := h.feeds[studioKey]
	h.mu.Unlock()
	if f != nil {
		f.wake()
	}
}

// poll wakes the readers of studios that went on without being heard.
func (h *Hub) poll(ctx context.Context) {
	for pause(ctx, h.options.PollEvery) {
		var keys []int64
		h.each(func(f *feed) { keys = append(keys, f.studioKey) })
		if len(keys) == 0 {
			continue
		}
		revisions, err := h.source.Revisions(ctx, keys)
		if err != nil {
			continue // the next look may fare better
		}
		h.each(func(f *feed) {
			if revisions[f.studioKey] > f.revision() {
				f.wake()
			}
		})
	}
}

func (h *Hub) each(do func(f *feed)) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, f := range h.feeds {
		do(f)
	}
}

// pause waits and reports whether the context goes on.
func pause(ctx context.Context, d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-timer.C:
		return true
	}
}

// enter counts one more follower and returns the studio's feed, which is begun at a revision when nobody followed it.
func (h *Hub) enter(studioKey int64, owner string, now int64) (*feed, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	select {
	case <-h.closing:
		return nil, stopping()
	default:
	}
	if h.byOwner[owner] >= h.options.MostPerOwner || h.followers >= h.options.MostInAll {
		return nil, &domain.Error{
			Kind: domain.ErrTooMany, Subject: owner, Message: "too many follow changes at once",
			Cure: "end some of the others first, or follow with fewer filters at once",
		}
	}
	f := h.feeds[studioKey]
	if f == nil {
		f = newFeed(h, studioKey, now)
		h.feeds[studioKey] = f
		go f.read()
	}
	f.followers++
	h.followers++
	h.byOwner[owner]++
	return f, nil
}

// leave counts one less. A feed that nobody follows any more ends.
func (h *Hub) leave(f *feed, owner string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.followers--
	if h.byOwner[owner]--; h.byOwner[owner] == 0 {
		delete(h.byOwner, owner)
	}
	if f.followers--; f.followers == 0 {
		if h.feeds[f.studioKey] == f {
			delete(h.feeds, f.studioKey)
		}
		f.end()
	}
}

// forget lets the next follower of the studio begin another feed.
func (h *Hub) forget(f *feed) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.feeds[f.studioKey] == f {
		delete(h.feeds, f.studioKey)
	}
}

func stopping() error {
	return &domain.Error{
		Kind: domain.ErrStopping, Message: "the server stops", Cure: "go on with another one, or with this one in a moment",
	}
}
