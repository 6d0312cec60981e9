package chem

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem/data"
	"saggar/chem/heat"
)

func TestDerivedFormulasAreSpelledWithoutAmbiguousDots(t *testing.T) {
	cases := []struct {
		name  string
		order []string
		moles Moles
		want  string
	}{
		{"two decimals after oxygen", []string{"Ni", "O", "H"}, Moles{"Ni": 1, "O": 1.7432, "H": 1.4865}, "NiH1.4865O1.7432"},
		{"a decimal below one stays", []string{"Ca", "F", "O"}, Moles{"Ca": 1, "F": 1.76, "O": 0.12}, "CaO0.12F1.76"},
		{"two that leave it open", []string{"Ca", "F", "O"}, Moles{"Ca": 1, "F": 1.5, "O": 1.25}, "Ca(F1.5)O1.25"},
		{"before water", []string{"Na", "H", "O"}, Moles{"Na": 1.5, "H": 2, "O": 1}, "(Na1.5)H2O"},
		{"whole counts", []string{"Ca", "C", "O"}, Moles{"Ca": 1, "C": 1, "O": 3}, "CaCO3"},
		{"a small count", []string{"Ca", "O", "H"}, Moles{"Ca": 1, "O": 1, "H": 0.0000123456}, "CaOH0.0000123"},
		{"less than is written", []string{"Ca", "O", "H"}, Moles{"Ca": 1, "O": 1, "H": 1e-9}, "CaO"},
		{"little of everything", []string{"Ca", "O"}, Moles{"Ca": 2e-9, "O": 1e-9}, "CaO0.5"},
		{"more than is read", []string{"Ca", "O"}, Moles{"Ca": 10000, "O": 20000}, "Ca0.5O"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			derived := Formula{order: c.order}.with(c.moles)
			assert.Equal(t, c.want, derived.String())
			requireReadsBack(t, derived)
		})
	}
}

// requireReadsBack parses a formula's own text and compares the shares of the atoms, which the text rounds.
//
// With counts c as the text scales them, sum A, written as c+e with sum B, a share c/A is off by (e - c/A * sum of all e) / B:
// by its own rounding times 1 - c/A, and c/A times the rounding of all others. Eight counts of 0.00005 each can so move the
// largest share by almost 0.00035. B is at least A less all rounding.
func requireReadsBack(t require.TestingT, f Formula) {
	again, err := ParseFormula(f.String())
	require.NoError(t, err)
	scale, roundings := spellScale(f.counts), 0.0
	for _, symbol := range f.counts.Symbols() {
		roundings += mostRounding(f.Count(symbol) * scale)
	}
	for symbol := range elements() {
		share, own := f.Count(symbol)/f.atoms(), mostRounding(f.Count(symbol)*scale)
		most := (own*(1-share) + share*(roundings-own)) / (f.atoms()*scale - roundings)
		require.InDelta(t, share, again.Count(symbol)/again.atoms(), most+1e-12, f.String())
	}
}

// mostRounding is the most by which a count is written too large or too small: half of the fourth decimal; half of the third
// figure below 0.0099, since what rounds to 0.01 has four decimals; all of it where it is less than is written.
func mostRounding(count float64) float64 {
	switch {
	case count < leastSubscript:
		return count
	case count < 0.0099:
		return math.Pow(10, math.Floor(math.Log10(count))-2) / 2
	}
	return 0.5e-4
}

func TestEveryDerivedFormulaReadsBack(t *testing.T) {
	symbols := []string{"H", "C", "N", "O", "F", "Cl", "Br", "I", "S", "Na", "Al", "Si", "Ca", "Ni", "Y"}
	rapid.Check(t, func(t *rapid.T) {
		order := rapid.SliceOfNDistinct(rapid.SampledFrom(symbols), 1, 8, rapid.ID[string]).Draw(t, "order")
		moles := Moles{}
		for _, symbol := range order {
			moles[symbol] = rapid.OneOf(rapid.Float64Range(1e-9, 20), rapid.Float64Range(1, 30000),
				rapid.Map(rapid.IntRange(1, 12), func(n int) float64 { return float64(n) / 2 })).Draw(t, symbol)
		}
		requireReadsBack(t, Formula{order: order}.with(moles))
	})
}

// residues fires one material alone at a peak and returns what stays.
func residues(t *testing.T, material Material, celsius float64, product string) []PhaseAmount {
	t.Helper()
	recipe := Recipe{ID: "r", Stages: []Stage{{ID: "s", Kind: Calcine, Atmosphere: heat.Oxidising, Product: product,
		Additions: []Addition{{Material: material.ID, MassGrams: 100}},
		Program:   &heat.Program{Segments: []heat.Segment{{ToCelsius: celsius, HoldMinutes: 10}}}}}}
	result, err := Balance(recipe, Materials{material.ID: material}, 1)
	require.NoError(t, err)
	_, err = result.Intermediate("s", "lot", "2027-03-01")
	if len(result.Stages[0].Remaining) > 0 {
		require.NoError(t, err, "%s at %g C", material.ID, celsius)
	}
	return result.Stages[0].Remaining
}

func TestWhatEveryMaterialAndTabledCompoundLeavesReadsBack(t *testing.T) {
	materials := Library()
	for _, row := range data.Reactions() {
		materials = append(materials, Material{ID: "tabled", Phases: []Phase{{row.Formula, 1}}})
	}
	for _, formula := range []string{"CaF2", "Ni(OH)2", "Na2CO3*7H2O", "NH4Cl", "Cu2(OH)3Cl", "Ca5(PO4)3F", "K4Fe(CN)6*3H2O"} {
		materials = append(materials, Material{ID: "other", Phases: []Phase{{formula, 1}}})
	}
	for _, material := range materials {
		if material.IsMixture() {
			continue
		}
		for celsius := 60.0; celsius <= 1400; celsius += 50 {
			for _, left := range residues(t, material, celsius, "") {
				requireReadsBack(t, left.Compound)
				assert.Equal(t, left.Compound.String(), left.Formula)
			}
		}
	}
}

func TestWhatRandomRecipesLeaveReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		recipe, materials := anyRecipe(t)
		for _, stage := range mustBalance(t, recipe, materials).Stages {
			for _, left := range append(stage.Remaining, stage.Charged...) {
				requireReadsBack(t, left.Compound)
			}
		}
	})
}
