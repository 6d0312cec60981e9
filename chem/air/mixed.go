package air

import (
	"cmp"
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
func (s survey) mixtures(air *trial) []mixed {
	list := make([]mixed, 0, 2)
	for _, kind := range []data.LimitKind{MixtureShift, MixtureShortTerm} {
		found := mixed{mixture: s.mixture(kind)}
		for _, window := range found.windows() {
			ratio, next := found.term(air, window)
			found.total += ratio
			found.terms = append(found.terms, next)
		}
		list = append(list, found)
	}
	return list
}

// term is the sum of those parts whose limits have an averaging time, each over its limit, with its greatest mean as things are.
func (x mixture) term(air *trial, windowMinutes float64) (ratio float64, together term) {
	parts := slices.DeleteFunc(slices.Clone(x.parts), func(p part) bool { return p.limit.AveragingMinutes != windowMinutes })
	sum, weight := parts[0].m.load, 1/parts[0].limit.PPM
	if len(parts) == 1 {
		return parts[0].m.mean(windowMinutes).ppm * weight, parts[0].m.term(weight, windowMinutes)
	}
	for _, p := range parts[1:] {
		sum, weight = sum.with(weight, p.m.load, 1/p.limit.PPM), 1
	}
	largest := slices.MaxFunc(parts, func(a, b part) int {
		return cmp.Compare(a.m.mean(windowMinutes).ppm/a.limit.PPM, b.m.mean(windowMinutes).ppm/b.limit.PPM)
	})
	together = largest.m.term(1, windowMinutes)
	together.load = sum
	return air.everywhere(&together), together
}

// with is two loads of the same room added up, each times a weight.
func (l *load) with(weight float64, other *load, otherWeight float64) *load {
	sum := &load{
		species: mixtureSpecies, occupied: l.occupied, lists: l.lists,
		background: weight*l.background + otherWeight*other.background, initial: weight*l.initial + otherWeight*other.initial,
		first: math.Min(l.first, other.first), last: math.Max(l.last, other.last),
		changes: l.lists.changeList(len(l.changes) + len(other.changes)),
	}
	own, others := 0.0, 0.0
	for i, j := 0, 0; i < len(l.changes) || j < len(other.changes); {
		var minute float64
		if j == len(other.changes) || i < len(l.changes) && l.changes[i].minute <= other.changes[j].minute {
			minute, own = l.changes[i].minute, weight*l.changes[i].level
			i++
		} else {
			minute, others = other.changes[j].minute, otherWeight*other.changes[j].level
			j++
		}
		sum.changes = append(sum.changes, change{minute: minute, level: own + others})
	}
	return sum
}
