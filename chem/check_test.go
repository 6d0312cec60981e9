package chem

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

// blue is an invented pigment in three stages; every field that can be checked is set.
func blue() Recipe {
	program := func(celsius, hold float64) *heat.Program {
		return &heat.Program{Segments: []heat.Segment{{ToCelsius: celsius, RateCelsiusPerHour: 150, HoldMinutes: hold}}}
	}
	return Recipe{
		ID: "blue", Title: "Studio blue", Version: 1,
		Stages: []Stage{
			{ID: "calcine", Kind: Calcine, Atmosphere: heat.Oxidising, Program: program(700, 480), Product: "Al2Si2O7",
				Additions: []Addition{{Material: "kaolin", MassGrams: 100}}, TampedDensityGramsPerMilliliter: 0.6},
			{ID: "mix", Kind: Mix, BenchMinutes: 40, Additions: []Addition{
				{Material: "soda-ash", FractionOfIntermediate: 0.8}, {Material: "sulfur", FractionOfIntermediate: 0.5},
				{Material: "carbon", MassGrams: 8}}},
			{ID: "reduce", Kind: Reduce, Atmosphere: heat.Reducing, Lid: LooseLid, Program: program(750, 240),
				Product: "Na8Al6Si6O24S2", TampedDensityGramsPerMilliliter: 0.8},
			{ID: "oxidise", Kind: Oxidise, Atmosphere: heat.Oxidising, Lid: OpenLid, Program: program(500, 120),
				Product: "Na8Al6Si6O24S4", Additions: []Addition{{Material: "sulfur", FractionOfIntermediate: 0.1}}},
		},
		Lags: []Lag{{FromStage: "calcine", ToStage: "mix", MinMinutes: 0, MaxMinutes: 10080}},
	}
}

func blueMaterials() Materials {
	materials := Materials{}
	for id, formula := range map[string]string{"soda-ash": "Na2CO3", "sulfur": "S", "carbon": "C"} {
		materials[id] = Material{ID: id, Phases: []Phase{{formula, 1}}}
	}
	materials["kaolin"] = Material{ID: "kaolin", Phases: []Phase{{"Al2Si2O5(OH)4", 0.92}, {"SiO2", 0.05}}, MoistureFraction: 0.01}
	return materials
}

func TestRecipeValidateAccepts(t *testing.T) {
	assert.NoError(t, blue().Validate(blueMaterials()).Err())
}

func TestRecipeValidateRefuses(t *testing.T) {
	segment := func(change func(*heat.Segment)) func(*Recipe) {
		return func(r *Recipe) { change(&r.Stages[2].Program.Segments[0]) }
	}
	stage := func(at int, change func(*Stage)) func(*Recipe) {
		return func(r *Recipe) { change(&r.Stages[at]) }
	}
	addition := func(at int, change func(*Addition)) func(*Recipe) {
		return func(r *Recipe) { change(&r.Stages[at].Additions[0]) }
	}
	lag := func(l Lag) func(*Recipe) { return func(r *Recipe) { r.Lags[0] = l } }
	const to = "stages[2].program.segments[0].to_celsius"
	cases := []struct {
		name, field string
		spoil       func(*Recipe)
	}{
		{"id in capitals", "id", func(r *Recipe) { r.ID = "Blue" }},
		{"id empty", "id", func(r *Recipe) { r.ID = "" }},
		{"id too long", "id", func(r *Recipe) { r.ID = strings.Repeat("a", 64) }},
		{"control character in the title", "title", func(r *Recipe) { r.Title = "Blue\x07" }},
		{"invisible order mark in the title", "title", func(r *Recipe) { r.Title = "Blue\u202e" }},
		{"title not UTF-8", "title", func(r *Recipe) { r.Title = "Blue\xff" }},
		{"no stage", "stages", func(r *Recipe) { r.Stages, r.Lags = nil, nil }},
		{"too many stages", "stages", func(r *Recipe) { r.Stages = make([]Stage, 51) }},
		{"stage id twice", "stages[2].id", stage(2, func(s *Stage) { s.ID = "mix" })},
		{"control character in a stage id", "stages[1].id", stage(1, func(s *Stage) { s.ID = "mix\n" })},
		{"unknown kind", "stages[1].kind", stage(1, func(s *Stage) { s.Kind = "conjure" })},
		{"neither program nor bench", "stages[1].program", stage(1, func(s *Stage) { s.BenchMinutes = 0 })},
		{"both program and bench", "stages[2].bench_minutes", stage(2, func(s *Stage) { s.BenchMinutes = 5 })},
		{"heat treatment on the bench", "stages[1].program", stage(1, func(s *Stage) { s.Kind = Sinter })},
		{"negative bench minutes", "stages[1].bench_minutes", stage(1, func(s *Stage) { s.BenchMinutes = -1 })},
		{"unknown atmosphere", "stages[2].atmosphere", stage(2, func(s *Stage) { s.Atmosphere = "smoky" })},
		{"unknown lid", "stages[2].lid", stage(2, func(s *Stage) { s.Lid = "ajar" })},
		{"unknown watch", "stages[2].fire_watch", stage(2, func(s *Stage) { s.FireWatch = "sleeping" })},
		{"unknown element in the product", "stages[2].product", stage(2, func(s *Stage) { s.Product = "Xx2" })},
		{"product on the bench", "stages[1].product", stage(1, func(s *Stage) { s.Product = "SiO2" })},
		{"unknown vessel", "stages[2].vessel.kind", stage(2, func(s *Stage) { s.Vessel.Kind = "bucket" })},
		{"vessel below zero", "stages[2].vessel.top_celsius", stage(2, func(s *Stage) { s.Vessel.TopCelsius = -1 })},
		{"vessel beyond any", "stages[2].vessel.top_celsius", stage(2, func(s *Stage) { s.Vessel.TopCelsius = 2001 })},
		{"negative ware", "stages[2].ware_grams", stage(2, func(s *Stage) { s.WareGrams = -1 })},
		{"ware not a number", "stages[2].ware_grams", stage(2, func(s *Stage) { s.WareGrams = math.NaN() })},
		{"charged absurdly hot", "stages[2].charge_at_celsius", stage(2, func(s *Stage) { s.ChargeAtCelsius = 2001 })},
		{"too hot", to, segment(func(s *heat.Segment) { s.ToCelsius = 2000.1 })},
		{"too cold", to, segment(func(s *heat.Segment) { s.ToCelsius = -50.1 })},
		{"temperature not a number", to, segment(func(s *heat.Segment) { s.ToCelsius = math.NaN() })},
		{"temperature infinite", to, segment(func(s *heat.Segment) { s.ToCelsius = math.Inf(1) })},
		{"hold above 14 days", "stages[2].program.segments[0].hold_minutes",
			segment(func(s *heat.Segment) { s.HoldMinutes = 14*24*60 + 1 })},
		{"rate negative", "stages[2].program.segments[0].rate_celsius_per_hour",
			segment(func(s *heat.Segment) { s.RateCelsiusPerHour = -10 })},
		{"never ends by its rate", "stages[2].program.segments",
			segment(func(s *heat.Segment) { s.RateCelsiusPerHour = 0.5 })},
		{"does nothing", "stages[2].program.segments", segment(func(s *heat.Segment) { s.ToCelsius = 30 })},
		{"no segments", "stages[2].program.segments", stage(2, func(s *Stage) { s.Program.Segments = nil })},
		{"segment of no length", "stages[2].program.segments[1]", stage(2, func(s *Stage) {
			s.Program.Segments = append(s.Program.Segments, heat.Segment{ToCelsius: 750})
		})},
		{"unknown cooling", "stages[2].program.cooling", stage(2, func(s *Stage) { s.Program.Cooling = "by wishing" })},
		{"unknown material", "stages[0].additions[0].material", addition(0, func(a *Addition) { a.Material = "clay" })},
		{"negative mass", "stages[0].additions[0].mass_grams", addition(0, func(a *Addition) { a.MassGrams = -1 })},
		{"mass not a number", "stages[0].additions[0].mass_grams", addition(0, func(a *Addition) { a.MassGrams = math.NaN() })},
		{"mass infinite", "stages[0].additions[0].mass_grams", addition(0, func(a *Addition) { a.MassGrams = math.Inf(1) })},
		{"mass absurd", "stages[0].additions[0].mass_grams", addition(0, func(a *Addition) { a.MassGrams = 1.1e7 })},
		{"no amount", "stages[0].additions[0]", addition(0, func(a *Addition) { a.MassGrams = 0 })},
		{"two amounts", "stages[1].additions[0]", addition(1, func(a *Addition) { a.MassGrams = 5 })},
		{"fraction of nothing", "stages[0].additions[0].fraction_of_intermediate",
			addition(0, func(a *Addition) { a.MassGrams, a.FractionOfIntermediate = 0, 0.5 })},
		{"fed hot on the bench", "stages[1].additions[0].fed_hot", addition(1, func(a *Addition) { a.FedHot = true })},
		{"lag from nowhere", "lags[0].from_stage", lag(Lag{FromStage: "fire", ToStage: "mix"})},
		{"lag to nowhere", "lags[0].to_stage", lag(Lag{FromStage: "mix", ToStage: "fire"})},
		{"lag backwards", "lags[0].to_stage", lag(Lag{FromStage: "mix", ToStage: "calcine"})},
		{"lag to itself", "lags[0].to_stage", lag(Lag{FromStage: "mix", ToStage: "mix"})},
		{"lag most below least", "lags[0].max_minutes", lag(Lag{FromStage: "mix", ToStage: "reduce", MinMinutes: 9, MaxMinutes: 8})},
		{"lag negative", "lags[0].min_minutes", lag(Lag{FromStage: "mix", ToStage: "reduce", MinMinutes: -9})},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			recipe := blue()
			c.spoil(&recipe)
			faults := recipe.Validate(blueMaterials())
			assert.Contains(t, fieldsOf(faults), c.field, faults.Error())
		})
	}
}

func fieldsOf(faults finding.Faults) []string {
	var fields []string
	for _, fault := range faults {
		fields = append(fields, fault.Field)
	}
	return fields
}

func TestRecipeValidateAcceptsTheBounds(t *testing.T) {
	recipe := blue()
	recipe.Stages[0].Additions[0].MassGrams = 1e7
	recipe.Stages[2].Program.Segments[0] = heat.Segment{ToCelsius: 2000, HoldMinutes: 14 * 24 * 60}
	recipe.ID = strings.Repeat("a", 63)
	assert.NoError(t, recipe.Validate(blueMaterials()).Err())
}

func TestMaterialValidate(t *testing.T) {
	cases := []struct {
		name, field string
		spoil       func(*Material)
	}{
		{"id", "id", func(m *Material) { m.ID = "1st" }},
		{"title", "title", func(m *Material) { m.Title = "a\tb" }},
		{"long source", "source", func(m *Material) { m.Source = strings.Repeat("x", 501) }},
		{"wet through", "moisture_fraction", func(m *Material) { m.MoistureFraction = 1 }},
		{"moisture not a number", "moisture_fraction", func(m *Material) { m.MoistureFraction = math.NaN() }},
		{"purity", "purity_fraction", func(m *Material) { m.PurityFraction = 1.01 }},
		{"loss", "loss_on_ignition_fraction", func(m *Material) { m.LossOnIgnitionFraction = -0.1 }},
		{"hazard", "hazards[0]", func(m *Material) { m.Hazards = []Hazard{"spooky"} }},
		{"nothing", "phases", func(m *Material) { m.Phases = nil }},
		{"both", "oxides", func(m *Material) { m.Oxides = []Oxide{{"SiO2", 1}} }},
		{"formula", "phases[0].formula", func(m *Material) { m.Phases[0].Formula = "Caco3" }},
		{"fraction", "phases[0].mass_fraction", func(m *Material) { m.Phases[0].MassFraction = 0 }},
		{"fraction that is rounding", "phases[0].mass_fraction", func(m *Material) { m.Phases[0].MassFraction = 0.99e-9 }},
		{"above one", "phases", func(m *Material) { m.Phases = []Phase{{"SiO2", 0.6}, {"CaO", 0.5}} }},
		{"oxides far from one", "oxides", func(m *Material) { m.Phases, m.Oxides = nil, []Oxide{{"SiO2", 0.5}} }},
		{"too many lines", "phases", func(m *Material) { m.Phases = make([]Phase, 61) }},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			material := Material{ID: "chalk", Phases: []Phase{{"CaCO3", 1}}}
			require.Empty(t, material.Validate())
			c.spoil(&material)
			assert.Contains(t, fieldsOf(material.Validate()), c.field)
		})
	}
}

func TestPracticeValidate(t *testing.T) {
	assert.Empty(t, DefaultPractice().Validate())
	practice := DefaultPractice()
	practice.AcidMistFraction, practice.OpenReleaseMinutes = 1.5, math.NaN()
	assert.Equal(t, []string{"acid_mist_fraction", "open_release_minutes"}, fieldsOf(practice.Validate()))
}
