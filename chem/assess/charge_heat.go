package assess

import (
	"fmt"
	"math"
	"slices"

	"saggar/chem"
	"saggar/chem/heat"
	"saggar/chem/reaction"
	"saggar/chem/thermo"
)

const (
	// uptakeStepCelsius is how far apart the points of a charge's uptake lie.
	uptakeStepCelsius = 50
	// uptakeTopCelsius is where the uptake's curve ends; a furnace beyond takes its mean.
	uptakeTopCelsius = 1400
	// wareAs is the compound whose heat stands for ordinary ware and for what a material leaves open.
	wareAs = "SiO2"
)

// chargeHeat is what a stage's charge and ware take while they are heated for the first time, and what that rests on.
type chargeHeat struct {
	uptake      []heat.HeatUptake
	assumptions []string
}

// heatOf sums the charge's own heat, its water's, and that of what reacts in it, each over its range. What burns stands as one
// step at the end of its range, so that no other reaction is credited with its heat; under reduction it burns outside. It is
// empty for bench work and an empty charge.
func heatOf(stage chem.Stage, balance chem.StageBalance) (chargeHeat, error) {
	if stage.Program == nil || balance.MassInGrams+balance.WareGrams <= 0 {
		return chargeHeat{}, nil
	}
	lump, err := thermo.NewCharge(portions(balance))
	if err != nil {
		return chargeHeat{}, err
	}
	parts := reaction.Parts(balance)
	var h chargeHeat
	burnt := 0.0
	for _, celsius := range uptakeCelsius(parts) {
		own, err := lump.Kilojoules(heat.DefaultAmbientCelsius, celsius)
		if err != nil {
			return chargeHeat{}, err
		}
		given := 0.0
		for _, part := range parts {
			taken := part.Moles * part.Reaction.Enthalpy.KilojoulesPerMole
			switch {
			case taken >= 0:
				own += taken * passed(part.Reaction, celsius)
			case celsius >= part.Reaction.HighCelsius && stage.Atmosphere != heat.Reducing:
				given -= taken
			}
		}
		h.uptake = append(h.uptake, heat.HeatUptake{Celsius: celsius, Kilojoules: own - burnt})
		if given > burnt {
			burnt = given
			h.uptake = append(h.uptake, heat.HeatUptake{Celsius: celsius, Kilojoules: own - burnt})
		}
	}
	whole, err := lump.Heat(heat.DefaultAmbientCelsius, balance.PeakCelsius)
	if err != nil {
		return chargeHeat{}, err
	}
	sensible := slices.DeleteFunc(slices.Clone(whole.Assumptions), func(a string) bool { return a == thermo.WithoutReactions })
	h.assumptions = append(sensible,
		"ordinary ware, and what a material's description leaves open, take the heat of quartz; what stands around the charge "+
			"(crucibles, shelves) is not counted beyond the furnace's own times",
		"the charge's heat is that and the heats of its reactions: those at 25 C, taken up evenly over each reaction's range, and only where a table has them")
	return h, nil
}

// portions are the compounds of a stage's charge with its free water, what is inert and the ware.
func portions(balance chem.StageBalance) []thermo.Portion {
	list := make([]thermo.Portion, 0, len(balance.Charged)+2)
	for _, phase := range balance.Charged {
		if phase.Moles > 0 {
			list = append(list, thermo.Portion{Formula: phase.Compound, Moles: phase.Moles})
		}
	}
	for _, rest := range []struct {
		formula string
		grams   float64
	}{{"H2O", balance.FreeWaterGrams}, {wareAs, balance.InertGrams + balance.WareGrams}} {
		if formula, err := chem.ParseFormula(rest.formula); err == nil && rest.grams > 0 {
			list = append(list, thermo.Portion{Formula: formula, Moles: rest.grams / formula.MolarMass()})
		}
	}
	return list
}

// uptakeCelsius are the temperatures of the curve: every step, and where a reaction begins and ends.
func uptakeCelsius(parts []reaction.Part) []float64 {
	var list []float64
	for celsius := float64(heat.DefaultAmbientCelsius); celsius < uptakeTopCelsius; celsius += uptakeStepCelsius {
		list = append(list, celsius)
	}
	list = append(list, 99, 101, uptakeTopCelsius) // water boils between
	for _, part := range parts {
		for _, celsius := range []float64{part.Reaction.LowCelsius, part.Reaction.HighCelsius} {
			if celsius > heat.DefaultAmbientCelsius && celsius < uptakeTopCelsius {
				list = append(list, celsius)
			}
		}
	}
	slices.Sort(list)
	return slices.Compact(list)
}

// passed is the share of a reaction's range below a temperature.
func passed(r reaction.Reaction, celsius float64) float64 {
	if r.HighCelsius <= r.LowCelsius {
		if celsius >= r.HighCelsius {
			return 1
		}
		return 0
	}
	return math.Min(1, math.Max(0, (celsius-r.LowCelsius)/(r.HighCelsius-r.LowCelsius)))
}

// follows works out, stage by stage, what the charge takes and the gas over it.
func (c *Charge) follows() error {
	for i, stage := range c.Recipe.Stages {
		taken, err := heatOf(stage, c.Balance.Stages[i])
		if err != nil {
			return fmt.Errorf("the heat of stage %s: %w", stage.ID, err)
		}
		starved, err := c.starve(i)
		if err != nil {
			return fmt.Errorf("the gas of stage %s: %w", stage.ID, err)
		}
		c.taken, c.starved = append(c.taken, taken), append(c.starved, starved)
	}
	return nil
}
