package chem

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestScaleFactor(t *testing.T) {
	own := mustBalance(t, blue(), blueMaterials())
	// 100 g at 0.6 g/ml fills more than the reduction's charge at 0.8 g/ml only if it is the larger volume.
	calcine, reduce := 100/0.6, own.Stages[2].MassInGrams/0.8
	cases := []struct {
		name  string
		scale Scale
		want  float64
	}{
		{"none set", Scale{}, 1},
		{"factor", Scale{Factor: 2.5}, 2.5},
		{"product", Scale{ProductGrams: 500}, 500 / own.IdealProductGrams},
		{"crucibles, largest charge", Scale{CrucibleCount: 2, CrucibleMilliliters: 300}, 2 * 300 * 2.0 / 3 / max(calcine, reduce)},
		{"crucibles, stage named", Scale{CrucibleCount: 1, CrucibleMilliliters: 300, CrucibleStage: "calcine"}, 200 / calcine},
		{"crucibles, fill named", Scale{CrucibleCount: 1, CrucibleMilliliters: 300, CrucibleStage: "calcine", CrucibleFillFraction: 0.5},
			150 / calcine},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			got, err := ScaleFactor(blue(), blueMaterials(), c.scale)
			require.NoError(t, err)
			assert.InDelta(t, c.want, got, 1e-9)
		})
	}
}

func TestScaleFactorRefuses(t *testing.T) {
	cases := []struct {
		name  string
		scale Scale
		field string
	}{
		{"negative factor", Scale{Factor: -1}, "scale.factor"},
		{"factor not a number", Scale{Factor: math.NaN()}, "scale.factor"},
		{"factor absurd", Scale{Factor: 1e5}, "scale.factor"},
		{"negative product", Scale{ProductGrams: -1}, "scale.product_grams"},
		{"product absurd", Scale{ProductGrams: 1e7}, "scale.product_grams"},
		{"two ways", Scale{Factor: 1, ProductGrams: 5}, "scale.factor"},
		{"count only", Scale{CrucibleCount: 1}, "scale.crucible_count"},
		{"overflowing", Scale{CrucibleCount: 1, CrucibleMilliliters: 10, CrucibleFillFraction: 1.1}, "scale.crucible_fill_fraction"},
		{"unknown stage", Scale{CrucibleCount: 1, CrucibleMilliliters: 10, CrucibleStage: "fire"}, "scale.crucible_stage"},
		{"density not known", Scale{CrucibleCount: 1, CrucibleMilliliters: 10, CrucibleStage: "oxidise"}, "scale.crucible_stage"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			_, err := ScaleFactor(blue(), blueMaterials(), c.scale)
			assert.ErrorContains(t, err, c.field+": ")
		})
	}
	noProduct := blue()
	for i := range noProduct.Stages {
		noProduct.Stages[i].Product = ""
	}
	_, err := ScaleFactor(noProduct, blueMaterials(), Scale{ProductGrams: 5})
	assert.ErrorContains(t, err, "no stage forms a product")
}

// Two thirds: common practice, no source.
func TestFillAboveTwoThirdsIsAFinding(t *testing.T) {
	practice := DefaultPractice()
	assert.Empty(t, Scale{CrucibleFillFraction: 2.0 / 3}.Findings(practice))
	assert.Empty(t, Scale{}.Findings(practice))
	findings := Scale{CrucibleFillFraction: 0.67}.Findings(practice)
	require.Len(t, findings, 1)
	assert.Equal(t, "CHARGE_CRUCIBLE_OVERFILLED", findings[0].Code)
	assert.NotEmpty(t, findings[0].Source)
}

func TestScalingToAProductMakesThatMuch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := rapid.Float64Range(1, 1e5).Draw(t, "grams")
		factor, err := ScaleFactor(blue(), blueMaterials(), Scale{ProductGrams: want})
		require.NoError(t, err)
		result, err := Balance(blue(), blueMaterials(), factor)
		require.NoError(t, err)
		require.InDelta(t, want, result.IdealProductGrams, 1e-9*want)
		weighed, err := WeighOut(blue(), blueMaterials(), factor)
		require.NoError(t, err)
		require.Equal(t, result.WeighOut(), weighed)
	})
}
