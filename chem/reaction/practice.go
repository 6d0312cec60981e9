package reaction

import (
	"sync"

	"saggar/chem/data"
)

// Caution goes with every conversion and length that this package gives.
const Caution = "Planning estimate from tabled rates and an assumed bed; it replaces no weighing before and after, no thermocouple " +
	"in the charge and no test of the product."

const (
	// EnoughFraction is the conversion that counts as complete: common practice, no source.
	EnoughFraction = 0.99
	// MaxHoldMinutes is the longest hold that a heat program takes; a reaction that needs longer is said never to be enough.
	MaxHoldMinutes = 14 * 24 * 60.0
	// TraceFraction of a stage's charge, by mass, is the least of a compound whose conversion is looked at: common practice, no
	// source.
	TraceFraction = 0.05
	// maxDepthMillimeters, the bounds of the diffusivity and the hottest program are the limits of what is taken as input; beyond
	// them a number is a slip of the pen.
	maxDepthMillimeters = 2000.0
	minDiffusivity      = 1e-9
	maxDiffusivity      = 1e-3
	maxCelsius          = 2500.0
	maxProfileMinutes   = 60 * 24 * 60.0
)

// practiceSource is the source of a finding that rests on a habit of the trade.
const practiceSource = "common practice, no source"

// defaultDiffusivity is the tabled thermal diffusivity of a packed bed.
var defaultDiffusivity = sync.OnceValue(func() data.Property {
	for _, p := range data.BedProperties() {
		if p.Quantity == "thermal diffusivity" {
			return p
		}
	}
	panic("bug: no thermal diffusivity in the table")
})
