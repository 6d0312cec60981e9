package offgas

import (
	"fmt"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

// gramsPerKilogram converts the flue's practice.
const gramsPerKilogram = 1000

// Burn is fuel energy that a gas furnace draws evenly over a time; KilowattHours counts what the supply delivers.
type Burn struct {
	StartMinute, EndMinute float64
	KilowattHours          float64
}

// Flue is what a gas furnace's own flame gives off: CO2 by the practice, CO by the furnace's setting for the atmosphere
// (none when unset). Its water has no limit and is left out. A furnace that burns no gas gives nothing. It returns
// finding.Faults for a time that does not end after it starts and for energies below zero or no numbers.
func Flue(furnace heat.Furnace, atmosphere heat.Atmosphere, burns []Burn, practice chem.Practice) ([]air.Release, error) {
	if furnace.Source != heat.Gas {
		return nil, nil
	}
	monoxide := furnace.FlueCarbonMonoxideGramsPerKilowattHour[atmosphere]
	faults := practice.Validate()
	if !finite(monoxide) || monoxide < 0 {
		faults.Add("flue_carbon_monoxide_grams_per_kilowatt_hour", fmt.Sprintf("%g is not a number from 0", monoxide),
			"give grams of CO for each kilowatt hour of gas")
	}
	faults.AddUnder("", validateBurns(burns))
	if err := faults.Err(); err != nil {
		return nil, err
	}
	species := []struct {
		formula              string
		gramsPerKilowattHour float64
	}{
		{"CO2", practice.FlueCarbonDioxideKilogramsPerKilowattHour * gramsPerKilogram},
		{"CO", monoxide},
	}
	var list []air.Release
	for _, burn := range burns {
		for _, s := range species {
			if grams := s.gramsPerKilowattHour * burn.KilowattHours; grams > 0 {
				list = join(list, air.Release{
					Species: s.formula, StartMinute: burn.StartMinute, EndMinute: burn.EndMinute,
					GramsPerMinute: grams / (burn.EndMinute - burn.StartMinute),
				})
			}
		}
	}
	sortByStart(list)
	return list, nil
}

func validateBurns(burns []Burn) finding.Faults {
	var faults finding.Faults
	for i, burn := range burns {
		if !finite(burn.StartMinute) || !finite(burn.EndMinute) || burn.EndMinute <= burn.StartMinute {
			faults.Add(fmt.Sprintf("burns[%d].end_minute", i),
				fmt.Sprintf("%g is not after the start %g", burn.EndMinute, burn.StartMinute), "give minutes in order")
		}
		if !finite(burn.KilowattHours) || burn.KilowattHours < 0 {
			faults.Add(fmt.Sprintf("burns[%d].kilowatt_hours", i), fmt.Sprintf("%g is not a number from 0", burn.KilowattHours),
				"give the gas burnt in kilowatt hours")
		}
	}
	return faults
}
