package store

import (
	"context"

	"saggar/server/domain"
	"saggar/server/store/queries"
)

// BenchWorkOver returns bench work without a station that overlaps a window, also what was called off, by start.
func (t *Tx) BenchWorkOver(ctx context.Context, studioKey int64, window domain.Window) ([]domain.BenchWork, error) {
	rows, err := t.q.BenchWorkOver(ctx, queries.BenchWorkOverParams{
		StudioKey: studioKey, WindowStart: window.Start, WindowEnd: window.End,
	})
	return collect(rows, func(row queries.BenchWorkOverRow) domain.BenchWork {
		return domain.BenchWork{
			RunID: row.RunID, Department: row.Department, Maker: row.Maker, Stage: row.StageID, State: domain.LoadState(row.State),
			Window: domain.Window{Start: row.StartTime, End: row.EndTime},
		}
	}), err
}
