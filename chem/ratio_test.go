package chem

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestAtomRatiosStandBesideTheProduct(t *testing.T) {
	// Half a mole of Ca and 0.6 of Cu with 2.4 of Si make at most half a mole of CaCuSi4O10: calcium runs out.
	balance := StageBalance{Product: "CaCuSi4O10", LimitingElement: "Ca", Elements: []ElementBalance{
		{Element: "O", InMoles: 6}, {Element: "Si", InMoles: 2.4}, {Element: "Ca", InMoles: 0.5}, {Element: "Cu", InMoles: 0.6},
		{Element: "Fe", InMoles: 0.1},
	}}
	ratios := balance.AtomRatios()
	require.Len(t, ratios, 5)
	want := []AtomRatio{{"O", 12, 10}, {"Si", 4.8, 4}, {"Ca", 1, 1}, {"Cu", 1.2, 1}, {"Fe", 0.2, 0}}
	for i, w := range want {
		assert.Equal(t, w.Element, ratios[i].Element)
		assert.InDelta(t, w.Charged, ratios[i].Charged, 1e-12, w.Element)
		assert.InDelta(t, w.Ideal, ratios[i].Ideal, 1e-12, w.Element)
	}
}

func TestAtomRatiosNeedAProductThatForms(t *testing.T) {
	elements := []ElementBalance{{Element: "Ca", InMoles: 0}, {Element: "O", InMoles: 1}}
	assert.Empty(t, StageBalance{Elements: elements}.AtomRatios(), "no product is named")
	assert.Empty(t, StageBalance{Product: "CaO", Elements: elements}.AtomRatios(), "nothing limits it")
	assert.Empty(t, StageBalance{Product: "CaO", LimitingElement: "Ca", Elements: elements}.AtomRatios(), "none of it is there")
}
