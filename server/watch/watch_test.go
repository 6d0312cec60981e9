package watch

import (
	"context"
	"errors"
	"math/rand/v2"
	"os"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/domain"
)

// paper is a log that loses bells and fails to be read as often as a test likes; the real one is tested in server/app.
type paper struct {
	mu      sync.Mutex
	random  *rand.Rand
	changes []domain.Change
	rang    func(studioKey int64)
	// lost of a hundred bells are, and failed of a hundred reads.
	lost, failed int
	reads        int
	// keptAfter is the revision from which on the log is kept.
	keptAfter int64
}

func newPaper(seed uint64) *paper { return &paper{random: rand.New(rand.NewPCG(seed, 0))} }

func (p *paper) write(count int) {
	p.mu.Lock()
	for range count {
		p.changes = append(p.changes, domain.Change{Revision: int64(len(p.changes) + 1), Method: "BookRun", Subject: "runs/r"})
	}
	rang := p.rang
	if p.random.IntN(100) < p.lost {
		rang = nil
	}
	p.mu.Unlock()
	if rang != nil {
		rang(1)
	}
}

func (p *paper) end() int64 {
	p.mu.Lock()
	defer p.mu.Unlock()
	return int64(len(p.changes))
}

func (p *paper) Changes(_ context.Context, _, after int64, limit int) ([]domain.Change, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.reads++
	if p.random.IntN(100) < p.failed {
		return nil, domain.ErrUnavailable
	}
	after = max(after, p.keptAfter)
	return p.changes[after:min(after+int64(limit), int64(len(p.changes)))], nil
}

func (p *paper) Revisions(context.Context, []int64) (map[int64]int64, error) {
	return map[int64]int64{1: p.end()}, nil
}

func (p *paper) Listen(ctx context.Context, ready func(), rang func(studioKey int64)) error {
	p.mu.Lock()
	p.rang = rang
	p.mu.Unlock()
	ready()
	<-ctx.Done()
	return ctx.Err()
}

func run(t *testing.T, h *Hub) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	var group sync.WaitGroup
	group.Go(func() { h.Run(ctx) })
	t.Cleanup(func() {
		cancel()
		group.Wait()
	})
}

// seedOf is printed, and taken from SAGGAR_RACE_SEED to repeat a run.
func seedOf(t *testing.T) uint64 {
	seed := rand.Uint64()
	if given := os.Getenv("SAGGAR_RACE_SEED"); given != "" {
		var err error
		seed, err = strconv.ParseUint(given, 10, 64)
		require.NoError(t, err)
	}
	t.Logf("seed SAGGAR_RACE_SEED=%d", seed)
	return seed
}

// TestEveryFollowerGetsEverythingOnceInOrder lets followers come at any revision, be slow, fall behind what is in memory and
// come again, while bells are lost and reads fail.
func TestEveryFollowerGetsEverythingOnceInOrder(t *testing.T) {
	t.Parallel()
	const total = 3000
	seed := seedOf(t)
	p := newPaper(seed)
	p.lost, p.failed = 30, 10
	h := New(p, Options{Recent: 16, Page: 5, PollEvery: 5 * time.Millisecond, MostPerOwner: 100})
	run(t, h)
	var group sync.WaitGroup
	for i := range 40 {
		group.Go(func() { followAll(t, h, p, rand.New(rand.NewPCG(seed, uint64(i+1))), total) })
	}
	random := rand.New(rand.NewPCG(seed, 1000))
	for p.end() < total {
		p.write(min(1+random.IntN(9), int(total-p.end())))
		time.Sleep(time.Duration(random.IntN(300)) * time.Microsecond)
	}
	group.Wait()
	assert.Empty(t, h.feeds, "what nobody follows any more is dropped")
	assert.Empty(t, h.byOwner)
}

func followAll(t *testing.T, h *Hub, p *paper, random *rand.Rand, total int64) {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	now := p.end()
	place := random.Int64N(now + 1)
	for place < total {
		follower, err := h.Follow(1, "ada", place, now)
		if !assert.NoError(t, err) {
			return
		}
		for leave := random.IntN(200); leave > 0 && place < total; leave-- {
			notices, err := follower.Next(ctx)
			if errors.Is(err, domain.ErrUnavailable) {
				continue // a reader of the log was told so and asks again
			}
			if !assert.NoError(t, err) {
				follower.Leave()
				return
			}
			for _, n := range notices {
				if !assert.Equal(t, place+1, n.Revision, "a gap or a repeat") {
					follower.Leave()
					return
				}
				place = n.Revision
			}
			if random.IntN(20) == 0 {
				time.Sleep(time.Duration(random.IntN(20)) * time.Millisecond)
			}
		}
		follower.Leave()
		now = p.end()
	}
}

func TestManyFollowersCostOneReader(t *testing.T) {
	t.Parallel()
	p := newPaper(1)
	h := New(p, Options{PollEvery: time.Hour, MostPerOwner: 1000})
	run(t, h)
	require.Eventually(t, func() bool { p.mu.Lock(); defer p.mu.Unlock(); return p.rang != nil }, 10*time.Second, time.Millisecond)
	var followers []*Follower
	for range 500 {
		f, err := h.Follow(1, "ada", 0, 0)
		require.NoError(t, err)
		followers = append(followers, f)
	}
	p.write(3)
	for _, f := range followers {
		for f.Revision() < 3 {
			_, err := f.Next(t.Context())
			require.NoError(t, err)
		}
		f.Leave()
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	assert.Less(t, p.reads, 10, "reads of the log for 500 followers")
}

func TestAGapInTheLogEndsWhoeverStandsBeforeIt(t *testing.T) {
	t.Parallel()
	p := newPaper(1)
	p.write(50)
	p.keptAfter = 20
	h := New(p, Options{})
	run(t, h)
	early, err := h.Follow(1, "ada", 10, 50)
	require.NoError(t, err)
	defer early.Leave()
	_, err = early.Next(t.Context())
	require.ErrorIs(t, err, domain.ErrOutOfRange)
	assert.ErrorContains(t, err, "revision 11 is no longer kept; the oldest after it is 21")
	late, err := h.Follow(1, "ada", 20, 50)
	require.NoError(t, err)
	defer late.Leave()
	notices, err := late.Next(t.Context())
	require.NoError(t, err)
	assert.EqualValues(t, 21, notices[0].Revision)
}

func TestFollowersAreBoundedForEachOwnerAndInAll(t *testing.T) {
	t.Parallel()
	h := New(newPaper(1), Options{MostPerOwner: 2, MostInAll: 3})
	follow := func(owner string) (*Follower, error) { return h.Follow(1, owner, 0, 0) }
	first, err := follow("ada")
	require.NoError(t, err)
	_, err = follow("ada")
	require.NoError(t, err)
	_, err = follow("ada")
	assert.ErrorIs(t, err, domain.ErrTooMany)
	_, err = follow("ben")
	require.NoError(t, err, "ada's do not count for ben")
	_, err = follow("cid")
	assert.ErrorIs(t, err, domain.ErrTooMany, "in all")
	first.Leave()
	_, err = follow("ada")
	assert.NoError(t, err, "one that left makes room")
}

func TestClosingEndsEverybody(t *testing.T) {
	t.Parallel()
	p := newPaper(1)
	h := New(p, Options{})
	run(t, h)
	follower, err := h.Follow(1, "ada", 0, 0)
	require.NoError(t, err)
	ended := make(chan error)
	go func() {
		_, err := follower.Next(context.Background())
		ended <- err
	}()
	h.Close()
	assert.ErrorIs(t, <-ended, domain.ErrStopping)
	_, err = h.Follow(1, "ada", 0, 0)
	assert.ErrorIs(t, err, domain.ErrStopping)
}
