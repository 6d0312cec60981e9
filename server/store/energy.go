package store

import (
	"context"

	"saggar/server/store/queries"
)

// EnergyOfFirings is what the supply gives for each firing, in kWh, as it was kept at booking, by the firing's key; those of
// which it was not kept are left out.
func (t *Tx) EnergyOfFirings(ctx context.Context, studioKey int64, firingKeys []int64) (map[int64]float64, error) {
	rows, err := t.q.EnergyOfFirings(ctx, queries.EnergyOfFiringsParams{StudioKey: studioKey, FiringKeys: firingKeys})
	known := map[int64]float64{}
	for _, row := range rows {
		if row.EnergyKilowattHours >= 0 {
			known[row.FiringKey] = row.EnergyKilowattHours
		}
	}
	return known, err
}
