package air

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"sort"
)

// Curves gives the exact concentration of every species that the sources give off, or that the zone starts with, in
// order of species. Releases add: any number may run at a time. Sulfur trioxide is counted as H2SO4, mole for mole.
// The error is a finding.Faults with every fault of the input.
func Curves(zone Zone, sources []Source) ([]Curve, error) {
	if err := Validate(zone, sources); err != nil {
		return nil, err
	}
	var none *workspace
	loads, err := none.collect(&zone, sources)
	if err != nil {
		return nil, err
	}
	rates := zone.exchanges()
	curves := make([]Curve, len(loads))
	for i := range loads {
		curves[i] = loads[i].curve(rates)
	}
	return curves, nil
}

// rateStep is an air exchange, per minute, that holds from its minute on.
type rateStep struct {
	minute float64
	rate   float64
}

// change is where the gain of a species changes; releases counts how many begin less how many end.
type change struct {
	minute   float64
	gain     float64 // by how much, ppm a minute
	releases int
	level    float64 // what the gain is from here on
}

// load is all that is given off of one species, with what the room holds of it at the start.
type load struct {
	species    string
	background float64
	initial    float64 // excess over the background
	first      float64 // minute at which the first release begins
	last       float64 // minute at which the last release ends
	counted    int     // how many releases count
	changes    []change
	occupied   occupancy
	lists      *workspace // where its lists come from
	// What was worked out of the changes so far.
	greatest float64
	until    []float64
	over     []overWindow
}

// collect sorts the sources' releases into loads by species, in order of species.
func (w *workspace) collect(zone *Zone, sources []Source) ([]load, error) {
	return w.collectDuring(zone, sources, Interval{math.Inf(-1), math.Inf(1)})
}

// collectDuring leaves out what is released outside a stretch of time, of every species.
func (w *workspace) collectDuring(zone *Zone, sources []Source, during Interval) ([]load, error) {
	c := collector{zone: zone, during: during, lists: w}
	if err := c.begin(); err != nil {
		return nil, err
	}
	if err := c.count(sources); err != nil {
		return nil, err
	}
	for i := range sources {
		if err := c.add(&sources[i]); err != nil {
			return nil, err
		}
	}
	occupied := newOccupancy(zone.Unoccupied)
	for i := range c.loads {
		if count := len(c.loads[i].changes); count > cap(c.spare) {
			c.spare = w.changeList(count)
		}
		c.spare = c.loads[i].settle(zone, c.spare)
		c.loads[i].occupied = occupied
	}
	slices.SortFunc(c.loads, func(a, b load) int { return cmp.Compare(a.species, b.species) })
	return c.loads, nil
}

// collected is where a species' releases go, and the ppm a minute that one gram a minute makes of it.
type collected struct {
	species    string
	load       int
	ppmPerGram float64
}

type collector struct {
	zone   *Zone
	during Interval
	loads  []load
	known  []collected // few: looking through them is quicker than a map
	lists  *workspace
	spare  []change // room for putting changes in order, for one load after the other
}

// begin opens a load for each species that the room holds at the start.
func (c *collector) begin() error {
	for _, species := range slices.Sorted(maps.Keys(c.zone.InitialPPM)) {
		if _, err := c.find(species); err != nil {
			return err
		}
	}
	return nil
}

// count opens all other loads, with lists that are long enough for pieces that follow each other, and somewhat more.
func (c *collector) count(sources []Source) error {
	for i := range sources {
		for j := range sources[i].Releases {
			release := &sources[i].Releases[j]
			entry, err := c.find(release.Species)
			if err != nil {
				return err
			}
			if l := &c.loads[entry.load]; c.apart(release) {
				l.first, l.last = min(l.first, release.StartMinute), max(l.last, release.EndMinute)
			} else {
				l.counted++
			}
		}
	}
	for i := range c.loads {
		l := &c.loads[i]
		l.changes = c.lists.changeList(l.counted + l.counted/4 + 2)
	}
	return nil
}

// apart reports whether a release lies outside the stretch of time that counts.
func (c *collector) apart(r *Release) bool {
	return r.EndMinute < c.during.StartMinute || r.StartMinute > c.during.EndMinute
}

func (c *collector) find(species string) (collected, error) {
	for _, known := range c.known {
		if known.species == species {
			return known, nil
		}
	}
	gramsPerMole, err := GramsPerMole(species)
	if err != nil {
		return collected{}, err
	}
	counted := countedAs(species)
	at := slices.IndexFunc(c.loads, func(l load) bool { return l.species == counted })
	if at < 0 {
		at = len(c.loads)
		c.loads = append(c.loads, load{species: counted, lists: c.lists, first: math.Inf(1), last: math.Inf(-1)})
	}
	entry := collected{species, at, 1000 * MolarVolumeLiters / gramsPerMole / c.zone.VolumeCubicMeters}
	c.known = append(c.known, entry)
	return entry, nil
}

func (c *collector) add(source *Source) error {
	openings := source.openings()
	for i := range source.Releases {
		release := &source.Releases[i]
		if c.apart(release) {
			continue
		}
		entry, err := c.find(release.Species)
		if err != nil {
			return err
		}
		c.loads[entry.load].release(release, openings, source, entry.ppmPerGram*release.GramsPerMinute)
	}
	return nil
}

// release adds one release; what escapes of it changes as the door opens and closes.
func (l *load) release(release *Release, openings []Interval, source *Source, gain float64) {
	l.first, l.last = min(l.first, release.StartMinute), max(l.last, release.EndMinute)
	closed, opened := gain*(1-source.CaptureFraction), gain*(1-source.DoorOpenFraction)
	if closed == 0 && opened == 0 {
		return
	}
	now := 0.0
	set := func(minute, next float64) {
		if next != now {
			l.change(minute, next-now, 0)
			now = next
		}
	}
	l.change(release.StartMinute, 0, 1)
	at := release.StartMinute
	for _, open := range openings {
		if open.EndMinute <= at || open.StartMinute >= release.EndMinute {
			continue
		}
		if open.StartMinute > at {
			set(at, closed)
		}
		set(max(at, open.StartMinute), opened)
		at = min(open.EndMinute, release.EndMinute)
	}
	if at < release.EndMinute {
		set(at, closed)
	}
	l.change(release.EndMinute, -now, -1)
}

// change notes one change, with the one before where both are of one minute: pieces of a release follow each other.
func (l *load) change(minute, gain float64, releases int) {
	if last := len(l.changes) - 1; last >= 0 && l.changes[last].minute == minute {
		l.changes[last].gain += gain
		l.changes[last].releases += releases
		return
	}
	l.changes = append(l.changes, change{minute: minute, gain: gain, releases: releases})
}

// gain is what holds before a change; before the first and after the last nothing is given off.
func (l *load) gain(next int) float64 {
	if next == 0 || next == len(l.changes) {
		return 0
	}
	return l.changes[next-1].level
}

// settle puts the changes in order, for which it needs a spare list and gives one back, and fixes what the load starts with.
func (l *load) settle(zone *Zone, spare []change) []change {
	spare = l.order(spare)
	l.background = zone.background(l.species)
	l.initial = max(0, countedTogether(zone.InitialPPM, l.species)-l.background)
	if len(zone.InitialPPM) > 0 || l.first > l.last {
		l.first, l.last = zone.StartMinute, max(zone.StartMinute, l.last)
	}
	return spare
}

// countedTogether adds up what counts as one species.
func countedTogether(bySpecies map[string]float64, counted string) float64 {
	total := 0.0
	for species, ppm := range bySpecies {
		if countedAs(species) == counted {
			total += ppm
		}
	}
	return total
}

// curve solves the load under the given air exchanges.
func (l *load) curve(rates []rateStep) Curve {
	return l.curveIn(l.lists.segmentList(len(l.changes)+len(rates)), rates)
}

// curveIn is the curve in a list of its own to be filled.
func (l *load) curveIn(segments []segment, rates []rateStep) Curve {
	return Curve{
		species: l.species, background: l.background, lastRelease: l.last,
		segments: l.follow(segments, segment{start: l.first, x0: l.initial}, rates),
	}
}

// curveDuring is the curve as if nothing were given off outside a stretch of time, in a list of its own to be filled.
func (l *load) curveDuring(segments []segment, rates []rateStep, during Interval) Curve {
	part := *l
	if first := l.after(during.StartMinute) - 1; first > 0 {
		part.changes, part.first, part.initial = l.changes[first:], l.changes[first].minute, 0
	}
	part.changes = part.changes[:min(part.after(during.EndMinute)+1, len(part.changes))]
	return part.curveIn(segments, rates)
}

// after is the index of the first change after a minute.
func (l *load) after(minute float64) int {
	return sort.Search(len(l.changes), func(i int) bool { return l.changes[i].minute > minute })
}

// follow goes on from the beginning of a segment to the end of all, and appends what it finds.
func (l *load) follow(segments []segment, now segment, rates []rateStep) []segment {
	step, next := 0, 0
	for {
		for step+1 < len(rates) && rates[step+1].minute <= now.start {
			step++
		}
		if step+1 == len(rates) {
			return l.steadily(segments, now, rates[step].rate, next)
		}
		for next < len(l.changes) && l.changes[next].minute <= now.start {
			next++
		}
		now.rate, now.gain = rates[step].rate, l.gain(next)
		end := rates[step+1].minute
		if next < len(l.changes) {
			end = min(end, l.changes[next].minute)
		}
		tau := end - now.start
		survives, phi1, phi2 := decay(now.rate * tau)
		now.end = now.x0*survives + now.gain*tau*phi1
		segments = append(segments, now)
		now.start, now.x0, now.area = end, now.end, now.area+tau*(now.x0*phi1+now.gain*tau*phi2)
	}
}

// steadily is follow at an exchange that changes no more, from a change on that may lie before. It is the law of a segment (after)
// written out: this is where a search for a flow spends its time.
func (l *load) steadily(segments []segment, now segment, rate float64, next int) []segment {
	start, x0, area := now.start, now.x0, now.area
	for ; next < len(l.changes); next++ {
		until := l.changes[next].minute
		tau := until - start
		if tau <= 0 {
			continue
		}
		gain := l.gain(next)
		survives, phi1, phi2 := decay(rate * tau)
		given := gain * tau
		end := x0*survives + given*phi1
		segments = append(segments, segment{start: start, rate: rate, x0: x0, end: end, gain: gain, area: area})
		area += tau * (x0*phi1 + given*phi2)
		start, x0 = until, end
	}
	return append(segments, segment{start: start, rate: rate, x0: x0, end: x0, area: area})
}
