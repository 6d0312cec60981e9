package assess

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/heat"
)

// reduced is a charge fired under reduction at a temperature.
func reduced(celsius float64, additions ...chem.Addition) chem.Stage {
	stage := fired(chem.Reduce, celsius, additions...)
	stage.Atmosphere = heat.Reducing
	return stage
}

func treated(t *testing.T, stage chem.Stage) Treatment {
	t.Helper()
	s := site(pot())
	c, err := s.NewCharge(recipe(stage), materials(), chem.Scale{})
	require.NoError(t, err)
	treatment, err := s.Treat(c, 0, "pot")
	require.NoError(t, err)
	return treatment
}

func TestSulfurOfAStarvedChargeCountsInEveryFormThatItMayTake(t *testing.T) {
	treatment := treated(t, reduced(750, add("soda-ash", 50), add("sulfur", 30), add("charcoal", 20)))
	grams := func(releases []air.Release, species string) float64 {
		sum := 0.0
		for _, r := range releases {
			if r.Species == species {
				sum += r.GramsPerMinute * (r.EndMinute - r.StartMinute)
			}
		}
		return sum
	}
	// Over carbon at 750 C sulfur leaves mostly as COS and CS2; the sulfur in each is no more than there is.
	sulfur := grams(treatment.Cautious, "SO2")/64.06 + grams(treatment.Cautious, "H2SO4")/98.07
	for species, perSulfur := range map[string]float64{"COS": 60.07, "CS2": 76.13 / 2} {
		atoms := grams(treatment.Cautious, species) / perSulfur
		assert.Greater(t, atoms, 0.05*sulfur, species)
		assert.LessOrEqual(t, atoms, sulfur*(1+1e-9), species)
		assert.Zero(t, grams(treatment.Likely, species), "the likely case burns it")
	}
	require.NotNil(t, treatment.Atmosphere)
	assert.True(t, treatment.Atmosphere.Judged.Reducing)
	assert.Less(t, treatment.Atmosphere.Judged.Log10OxygenBar, -15.0)
}

func TestAnAtmosphereThatDoesNotReduceIsWarnedOf(t *testing.T) {
	for _, c := range []struct {
		name  string
		stage chem.Stage
		warns bool
	}{
		{"nothing that reduces", reduced(900, add("quartz", 100)), true},
		{"only carbon dioxide and steam", reduced(900, add("calcite", 100), add("kaolin", 20)), true},
		{"charcoal", reduced(900, add("calcite", 100), add("charcoal", 20)), false},
		{"a trace of charcoal", reduced(900, add("calcite", 100), add("charcoal", 0.001)), false},
		{"too cold to be judged", reduced(500, add("quartz", 100)), false},
		{"not meant to reduce", fired(chem.Calcine, 900, add("quartz", 100)), false},
	} {
		t.Run(c.name, func(t *testing.T) {
			found := withCode(treated(t, c.stage).Findings, "ATMOSPHERE_NOT_REDUCING")
			assert.Equal(t, c.warns, len(found) == 1)
			for _, f := range found {
				assert.NotEmpty(t, f.Cure)
				assert.NotEmpty(t, f.Source)
				assert.Equal(t, "stages[0].atmosphere", f.Field)
			}
		})
	}
}

// Dry carbon gives no gas that is tabled, yet takes the oxygen of the oxide beside it.
func TestDryCarbonReducesWhatLiesBesideIt(t *testing.T) {
	for _, c := range []struct {
		name     string
		formulas map[string]float64
		warns    bool
	}{
		{"graphite with red oxide", map[string]float64{"C": 10, "Fe2O3": 80}, false},
		{"graphite with zinc oxide", map[string]float64{"C": 10, "ZnO": 80}, false},
		{"graphite alone", map[string]float64{"C": 10}, false},
		{"red oxide alone", map[string]float64{"Fe2O3": 80}, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			of := materials()
			var additions []chem.Addition
			for formula, grams := range c.formulas {
				id := strings.ToLower(formula)
				of[id] = chem.Material{ID: id, Phases: []chem.Phase{{Formula: formula, MassFraction: 1}}}
				additions = append(additions, add(id, grams))
			}
			s := site(pot())
			charge, err := s.NewCharge(recipe(reduced(900, additions...)), of, chem.Scale{})
			require.NoError(t, err)
			treatment, err := s.Treat(charge, 0, "pot")
			require.NoError(t, err)
			assert.Equal(t, c.warns, len(withCode(treatment.Findings, "ATMOSPHERE_NOT_REDUCING")) == 1)
		})
	}
}

func TestAFlameThatReducesNeedsNoReducerInTheCharge(t *testing.T) {
	kiln := pot()
	kiln.Source = heat.Gas
	s := site(kiln)
	c, err := s.NewCharge(recipe(reduced(900, add("quartz", 100))), materials(), chem.Scale{})
	require.NoError(t, err)
	treatment, err := s.Treat(c, 0, "pot")
	require.NoError(t, err)
	assert.Empty(t, withCode(treatment.Findings, "ATMOSPHERE_NOT_REDUCING"))
}
