package air

import "slices"

// combine adds curves of one room with weights. They share the room's air exchange, so the sum follows the same law
// and is exact.
func combine(curves []Curve, weights []float64) Curve {
	if len(curves) == 1 {
		return curves[0].scaled(weights[0])
	}
	sum := Curve{species: mixtureSpecies}
	for i, curve := range curves {
		sum.background += weights[i] * curve.background
		if i == 0 || curve.lastRelease > sum.lastRelease {
			sum.lastRelease = curve.lastRelease
		}
	}
	at := make([]int, len(curves))
	for i := range at {
		at[i] = -1
	}
	starts := breakpoints(curves)
	sum.segments = make([]segment, 0, len(starts))
	for _, start := range starts {
		next := segment{start: start}
		for i := range curves {
			next.add(&curves[i], &at[i], weights[i])
		}
		sum.segments = append(sum.segments, next)
	}
	sum.close()
	return sum
}

func breakpoints(curves []Curve) []float64 {
	var starts []float64
	for i := range curves {
		for j := range curves[i].segments {
			starts = append(starts, curves[i].segments[j].start)
		}
	}
	slices.Sort(starts)
	return slices.Compact(starts)
}

// add adds what a curve is at the segment's start; at walks along the curve's segments and is -1 before the first.
func (s *segment) add(curve *Curve, at *int, weight float64) {
	for *at+1 < len(curve.segments) && curve.segments[*at+1].start <= s.start {
		*at++
	}
	if *at < 0 {
		return
	}
	from := &curve.segments[*at]
	excess := from.x0
	if s.start > from.start {
		excess, _ = from.after(s.start - from.start)
	}
	s.x0 += weight * excess
	s.gain += weight * from.gain
	s.offset += weight * from.offset
	s.rate = from.rate
}

// scaled is the curve times a weight.
func (c Curve) scaled(weight float64) Curve {
	c.background *= weight
	c.segments = slices.Clone(c.segments)
	for i := range c.segments {
		s := &c.segments[i]
		s.x0, s.end, s.gain, s.offset, s.area = weight*s.x0, weight*s.end, weight*s.gain, weight*s.offset, weight*s.area
	}
	return c
}
