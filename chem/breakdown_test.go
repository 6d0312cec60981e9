package chem

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestBreakdownCorrectsMoistureAndPurity(t *testing.T) {
	material := Material{ID: "chalk", Phases: []Phase{{"CaCO3", 0.8}, {"SiO2", 0.1}}, MoistureFraction: 0.1, PurityFraction: 0.9}
	parts, err := material.Breakdown(1000)
	require.NoError(t, err)
	assert.InDelta(t, 100, parts.FreeWaterGrams, 1e-9)
	assert.InDelta(t, 900*0.9*0.8, parts.Phases[0].Grams(), 1e-9)
	assert.InDelta(t, 900-900*0.9*0.9, parts.InertGrams, 1e-9)
	moles, err := material.Moles(1000)
	require.NoError(t, err)
	assert.InDelta(t, 900*0.9*0.8/100.086, moles["C"], 1e-9)
	assert.Zero(t, moles["H"], "free water is no part of the material")
}

func TestOxideAnalysisIsNormalisedWithItsLossAsWater(t *testing.T) {
	// The theoretical analysis of kaolinite, scaled to sum to 0.98; mineral handbooks, from memory.
	material := Material{ID: "clay", LossOnIgnitionFraction: 0.98 * 0.139566,
		Oxides: []Oxide{{"Al2O3", 0.98 * 0.394957}, {"SiO2", 0.98 * 0.465476}}}
	moles, err := material.Moles(258.157)
	require.NoError(t, err)
	want := Moles{"Al": 2, "Si": 2, "H": 4, "O": 9}
	for symbol, count := range want {
		assert.InDelta(t, count, moles[symbol], 2e-4, symbol)
	}
	assert.InDelta(t, 258.157, moles.Grams(), 1e-3)
}

func TestWaterIsFreeAndBound(t *testing.T) {
	// Kaolinite, Al2O3.2SiO2.2H2O, of 258.157 g/mol holds 36.030 g of water per mole; a tenth of the mass as weighed is moisture.
	material := pure("Al2Si2O5(OH)4")
	material.MoistureFraction = 0.1
	parts, err := material.Breakdown(258.157 / 0.9)
	require.NoError(t, err)
	assert.InDelta(t, 36.030+258.157/9, parts.WaterGrams(), 2e-3)
}

func TestBreakdownRefuses(t *testing.T) {
	for _, grams := range []float64{-1, math.NaN(), math.Inf(1), 1.01e7} {
		_, err := pure("SiO2").Breakdown(grams)
		assert.ErrorContains(t, err, "mass_grams")
	}
	_, err := Material{ID: "m"}.Moles(1)
	assert.ErrorContains(t, err, "none of phases, oxides and parts is given")
}

func TestBreakdownKeepsAllMass(t *testing.T) {
	formulas := []string{"CaCO3", "SiO2", "Al2Si2O5(OH)4", "Fe0.95O", "S", "KAl(SO4)2.12H2O"}
	rapid.Check(t, func(t *rapid.T) {
		material := Material{
			ID:               "m",
			MoistureFraction: rapid.Float64Range(0, 0.9).Draw(t, "moisture"),
			PurityFraction:   rapid.Float64Range(0, 1).Draw(t, "purity"),
		}
		left := 1.0
		for range rapid.IntRange(1, 5).Draw(t, "phases") {
			fraction := left * rapid.Float64Range(0.01, 1).Draw(t, "fraction")
			left -= fraction
			material.Phases = append(material.Phases, Phase{rapid.SampledFrom(formulas).Draw(t, "formula"), fraction})
			if left < 1e-6 {
				break
			}
		}
		grams := rapid.Float64Range(0, 1e7).Draw(t, "grams")
		parts, err := material.Breakdown(grams)
		require.NoError(t, err)
		total := parts.FreeWaterGrams + parts.InertGrams
		for _, phase := range parts.Phases {
			total += phase.Grams()
		}
		require.InDelta(t, grams, total, 1e-9*grams+1e-12)
	})
}
