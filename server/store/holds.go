package store

import (
	"context"
	"strings"
	"time"

	"saggar/server/domain"
	"saggar/server/store/queries"
)

// HoldsQuery says which holds are wanted.
type HoldsQuery struct {
	// Kind is vessels or gear, and IDs which of them; empty: all.
	Kind domain.EquipmentKind
	IDs  []string
	// EndsAfter leaves out those that were over at that time; zero: none.
	EndsAfter time.Time
	// AfterStart and AfterKey are start and key of the last hold of the page before.
	AfterStart time.Time
	AfterKey   int64
	// Limit is the most returned; 0: all.
	Limit int
}

// Holds returns which runs have what, by start and then key. Runs that waited too long hold nothing.
func (t *Tx) Holds(ctx context.Context, studioKey int64, q HoldsQuery) ([]domain.BookedHold, error) {
	rows, err := t.q.HoldsOf(ctx, queries.HoldsOfParams{
		StudioKey: studioKey, Kind: string(q.Kind), EquipmentIds: noNull(q.IDs), EndsAfter: q.EndsAfter, At: t.at,
		AfterStart: q.AfterStart, AfterKey: q.AfterKey, MaxRows: int64(q.Limit),
	})
	return collect(rows, toHold), err
}

func toHold(row queries.HoldsOfRow) domain.BookedHold {
	return domain.BookedHold{
		Key: row.HoldKey, RunKey: row.RunKey, RunID: row.RunID, Department: row.Department,
		Hold: domain.Hold{
			Kind: domain.EquipmentKind(row.Kind), ID: row.EquipmentID, Count: int(row.ItemCount), Stage: row.StageID,
			Window: domain.Window{Start: row.StartTime, End: row.EndTime}, Alone: row.Alone, Leaves: row.Leaves,
		},
	}
}

// holds takes away what changed runs have held and gives all runs what their stages hold now.
func (w writer) holds(ctx context.Context) error {
	var changed []int64
	arg := queries.InsertHoldsParams{StudioKey: w.Studio.Key}
	for _, runs := range [][]domain.Run{w.ChangedRuns, w.NewRuns} {
		for _, r := range runs {
			for _, h := range r.StandingHolds() {
				arg.Kinds = append(arg.Kinds, string(h.Kind))
				arg.EquipmentIds = append(arg.EquipmentIds, h.ID)
				arg.RunKeys = append(arg.RunKeys, r.Key)
				arg.StageIds = append(arg.StageIds, h.Stage)
				arg.StartTimes = append(arg.StartTimes, h.Window.Start)
				arg.EndTimes = append(arg.EndTimes, h.Window.End)
				arg.ItemCounts = append(arg.ItemCounts, int32(h.Count))
				arg.Alone = append(arg.Alone, h.Alone)
				arg.Leaves = append(arg.Leaves, strings.Join(h.Leaves, ","))
			}
		}
	}
	for _, r := range w.ChangedRuns {
		changed = append(changed, r.Key)
	}
	if len(changed) > 0 {
		if err := w.q.DeleteHolds(ctx, queries.DeleteHoldsParams{StudioKey: w.Studio.Key, RunKeys: changed}); err != nil {
			return err
		}
	}
	if len(arg.Kinds) == 0 {
		return nil
	}
	return w.q.InsertHolds(ctx, arg)
}
