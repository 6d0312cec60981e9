package air

import (
	"saggar/chem/finding"
)

// CaptureCure is the capture of one source that would be enough, each share rounded up where
// what it lets escape has two figures.
type CaptureCure struct {
	Source           string  `json:"source"`
	CaptureFraction  float64 `json:"capture_fraction"`
	DoorOpenFraction float64 `json:"door_open_fraction"`
}

// Bounds of the search for a flow: relative fineness, first guess and the flow at which it gives up, m3/s.
const (
	flowFineness = 1e-6
	flowGuess    = 0.01
	flowGivesUp  = 1e6
)

func refusing(limits []Limit) []Limit {
	var kept []Limit
	for _, limit := range limits {
		if limit.Severity == finding.Block {
			kept = append(kept, limit)
		}
	}
	return kept
}

// flowNeeded is the least steady flow at which the species passes the limits; nil when none does. More flow never
// makes it worse, so halving finds it.
func (m *measured) flowNeeded(zone *Zone, limits []Limit) *float64 {
	return leastFlow(0, func(flow float64) bool {
		return measure(m.load, steady(zone, flow), limits).within()
	})
}

// flowNeeded is the least steady flow at which all species pass what refuses them, and so do the mixtures.
func (s survey) flowNeeded(zone *Zone) *float64 {
	return leastFlow(0, func(flow float64) bool {
		rates := steady(zone, flow)
		tried := make(survey, len(s))
		for i, m := range s {
			tried[i] = measure(m.load, rates, refusing(m.limits))
			if !tried[i].within() {
				return false
			}
		}
		return len(tried.excesses()) == 0
	})
}

func steady(zone *Zone, flow float64) []rateStep {
	return (&Zone{VolumeCubicMeters: zone.VolumeCubicMeters, MixingFactor: zone.MixingFactor,
		Flow: ConstantFlow(flow)}).exchanges()
}

// within reports whether no limit is exceeded.
func (m *measured) within() bool {
	for _, limit := range m.limits {
		if _, over := m.over(limit); over {
			return false
		}
	}
	return true
}

func leastFlow(low float64, passes func(float64) bool) *float64 {
	if passes(low) {
		return &low
	}
	high := max(flowGuess, 2*low)
	for !passes(high) {
		low, high = high, 2*high
		if high > flowGivesUp {
			return nil
		}
	}
	for high-low > flowFineness*high {
		if middle := (low + high) / 2; passes(middle) {
			high = middle
		} else {
			low = middle
		}
	}
	return &high
}

// shareWithin is the share of the releases at which the limits are met, exact because the air is linear in them;
// false when the incoming air alone is over. With an initial concentration the sum is not linear: no share is given.
func (m *measured) shareWithin(limits []Limit) (float64, bool) {
	share := 1.0
	for _, limit := range limits {
		greatest := m.mean(limit.AveragingMinutes).ppm
		if !above(greatest, limit.PPM) {
			continue
		}
		part, ok := shareOf(greatest, limit.PPM, m.curve.background)
		if !ok {
			return 0, false
		}
		share = min(share, part)
	}
	return share, m.load.initial == 0
}

func shareOf(value, limit, background float64) (float64, bool) {
	if background > limit {
		return 0, false
	}
	return (limit - background) / (value - background), true
}

// shareEnough is the share of all releases at which everything that refuses is met.
func (s survey) shareEnough() (float64, bool) {
	share := 1.0
	for _, m := range s {
		part, ok := m.shareWithin(refusing(m.limits))
		if !ok {
			return 0, false
		}
		share = min(share, part)
	}
	for _, mixture := range []mixture{s.mixture(MixtureShift), s.mixture(MixtureShortTerm)} {
		ratio, _ := mixture.ratio()
		if !above(ratio, 1) {
			continue
		}
		part, ok := shareOf(ratio, 1, mixture.background())
		if !ok {
			return 0, false
		}
		share = min(share, part)
	}
	return share, true
}

// cureByRelease fills in the share of the charge and the captures that would be enough.
func (a *Assessment) cureByRelease(s survey, check RoomCheck) {
	share, ok := s.shareEnough()
	if !ok {
		return
	}
	a.ChargeShareEnough = &share
	if share < 1 {
		a.CaptureEnough = captures(check.Sources, share)
	}
}

// captures are the sources' captures that let only a share of what now escapes escape.
func captures(sources []Source, share float64) []CaptureCure {
	cures := make([]CaptureCure, len(sources))
	for i, source := range sources {
		cures[i] = CaptureCure{
			Source:           source.Name,
			CaptureFraction:  captureUp(1 - share*(1-source.CaptureFraction)),
			DoorOpenFraction: captureUp(1 - share*(1-source.DoorOpenFraction)),
		}
	}
	return cures
}
