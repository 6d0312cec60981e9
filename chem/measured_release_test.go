package chem

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem/data"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

func sulfurStage(measured ...MeasuredRelease) (Recipe, Materials) {
	materials := Materials{"m": pure("S"), "clay": pure("Al2Si2O5(OH)4")}
	stage := Stage{
		ID: "s", Kind: Calcine, Atmosphere: heat.Oxidising, MeasuredReleases: measured,
		Program:   &heat.Program{Segments: []heat.Segment{{ToCelsius: 600, RateCelsiusPerHour: 200, HoldMinutes: 60}}, Cooling: heat.CoolClosed},
		Additions: []Addition{{Material: "m", MassGrams: 32.06}, {Material: "clay", MassGrams: 100}},
	}
	return Recipe{ID: "r", Stages: []Stage{stage}}, materials
}

func grams(stage StageBalance, c Case, species string) float64 {
	sum := 0.0
	for _, gas := range stage.OffGasOf(c) {
		if gas.Species == species {
			sum += gas.MassGrams
		}
	}
	return sum
}

func TestAMeasuredReleaseStandsInBothCases(t *testing.T) {
	recipe, materials := sulfurStage()
	plain, err := Balance(recipe, materials, 2)
	require.NoError(t, err)
	recipe, _ = sulfurStage(MeasuredRelease{Species: "SO2", MassGrams: 10, MeasuredBy: "the kiln technician", MeasuredOn: "2027-01-31"})
	measured, err := Balance(recipe, materials, 2)
	require.NoError(t, err)
	for _, c := range []Case{Cautious, Likely} {
		assert.InDelta(t, 20, grams(measured.Stages[0], c, "SO2"), 1e-9, "at twice the recipe's own scale")
		assert.InDelta(t, 20/64.058, totalMoles(measured.Stages[0], c, "SO2"), 1e-3)
		for _, other := range []string{"H2O", "H2SO4"} {
			assert.InDelta(t, grams(plain.Stages[0], c, other), grams(measured.Stages[0], c, other), 1e-12, other)
		}
	}
	said := measured.Assumptions[len(measured.Assumptions)-1]
	for _, word := range []string{"20 g of SO2", "the kiln technician", "2027-01-31", "124"} {
		assert.Contains(t, said, word)
	}
	assert.Equal(t, plain.Stages[0].Elements, measured.Stages[0].Elements, "what the charge holds is not measured away")
}

func TestAMeasuredGasThatTheBalanceDoesNotKnow(t *testing.T) {
	recipe, materials := sulfurStage(MeasuredRelease{Species: "H2S", MassGrams: 1, MeasuredBy: "a technician", MeasuredOn: "2027-01-31"})
	balance, err := Balance(recipe, materials, 1)
	require.NoError(t, err)
	for _, c := range []Case{Cautious, Likely} {
		gases := balance.Stages[0].OffGasOf(c)
		at := gases[len(gases)-1]
		assert.Equal(t, "H2S", at.Species)
		assert.Equal(t, [2]float64{100, 600}, [2]float64{at.LowCelsius, at.HighCelsius})
		assert.Equal(t, data.CommonPractice, at.Read)
		assert.InDelta(t, 1.0, at.MassGrams, 1e-12)
	}
}

func TestMeasuredReleasesRefused(t *testing.T) {
	good := MeasuredRelease{Species: "SO2", MassGrams: 10, MeasuredBy: "a technician", MeasuredOn: "2027-01-31"}
	for field, spoil := range map[string]func(*MeasuredRelease){
		"species":     func(m *MeasuredRelease) { m.Species = "SiO2" },
		"mass_grams":  func(m *MeasuredRelease) { m.MassGrams = 0 },
		"measured_by": func(m *MeasuredRelease) { m.MeasuredBy = "" },
		"measured_on": func(m *MeasuredRelease) { m.MeasuredOn = "31.1.2027" },
	} {
		t.Run(field, func(t *testing.T) {
			m := good
			spoil(&m)
			recipe, materials := sulfurStage(m)
			_, err := Balance(recipe, materials, 1)
			faults := finding.FaultsOf(err)
			require.Len(t, faults, 1)
			assert.Equal(t, "stages[0].measured_releases[0]."+field, faults[0].Field)
			assert.NotEmpty(t, faults[0].Cure)
		})
	}
	for name, recipe := range map[string]func() (Recipe, Materials){
		"twice": func() (Recipe, Materials) { return sulfurStage(good, good) },
		"at most 16": func() (Recipe, Materials) {
			return sulfurStage(make([]MeasuredRelease, maxMeasuredReleases+1)...)
		},
		"bench work gives nothing off": func() (Recipe, Materials) {
			r, m := sulfurStage(good)
			r.Stages = append(r.Stages, Stage{ID: "grind", Kind: Grind, BenchMinutes: 10, MeasuredReleases: []MeasuredRelease{good}})
			return r, m
		},
		"infinite": func() (Recipe, Materials) {
			m := good
			m.MassGrams = math.Inf(1)
			return sulfurStage(m)
		},
	} {
		t.Run(name, func(t *testing.T) {
			r, m := recipe()
			_, err := Balance(r, m, 1)
			require.Error(t, err)
			if name != "infinite" {
				assert.ErrorContains(t, err, name)
			}
		})
	}
}

func TestMeasuredMassIsKeptAtAnyScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mass, factor := rapid.Float64Range(1e-3, 1e6).Draw(t, "grams"), rapid.Float64Range(1e-3, 1e3).Draw(t, "factor")
		species := rapid.SampledFrom(gasesKnown()).Draw(t, "species")
		recipe, materials := sulfurStage(MeasuredRelease{Species: species, MassGrams: mass, MeasuredBy: "a technician", MeasuredOn: "2027-01-31"})
		balance, err := Balance(recipe, materials, factor)
		require.NoError(t, err)
		for _, c := range []Case{Cautious, Likely} {
			require.InEpsilon(t, mass*factor, grams(balance.Stages[0], c, species), 1e-9)
		}
	})
}
