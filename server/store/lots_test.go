package store_test

import (
	"context"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/server/domain"
	"saggar/server/store"
)

// keep puts a lot down with a mass, at a revision.
func (b *bench) keep(lot domain.Lot, mass domain.Micrograms, revision int64) {
	b.t.Helper()
	lot.Revision, lot.CreateTime = revision, monday
	b.do(func(ctx context.Context, tx *store.Tx) error {
		if err := tx.InsertLot(ctx, b.studio.Key, lot); err != nil {
			return err
		}
		return tx.MoveLots(ctx, b.studio.Key, domain.Change{Time: monday, Caller: "ada"}, domain.LotMove{
			LotID: lot.ID, Kind: domain.LotCreated, MassChange: mass, Revision: revision,
		})
	})
}

func (b *bench) move(revision int64, moves ...domain.LotMove) error {
	for i := range moves {
		moves[i].Revision = revision
	}
	return b.InTx(b.t.Context(), func(ctx context.Context, tx *store.Tx) error {
		return tx.MoveLots(ctx, b.studio.Key, domain.Change{Time: monday, Caller: "ada"}, moves...)
	})
}

func (b *bench) lot(id string) (lot domain.Lot) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx *store.Tx) (err error) {
		lot, err = tx.Lot(ctx, b.studio.Key, id)
		return err
	})
	return lot
}

func described(id string) domain.Lot {
	moisture := 0.125
	return domain.Lot{
		Lot: chem.Lot{
			ID: id, Material: "kaolin", MadeOn: "2031-03-01", Owner: "ada", MoistureFraction: &moisture, Hazards: []chem.Hazard{chem.HazardSilicaDust},
		},
		Title: "Kaolin, third bag", Department: "ceramics", Shared: true, Place: "shelf 3", SafetySheet: "https://sheets.example/kaolin",
		LowStockGrams: 250,
	}
}

func TestALotIsStoredAndFound(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	want := described("kaolin-3")
	b.keep(want, 1_500_000_001, 2)
	got := b.lot("kaolin-3")
	want.OnHand, want.MassGrams, want.Revision, want.DescribedRevision, want.CreateTime = 1_500_000_001, 1500.000001, 2, 2, monday
	assert.Equal(t, want, got)

	got.Title, got.Department, got.Revision = "Kaolin, last of it", "glass", 3
	b.do(func(ctx context.Context, tx *store.Tx) error { return tx.DescribeLot(ctx, b.studio.Key, got) })
	got.DescribedRevision = 3
	assert.Equal(t, got, b.lot("kaolin-3"))

	err := b.InTx(t.Context(), func(ctx context.Context, tx *store.Tx) error { return tx.InsertLot(ctx, b.studio.Key, want) })
	assert.ErrorIs(t, err, domain.ErrAlreadyExists)
	err = b.InTx(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		return tx.DescribeLot(ctx, b.studio.Key, described("none"))
	})
	assert.ErrorIs(t, err, domain.ErrNotFound)

	other := b.addStudio("elsewhere")
	err = b.InSnapshot(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		_, err := tx.Lot(ctx, other.Key, "kaolin-3")
		return err
	})
	assert.ErrorIs(t, err, domain.ErrNotFound, "another studio's")
}

func TestLotsAreListedByWhatIsAsked(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	low, empty, made := described("b-low"), described("c-empty"), described("d-made")
	made.Material, made.FromRun, made.Department = "", "blue-1", "glass"
	made.Phases, made.LowStockGrams = []chem.Phase{{Formula: "SiO2", MassFraction: 1}}, 0
	empty.LowStockGrams = 0
	b.keep(described("a-full"), domain.MicrogramsOf(300), 2)
	b.keep(low, domain.MicrogramsOf(300), 3)
	b.keep(empty, domain.MicrogramsOf(1), 4)
	b.keep(made, domain.MicrogramsOf(5), 5)
	require.NoError(t, b.move(6, domain.LotMove{LotID: "c-empty", Kind: domain.LotTaken, MassChange: -domain.MicrogramsOf(1)},
		domain.LotMove{LotID: "b-low", Kind: domain.LotReserved, ReservedChange: domain.MicrogramsOf(50.000001)}))
	for name, c := range map[string]struct {
		query store.LotsQuery
		want  []string
	}{
		"all at hand":   {store.LotsQuery{}, []string{"a-full", "b-low", "d-made"}},
		"all":           {store.LotsQuery{ShowEmpty: true}, []string{"a-full", "b-low", "c-empty", "d-made"}},
		"low":           {store.LotsQuery{LowStock: true}, []string{"b-low"}},
		"of a run":      {store.LotsQuery{FromRun: "blue-1"}, []string{"d-made"}},
		"of glass":      {store.LotsQuery{Department: "glass"}, []string{"d-made"}},
		"of a material": {store.LotsQuery{Material: "kaolin", Limit: 1, After: "a-full"}, []string{"b-low"}},
	} {
		var got []string
		b.do(func(ctx context.Context, tx *store.Tx) error {
			lots, err := tx.ListLots(ctx, b.studio.Key, c.query)
			got = nil
			for _, lot := range lots {
				got = append(got, lot.ID)
			}
			return err
		})
		assert.Equal(t, c.want, got, name)
	}
}

func TestNoLotIsOverdrawn(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.keep(described("clay"), 100, 2)
	move := func(mass, reserved domain.Micrograms) domain.LotMove {
		return domain.LotMove{LotID: "clay", Kind: domain.LotReserved, MassChange: mass, ReservedChange: reserved}
	}
	require.NoError(t, b.move(3, move(0, 100)), "all of it")
	assert.ErrorIs(t, b.move(4, move(0, 1)), domain.ErrLotDrawn, "more than is there")
	assert.ErrorIs(t, b.move(4, move(-1, 0)), domain.ErrLotDrawn, "what is reserved")
	assert.ErrorIs(t, b.move(4, move(0, -101)), domain.ErrLotDrawn, "less than nothing")
	require.NoError(t, b.move(4, move(-100, -100)))
	seen := move(5, 0)
	seen.DescribedRevision = 1
	assert.ErrorIs(t, b.move(5, seen), domain.ErrLotDrawn, "it was described anew since")
	seen.DescribedRevision = 2
	assert.NoError(t, b.move(5, seen))
	assert.ErrorIs(t, b.move(6, domain.LotMove{LotID: "none", Kind: domain.LotTaken}), domain.ErrLotDrawn)
}

// A model of plain sums beside the database: whatever is done, entries add up to what is there.
func TestALotsHistoryAddsUp(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, seed))
	ids := []string{"a", "b"}
	mass, reserved := map[string]domain.Micrograms{}, map[string]domain.Micrograms{}
	for i, id := range ids {
		mass[id] = 1000
		b.keep(described(id), 1000, int64(2+i))
	}
	refused := 0
	for step := range 60 {
		id, revision := ids[random.IntN(2)], int64(10+2*step)
		change := domain.LotMove{LotID: id, Kind: domain.LotWeighed, MassChange: domain.Micrograms(random.IntN(401) - 200),
			ReservedChange: domain.Micrograms(random.IntN(401) - 200), Revision: revision}
		second := change // the same booking, a revision later
		second.Revision++
		err := b.InTx(t.Context(), func(ctx context.Context, tx *store.Tx) error {
			return tx.MoveLots(ctx, b.studio.Key, domain.Change{Time: monday, Caller: "ada"}, change, second)
		})
		m, r := mass[id]+2*change.MassChange, reserved[id]+2*change.ReservedChange
		if r < 0 || r > m {
			require.ErrorIs(t, err, domain.ErrLotDrawn)
			refused++
			continue
		}
		require.NoError(t, err)
		mass[id], reserved[id] = m, r
		lot := b.lot(id)
		require.Equal(t, []domain.Micrograms{m, r}, []domain.Micrograms{lot.OnHand, lot.Reserved})
	}
	assert.Positive(t, refused)
	for _, id := range ids {
		var entries []domain.LotEntry
		b.do(func(ctx context.Context, tx *store.Tx) (err error) {
			entries, err = tx.ListLotEntries(ctx, b.studio.Key, store.LotEntriesQuery{Lot: id})
			return err
		})
		var m, r domain.Micrograms
		for i := len(entries) - 1; i >= 0; i-- {
			e := entries[i]
			m, r = m+e.MassChange, r+e.ReservedChange
			require.Equal(t, []domain.Micrograms{m, r}, []domain.Micrograms{e.OnHand, e.Reserved}, "entry at revision %d", e.Revision)
		}
		assert.Equal(t, []domain.Micrograms{mass[id], reserved[id]}, []domain.Micrograms{m, r})
	}
	var page []domain.LotEntry
	b.do(func(ctx context.Context, tx *store.Tx) (err error) {
		page, err = tx.ListLotEntries(ctx, b.studio.Key, store.LotEntriesQuery{BeforeRevision: 3, BeforeKey: 1 << 40, Limit: 1})
		return err
	})
	require.Len(t, page, 1)
	assert.Equal(t, "b", page[0].LotID, "from where a page ended")
}
