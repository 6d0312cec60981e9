package air

import (
	"cmp"
	"slices"

	"saggar/chem/data"
	"saggar/chem/finding"
)

// Excess is one limit that the predicted air goes over.
type Excess struct {
	Limit Limit `json:"limit"`
	// PPM is the greatest mean over the limit's averaging time; for a mixture, whose limit is 1, it equals Ratio.
	PPM float64 `json:"ppm"`
	// Minute is when that window begins, or the moment of the peak.
	Minute float64 `json:"minute"`
	Ratio  float64 `json:"ratio"` // above 1
}

func sortWorstFirst(excesses []Excess) {
	slices.SortStableFunc(excesses, func(a, b Excess) int {
		return cmp.Or(cmp.Compare(a.Limit.Severity, b.Limit.Severity), cmp.Compare(b.Ratio, a.Ratio))
	})
}

// survey is every species' curve with its limits.
type survey []*measured

// measured is one species' curve, its limits and the greatest means asked for so far.
type measured struct {
	load       *load
	curve      Curve // what people inside breathe, without the time when nobody is: what limits are held against
	whole      Curve // the room's air at all times
	occupied   occupancy
	limits     []Limit
	peak       float64
	peakMinute float64
	means      []mean
	way        way // of a person's day; nil: of a room
}

type mean struct {
	windowMinutes float64
	ppm           float64
	startMinute   float64
}

func (w *workspace) take(zone Zone, sources []Source, own []OwnLimit) (survey, error) {
	if err := Validate(zone, sources); err != nil {
		return nil, err
	}
	loads, err := w.collect(&zone, sources)
	if err != nil {
		return nil, err
	}
	rates := zone.exchanges()
	result := make(survey, len(loads))
	for i := range loads {
		limits, err := applicable(loads[i].species, own)
		if err != nil {
			return nil, err
		}
		result[i] = measure(&loads[i], rates, limits)
	}
	return result, nil
}

func measure(load *load, rates []rateStep, limits []Limit) *measured {
	m := &measured{load: load, whole: load.curve(rates), occupied: load.occupied, limits: limits}
	m.curve = m.occupied.curve(m.whole)
	m.peak, m.peakMinute = m.curve.Peak()
	return m
}

// mean is the greatest mean over a window, worked out once.
func (m *measured) mean(windowMinutes float64) mean {
	if windowMinutes == 0 {
		return mean{0, m.peak, m.peakMinute}
	}
	for _, known := range m.means {
		if known.windowMinutes == windowMinutes {
			return known
		}
	}
	ppm, start := m.way.greatest(m.curve, windowMinutes)
	m.means = append(m.means, mean{windowMinutes, ppm, start})
	return m.means[len(m.means)-1]
}

// over compares with one limit. A peak within the limit settles it where no mean lies above the peak.
func (m *measured) over(limit Limit) (Excess, bool) {
	if !above(m.peak*m.way.times(limit.AveragingMinutes), limit.PPM) {
		return Excess{}, false
	}
	greatest := m.mean(limit.AveragingMinutes)
	if !above(greatest.ppm, limit.PPM) {
		return Excess{}, false
	}
	return Excess{limit, greatest.ppm, m.occupied.clock(greatest.startMinute), greatest.ppm / limit.PPM}, true
}

// above reports whether a value exceeds a limit by more than rounding: exactly at the limit passes.
func above(value, limit float64) bool { return value > limit*(1+rounding) }

func (s survey) excesses() []Excess {
	var result []Excess
	for _, m := range s {
		for _, limit := range m.limits {
			if excess, over := m.over(limit); over {
				result = append(result, excess)
			}
		}
	}
	single := slices.Clone(result)
	for _, mixture := range []mixture{s.mixture(MixtureShift), s.mixture(MixtureShortTerm)} {
		if excess, over := mixture.over(single); over {
			result = append(result, excess)
		}
	}
	return result
}

// mixture is the sum of concentration over limit, each species at its strictest limit that refuses.
type mixture struct {
	kind  data.LimitKind
	parts []part
}

type part struct {
	m     *measured
	limit Limit
}

func (s survey) mixture(kind data.LimitKind) mixture {
	keep := refusesShift
	if kind == MixtureShortTerm {
		keep = refusesShortTerm
	}
	result := mixture{kind: kind}
	for _, m := range s {
		if limit, ok := strictest(m.limits, keep); ok && m.peak > 0 {
			result.parts = append(result.parts, part{m, limit})
		}
	}
	return result
}

func (x mixture) limit() Limit {
	return Limit{
		Species: mixtureSpecies, Authority: authorityOSHA, Kind: x.kind, PPM: 1, Severity: finding.Block,
		Read: data.WasRead, Source: mixtureSource,
	}
}

// over compares the sum with one, unless a part is over by itself and was said to be: that says it already.
func (x mixture) over(said []Excess) (Excess, bool) {
	if x.said(said) || len(x.parts) < 2 || !above(x.atMost(), 1) {
		return Excess{}, false
	}
	ratio, minute := x.ratio()
	return Excess{x.limit(), ratio, minute, ratio}, above(ratio, 1)
}

// said reports whether a part is over by itself.
func (x mixture) said(excesses []Excess) bool {
	return slices.ContainsFunc(x.parts, func(p part) bool {
		return slices.ContainsFunc(excesses, func(e Excess) bool { return e.Limit == p.limit })
	})
}

// atMost bounds the ratio by the species' peaks.
func (x mixture) atMost() float64 {
	total := 0.0
	for _, p := range x.parts {
		total += p.m.peak * p.m.way.times(p.limit.AveragingMinutes) / p.limit.PPM
	}
	return total
}

// background is what the incoming air alone makes of the ratio.
func (x mixture) background() float64 {
	total := 0.0
	for _, p := range x.parts {
		total += p.m.curve.background / p.limit.PPM
	}
	return total
}

// ratio is the greatest sum. Species whose limits share an averaging time are added moment by moment, which is exact:
// the sum is again a curve of the same kind. Different averaging times cannot be added so; their greatest sums are,
// which is never too little. The minute is when the window of the largest part begins.
func (x mixture) ratio() (total, minute float64) {
	largest := -1.0
	for _, window := range x.windows() {
		var curves []Curve
		var weights []float64
		for _, p := range x.parts {
			if p.limit.AveragingMinutes == window {
				curves, weights = append(curves, p.m.curve), append(weights, 1/p.limit.PPM)
			}
		}
		greatest, start := x.parts[0].m.way.greatest(combine(curves, weights), window)
		total += greatest
		if greatest > largest {
			largest, minute = greatest, x.parts[0].m.occupied.clock(start)
		}
	}
	return total, minute
}

// largest is the ratio alone.
func (x mixture) largest() float64 {
	ratio, _ := x.ratio()
	return ratio
}

func (x mixture) windows() []float64 {
	var windows []float64
	for _, p := range x.parts {
		if !slices.Contains(windows, p.limit.AveragingMinutes) {
			windows = append(windows, p.limit.AveragingMinutes)
		}
	}
	slices.Sort(windows)
	return windows
}
