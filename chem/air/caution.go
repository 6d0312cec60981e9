package air

import (
	"fmt"

	"saggar/chem"
	"saggar/chem/data"
)

// Caution stands beside every figure of this package that a person sees.
const Caution = chem.Caution

// assumptions says what the sums rest on, for the reader of an assessment.
func (c RoomCheck) assumptions() []string {
	lines := []string{
		fmt.Sprintf("%s holds %g m3, mixed with factor K = %g: the share 1/K of the flow counts as fresh air", c.Zone.name(),
			c.Zone.VolumeCubicMeters, c.Zone.mixing()),
		c.Zone.flowAssumption(),
		"ppm by volume at 25 C and 1 atm, molar volume 24.45 l",
		"releases, captured shares and door-open times as given; nothing settles, reacts or sticks to walls",
		noteSO3,
		c.Zone.occupancyAssumption(),
		"NIOSH and OSHA values refuse, stricter published ones warn; a value not read in its source only warns",
		fmt.Sprintf("re-entry below %g of the strictest shift limit that refuses, of the strictest limit where none does "+
			"(common practice, no source)", reentryShareOfShift),
	}
	lines = append(lines, c.Zone.incomingAssumptions()...)
	if c.Room == nil {
		lines = append(lines, "gas alarms were not checked")
	}
	return lines
}

func (z *Zone) name() string {
	if z.ID == "" {
		return "the room"
	}
	return z.ID
}

func (z *Zone) flowAssumption() string {
	switch len(z.Flow) {
	case 0:
		return "no flow of fresh air"
	case 1:
		if z.Flow[0].CubicMetersPerSecond == 0 {
			return "no flow of fresh air"
		}
		return fmt.Sprintf("a steady flow of %g m3/s", z.Flow[0].CubicMetersPerSecond)
	default:
		return fmt.Sprintf("a flow of fresh air in %d steps from %g m3/s", len(z.Flow), z.Flow[0].CubicMetersPerSecond)
	}
}

// incomingAssumptions say what the fresh air brings along.
func (z *Zone) incomingAssumptions() []string {
	var lines []string
	for _, row := range data.IncomingAir() {
		if _, named := z.BackgroundPPM[row.Species]; !named {
			lines = append(lines, fmt.Sprintf("incoming air holds %g ppm %s (%s)", row.PPM, row.Species, row.Source))
		}
	}
	if len(z.BackgroundPPM) == 0 {
		return append(lines, "incoming air holds none of the other gases")
	}
	return append(lines, "incoming air holds of the other gases what is given for it")
}
