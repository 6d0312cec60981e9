package assess

import (
	"slices"

	"saggar/chem/heat"
)

// Profile is the furnace's temperature over fire and cooling, in minutes from the start of the first phase, as releases and
// air count them. It is empty for bench work.
func (t Treatment) Profile() []heat.Point {
	start := t.startOf(heat.Fire)
	profile := slices.Clone(t.Heat.Profile)
	for i := range profile {
		profile[i].Minute += start
	}
	return profile
}
