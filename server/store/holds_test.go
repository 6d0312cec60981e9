package store_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/domain"
	"saggar/server/store"
)

// shelf adds a vessel and gear to the bench's studio.
func (b *bench) shelf() {
	b.t.Helper()
	b.do(func(ctx context.Context, tx *store.Tx) error {
		for _, e := range []domain.Equipment{
			{Kind: domain.KindVessel, ID: "pot", Revision: 1, Vessel: &domain.Vessel{ID: "pot", Held: []string{"lead"}, HeldTime: at(1)}},
			{Kind: domain.KindGear, ID: "mask", Revision: 1, Gear: &domain.Gear{ID: "mask", UsedTime: at(2)}},
		} {
			if _, err := tx.PutEquipment(ctx, b.studio.Key, e); err != nil {
				return err
			}
		}
		return nil
	})
}

// holding is a run that has something in its first stage.
func (b *bench) holding(id, furnace string, w domain.Window, holds ...domain.Hold) domain.Run {
	r := b.run(id, firing(furnace, w))
	for i := range holds {
		holds[i].Stage = "stage-0"
	}
	r.Inputs.Holds = holds
	return r
}

func potHold(w domain.Window) domain.Hold {
	return domain.Hold{Kind: domain.KindVessel, ID: "pot", Count: 1, Window: w, Alone: true, Leaves: []string{"iron", "sulfur"}}
}

func (b *bench) holds(q store.HoldsQuery) (holds []domain.BookedHold) {
	b.t.Helper()
	require.NoError(b.t, b.InSnapshot(b.t.Context(), func(ctx context.Context, tx *store.Tx) (err error) {
		holds, err = tx.Holds(ctx, b.studio.Key, q)
		return err
	}))
	return holds
}

func TestASingleVesselIsNeverHeldTwice(t *testing.T) {
	t.Parallel()
	several := potHold(window(8, 16))
	several.Alone = false
	for name, c := range map[string]struct {
		second  domain.Hold
		refused bool
	}{
		"the same hours":         {potHold(window(8, 16)), true},
		"the last minute of it":  {potHold(window(15.9, 20)), true},
		"right after it":         {potHold(window(16, 20)), false},
		"right before it":        {potHold(window(1, 8)), false},
		"one of a set":           {several, false},
		"what there is not":      {domain.Hold{Kind: domain.KindVessel, ID: "none", Count: 1, Window: window(8, 16)}, true},
		"a gear of another kind": {domain.Hold{Kind: domain.KindGear, ID: "mask", Count: 1, Window: window(8, 16), Alone: true}, false},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			b.shelf()
			b.mustBook(b.holding("blue-1", "muffle", window(8, 16), potHold(window(8, 16))))
			err := b.book(store.Booking{NewRuns: []domain.Run{b.holding("blue-2", "top-loader", window(30, 40), c.second)}})
			if !c.refused {
				require.NoError(t, err)
				return
			}
			if c.second.ID == "none" {
				require.ErrorIs(t, err, domain.ErrNotFound)
			} else {
				require.ErrorIs(t, err, domain.ErrHeld)
			}
			assert.Equal(t, 1, b.count("runs"), "nothing of the second stands")
			assert.Equal(t, 1, b.count("equipment_holds"))
		})
	}
}

func TestHoldsFollowTheirRun(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.shelf()
	mask := domain.Hold{Kind: domain.KindGear, ID: "mask", Count: 1, Window: window(8, 9)}
	run := b.mustBook(b.holding("blue-1", "muffle", window(8, 16), potHold(window(7, 17)), mask))
	assert.Len(t, run.Inputs.Holds, 2, "the run knows what it has")
	all := b.holds(store.HoldsQuery{})
	require.Len(t, all, 2)
	want := potHold(window(7, 17))
	want.Stage = "stage-0"
	assert.Equal(t, domain.BookedHold{Hold: want, Key: all[0].Key, RunKey: run.Key, RunID: "blue-1", Department: "glass"}, all[0])
	assert.Len(t, b.holds(store.HoldsQuery{Kind: domain.KindGear}), 1)
	assert.Empty(t, b.holds(store.HoldsQuery{Kind: domain.KindGear, IDs: []string{"other"}}))
	assert.Len(t, b.holds(store.HoldsQuery{EndsAfter: at(9)}), 1)
	assert.Empty(t, b.holds(store.HoldsQuery{EndsAfter: at(17)}))
	assert.Equal(t, all[1:], b.holds(store.HoldsQuery{AfterStart: all[0].Window.Start, AfterKey: all[0].Key}))
	assert.Equal(t, all[:1], b.holds(store.HoldsQuery{Limit: 1}))

	run.Inputs.Holds[0].Window = window(20, 30)
	require.NoError(t, b.book(store.Booking{ChangedRuns: []domain.Run{run}}))
	assert.Equal(t, window(20, 30), b.holds(store.HoldsQuery{Kind: domain.KindVessel})[0].Window)
	run.Loads[0].State, run.Loads[0].Firing.State = domain.LoadCancelled, domain.LoadCancelled
	require.NoError(t, b.book(store.Booking{ChangedRuns: []domain.Run{run}}))
	assert.Empty(t, b.holds(store.HoldsQuery{}), "called off, it holds nothing")
}

func TestWhatRunsHaveHadIsNotDeleted(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.shelf()
	b.mustBook(b.holding("blue-1", "muffle", window(8, 16), potHold(window(8, 16))))
	remove := func(kind domain.EquipmentKind, id string) error {
		return b.InTx(t.Context(), func(ctx context.Context, tx *store.Tx) error { return tx.DeleteEquipment(ctx, b.studio.Key, kind, id) })
	}
	require.ErrorContains(t, remove(domain.KindVessel, "pot"), "runs have had vessels/pot: take it out of use")
	require.NoError(t, remove(domain.KindGear, "mask"))
}
