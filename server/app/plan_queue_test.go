package app

import (
	"context"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/domain"
)

// TestPlansWaitTheirTurn: one place is worked in by one at a time, who waits is told how many are before them, beyond a number
// that may wait callers are sent away, and who gives up leaves the queue.
func TestPlansWaitTheirTurn(t *testing.T) {
	t.Parallel()
	q := &planQueue{places: make(chan struct{}, 1)}
	held, release := make(chan struct{}), make(chan struct{})
	var group sync.WaitGroup
	group.Go(func() {
		assert.NoError(t, q.inTurn(t.Context(), nil, func(context.Context) error {
			close(held)
			<-release
			return nil
		}))
	})
	<-held
	var atOnce, worked, told atomic.Int64
	var first sync.Once
	tellOnce := make(chan struct{})
	for range mostWaiting {
		group.Go(func() {
			assert.NoError(t, q.inTurn(t.Context(), func(before int) error {
				assert.GreaterOrEqual(t, before, 1)
				assert.Less(t, before, mostWaiting)
				told.Add(1)
				first.Do(func() { close(tellOnce) })
				return nil
			}, func(context.Context) error {
				assert.EqualValues(t, 1, atOnce.Add(1))
				worked.Add(1)
				atOnce.Add(-1)
				return nil
			}))
		})
	}
	require.Eventually(t, func() bool { return q.waiting.Load() == mostWaiting }, 10*time.Second, time.Millisecond)
	require.ErrorIs(t, q.inTurn(t.Context(), nil, nil), domain.ErrTooMany)
	require.EqualValues(t, mostWaiting, q.waiting.Load(), "who is sent away does not count as waiting")
	<-tellOnce
	close(release)
	group.Wait()
	assert.EqualValues(t, mostWaiting, worked.Load())
	assert.Zero(t, q.waiting.Load())

	q.places <- struct{}{}
	gone, giveUp := context.WithCancel(t.Context())
	giveUp()
	require.ErrorIs(t, q.inTurn(gone, nil, nil), context.Canceled)
	assert.Zero(t, q.waiting.Load())
}

// TestASearchEndsBeforeItsCallersDeadline: early enough to answer, and never before it began.
func TestASearchEndsBeforeItsCallersDeadline(t *testing.T) {
	t.Parallel()
	now := time.Now()
	for name, c := range map[string]struct {
		left, limit, want time.Duration // left 0: no deadline
	}{
		"none":               {0, 0, defaultSearchTime},
		"its own limit":      {0, time.Minute, time.Minute},
		"far away":           {time.Minute, time.Second, time.Second},
		"before the limit":   {10 * time.Second, time.Minute, 9 * time.Second},
		"soon":               {time.Second, time.Minute, 800 * time.Millisecond},
		"very soon":          {100 * time.Millisecond, time.Minute, 50 * time.Millisecond},
		"long after it":      {time.Minute, 10 * time.Minute, 58 * time.Second},
		"a limit near to it": {10 * time.Second, 9500 * time.Millisecond, 9 * time.Second},
	} {
		ctx := context.Background()
		if c.left > 0 {
			var cancel context.CancelFunc
			ctx, cancel = context.WithDeadline(ctx, now.Add(c.left))
			defer cancel()
		}
		assert.Equal(t, c.want, searchEnd(ctx, now, c.limit).Sub(now), name)
	}
}
