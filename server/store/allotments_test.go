package store_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/domain"
	"saggar/server/store"
)

// Firings of an hour each, in several states, are added up by a clock an hour into the week.
func TestUsesCountWhatHoldsItsFurnace(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	clock := monday.Add(time.Hour)
	book := func(id string, start float64, state domain.LoadState, until time.Time) {
		f := firing("muffle", window(start, start+1))
		f.State = state
		r := b.run(id, f)
		if !until.IsZero() {
			r.Clearances = []domain.Clearance{{Rule: "first", State: domain.ClearanceWaiting, ExpireTime: until}}
		}
		b.mustBook(r)
	}
	book("stands", 30, domain.LoadConfirmed, time.Time{})
	book("waits", 32, domain.LoadTentative, clock.Add(time.Minute))
	book("lapsed", 34, domain.LoadTentative, clock)
	book("missed", -30, domain.LoadMissed, time.Time{})
	book("missed-long-ago", -300, domain.LoadMissed, time.Time{})
	book("drawn", -20, domain.LoadDrawn, time.Time{})
	at := b.WithClock(func() time.Time { return clock })
	require.NoError(t, at.InSnapshot(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		q := store.UsesQuery{Department: "glass", Window: window(30, 40)}
		for what, c := range map[string]struct {
			change func(q *store.UsesQuery)
			want   float64
		}{
			"what stands and waits":    {func(*store.UsesQuery) {}, 2},
			"another department":       {func(q *store.UsesQuery) { q.Department = "ceramics" }, 0},
			"another furnace":          {func(q *store.UsesQuery) { q.FurnaceIDs = []string{"top-loader"} }, 0},
			"only where it starts":     {func(q *store.UsesQuery) { q.Window = window(31, 40) }, 1},
			"past firings that held":   {func(q *store.UsesQuery) { q.Window = window(-40, 0) }, 1},
			"without the first to end": {func(q *store.UsesQuery) { q.ExceptKeys = []int64{1} }, 1},
		} {
			asked := q
			c.change(&asked)
			use, err := tx.Uses(ctx, b.studio.Key, asked)
			require.NoError(t, err, what)
			assert.InDelta(t, c.want, use.FurnaceHours, 1e-9, what)
			assert.InDelta(t, c.want*7.25*40/60, use.KilowattHours, 1e-9, "%s: 40 min at 7.25 kW each", what)
		}
		for days, want := range map[int]float64{0: 2, 7: 3, 30: 4} {
			held, err := tx.UnusedHours(ctx, b.studio.Key, "ada", clock.AddDate(0, 0, -days), nil)
			require.NoError(t, err)
			assert.InDelta(t, want, held, 1e-9, "with what was missed in %d days", days)
		}
		waiting, err := tx.ListWaitingRuns(ctx, b.studio.Key, 0, 0)
		require.NoError(t, err)
		require.Len(t, waiting, 1)
		assert.Equal(t, "waits", waiting[0].ID)
		studios, err := tx.StudiosWithLapsed(ctx)
		require.NoError(t, err)
		assert.Equal(t, []string{b.studio.ID}, studios)
		return nil
	}))
}
