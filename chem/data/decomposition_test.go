package data

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestDecompositionRules(t *testing.T) {
	rows, err := readTable("releases.csv", toDecompositionRule)
	require.NoError(t, err)
	for _, row := range rows {
		assert.Contains(t, []RuleKind{OfPhase, OfElement, OfFreeWater, OfWare}, row.Kind, row.Name)
		assert.Less(t, row.LowCelsius, row.HighCelsius, row.Name)
		assert.Contains(t, known, row.Read, row.Name)
		assert.NotEmpty(t, append(row.Gases, row.Solids...), row.Name)
		if row.Read == CommonPractice {
			assert.Contains(t, row.Source, "common practice, no source", row.Name)
		}
	}
	// Clays and Clay Minerals 68 (2020), kaolinite dehydroxylation paper: 400 to 700 C.
	kaolinite := rows[0]
	assert.Equal(t, "kaolinite", kaolinite.Name)
	assert.Equal(t, [2]float64{400, 700}, [2]float64{kaolinite.LowCelsius, kaolinite.HighCelsius})
	assert.Equal(t, []Yield{{"H2O", 2}}, kaolinite.Gases)
}

func TestSimpleOxidesNameEachElementOnce(t *testing.T) {
	seen := map[string]bool{}
	for _, row := range SimpleOxides() {
		assert.False(t, seen[row.Element], row.Element)
		assert.Contains(t, row.Formula, row.Element)
		assert.Contains(t, known, row.Read)
		seen[row.Element] = true
	}
}
