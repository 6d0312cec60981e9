package app_test

import (
	"context"
	"errors"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/app"
	"saggar/server/domain"
)

// TestPlansWaitTheirTurn: many who ask at once are all answered, those who wait are told so, and beyond a number that may wait
// they are sent away.
func TestPlansWaitTheirTurn(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	var told, away, answered atomic.Int64
	var group sync.WaitGroup
	// Each searches until its time is over, since no plan of so many runs is proven best so soon.
	runs := make([]app.RunRequest, 12)
	for i := range runs {
		runs[i] = request("blue", 1)
	}
	for range 70 {
		group.Go(func() {
			ctx, cancel := context.WithTimeout(b.ctx, 4*time.Second)
			defer cancel()
			in := many(append([]app.RunRequest{}, runs...)...)
			in.SearchTime = 1500 * time.Millisecond
			err := b.PlanRuns(ctx, in, func(a app.PlanAnswer) error {
				switch {
				case a.Progress.WaitingFor > 0:
					told.Add(1)
					assert.Equal(t, app.PlanSearching, a.Status)
				case a.Status != app.PlanSearching:
					answered.Add(1)
				}
				return nil
			})
			if errors.Is(err, domain.ErrTooMany) {
				away.Add(1)
			}
		})
	}
	group.Wait()
	assert.Positive(t, told.Load(), "who waits is told")
	assert.Positive(t, away.Load(), "more than can wait are sent away")
	assert.Positive(t, answered.Load())
	answer := b.plan(t, request("red", 1), monday)
	require.Equal(t, app.PlanOptimal, answer.Status, "the queue is empty again")
}
