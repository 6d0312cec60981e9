package store

import (
	"context"
	"time"

	"saggar/server/domain"
	"saggar/server/store/queries"
)

// UsesQuery says which firings are added up: those of a department that start within a window.
type UsesQuery struct {
	Department string
	Window     domain.Window
	FurnaceIDs []string // none: all
	ExceptKeys []int64  // of firings that do not count
}

// Uses adds up what firings hold and draw that hold their furnaces.
func (t *Tx) Uses(ctx context.Context, studioKey int64, q UsesQuery) (domain.Use, error) {
	row, err := t.q.SumUses(ctx, queries.SumUsesParams{
		StudioKey: studioKey, Department: q.Department, WindowStart: q.Window.Start, WindowEnd: q.Window.End, At: t.at,
		FurnaceIds: noNull(q.FurnaceIDs), ExceptKeys: noNullKeys(q.ExceptKeys),
	})
	return domain.Use(row), err
}

// UnusedHours adds up for how long a maker holds furnaces from now on, and what of theirs was missed since an instant that is
// not later than now.
func (t *Tx) UnusedHours(ctx context.Context, studioKey int64, maker string, missedSince time.Time, exceptKeys []int64) (float64, error) {
	return t.q.SumUnused(ctx, queries.SumUnusedParams{
		StudioKey: studioKey, Maker: maker, MissedSince: missedSince, At: t.at, ExceptKeys: noNullKeys(exceptKeys),
	})
}

// noNullKeys makes a list that the database does not take for NULL.
func noNullKeys(keys []int64) []int64 {
	if keys == nil {
		return []int64{}
	}
	return keys
}
