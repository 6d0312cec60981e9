package air

import (
	"math"
	"slices"

	"saggar/chem/data"
)

// mixed is a mixture with its ratio worked out.
type mixed struct {
	mixture
	total float64
	terms []term // one for each averaging time of its parts
}

// mixtures are that over a shift and the short-term one.
func (s survey) mixtures() []mixed {
	list := make([]mixed, 0, 2)
	for _, kind := range []data.LimitKind{MixtureShift, MixtureShortTerm} {
		found := mixed{mixture: s.mixture(kind)}
		for _, window := range found.windows() {
			ppm, next := found.term(window)
			found.total += ppm
			found.terms = append(found.terms, next)
		}
		list = append(list, found)
	}
	return list
}

// term is the sum of those parts whose limits have an averaging time, each over its limit, with its greatest mean.
func (x mixture) term(windowMinutes float64) (ratio float64, together term) {
	parts := slices.DeleteFunc(slices.Clone(x.parts), func(p part) bool { return p.limit.AveragingMinutes != windowMinutes })
	if len(parts) == 1 {
		one, limit := parts[0].m, parts[0].limit
		greatest := one.mean(windowMinutes)
		return greatest.ppm / limit.PPM, term{one.load.scaled(1 / limit.PPM), windowMinutes, greatest.startMinute}
	}
	sum := parts[0].m.load.scaled(1 / parts[0].limit.PPM)
	for _, p := range parts[1:] {
		sum.join(p.m.load.scaled(1 / p.limit.PPM))
	}
	greatest, start := sum.occupied.curve(sum.curve(parts[0].m.rates)).MaxMean(windowMinutes)
	return greatest, term{sum, windowMinutes, start}
}

// scaled is a load times a weight.
func (l *load) scaled(weight float64) *load {
	of := *l
	of.background *= weight
	of.initial *= weight
	of.changes = slices.Clone(l.changes)
	for i := range of.changes {
		of.changes[i].gain *= weight
		of.changes[i].level *= weight
	}
	return &of
}

// join adds a load of the same room.
func (l *load) join(other *load) {
	l.species = mixtureSpecies
	l.background += other.background
	l.initial += other.initial
	l.first, l.last = math.Min(l.first, other.first), math.Max(l.last, other.last)
	both := make([]change, 0, len(l.changes)+len(other.changes))
	levels := [2]float64{}
	for i, j := 0, 0; i < len(l.changes) || j < len(other.changes); {
		var next change
		if j == len(other.changes) || i < len(l.changes) && l.changes[i].minute <= other.changes[j].minute {
			next, i = l.changes[i], i+1
			levels[0] = next.level
		} else {
			next, j = other.changes[j], j+1
			levels[1] = next.level
		}
		next.level = levels[0] + levels[1]
		both = append(both, next)
	}
	l.changes = both
}
