package domain

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"saggar/chem"
)

func TestMassesAreExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sum := Micrograms(0)
		drawn := rapid.SliceOf(rapid.IntRange(0, 1e9)).Draw(t, "tenths of a milligram")
		for _, n := range drawn {
			sum += MicrogramsOf(float64(n) / 1e4)
		}
		for _, n := range drawn {
			sum -= MicrogramsOf(float64(n) / 1e4)
		}
		assert.Zero(t, sum)
	})
	assert.InDelta(t, 12.345678, MicrogramsOf(12.345678).Grams(), 0)
}

func TestWhoMayTakeOfALotAndWhenItIsLow(t *testing.T) {
	lot := Lot{Lot: chem.Lot{ID: "clay"}, Department: "ceramics", LowStockGrams: 100, OnHand: MicrogramsOf(150), Reserved: MicrogramsOf(50)}
	assert.True(t, lot.OpenTo("ceramics"))
	assert.False(t, lot.OpenTo("glass"))
	lot.Shared = true
	assert.True(t, lot.OpenTo("glass"))
	assert.True(t, Lot{}.OpenTo("glass"), "nobody's is everybody's")
	assert.False(t, lot.IsLow(), "just enough is free")
	lot.Reserved++
	assert.True(t, lot.IsLow())
	assert.False(t, Lot{}.IsLow(), "one that is not watched is never low")
}

func TestMovesOfARunsDraws(t *testing.T) {
	clay, soda := Lot{Lot: chem.Lot{ID: "clay"}, DescribedRevision: 4}, Lot{Lot: chem.Lot{ID: "soda"}, DescribedRevision: 5}
	run := Run{ID: "blue", Revision: 9, Draws: []LotDraw{
		NewLotDraw(clay, "mix", "clay", 30), NewLotDraw(clay, "top-up", "clay", 5), NewLotDraw(soda, "mix", "soda", 7),
	}}
	assert.Equal(t, []LotMove{
		{LotID: "clay", Kind: LotReserved, ReservedChange: 35, DescribedRevision: 4, Revision: 9, RunID: "blue"},
		{LotID: "soda", Kind: LotReserved, ReservedChange: 7, DescribedRevision: 5, Revision: 9, RunID: "blue"},
	}, run.LotMoves(nil))
	before := []LotDraw{NewLotDraw(clay, "mix", "clay", 40), {Lot: "lime", Mass: 3, State: DrawReserved}, {Lot: "ash", Mass: 2, State: DrawTaken}}
	assert.Equal(t, []LotMove{
		{LotID: "clay", Kind: LotReserved, ReservedChange: -5, DescribedRevision: 4, Revision: 9, RunID: "blue"},
		{LotID: "lime", Kind: LotReleased, ReservedChange: -3, Revision: 9, RunID: "blue"},
		{LotID: "soda", Kind: LotReserved, ReservedChange: 7, DescribedRevision: 5, Revision: 9, RunID: "blue"},
	}, run.LotMoves(before))

	taken := LotDraw{Stage: "mix", Material: "clay", Lot: "clay", Mass: 29, State: DrawTaken}
	assert.Equal(t, taken, run.Draws[0].Or([]LotDraw{taken}))
	assert.Equal(t, run.Draws[1], run.Draws[1].Or([]LotDraw{taken}), "another stage")
	run.Draws[0] = taken
	run.Release()
	assert.Equal(t, []LotDrawState{DrawTaken, DrawReleased, DrawReleased}, []LotDrawState{run.Draws[0].State, run.Draws[1].State, run.Draws[2].State})
}

func TestFaultsOfALot(t *testing.T) {
	good := Lot{Lot: chem.Lot{ID: "clay", Material: "kaolin", MadeOn: "2027-03-01"}, SafetySheet: "https://sheets.example/kaolin"}
	assert.Empty(t, good.Check())
	for field, spoil := range map[string]func(*Lot){
		"safety_sheet": func(l *Lot) { l.SafetySheet = "in the drawer" }, "low_stock_grams": func(l *Lot) { l.LowStockGrams = -1 },
		"made_on": func(l *Lot) { l.MadeOn = "soon" }, "phases": func(l *Lot) { l.Material = "" },
	} {
		spoiled := good
		spoil(&spoiled)
		faults := spoiled.Check()
		if assert.Len(t, faults, 1, field) {
			assert.Equal(t, field, faults[0].Field)
			assert.NotEmpty(t, faults[0].Cure)
		}
	}
}
