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

// refuses reports whether going over the limit refuses.
func (l *Limit) refuses() bool { return l.Severity == finding.Block }

func refusing(limits []Limit) []Limit {
	var kept []Limit
	for _, limit := range limits {
		if limit.refuses() {
			kept = append(kept, limit)
		}
	}
	return kept
}

// shareWithin is the share of the releases at which those limits are met that count, exact because the air is linear in them;
// false when the incoming air alone is over. With an initial concentration the sum is not linear: no share is given.
func (m *measured) shareWithin(limits []Limit, counts func(*Limit) bool) (float64, bool) {
	share := 1.0
	for i := range limits {
		limit := &limits[i]
		greatest := m.mean(limit.AveragingMinutes).ppm
		if !counts(limit) || !above(greatest, limit.PPM) {
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
func (s survey) shareEnough(mixtures []mixed) (float64, bool) {
	share := 1.0
	for _, m := range s {
		part, ok := m.shareWithin(m.limits, (*Limit).refuses)
		if !ok {
			return 0, false
		}
		share = min(share, part)
	}
	for _, mixture := range mixtures {
		if !above(mixture.total, 1) {
			continue
		}
		part, ok := shareOf(mixture.total, 1, mixture.background())
		if !ok {
			return 0, false
		}
		share = min(share, part)
	}
	return share, true
}

// cureByRelease fills in the share of the charge and the captures that would be enough.
func (a *Assessment) cureByRelease(s survey, mixtures []mixed, check RoomCheck) {
	share, ok := s.shareEnough(mixtures)
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
	for i := range sources {
		cures[i] = sources[i].captured(share)
	}
	return cures
}

// captured is the capture that lets only a share of what now escapes escape.
func (s *Source) captured(share float64) CaptureCure {
	return CaptureCure{
		Source:           s.Name,
		CaptureFraction:  captureUp(1 - share*(1-s.CaptureFraction)),
		DoorOpenFraction: captureUp(1 - share*(1-s.DoorOpenFraction)),
	}
}
