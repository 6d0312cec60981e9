package heat

import (
	"fmt"
	"math"
	"slices"

	"saggar/chem/finding"
)

// HeatUptake is one point of what a charge takes while it is heated for the first time: the kilojoules taken, in all, when it
// has come to a temperature (its own heat, that of what evaporates and that of reactions together).
type HeatUptake struct {
	Celsius    float64 `json:"celsius"`
	Kilojoules float64 `json:"kilojoules"`
}

// uptakeFaults lists what is wrong with a curve of uptake: it begins at 0 kJ, its temperatures never fall. A temperature that
// stands twice is a step, as of boiling; kilojoules that fall are heat that the charge gives off.
func uptakeFaults(uptake []HeatUptake) finding.Faults {
	var faults finding.Faults
	if len(uptake) == 1 || len(uptake) > maxUptakes {
		faults.Add("charge_heat", fmt.Sprintf("%d points", len(uptake)), fmt.Sprintf("give 2 to %d, or none", maxUptakes))
	}
	for i, u := range uptake {
		at := func(field string) string { return fmt.Sprintf("charge_heat[%d].%s", i, field) }
		if !within(u.Celsius, minCelsius, 2*maxCelsius) {
			inRange(&faults, at("celsius"), u.Celsius, minCelsius, 2*maxCelsius)
		}
		if !within(u.Kilojoules, -maxKilojoules, maxKilojoules) {
			inRange(&faults, at("kilojoules"), u.Kilojoules, -maxKilojoules, maxKilojoules)
		}
		switch {
		case i == 0 && u.Kilojoules != 0:
			faults.Add(at("kilojoules"), fmt.Sprintf("%g where the charge has taken nothing yet", u.Kilojoules),
				"begin with the temperature of the cold charge and 0")
		case i > 0 && u.Celsius < uptake[i-1].Celsius:
			faults.Add(at("celsius"), fmt.Sprintf("%g comes after %g", u.Celsius, uptake[i-1].Celsius),
				"give the points from cold to hot")
		}
	}
	return faults
}

// charge is what is heated along, and how far it has come. Heat that it gives off on the way is not credited: power and time
// are those of a charge that gives none.
type charge struct {
	uptake []HeatUptake
	// perKelvin is what it takes when heated again, above the last point, and what it gives back cooling: the whole uptake
	// spread evenly. With water in it that is more than the truth, so that cooling is on the long side.
	perKelvin float64
	// hottest is the temperature up to which its uptake is spent.
	hottest float64
}

// band is a part of a rise with what the charge takes in it, at least 0; from equals to in a step.
type band struct{ from, to, kilojoules float64 }

func newCharge(uptake []HeatUptake) charge {
	c := charge{uptake: uptake, hottest: math.Inf(-1)}
	if len(uptake) == 0 {
		return c
	}
	taken := 0.0
	for i := 1; i < len(uptake); i++ {
		taken += max(0, uptake[i].Kilojoules-uptake[i-1].Kilojoules)
	}
	if width := uptake[len(uptake)-1].Celsius - uptake[0].Celsius; width > 0 {
		c.perKelvin = taken / width
	}
	return c
}

// heated tells that the charge has come to a temperature.
func (c *charge) heated(celsius float64) { c.hottest = max(c.hottest, celsius) }

// bands cuts a rise where what the charge takes changes. Below its first point the charge takes nothing.
func (c charge) bands(from, to float64) []band {
	if from >= to {
		return nil
	}
	if len(c.uptake) == 0 {
		return []band{{from: from, to: to}}
	}
	var list []band
	reach := func(edge, perKelvin float64) {
		if edge = min(edge, to); edge > from {
			list = append(list, band{from: from, to: edge, kilojoules: perKelvin * (edge - from)})
			from = edge
		}
	}
	reach(c.uptake[0].Celsius, 0)
	reach(c.hottest, c.perKelvin)
	for i := 1; i < len(c.uptake); i++ {
		low, high := c.uptake[i-1], c.uptake[i]
		taken := max(0, high.Kilojoules-low.Kilojoules)
		switch {
		case high.Celsius > low.Celsius:
			reach(high.Celsius, taken/(high.Celsius-low.Celsius))
		case taken > 0 && high.Celsius == from && high.Celsius > c.hottest:
			list = append(list, band{from: from, to: from, kilojoules: taken})
		}
	}
	reach(to, c.perKelvin)
	return list
}

// takenUpTo is what the cold charge takes on its way to a temperature.
func (c charge) takenUpTo(celsius float64) float64 {
	if len(c.uptake) == 0 || celsius <= c.uptake[0].Celsius {
		return 0
	}
	total := 0.0
	c.hottest = math.Inf(-1)
	for _, b := range c.bands(c.uptake[0].Celsius-1, celsius) {
		total += b.kilojoules
	}
	return total
}

// assumptions says how the charge was counted in a program up to its hottest temperature.
func (c charge) assumptions(hottest float64) []string {
	if len(c.uptake) == 0 {
		return []string{"the heat that the charge itself takes or gives is not counted"}
	}
	notes := []string{
		"what the charge takes comes on top of the measured times, as if they were measured empty",
		fmt.Sprintf("cooling, and when it is heated again, the charge is taken to hold %.3g kJ/K: all that it took, spread evenly",
			c.perKelvin),
	}
	if givesOff(c.uptake) {
		notes = append(notes, "heat that the charge gives off is not credited, neither in power nor in time")
	}
	if last := c.uptake[len(c.uptake)-1].Celsius; hottest > last {
		notes = append(notes, fmt.Sprintf("above %.0f C, the last that is known of the charge, it is taken to hold as much", last))
	}
	return notes
}

// givesOff tells whether any part of the curve falls.
func givesOff(uptake []HeatUptake) bool {
	for i := 1; i < len(uptake); i++ {
		if uptake[i].Kilojoules < uptake[i-1].Kilojoules {
			return true
		}
	}
	return false
}

// scaled is the uptake of a share of the charge.
func scaled(uptake []HeatUptake, share float64) []HeatUptake {
	part := slices.Clone(uptake)
	for i := range part {
		part[i].Kilojoules *= share
	}
	return part
}
