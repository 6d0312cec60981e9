package main

import (
	"cmp"
	"slices"
	"strings"

	"saggar/chem"
	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

// ratioGrid states what is charged beside what the ideal product holds, for each atom of the limiting element.
func (a recipeCheck) ratioGrid() render.Grid {
	grid := render.Grid{
		Title:   "Atoms for each of the limiting element",
		Columns: []string{"stage", "element", "charged", "in the ideal product"},
	}
	for _, b := range a.Balance {
		if b.AtomRatio != nil && b.IdealAtomRatio != nil {
			grid.Rows = append(grid.Rows, []string{
				b.Stage, b.Element, render.Number(*b.AtomRatio), render.Number(*b.IdealAtomRatio),
			})
		}
	}
	return headed(grid)
}

// headed leaves a grid out when it has no rows.
func headed(grid render.Grid) render.Grid {
	if len(grid.Rows) == 0 {
		return render.Grid{}
	}
	return grid
}

// starvedGrid is in what else the sulfur of a charge may leave where no air burns it: gases that the balance does not have.
func (a recipeCheck) starvedGrid() render.Grid {
	grid := render.Grid{
		Title:   "Instead of the SO2, where no air burns it, cautious case: at most",
		Columns: []string{"stage", "species", "g"},
	}
	type key struct{ stage, species string }
	balanced := map[key]bool{}
	for _, gas := range a.OffGas {
		balanced[key{gas.Stage, gas.Species}] = true
	}
	grams := map[key]float64{}
	var order []key
	for _, r := range a.Releases {
		at := key{r.Stage, r.Species}
		if r.Case != chem.Cautious || balanced[at] || !slices.Contains([]string{"H2S", "COS", "CS2"}, r.Species) {
			continue
		}
		if grams[at] == 0 {
			order = append(order, at)
		}
		grams[at] += r.GramsPerMinute * (r.EndMinute - r.StartMinute)
	}
	for _, at := range order {
		grid.Rows = append(grid.Rows, []string{at.stage, at.species, render.Number(grams[at])})
	}
	return headed(grid)
}

// heatGrid is what each stage takes of its furnace and of the supply.
func (a recipeCheck) heatGrid() render.Grid {
	grid := render.Grid{
		Title: "Heat in kWh: what goes into the chamber, and what the supply gives for it",
		Columns: []string{
			"stage", "furnace", "peak C", "charge", "walls", "stored", "chamber", "supply", "peak kW",
		},
	}
	for _, h := range a.Heat {
		peak := 0.0
		for _, point := range h.GetProfile() {
			peak = max(peak, point.GetCelsius())
		}
		grid.Rows = append(grid.Rows, []string{
			h.GetStage(), h.GetFurnace(), render.Number(peak), render.Number(h.GetChargeKilowattHours()),
			render.Number(h.GetWallLossKilowattHours()), render.Number(h.GetStoredKilowattHours()),
			render.Number(h.GetEnergyKilowattHours()), render.Number(h.GetInputKilowattHours()),
			render.Number(h.GetPeakKilowatts()),
		})
	}
	return headed(grid)
}

// conversionGrid is how far what breaks down gets, where it is as hot as the thermocouple and in the core of the bed.
func (a recipeCheck) conversionGrid() render.Grid {
	grid := render.Grid{
		Title:   "Conversion: where it is as hot as the thermocouple, and in the core",
		Columns: []string{"stage", "reaction", "mol", "thermocouple %", "core %", "hold for 99 % min", "what becomes what"},
	}
	for _, c := range a.Conversions {
		if c.Conversion == nil {
			continue // a range of temperature only, which the off-gas shows
		}
		grid.Rows = append(grid.Rows, []string{
			c.GetStage(), c.GetReaction(), render.Number(c.GetMoles()), percent(c.Conversion), percent(c.CoreConversion),
			orNone(c.MinutesTo_99Percent, "-"), c.GetEquation(),
		})
	}
	return headed(grid)
}

// percent is a share as per cent, or "-" where there is none.
func percent(share *float64) string {
	if share == nil {
		return "-"
	}
	return render.Number(100 * *share)
}

// atmosphereGases is how many gases of an atmosphere a table shows.
const atmosphereGases = 5

// atmosphereGrid is the gas over each charge that fires under reduction.
func (a recipeCheck) atmosphereGrid() render.Grid {
	grid := render.Grid{
		Title:   "Gas over the charge at equilibrium, at its hottest",
		Columns: []string{"stage", "C", "CO/CO2", "log10 O2 bar", "reduces", "shares by mole"},
	}
	for _, m := range a.Atmospheres {
		reduces := "no"
		if m.GetReducing() {
			reduces = "yes"
		}
		grid.Rows = append(grid.Rows, []string{
			m.GetStage(), render.Number(m.GetCelsius()), orNone(m.CarbonMonoxidePerCarbonDioxide, "-"),
			render.Number(m.GetLog10OxygenBar()), reduces, shares(m.GetSpecies()),
		})
		for _, line := range wrap(m.GetVerdict(), tableWidth-40) {
			grid.Rows = append(grid.Rows, []string{"", "", "", "", "", line})
		}
	}
	return headed(grid)
}

// shares are the most frequent species, such as "CO 0.71, CO2 0.11".
func shares(species []*saggarv1.EquilibriumSpecies) string {
	var parts []string
	for _, s := range species {
		if len(parts) == atmosphereGases {
			break
		}
		name := s.GetSpecies()
		if s.GetPhase() != "gas" {
			name += " (" + s.GetPhase() + ")"
		}
		parts = append(parts, name+" "+render.Number(s.GetMoleFraction()))
	}
	return strings.Join(parts, ", ")
}

// nearRatioShown is the share of a limit from which the air beside a furnace stands in a table.
const nearRatioShown = 0.01

// nearGrid is what people breathe at each open furnace, with the least protection that would be enough where it asks for any.
func (a recipeCheck) nearGrid() render.Grid {
	grid := render.Grid{
		Title:   "Beside the open furnace, cautious case",
		Columns: []string{"stage", "furnace", "species", "peak", "over 15 min", "times the limit", "protection for its wearer"},
	}
	for _, near := range a.Near {
		for _, s := range near.GetSpecies() {
			if s.GetRatio() < nearRatioShown {
				continue
			}
			grid.Rows = append(grid.Rows, []string{
				near.GetStage(), near.GetFurnace(), s.GetSpecies(), concentration(s.GetSpecies(), s.GetPeakPpm()),
				concentration(s.GetSpecies(), s.GetMax_15MinutePpm()), render.Number(s.GetRatio()), leastProtection(s),
			})
		}
	}
	return headed(grid)
}

// leastProtection is the class with the lowest factor that would be enough.
func leastProtection(s *saggarv1.NearSpecies) string {
	if len(s.GetProtection()) == 0 {
		return "none asked for"
	}
	enough := slices.DeleteFunc(slices.Clone(s.GetProtection()), func(c *saggarv1.ProtectionClass) bool { return !c.GetEnough() })
	if len(enough) == 0 {
		return "none is enough"
	}
	least := slices.MinFunc(enough, func(x, y *saggarv1.ProtectionClass) int {
		return cmp.Compare(x.GetAssignedProtectionFactor(), y.GetAssignedProtectionFactor())
	})
	words := strings.ReplaceAll(strings.ReplaceAll(least.GetClass(), "_", " "), "/", ", ")
	if least.GetNeedsGoggles() {
		words += ", with gas-tight goggles"
	}
	return words
}

// fanLimitsShown is how many limits of each gas a table shows as passed.
const fanLimitsShown = 2

// fanGrid is how long people have when extraction stops at the worst moment: of each gas the first two limits that refuse.
func (a recipeCheck) fanGrid() render.Grid {
	grid := render.Grid{
		Title:   "If the extraction stops at the worst moment, cautious case: the first refusing limits passed",
		Columns: []string{"stage", "room", "stops in minute", "species", "authority and kind", "limit", "passed after min"},
	}
	for _, f := range a.FanFailures {
		first := []string{f.GetStage(), f.GetRoom(), render.Number(f.GetFailureMinute())}
		shown := map[string]int{}
		for _, p := range f.GetPassed() {
			if !p.GetRefuses() || shown[p.GetSpecies()] == fanLimitsShown {
				continue
			}
			shown[p.GetSpecies()]++
			grid.Rows = append(grid.Rows, append(first, p.GetSpecies(), p.GetAuthority()+" "+p.GetKind(),
				concentration(p.GetSpecies(), p.GetLimitPpm()), render.Number(p.GetAfterMinutes())))
			first = []string{"", "", ""}
		}
	}
	return headed(grid)
}
