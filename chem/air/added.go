package air

import (
	"math"
	"slices"
	"sort"

	"saggar/chem/data"
)

// presentShare is the part of a limit below which added gas counts as gone.
const presentShare = 1e-4

// Judgement is what added sources do to a zone.
type Judgement struct {
	// Excesses are the limits that the zone goes over at times when the added gas is there, the worst first.
	Excesses []Excess
	// HeadroomPPM is, by species, how far the highest concentration of all sources stays below the strictest limit that
	// refuses: negative when it does not. Species without such a limit are left out. A spill at an open furnace that fits
	// into it brings nobody there over a limit.
	HeadroomPPM map[string]float64
	// ShiftShare is the sum over the species of the highest concentration over the strictest limit of a shift that refuses. No day
	// of n averaging times has a mean, of one species or of the mixture, of more than n times it.
	ShiftShare float64
}

// Judge says which limits the room goes over at times when the gas of the added sources is there, together with that of
// the standing ones: what the standing ones do by themselves at other times is not held against the added ones. It
// computes curves and compares, nothing else, so that it can run while a lock is held. Errors are faults of the input.
func Judge(zone Zone, standing, added []Source, own []OwnLimit) (Judgement, error) {
	lists := borrow()
	defer lists.giveBack()
	survey, err := lists.take(zone, slices.Concat(standing, added), own)
	if err != nil {
		return Judgement{}, err
	}
	stays, err := survey.stays(zone, added)
	if err != nil {
		return Judgement{}, err
	}
	excesses := survey.worsened(stays)
	sortWorstFirst(excesses)
	return Judgement{excesses, survey.headroom(), survey.shiftShare()}, nil
}

func (s survey) headroom() map[string]float64 {
	headroom := map[string]float64{}
	for _, m := range s {
		for _, limit := range refusing(m.limits) {
			left, known := headroom[m.curve.species]
			if !known || limit.PPM-m.peak < left {
				headroom[m.curve.species] = limit.PPM - m.peak
			}
		}
	}
	return headroom
}

func (s survey) shiftShare() float64 {
	sum := 0.0
	for _, m := range s {
		if limit, ok := strictest(m.limits, refusesShift); ok {
			sum += m.peak / limit.PPM
		}
	}
	return sum
}

// stay is from when until when gas is there, in minutes; End may be infinite.
type stay struct{ from, until float64 }

// worsened keeps to each limit's windows that touch the stay of the added gas. What the peaks settle is not looked at: it runs
// while a lock is held.
func (s survey) worsened(stays map[string]stay) []Excess {
	var result []Excess
	whole := stay{math.Inf(1), math.Inf(-1)}
	for _, m := range s {
		there, ok := stays[m.curve.species]
		if !ok {
			continue
		}
		whole = stay{math.Min(whole.from, there.from), math.Max(whole.until, there.until)}
		result = append(result, m.overDuring(there)...)
	}
	if len(stays) == 0 {
		return nil
	}
	single := slices.Clone(result)
	for _, kind := range []data.LimitKind{MixtureShift, MixtureShortTerm} {
		all := s.mixture(kind)
		if len(all.parts) < 2 || !above(all.atMost(), 1) || all.said(single) {
			continue
		}
		longest := slices.Max(append(all.windows(), 0))
		var clipped survey
		for _, p := range all.parts {
			clipped = append(clipped, p.m.touching(whole, longest))
		}
		if excess, over := clipped.mixture(kind).over(single); over {
			result = append(result, excess)
		}
	}
	return result
}

// overDuring are the limits that the species goes over in windows that touch a stay.
func (m *measured) overDuring(there stay) []Excess {
	var result []Excess
	cuts := map[float64]*measured{}
	for _, limit := range m.limits {
		if !above(m.peak, limit.PPM) {
			continue
		}
		if excess, over := m.over(limit); !over {
			continue
		} else if m.touches(limit.AveragingMinutes, there) {
			result = append(result, excess)
			continue
		}
		cut, known := cuts[limit.AveragingMinutes]
		if !known {
			cut = m.touching(there, limit.AveragingMinutes)
			cuts[limit.AveragingMinutes] = cut
		}
		if excess, over := cut.over(limit); over {
			result = append(result, excess)
		}
	}
	return result
}

// touches reports whether the window of the greatest mean touches a stay: cut to it, the curve has the same greatest mean.
func (m *measured) touches(windowMinutes float64, there stay) bool {
	begins := m.mean(windowMinutes).startMinute
	return begins+windowMinutes >= m.occupied.inside(there.from) && begins <= m.occupied.inside(there.until)
}

// stays is when each species of the added sources is there above a ten-thousandth of its strictest limit.
func (s survey) stays(zone Zone, added []Source) (map[string]stay, error) {
	zone.BackgroundPPM, zone.InitialPPM = nil, nil
	curves, err := Curves(zone, added)
	if err != nil {
		return nil, err
	}
	stays := map[string]stay{}
	for _, m := range s {
		at := slices.IndexFunc(curves, func(c Curve) bool { return c.species == m.curve.species })
		if at < 0 || len(m.limits) == 0 {
			continue
		}
		level := math.Inf(1)
		for _, limit := range m.limits {
			level = math.Min(level, presentShare*limit.PPM)
		}
		level += curves[at].background // the incoming air's own is no gas of theirs
		if peak, _ := curves[at].Peak(); peak <= level {
			continue
		}
		until, gone := curves[at].MinuteBelow(level)
		if !gone {
			until = math.Inf(1)
		}
		stays[m.curve.species] = stay{curves[at].StartMinute(), until}
	}
	return stays, nil
}

// touching is the species with its curve cut to all windows of a length that touch a stay.
func (m *measured) touching(there stay, windowMinutes float64) *measured {
	from, until := m.occupied.inside(there.from), m.occupied.inside(there.until)
	cut := &measured{load: m.load, limits: m.limits, curve: m.curve.between(from-windowMinutes, until+windowMinutes),
		whole: m.whole, occupied: m.occupied}
	cut.peak, cut.peakMinute = cut.curve.Peak()
	return cut
}

// cutMinutes is how soon after its end a cut curve falls to nothing.
const cutMinutes = 1e-6

// pieces are the curve's segments from one minute to another, the first beginning with what is there then. Their sums go on from
// the curve's start.
func (c Curve) pieces(from, until float64) []segment {
	first := max(c.find(from), 0)
	end := sort.Search(len(c.segments), func(i int) bool { return c.segments[i].start >= until })
	if first >= end {
		return nil
	}
	pieces := make([]segment, 0, end-first+2)
	for i := first; i < end; i++ {
		s := c.segments[i]
		if s.start < from {
			excess, area := s.after(from - s.start)
			s.area += area + s.offset*(from-s.start)
			s.start, s.x0 = from, excess
		}
		pieces = append(pieces, s)
	}
	return pieces
}

// between is the curve from one minute to another: it begins with what is there then, and after the end there is nothing.
func (c Curve) between(from, until float64) Curve {
	cut := Curve{species: c.species, background: c.background, lastRelease: math.Min(c.lastRelease, until)}
	cut.segments = c.pieces(from, until)
	if last := len(cut.segments) - 1; last >= 0 && !math.IsInf(until, 1) {
		end := &cut.segments[last]
		excess, area := end.after(until - end.start)
		end.end = excess
		fall := segment{start: until, rate: end.rate, x0: excess, area: end.area + area + end.offset*(until-end.start)}
		fall.end, area = fall.after(cutMinutes)
		gone := segment{start: until + cutMinutes, rate: end.rate, area: fall.area + area}
		cut.segments = append(cut.segments, fall, gone)
	}
	return cut
}
