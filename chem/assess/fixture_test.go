package assess

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

const today = "2027-03-01"

// pot is an electric furnace with a cut-out that may reduce, under a measured hood in the bay.
func pot() heat.Furnace {
	return heat.Furnace{
		ID: "pot", Room: "bay", Branch: "fan/hood", Source: heat.Electric, NetKilowatts: 4, InputKilowatts: 5, TopCelsius: 1200,
		ChamberLiters: 12, Atmospheres: []heat.Atmosphere{heat.Oxidising, heat.Neutral, heat.Reducing},
		HeatingTimes: []heat.Timing{{FromCelsius: 20, ToCelsius: 400, Minutes: 32}, {FromCelsius: 400, ToCelsius: 1000, Minutes: 100}},
		CoolingTimes: []heat.Timing{{FromCelsius: 1000, ToCelsius: 500, Minutes: 120}, {FromCelsius: 500, ToCelsius: 200, Minutes: 165}},
		Control:      heat.Programmed, OverTemperatureCutOut: true,
		Capture:      heat.Capture{ClosedFraction: 0.95, DoorOpenFraction: 0.7, Method: "tracer", MeasuredOn: "2026-10-05"},
		FanInterlock: heat.FanInterlock{Kind: heat.FlowSwitch, TestedOn: "2026-10-05"},
	}
}

// gasPot is the same chamber over a flame.
func gasPot() heat.Furnace {
	f := pot()
	f.ID, f.Source, f.NetKilowatts, f.InputKilowatts = "gas-pot", heat.Gas, 8, 15
	f.FlueCarbonMonoxideGramsPerKilowattHour = map[heat.Atmosphere]float64{heat.Oxidising: 0.5, heat.Neutral: 1, heat.Reducing: 10}
	return f
}

func bench() heat.Furnace { return heat.Furnace{ID: "dust-hood", Room: "bay", Source: heat.Bench} }

func fan(cubicMetersPerSecond float64) air.Circuit {
	return air.Circuit{ID: "fan", Branches: []air.Branch{
		{ID: "hood", Room: "bay", CubicMetersPerSecond: cubicMetersPerSecond, MeasuredOn: "2026-10-05"},
	}}
}

func site(furnaces ...heat.Furnace) Site {
	return Site{
		Furnaces: furnaces, Circuits: []air.Circuit{fan(0.9)}, Practice: chem.DefaultPractice(), OnDate: today,
		Rooms: map[string]air.Room{"bay": {
			ID: "bay", VolumeCubicMeters: 180, MakeUpCubicMetersPerSecond: 1.2, MixingFactor: 3, CrewCount: 2,
			Detectors: []air.Detector{{Species: "CO", TestedOn: "2027-02-22"}, {Species: "SO2", TestedOn: "2027-02-22"}},
		}},
	}
}

// materials are pure compounds by id, and a few whose hazards their formulas do not show.
func materials() chem.Materials {
	list := chem.Materials{}
	for id, formula := range map[string]string{
		"kaolin": "Al2Si2O5(OH)4", "soda-ash": "Na2CO3", "sulfur": "S", "charcoal": "C", "calcite": "CaCO3", "quartz": "SiO2",
		"saltpetre": "KNO3", "chlorate": "KClO3", "perchlorate": "KClO4", "permanganate": "KMnO4", "red-lead": "Pb3O4",
		"arsenic": "As2O3", "fluorspar": "CaF2", "chromate": "K2CrO4", "dichromate": "K2Cr2O7", "chromic": "CrO3",
		"chrome-green": "Cr2O3", "chromite": "FeCr2O4", "pyrite": "FeS2", "sulfide": "Na2S", "gypsum": "CaSO4.2H2O", "salt": "NaCl",
		"zinc": "ZnO", "zinc-metal": "Zn", "corundum": "Al2O3", "copper": "Cu",
	} {
		list[id] = chem.Material{ID: id, Phases: []chem.Phase{{Formula: formula, MassFraction: 1}}}
	}
	declared := func(id, formula string, hazards ...chem.Hazard) {
		list[id] = chem.Material{ID: id, Phases: []chem.Phase{{Formula: formula, MassFraction: 1}}, Hazards: hazards}
	}
	declared("aluminium", "Al", chem.HazardMetalPowder)
	declared("haematite", "Fe2O3", chem.HazardMetalOxide)
	declared("alum", "KAl(SO4)2", chem.HazardAcid)
	declared("flint", "SiO2", chem.HazardSilicaDust)
	declared("remedy", "SiO2", chem.HazardToxic)
	return list
}

func add(material string, grams float64) chem.Addition {
	return chem.Addition{Material: material, MassGrams: grams}
}

func feed(material string, grams float64) chem.Addition {
	return chem.Addition{Material: material, MassGrams: grams, FedHot: true}
}

func fired(kind chem.StageKind, celsius float64, additions ...chem.Addition) chem.Stage {
	return chem.Stage{
		ID: "s-" + strings.ReplaceAll(string(kind), "_", "-"), Kind: kind, Additions: additions, Atmosphere: heat.Oxidising,
		Program: &heat.Program{
			Segments: []heat.Segment{{ToCelsius: celsius, RateCelsiusPerHour: 200, HoldMinutes: 60}}, Cooling: heat.CoolClosed,
		},
	}
}

func worked(kind chem.StageKind, additions ...chem.Addition) chem.Stage {
	return chem.Stage{ID: "s-" + string(kind), Kind: kind, Additions: additions, BenchMinutes: 30}
}

func recipe(stages ...chem.Stage) chem.Recipe { return chem.Recipe{ID: "r", Stages: stages} }

func charge(t testing.TB, stages ...chem.Stage) Charge {
	t.Helper()
	return chargeOf(t, materials(), stages...)
}

func chargeOf(t testing.TB, of chem.Materials, stages ...chem.Stage) Charge {
	t.Helper()
	c, err := site().NewCharge(recipe(stages...), of, chem.Scale{})
	require.NoError(t, err)
	return c
}

func treat(t testing.TB, s Site, furnace string, stage chem.Stage) Treatment {
	t.Helper()
	treatment, err := s.Treat(charge(t, stage), 0, furnace)
	require.NoError(t, err)
	return treatment
}

// massOf sums releases by species.
func massOf(releases []air.Release) map[string]float64 {
	grams := map[string]float64{}
	for _, r := range releases {
		grams[r.Species] += r.GramsPerMinute * (r.EndMinute - r.StartMinute)
	}
	return grams
}

// severities are the findings by code; the worst of each.
func severities(found []finding.Finding) map[string]finding.Severity {
	sorted := map[string]finding.Severity{}
	for _, f := range found {
		if sorted[f.Code] != finding.Block {
			sorted[f.Code] = f.Severity
		}
	}
	return sorted
}

func withCode(found []finding.Finding, code string) []finding.Finding {
	var list []finding.Finding
	for _, f := range found {
		if f.Code == code {
			list = append(list, f)
		}
	}
	return list
}
