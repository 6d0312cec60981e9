package store

import (
	"context"

	"saggar/server/store/queries"
)

// UnplacedLoad is a load whose shared firing was called off.
type UnplacedLoad struct{ RunID, Stage, FiringID string }

// UnplacedLoads returns the loads of a studio that wait for another firing.
func (t *Tx) UnplacedLoads(ctx context.Context, studioKey int64) ([]UnplacedLoad, error) {
	rows, err := t.q.UnplacedLoads(ctx, studioKey)
	return collect(rows, func(row queries.UnplacedLoadsRow) UnplacedLoad {
		return UnplacedLoad{RunID: row.RunID, Stage: row.StageID, FiringID: row.FiringID}
	}), err
}
