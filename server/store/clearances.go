package store

import (
	"context"

	"saggar/server/domain"
	"saggar/server/store/queries"
)

// ListWaitingRuns returns the runs that wait for clearances and have keys after the given one, oldest first, at most limit;
// 0: all.
func (t *Tx) ListWaitingRuns(ctx context.Context, studioKey, afterKey int64, limit int) ([]domain.Run, error) {
	rows, err := t.q.ListWaitingRuns(ctx, queries.ListWaitingRunsParams{
		StudioKey: studioKey, At: t.at, AfterKey: afterKey, MaxRows: int64(limit),
	})
	if err != nil {
		return nil, err
	}
	return t.fillRuns(ctx, studioKey, collect(rows, func(row queries.ListWaitingRunsRow) queries.GetRunRow {
		return queries.GetRunRow(row)
	}), false)
}

// StudiosWithLapsed returns the ids of the studios in which a run waited, or an offer of time stood, longer than it may, by id.
func (t *Tx) StudiosWithLapsed(ctx context.Context) ([]string, error) {
	return t.q.StudiosWithLapsed(ctx, t.at)
}

// HasMade reports whether a maker has a run by a recipe that stands confirmed or was done, besides the one of an id.
func (t *Tx) HasMade(ctx context.Context, studioKey int64, run domain.Run) (bool, error) {
	return t.q.HasMade(ctx, queries.HasMadeParams{
		StudioKey: studioKey, Maker: run.Maker, RecipeID: run.RecipeID, ExceptRunID: run.ID,
	})
}

// encodeClearances writes none as an empty list, as the column's default has it.
func encodeClearances(r domain.Run) ([]byte, error) {
	if len(r.Clearances) == 0 {
		return []byte("[]"), nil
	}
	return encode("the clearances of run "+r.ID, r.Clearances)
}
