package assess

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/data"
	"saggar/chem/finding"
	"saggar/chem/gas"
	"saggar/chem/heat"
)

const (
	// goneBelowCelsius is the temperature below which what a charge gives off has left before its gas reduces anything:
	// common practice, no source.
	goneBelowCelsius = 400
	// tracedShare is the share of a charge's sulfur below which a sulfur gas of an air-starved charge is left out: common
	// practice, no source.
	tracedShare = 0.001
	// atmosphereCelsius is the least peak at which a charge's gas is taken to come to equilibrium: common practice, no source.
	atmosphereCelsius = 600
)

// Atmosphere is the gas over a charge that fires under reduction, at equilibrium at its hottest and with no air reaching it.
type Atmosphere struct {
	Celsius float64
	Mixture gas.Result
	Judged  gas.Atmosphere
}

// starvation is an air-starved charge's gas at several temperatures of its firing.
type starvation struct {
	atmosphere *Atmosphere
	// shares are, by species, the most of the charge's sulfur atoms that leave in it at any of the temperatures.
	shares      map[string]float64
	assumptions []string
	// carbon tells that the charge holds carbon but gives off no gas: what takes its oxygen makes carbon monoxide of it.
	carbon bool
	// left tells that the atmosphere is not judged: the stage does not reduce, or is too cold for equilibrium.
	left bool
}

// starve works out the gas over a stage's charge where no air reaches it; nothing for a stage that does not reduce, is too
// cold, or whose charge offers no gas. What a gas furnace's own flame brings is left out.
func (c Charge) starve(index int) (starvation, error) {
	stage := c.Recipe.Stages[index]
	peak := c.Balance.Stages[index].PeakCelsius
	if stage.Program == nil || stage.Atmosphere != heat.Reducing || peak < atmosphereCelsius {
		return starvation{left: true}, nil
	}
	offered := c.offered(index)
	if offered.CarbonMoles+offered.SulfurMoles+offered.HydrogenMoles == 0 {
		return starvation{}, nil
	}
	starved := starvation{shares: map[string]float64{}}
	for _, celsius := range []float64{atmosphereCelsius, (atmosphereCelsius + peak) / 2, peak} {
		offered.Celsius = math.Min(celsius, gas.MaxCelsius)
		answer, err := gas.AirStarved(offered)
		var faults finding.Faults
		if errors.As(err, &faults) {
			return starvation{carbon: offered.CarbonMoles > 0}, nil // it offers nothing that a table has as gas
		}
		if err != nil {
			return starvation{}, err
		}
		for _, share := range answer.Sulfur {
			if share.Phase == "gas" {
				starved.shares[share.Species] = math.Max(starved.shares[share.Species], share.Fraction)
			}
		}
		if celsius != peak {
			continue
		}
		judged, err := answer.Mixture.Atmosphere()
		if err == nil {
			starved.atmosphere = &Atmosphere{Celsius: offered.Celsius, Mixture: answer.Mixture, Judged: judged}
			starved.assumptions = once(append(slices.Clone(answer.Assumptions), judged.Assumptions...))
		}
	}
	return starved, nil
}

// offered are the atoms that a stage's charge offers as gas from goneBelowCelsius on, in the cautious case, with the carbon
// that it still holds afterwards. Oxygen is that of the charge alone.
func (c Charge) offered(index int) gas.StarvedCharge {
	balance := c.Balance.Stages[index]
	var offered gas.StarvedCharge
	early := 0.0 // moles of steam that have gone before
	for _, g := range balance.OffGasOf(chem.Cautious) {
		switch {
		case g.Species == "H2O" && g.HighCelsius <= goneBelowCelsius:
			early += g.Moles
		case g.Species == "H2O":
			offered.HydrogenMoles += 2 * g.Moles
		case g.Species == "SO2", g.Species == "H2SO4":
			offered.SulfurMoles += g.Moles
		case g.Species == "CO", g.Species == "CO2":
			offered.CarbonMoles += g.Moles
		case g.Species == "NO2":
			offered.NitrogenMoles += g.Moles
		}
	}
	for _, e := range balance.Elements {
		if e.Element == "O" {
			offered.OxygenMoles = math.Max(0, e.OffGasMoles-early)
		}
	}
	for _, left := range balance.Remaining {
		if left.Formula == "C" {
			offered.CarbonMoles += left.Moles
		}
	}
	return offered
}

// sulfurWays are the gases in which the sulfur of an air-starved charge leaves that have limits or harm of their own.
var sulfurWays = []struct {
	species     string
	sulfurAtoms float64
}{{"H2S", 1}, {"COS", 1}, {"CS2", 2}}

// released adds to what a charge gives off what its sulfur would be if no air burnt it: the most of each gas at any
// temperature, beside the sulfur dioxide. The one or the other leaves, and nobody knows which.
func (s starvation) released(releases []air.Release) ([]air.Release, error) {
	grams := map[string]float64{"SO2": 0, "H2SO4": 0}
	for species := range grams {
		mass, err := air.GramsPerMole(species)
		if err != nil {
			return nil, err
		}
		grams[species] = mass
	}
	added := slices.Clone(releases)
	for _, way := range sulfurWays {
		if s.shares[way.species] < tracedShare {
			continue
		}
		mass, err := air.GramsPerMole(way.species)
		if err != nil {
			return nil, err
		}
		for _, r := range releases {
			if burnt, ok := grams[r.Species]; ok {
				r.GramsPerMinute *= s.shares[way.species] / way.sulfurAtoms * mass / burnt
				r.Species = way.species
				added = append(added, r)
			}
		}
	}
	return added, nil
}

// reduces finds a charge whose own gas does not reduce though its stage is to, in a furnace whose flame does not either. Carbon
// that a charge holds reduces whether or not it gives off a gas beside it.
func (t *Treatment) reduces(c Charge) []finding.Finding {
	stage, starved := c.Recipe.Stages[t.Stage], c.starved[t.Stage]
	t.Atmosphere = starved.atmosphere
	if stage.Atmosphere != heat.Reducing || t.Furnace.Source == heat.Gas || starved.left || starved.carbon {
		return nil
	}
	found := finding.Finding{
		Severity: finding.Warn, Code: "ATMOSPHERE_NOT_REDUCING", Field: stagePath(t.Stage) + ".atmosphere", About: stage.ID,
		Message: fmt.Sprintf("nothing in the charge of stage %s makes a gas that takes up oxygen, and %s has no flame that does",
			stage.ID, t.Furnace.ID),
		Cure:   "add charcoal or another reducer to the charge, or fire it in a furnace that makes the atmosphere itself",
		Source: commonPractice,
	}
	if t.Atmosphere == nil {
		return []finding.Finding{found}
	}
	if t.Atmosphere.Judged.Reducing {
		return nil
	}
	found.Message = fmt.Sprintf("the gas over the charge of stage %s does not reduce at %.0f C: oxygen at 10^%.1f bar", stage.ID,
		t.Atmosphere.Celsius, t.Atmosphere.Judged.Log10OxygenBar)
	found.Figures = []finding.Figure{
		{Name: "log10_oxygen", Value: t.Atmosphere.Judged.Log10OxygenBar, Unit: "log10 bar"},
		{Name: "peak", Value: t.Atmosphere.Celsius, Unit: "C"},
	}
	found.Source = sourceOfEquilibrium()
	return []finding.Finding{found}
}

// sourceOfEquilibrium is where the figures of the equilibrium were published.
func sourceOfEquilibrium() string { return data.CoefficientSets()[0].Source }
