package data

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var severities = []string{"BLOCK", "WARN", "NOTE"}

// An acknowledged finding is one that somebody has thought about, so a warning must say that it can be.
func TestChargeRules(t *testing.T) {
	rows, err := readTable("charge-rules.csv", toChargeRule)
	require.NoError(t, err)
	seen := map[[2]string]bool{}
	for _, row := range rows {
		assert.Contains(t, known, row.Read, row.Code)
		assert.Contains(t, severities, row.Severity, row.Code)
		assert.NotEmpty(t, row.One, row.Code)
		assert.NotEmpty(t, row.Consequence, row.Code)
		assert.NotEmpty(t, row.Cure, row.Code)
		assert.Contains(t, []string{"", FiredOxidising}, row.When, row.Code)
		assert.False(t, seen[[2]string{row.One, row.Other}], "%s with %s stands twice", row.One, row.Other)
		seen[[2]string{row.One, row.Other}] = true
		if row.Severity == "WARN" {
			assert.Contains(t, row.Cure, "acknowledge this code", row.Code)
		}
		assert.False(t, row.Read == FromMemory && row.Severity == "BLOCK", "%s: a value from memory refuses nothing", row.Code)
	}
}

func TestToxicElements(t *testing.T) {
	rows, err := readTable("toxic-elements.csv", toToxicElement)
	require.NoError(t, err)
	symbols := knownSymbols()
	for _, row := range rows {
		assert.True(t, symbols[row.Element], row.Element)
		assert.Contains(t, severities, row.Severity, row.Element)
		assert.Contains(t, known, row.Read, row.Element)
		assert.NotEmpty(t, row.What, row.Element)
		assert.GreaterOrEqual(t, row.LimitMilligramsPerCubicMeter, 0.0)
	}
}

func TestTablesOfElements(t *testing.T) {
	symbols := knownSymbols()
	for _, row := range Metals() {
		assert.True(t, symbols[row.Element], row.Element)
		assert.Contains(t, MetalKinds(), row.Kind, row.Element)
		assert.NotEmpty(t, row.Why, row.Element)
		assert.Contains(t, known, row.Read, row.Element)
	}
	for _, row := range OxidationStates() {
		assert.True(t, symbols[row.Element], row.Element)
		assert.LessOrEqual(t, row.Low, row.High, row.Element)
		assert.Contains(t, known, row.Read, row.Element)
	}
	for _, row := range ReducibleOxides() {
		assert.True(t, symbols[row.Element], row.Element)
		assert.Contains(t, known, row.Read, row.Element)
	}
	for _, row := range ContentWords() {
		assert.True(t, symbols[row.Element], row.Element)
		assert.Contains(t, []string{"always", "reduced"}, row.When, row.Element)
		assert.Contains(t, known, row.Read, row.Element)
	}
	for _, row := range VesselWords() {
		assert.True(t, row.Element == "" || symbols[row.Element], row.Word)
		assert.Equal(t, row.Element == "", row.LeastFraction == 0, row.Word)
		assert.Contains(t, known, row.Read, row.Word)
	}
	for _, row := range OrganicAcids() {
		assert.NotEmpty(t, row.Formula)
		assert.Contains(t, known, row.Read, row.Formula)
	}
}

func TestFurnaceElementRules(t *testing.T) {
	rows := FurnaceElementRules()
	require.NotEmpty(t, rows)
	for _, row := range rows {
		assert.NotEmpty(t, row.Words, row.Family)
		assert.Contains(t, []string{"WARN", "NOTE"}, row.Severity, "what wears elements out hurts nobody")
		assert.Contains(t, known, row.Read, row.Family)
		assert.NotEmpty(t, row.Cure, row.Family)
	}
}

func knownSymbols() map[string]bool {
	symbols := map[string]bool{}
	for _, row := range AtomicWeights() {
		symbols[row.Symbol] = true
	}
	return symbols
}

// The limits below stand in the sources named beside them, which were read in public copies.
func TestPublishedToxicLimits(t *testing.T) {
	for _, c := range []struct {
		element string
		limit   float64 // mg/m3 over 8 h
		source  string
	}{
		{"Pb", 0.05, "29 CFR 1910.1025 appendix B, I"}, {"Cd", 0.005, "29 CFR 1910.1027(c)"}, {"As", 0.01, "29 CFR 1910.1018(c)"},
		{"Cr", 0.005, "29 CFR 1910.1026(c)"},
	} {
		t.Run(c.element, func(t *testing.T) {
			for _, row := range ToxicElements() {
				if row.Element == c.element {
					assert.Equal(t, c.limit, row.LimitMilligramsPerCubicMeter, c.source)
					assert.Equal(t, 480, row.AveragingMinutes)
					return
				}
			}
			t.Fatal("no row")
		})
	}
}
