package chem

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// fourSteps is bench work of an hour each.
func fourSteps(lags ...Lag) Recipe {
	recipe := Recipe{ID: "steps", Lags: lags}
	for _, id := range []string{"a", "b", "c", "d"} {
		recipe.Stages = append(recipe.Stages, Stage{ID: id, Kind: Grind, BenchMinutes: 60})
	}
	return recipe
}

func TestLagsThatExcludeEachOtherAreRefused(t *testing.T) {
	cases := []struct {
		name, field string
		lags        []Lag
	}{
		{"a least inside a shorter most", "lags[1].max_minutes", []Lag{{"a", "b", 5000, 0}, {"a", "c", 0, 100}}},
		{"the same told the other way round", "lags[1].min_minutes", []Lag{{"a", "c", 0, 100}, {"a", "b", 5000, 0}}},
		{"a most shorter than the stage between", "lags[0].max_minutes", []Lag{{"a", "c", 0, 59}}},
		{"a least above two mosts that overlap", "lags[2].min_minutes",
			[]Lag{{"a", "c", 0, 100}, {"b", "d", 0, 200}, {"a", "d", 301, 0}}},
		{"the same pair twice, whatever it says", "lags[1]", []Lag{{"a", "b", 10, 0}, {"a", "b", 0, 20}}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			faults := fourSteps(c.lags...).Validate(nil)
			require.Len(t, faults, 1, faults.Error())
			assert.Equal(t, c.field, faults[0].Field)
			assert.NotEmpty(t, faults[0].Cure)
		})
	}
}

func TestLagsThatJustFitAreAccepted(t *testing.T) {
	for name, lags := range map[string][]Lag{
		"a most of the stage between":       {{"a", "c", 0, 60}},
		"a least and the stage after":       {{"a", "b", 40, 0}, {"a", "c", 0, 100}},
		"a least of two mosts that overlap": {{"a", "c", 0, 100}, {"b", "d", 0, 200}, {"a", "d", 300, 0}},
		"exactly so long":                   {{"a", "b", 30, 30}, {"b", "c", 30, 30}, {"a", "c", 120, 120}},
	} {
		t.Run(name, func(t *testing.T) { assert.Empty(t, fourSteps(lags...).Validate(nil)) })
	}
}

// The stages' least is what the recipe itself says: the calcination holds for 8 hours, the bench takes 40 minutes.
func TestHoldsOfAProgramCountAsItsLeast(t *testing.T) {
	recipe := blue()
	recipe.Lags = []Lag{{FromStage: "mix", ToStage: "oxidise", MaxMinutes: 239}}
	assert.Equal(t, []string{"lags[0].max_minutes"}, fieldsOf(recipe.Validate(blueMaterials())))
	recipe.Lags[0].MaxMinutes = 240
	assert.Empty(t, recipe.Validate(blueMaterials()))
}

// Lags read off a timetable that keeps the order of the stages can be kept, by that timetable.
func TestLagsOfATimetableAreAccepted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		recipe, minute := fourSteps(), 0
		var start, end []int
		for i := range recipe.Stages {
			minute += rapid.IntRange(0, 500).Draw(t, "gap")
			start = append(start, minute)
			recipe.Stages[i].BenchMinutes = rapid.IntRange(1, 500).Draw(t, "bench")
			minute += recipe.Stages[i].BenchMinutes
			end = append(end, minute)
		}
		for from := range recipe.Stages {
			for to := from + 1; to < len(recipe.Stages); to++ {
				apart := start[to] - end[from]
				if apart == 0 || rapid.Bool().Draw(t, "no lag") {
					continue
				}
				recipe.Lags = append(recipe.Lags, Lag{recipe.Stages[from].ID, recipe.Stages[to].ID,
					rapid.IntRange(0, apart).Draw(t, "least"), apart + rapid.IntRange(0, 50).Draw(t, "slack")})
			}
		}
		assert.Empty(t, recipe.Validate(nil))
	})
}
