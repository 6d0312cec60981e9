// Package offgas turns what a stage gives off into gas over time: when each part of it leaves the charge, and how much
// a minute. It answers for the charge, ordinary ware and a gas furnace's own flue; what escapes into which room is
// chem/air's to say. Minutes count on the clock of the temperature profile, whose zero is the start of the first segment.
//
// Every series is a planning estimate; see chem.Caution.
package offgas

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

const (
	// reachedWithinCelsius is how near a profile must come to a temperature to count as having reached it.
	reachedWithinCelsius = 1.0
	// shortestMinutes is the least time over which gas comes off.
	shortestMinutes = 1.0
)

// Firing is what Series needs to know of one stage's firing.
type Firing struct {
	// Gases is the off-gas of one case, as chem.StageBalance.OffGasOf gives it.
	Gases []chem.OffGas
	// Profile is the chamber's temperature, in the order of time.
	Profile []heat.Point
	// ChargeAtCelsius is the chamber's temperature when charged at ChargeMinute, which is negative when that is before the
	// first segment starts.
	ChargeAtCelsius float64
	ChargeMinute    float64
	// FeedMinute is when gases marked FedHot begin: the feed into the hot furnace.
	FeedMinute float64
	Lid        chem.Lid
	Practice   chem.Practice
	// DepthMillimeters is the charge's depth, which slows what comes off in the likely case; 0: not known.
	DepthMillimeters float64
}

// Series spreads each gas over the time in which it comes off. What the temperature at the charge already allows comes
// within the practice's minutes of charging (an open lid, or one not stated, gives the shorter time), what is fed hot
// within the same minutes of the feed. The rest comes at the rate of its reaction where the table has one, in at most
// mostPieces even parts: in the likely case that of the whole bed, in the cautious case that of a charge as hot as the
// furnace, unless the even way over the range has the higher peak. Without a rate it comes evenly while the profile passes
// the gas's range on the way up, to the end of the stay at the peak when the range is not passed, for at least a minute. Gas
// whose range is never reached does not come off; all other mass is in the series.
//
// Releases of the same species over the same time are joined; they come in the order of their start, then species. It
// returns finding.Faults for a profile without points, out of order or with values that are no numbers.
func Series(firing Firing) ([]air.Release, error) {
	if err := firing.validate().Err(); err != nil {
		return nil, err
	}
	var list []air.Release
	known := kinetics{}
	for _, gas := range firing.Gases {
		start, end, reached := firing.window(gas)
		if !reached || gas.MassGrams <= 0 {
			continue
		}
		taken := way{{start, end, 1}}
		if found := firing.way(known, gas, taken); found != nil {
			taken = found
		}
		list = taken.releases(list, gas)
	}
	sortByStart(list)
	return list, nil
}

// Until is when the last gas that harms anybody has come off by either way, at the rate of its reaction or evenly over its
// range, whichever is later: a deep bed gives gas off for longer than its surface says. Steam alone harms nobody. It is the
// profile's first minute when there is none. The firing and the series must be those of Series.
func (f Firing) Until(series []air.Release) float64 {
	const steam = "H2O"
	last := f.Profile[0].Minute
	for _, release := range series {
		if release.Species != steam {
			last = max(last, release.EndMinute)
		}
	}
	for _, gas := range f.Gases {
		if _, end, reached := f.window(gas); reached && gas.MassGrams > 0 && gas.Species != steam {
			last = max(last, end)
		}
	}
	return last
}

func (f Firing) validate() finding.Faults {
	faults := f.Practice.Validate()
	if len(f.Profile) == 0 {
		faults.Add("profile", "there is no temperature profile", "give the firing's temperatures over time")
	}
	last := math.Inf(-1)
	for i, point := range f.Profile {
		if !finite(point.Minute) || !finite(point.Celsius) || point.Minute < last {
			faults.Add(fmt.Sprintf("profile[%d]", i), fmt.Sprintf("minute %g at %g C", point.Minute, point.Celsius),
				"give finite numbers in the order of time")
		}
		last = point.Minute
	}
	if !finite(f.ChargeAtCelsius) || !finite(f.ChargeMinute) || !finite(f.FeedMinute) {
		faults.Add("charge_minute", fmt.Sprintf("charged in minute %g at %g C, fed in minute %g", f.ChargeMinute,
			f.ChargeAtCelsius, f.FeedMinute), "give finite numbers")
	}
	for i, gas := range f.Gases {
		if !finite(gas.MassGrams) || gas.MassGrams < 0 || !finite(gas.LowCelsius) || !finite(gas.HighCelsius) {
			faults.Add(fmt.Sprintf("gases[%d]", i), fmt.Sprintf("%g g of %s", gas.MassGrams, gas.Species),
				"give a finite mass from 0 and a finite range")
		}
	}
	return faults
}

func finite(value float64) bool { return !math.IsNaN(value) && !math.IsInf(value, 0) }

// window is when a gas comes off; reached is false when it never does.
func (f Firing) window(gas chem.OffGas) (start, end float64, reached bool) {
	minutes := f.Practice.OpenReleaseMinutes
	if f.Lid == chem.LooseLid || f.Lid == chem.SealedLid {
		minutes = f.Practice.LiddedReleaseMinutes
	}
	switch {
	case gas.FedHot:
		return f.FeedMinute, f.FeedMinute + minutes, true
	case f.atOnce(gas):
		return f.ChargeMinute, f.ChargeMinute + minutes, true
	}
	peak := slices.MaxFunc(f.Profile, func(a, b heat.Point) int { return cmp.Compare(a.Celsius, b.Celsius) }).Celsius
	low := gas.LowCelsius
	if peak < low {
		if peak < low-reachedWithinCelsius {
			return 0, 0, false
		}
		low = peak
	}
	start = f.firstAbove(low)
	if peak >= gas.HighCelsius {
		end = f.firstAbove(gas.HighCelsius)
	} else {
		end = f.lastAbove(peak - reachedWithinCelsius)
	}
	return start, math.Max(end, start+shortestMinutes), true
}

// atOnce reports gas that comes within the practice's minutes, of the feed or of a charge that meets a furnace hot enough.
func (f Firing) atOnce(gas chem.OffGas) bool {
	return gas.FedHot || f.ChargeAtCelsius >= gas.LowCelsius
}

// firstAbove is the first minute at a temperature that the profile reaches.
func (f Firing) firstAbove(celsius float64) float64 {
	at := slices.IndexFunc(f.Profile, func(p heat.Point) bool { return p.Celsius >= celsius })
	if at == 0 {
		return f.Profile[0].Minute
	}
	return crossing(f.Profile[at-1], f.Profile[at], celsius)
}

// lastAbove is the last minute at a temperature that the profile reaches.
func (f Firing) lastAbove(celsius float64) float64 {
	last := len(f.Profile) - 1
	at := last
	for f.Profile[at].Celsius < celsius {
		at--
	}
	if at == last {
		return f.Profile[at].Minute
	}
	return crossing(f.Profile[at], f.Profile[at+1], celsius)
}

// crossing is when the line between two points, which differ in temperature, passes a temperature between theirs.
func crossing(a, b heat.Point, celsius float64) float64 {
	return a.Minute + (b.Minute-a.Minute)*(celsius-a.Celsius)/(b.Celsius-a.Celsius)
}

// join adds a release, to one of the same species over the same time when there is one.
func join(list []air.Release, release air.Release) []air.Release {
	at := slices.IndexFunc(list, func(r air.Release) bool {
		return r.Species == release.Species && r.StartMinute == release.StartMinute && r.EndMinute == release.EndMinute
	})
	if at < 0 {
		return append(list, release)
	}
	list[at].GramsPerMinute += release.GramsPerMinute
	return list
}

func sortByStart(list []air.Release) {
	slices.SortStableFunc(list, func(a, b air.Release) int {
		return cmp.Or(cmp.Compare(a.StartMinute, b.StartMinute), cmp.Compare(a.Species, b.Species),
			cmp.Compare(a.EndMinute, b.EndMinute))
	})
}
