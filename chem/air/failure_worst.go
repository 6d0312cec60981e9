package air

import (
	"cmp"
	"math"
	"slices"
)

// stretch is a part of the time in which the fan may stop: at its beginning a limit is passed after so many minutes.
type stretch struct{ from, until, minutes float64 }

// least is what no failure within the stretch can undercut: a later failure is followed by no more gas at any moment, so by
// the clock the limit is passed no earlier.
func (s stretch) least() float64 { return math.Max(0, s.minutes-(s.until-s.from)) }

// seek fixes the minute of the failure: as asked, else the worst one.
func (f *FanFailure) seek(air *failing) {
	if air.check.AtMinute != nil {
		f.AtMinute = *air.check.AtMinute
		return
	}
	first, last := air.check.span()
	f.AtMinute = first
	evacuating := true
	least := air.leastTime(first, evacuating)
	if math.IsInf(least, 1) {
		evacuating = false
		least = air.leastTime(first, evacuating)
	}
	if !math.IsInf(least, 1) { // the earliest failure leaves the most gas: what it does not pass, none does
		f.halve(air, stretch{first, last, least}, evacuating)
	}
}

// halve looks for the minute that leaves the least time: the stretch that may still hold a worse one is halved, until none
// can by more than failureSearchMinutes.
func (f *FanFailure) halve(air *failing, whole stretch, evacuating bool) {
	best, open := whole.minutes, []stretch{whole}
	byLeast := func(a, b stretch) int { return cmp.Compare(a.least(), b.least()) }
	for range failureSearchesAtMost {
		worst := slices.MinFunc(open, byLeast)
		if worst.least() >= best-failureSearchMinutes {
			break
		}
		middle := (worst.from + worst.until) / 2
		minutes := air.leastTime(middle, evacuating)
		if minutes < best {
			best, f.AtMinute = minutes, middle
		}
		open[slices.Index(open, worst)] = stretch{worst.from, middle, worst.minutes}
		if !math.IsInf(minutes, 1) {
			open = append(open, stretch{middle, worst.until, minutes})
		}
	}
	least := math.Min(best, slices.MinFunc(open, byLeast).least())
	f.LeastMinutes = &least
}

// span is from the first release to the end of the last, from the room's own start where it holds gas then.
func (c *FanFailureCheck) span() (first, last float64) {
	first, last = math.Inf(1), math.Inf(-1)
	for _, source := range c.Sources {
		for _, r := range source.Releases {
			first, last = math.Min(first, r.StartMinute), math.Max(last, r.EndMinute)
		}
	}
	if len(c.Zone.InitialPPM) > 0 || first > last {
		return c.Zone.StartMinute, math.Max(last, c.Zone.StartMinute)
	}
	return first, last
}
