package store_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/heat"
	"saggar/server/domain"
	"saggar/server/store"
)

func TestStudios(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	glass := b.addStudio("glass-shed")
	require.NotEqual(t, b.studio.Key, glass.Key)
	b.do(func(ctx context.Context, tx *store.Tx) error {
		found, err := tx.Studio(ctx, "kiln-yard")
		require.NoError(t, err)
		assert.Equal(t, b.studio, found, "its creation is in UTC, too")

		all, err := tx.ListStudios(ctx, nil, "", 0)
		require.NoError(t, err)
		assert.Equal(t, []domain.Studio{glass, b.studio}, all)
		page, err := tx.ListStudios(ctx, nil, "", 1)
		require.NoError(t, err)
		assert.Equal(t, []domain.Studio{glass}, page)
		page, err = tx.ListStudios(ctx, nil, "glass-shed", 5)
		require.NoError(t, err)
		assert.Equal(t, []domain.Studio{b.studio}, page)

		found.Title, found.TimeZone, found.StepMinutes, found.ChargeMinutes, found.DrawMinutes = "Yard", "Asia/Tokyo", 10, 5, 6
		found.AcidMistFraction, found.Revision, found.EquipmentRevision, found.OwnRevision = 0.05, 9, 8, 7
		require.NoError(t, tx.UpdateStudio(ctx, found))
		again, err := tx.LockStudio(ctx, "kiln-yard")
		require.NoError(t, err)
		assert.Equal(t, found, again)

		_, err = tx.Studio(ctx, "nowhere")
		require.ErrorIs(t, err, domain.ErrNotFound)
		require.ErrorContains(t, err, "studio nowhere")
		require.ErrorIs(t, tx.UpdateStudio(ctx, domain.Studio{Key: 999, ID: "gone"}), domain.ErrNotFound)
		return nil
	})
	err := b.InTx(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		_, err := tx.InsertStudio(ctx, b.studio)
		return err
	})
	require.ErrorIs(t, err, domain.ErrAlreadyExists)
	require.ErrorContains(t, err, "studios/kiln-yard exists already")
}

func TestEveryKindOfEquipmentIsReadAsItWasPut(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	resources := []domain.Equipment{
		{Kind: domain.KindClosure, ID: "c1", Closure: &domain.Closure{
			ID: "c1", SubjectKind: domain.KindRoom, SubjectID: "hall", Start: at(1), End: at(2), Reason: "painting",
		}},
		{Kind: domain.KindCircuit, ID: "fan", Circuit: &air.Circuit{
			ID: "fan", Branches: []air.Branch{{ID: "hood", Room: "hall", CubicMetersPerSecond: 0.25, Method: "vane"}},
		}},
		{Kind: domain.KindFurnace, ID: "pot", Furnace: &heat.Furnace{
			ID: "pot", Title: "Crucible", Room: "hall", Atmospheres: []heat.Atmosphere{heat.Reducing}, TopCelsius: 1300.5,
			HeatingTimes: []heat.Timing{{FromCelsius: 20, ToCelsius: 1000, Minutes: 75}},
		}},
		{Kind: domain.KindRoom, ID: "hall", Room: &air.Room{ID: "hall", VolumeCubicMeters: 90, MixingFactor: 3, CrewCount: 2}},
		{Kind: domain.KindStaffedHours, ID: "hall", Hours: &domain.StaffedHours{
			ID: "hall", Weekly: []domain.WeeklyHours{{Days: []time.Weekday{time.Monday}, OpensMinute: 480, ClosesMinute: 1020}},
		}},
		{Kind: domain.KindSupply, ID: "panel", Supply: &domain.Supply{ID: "panel", Title: "Panel", LimitKilowatts: 40}},
	}
	b.do(func(ctx context.Context, tx *store.Tx) error {
		for i := range resources {
			resources[i].Revision = int64(10 + i)
			put, err := tx.PutEquipment(ctx, b.studio.Key, resources[i])
			require.NoError(t, err)
			require.Positive(t, put.Key)
			resources[i].Key = put.Key
			assert.Equal(t, resources[i], put)
			found, err := tx.EquipmentOne(ctx, b.studio.Key, put.Kind, put.ID)
			require.NoError(t, err)
			assert.Equal(t, put, found)
		}
		all, err := tx.Equipment(ctx, b.studio.Key)
		require.NoError(t, err)
		assert.Len(t, all, len(resources)+2)
		assert.Subset(t, all, resources)
		return nil
	})
}

func TestPuttingEquipmentAgainKeepsItsKey(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.do(func(ctx context.Context, tx *store.Tx) error {
		before, err := tx.EquipmentOne(ctx, b.studio.Key, domain.KindFurnace, "muffle")
		require.NoError(t, err)
		after, err := tx.PutEquipment(ctx, b.studio.Key, domain.Equipment{
			Kind: domain.KindFurnace, ID: "muffle", Revision: 7, Furnace: &heat.Furnace{ID: "muffle", Title: "Relined"},
		})
		require.NoError(t, err)
		assert.Equal(t, before.Key, after.Key)
		found, err := tx.EquipmentOne(ctx, b.studio.Key, domain.KindFurnace, "muffle")
		assert.Equal(t, after, found)
		return err
	})
}

func TestEquipmentIsListedByKindAndPage(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.do(func(ctx context.Context, tx *store.Tx) error {
		for after, want := range map[string][]string{"": {"muffle"}, "muffle": {"top-loader"}, "top-loader": nil} {
			page, err := tx.ListEquipment(ctx, b.studio.Key, domain.KindFurnace, after, 1)
			require.NoError(t, err)
			var got []string
			for _, e := range page {
				got = append(got, e.ID)
			}
			assert.Equal(t, want, got, "after %q", after)
		}
		rooms, err := tx.ListEquipment(ctx, b.studio.Key, domain.KindRoom, "", 0)
		assert.Empty(t, rooms)
		return err
	})
}

func TestDeletingEquipment(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.mustBook(b.run("blue-1", firing("muffle", window(1, 2))))
	remove := func(id string) error {
		return b.InTx(t.Context(), func(ctx context.Context, tx *store.Tx) error {
			return tx.DeleteEquipment(ctx, b.studio.Key, domain.KindFurnace, id)
		})
	}
	require.NoError(t, remove("top-loader"))
	require.ErrorIs(t, remove("top-loader"), domain.ErrNotFound)
	err := remove("muffle")
	require.ErrorIs(t, err, domain.ErrWrongState)
	require.ErrorContains(t, err, "furnaces/muffle has firings: close it")
	assert.Equal(t, 1, b.count("equipment"), "the muffle stays")
}

func TestVersionsOfMaterials(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	clay := chem.Material{ID: "clay", Version: 1, Phases: []chem.Phase{{Formula: "Al2Si2O9H4", MassFraction: 1}}}
	moist := clay
	moist.Version, moist.MoistureFraction = 2, 0.0125
	sand := chem.Material{ID: "sand", Version: 1, Oxides: []chem.Oxide{{Formula: "SiO2", MassFraction: 0.99}}}
	b.do(func(ctx context.Context, tx *store.Tx) error {
		for _, m := range []chem.Material{moist, sand, clay} {
			require.NoError(t, tx.InsertMaterial(ctx, b.studio.Key, m, monday))
		}
		for version, want := range map[int]chem.Material{0: moist, 1: clay, 2: moist} {
			found, err := tx.Material(ctx, b.studio.Key, "clay", version)
			require.NoError(t, err)
			assert.Equal(t, want, found)
		}
		_, err := tx.Material(ctx, b.studio.Key, "clay", 3)
		require.ErrorIs(t, err, domain.ErrNotFound)

		newest, err := tx.Materials(ctx, b.studio.Key, []string{"clay", "sand", "gold"})
		require.NoError(t, err)
		assert.Equal(t, map[string]chem.Material{"clay": moist, "sand": sand}, newest)
		none, err := tx.Materials(ctx, b.studio.Key, nil)
		require.NoError(t, err)
		assert.Empty(t, none)

		all, err := tx.ListMaterials(ctx, b.studio.Key, "", 0)
		require.NoError(t, err)
		assert.Equal(t, []chem.Material{moist, sand}, all, "the newest of each")
		page, err := tx.ListMaterials(ctx, b.studio.Key, "clay", 1)
		assert.Equal(t, []chem.Material{sand}, page)
		return err
	})
	insert := func(studioKey int64) error {
		return b.InTx(t.Context(), func(ctx context.Context, tx *store.Tx) error {
			return tx.InsertMaterial(ctx, studioKey, clay, monday)
		})
	}
	require.ErrorIs(t, insert(b.studio.Key), domain.ErrAlreadyExists)
	require.ErrorIs(t, insert(999), domain.ErrNotFound)
}

func TestVersionsOfRecipes(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	second := chem.Recipe{ID: "blue", Version: 2, Title: "Blue", Stages: []chem.Stage{{
		ID: "calcine", Kind: chem.Calcine, Program: &heat.Program{Cooling: heat.CoolClosed, Segments: []heat.Segment{{ToCelsius: 600}}},
	}}}
	b.do(func(ctx context.Context, tx *store.Tx) error {
		require.NoError(t, tx.InsertRecipe(ctx, b.studio.Key, second, monday))
		newest, err := tx.Recipe(ctx, b.studio.Key, "blue", 0)
		require.NoError(t, err)
		assert.Equal(t, second, newest)
		first, err := tx.Recipe(ctx, b.studio.Key, "blue", 1)
		require.NoError(t, err)
		assert.Equal(t, 1, first.Version)
		_, err = tx.Recipe(ctx, b.studio.Key, "green", 0)
		require.ErrorIs(t, err, domain.ErrNotFound)
		all, err := tx.ListRecipes(ctx, b.studio.Key, "", 10)
		require.NoError(t, err)
		assert.Equal(t, []chem.Recipe{second}, all)
		none, err := tx.ListRecipes(ctx, b.studio.Key, "blue", 10)
		assert.Empty(t, none)
		return err
	})
}

func TestAnotherStudiosKeySeesNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	r := b.mustBook(b.run("blue-1", firing("muffle", window(8, 16))))
	require.NoError(t, b.book(store.Booking{NewRuns: []domain.Run{b.run("blue-2")}, Remembered: remembered(requestA)}))
	var foreign domain.Studio
	b.do(func(ctx context.Context, tx *store.Tx) (err error) {
		if err := tx.InsertMaterial(ctx, b.studio.Key, chem.Material{ID: "clay", Version: 1}, monday); err != nil {
			return err
		}
		foreign, err = tx.InsertStudio(ctx, domain.Studio{ID: "far-away", TimeZone: "UTC", CreateTime: monday})
		return err
	})
	b.do(func(ctx context.Context, tx *store.Tx) error {
		key := foreign.Key
		for name, read := range map[string]func() error{
			"run":       func() error { _, err := tx.Run(ctx, key, "blue-1"); return err },
			"firing":    func() error { _, err := tx.Firing(ctx, key, r.Loads[0].Firing.ID); return err },
			"equipment": func() error { _, err := tx.EquipmentOne(ctx, key, domain.KindFurnace, "muffle"); return err },
			"delete":    func() error { return tx.DeleteEquipment(ctx, key, domain.KindFurnace, "top-loader") },
			"material":  func() error { _, err := tx.Material(ctx, key, "clay", 0); return err },
			"version":   func() error { _, err := tx.Material(ctx, key, "clay", 1); return err },
			"recipe":    func() error { _, err := tx.Recipe(ctx, key, "blue", 0); return err },
		} {
			assert.ErrorIs(t, read(), domain.ErrNotFound, name)
		}
		lists := map[string]func() (int, error){
			"equipment": func() (int, error) { l, err := tx.Equipment(ctx, key); return len(l), err },
			"a kind": func() (int, error) {
				l, err := tx.ListEquipment(ctx, key, domain.KindFurnace, "", 0)
				return len(l), err
			},
			"materials":  func() (int, error) { l, err := tx.ListMaterials(ctx, key, "", 0); return len(l), err },
			"newest":     func() (int, error) { l, err := tx.Materials(ctx, key, []string{"clay"}); return len(l), err },
			"recipes":    func() (int, error) { l, err := tx.ListRecipes(ctx, key, "", 0); return len(l), err },
			"runs":       func() (int, error) { l, err := tx.ListRuns(ctx, key, "", 0, 0); return len(l), err },
			"department": func() (int, error) { l, err := tx.ListRuns(ctx, key, "glass", 0, 0); return len(l), err },
			"firings": func() (int, error) {
				l, err := tx.FiringsOver(ctx, key, store.FiringsQuery{Window: window(0, 99)})
				return len(l), err
			},
			"changes": func() (int, error) { l, err := tx.ListChanges(ctx, key, 0, 0); return len(l), err },
			"the booking": func() (int, error) {
				l, err := tx.LockForBooking(ctx, store.BookingLock{
					StudioID: "far-away", Since: 0, Window: window(0, 99), Caller: "ada", RequestID: requestA,
				})
				return len(l.NewFirings), err
			},
		}
		for name, read := range lists {
			count, err := read()
			require.NoError(t, err, name)
			assert.Zero(t, count, name)
		}
		did, err := tx.Remembered(ctx, key, "ada", requestA)
		assert.Nil(t, did)
		return err
	})
}
