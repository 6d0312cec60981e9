package air

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"saggar/chem/finding"
)

// Presence is where a person is over an interval.
type Presence struct {
	// Room is the ID of a space's zone.
	Room        string  `json:"room"`
	StartMinute float64 `json:"start_minute"`
	EndMinute   float64 `json:"end_minute"`
	// At names the source that the person stands at: while its door is open what spills there is breathed too. Empty: at none.
	At string `json:"at"`
}

// DayCheck is what CheckDay is asked: one person's way through the rooms, or that of whoever fills a role.
type DayCheck struct {
	Person string `json:"person"`
	// Spaces are all rooms that the person may be in and those that give them air, as for Carry.
	Spaces []Space `json:"spaces"`
	// Presences do not overlap. Time that none covers counts as spent in clean air.
	Presences []Presence `json:"presences"`
	// ExchangeCubicMetersPerSecond is beta of the air near a furnace; 0 means DefaultNearExchange.
	ExchangeCubicMetersPerSecond float64    `json:"exchange_cubic_meters_per_second"`
	Own                          []OwnLimit `json:"own_limits"`
}

// DayAssessment is what a person breathes over the rooms of a day against every limit by its averaging time.
type DayAssessment struct {
	Person                string            `json:"person"`
	Species               []DaySpecies      `json:"species"`
	ShiftMixtureRatio     float64           `json:"shift_mixture_ratio"`
	ShortTermMixtureRatio float64           `json:"short_term_mixture_ratio"`
	Findings              []finding.Finding `json:"findings"`
	Assumptions           []string          `json:"assumptions"`
	Caution               string            `json:"caution"`
}

// DaySpecies is one species of a DayAssessment. A mean over 8 hours or more is the sum over the person's whole day, also a longer
// one, over that time.
type DaySpecies struct {
	Species        string       `json:"species"`
	PeakPPM        float64      `json:"peak_ppm"`
	PeakMinute     float64      `json:"peak_minute"`
	Max15MinutePPM float64      `json:"max_15_minute_ppm"`
	Max8HourPPM    float64      `json:"max_8_hour_ppm"`
	Limits         []LimitCheck `json:"limits"`
	// PPMMinutes is what each presence, in the order given, brings: concentration summed over its time.
	PPMMinutes []float64 `json:"ppm_minutes"`
	// Protection is every class against the peak; empty while no refusing limit is exceeded.
	Protection []ProtectionClass `json:"protection"`
}

// CheckDay adds up what one person breathes in several rooms: E = (Ca Ta + Cb Tb + ...) / 8 h over the whole day for an
// eight-hour limit, also when the day is longer (29 CFR 1910.1000(d)(1)(i)), and the same for every other limit of 8 hours or more
// by its own averaging time; shorter ones are held at the worst time of the day. The concentrations are the rooms' exact curves, beside an open furnace with what spills there. The error is a finding.Faults.
func CheckDay(check DayCheck) (DayAssessment, error) {
	if check.ExchangeCubicMetersPerSecond == 0 {
		check.ExchangeCubicMetersPerSecond = DefaultNearExchange
	}
	day, err := check.follow()
	if err != nil {
		return DayAssessment{}, err
	}
	survey, err := day.breathed(check.Presences)
	if err != nil {
		return DayAssessment{}, err
	}
	result := DayAssessment{
		Person: check.Person, Species: []DaySpecies{}, Findings: []finding.Finding{}, Assumptions: check.assumptions(),
		Caution: Caution, ShiftMixtureRatio: survey.mixture(MixtureShift).largest(),
		ShortTermMixtureRatio: survey.mixture(MixtureShortTerm).largest(),
	}
	excesses := survey.excesses()
	for _, m := range survey {
		result.Species = append(result.Species, day.species(m, excesses))
	}
	for _, excess := range worstOfEach(excesses) {
		result.Findings = append(result.Findings, day.finding(survey, excess))
	}
	finding.SortWorstFirst(result.Findings)
	return result, nil
}

func (c *DayCheck) assumptions() []string {
	lines := []string{
		"the rooms' air as predicted, each well mixed with its factor K",
		"time outside the given rooms counts as spent in clean air: give every room that the person is in",
		"a mean is over the limit's whole averaging time, time outside included: 29 CFR 1910.1000(d)(1)(i)",
		"a day longer than an averaging time of 8 h or more counts whole, at most 24 h of it: its sum over the averaging time; stays less " +
			"than the averaging time apart are one day",
		fmt.Sprintf("beside an open furnace its spill adds to the room's air, exchanged at %g m3/s",
			c.ExchangeCubicMetersPerSecond),
		"air from other rooms as Carry passes it on: never too little",
		"no respirator is counted",
		noteSO3,
	}
	return append(lines, (&Zone{}).incomingAssumptions()...)
}

// day is a person's rooms worked out: for every presence the curves of what is breathed there.
type day struct {
	check  *DayCheck
	places [][]Curve // by presence, each in order of species
}

// follow validates the check and works out the rooms.
func (c *DayCheck) follow() (*day, error) {
	if err := c.validate(); err != nil {
		return nil, err
	}
	brought, err := Carry(c.Spaces)
	if err != nil {
		return nil, err
	}
	d := &day{check: c}
	for _, presence := range c.Presences {
		space := c.space(presence.Room)
		sources := slices.Concat(space.Sources, brought[presence.Room])
		var curves []Curve
		if presence.At == "" {
			curves, err = Curves(space.Zone, sources)
		} else {
			curves, err = NearField(space.Zone, sources, sourceNamed(space.Sources, presence.At), c.ExchangeCubicMetersPerSecond)
		}
		if err != nil {
			return nil, err
		}
		d.places = append(d.places, curves)
	}
	return d, nil
}

func (c *DayCheck) space(room string) *Space {
	at := slices.IndexFunc(c.Spaces, func(s Space) bool { return s.Zone.ID == room })
	if at < 0 {
		return nil
	}
	return &c.Spaces[at]
}

func sourceNamed(sources []Source, name string) int {
	return slices.IndexFunc(sources, func(s Source) bool { return s.Name == name })
}

func (c *DayCheck) validate() error {
	var faults finding.Faults
	if !(c.ExchangeCubicMetersPerSecond > 0) || !finite(c.ExchangeCubicMetersPerSecond) {
		faults.Add("exchange_cubic_meters_per_second", fmt.Sprintf("%v is no flow", c.ExchangeCubicMetersPerSecond),
			"give a number above zero, or 0 for the default")
	}
	for i := range c.Spaces {
		if err := Validate(c.Spaces[i].Zone, c.Spaces[i].Sources); err != nil {
			faults.AddUnder(fmt.Sprintf("spaces[%d]", i), finding.FaultsOf(err))
		}
	}
	faults = append(faults, OwnLimitFaults(c.Own)...)
	if len(c.Presences) == 0 {
		faults.Add("presences", "are missing", "say in which room the person is from when until when")
	}
	for i := range c.Presences {
		c.validatePresence(&faults, i)
	}
	return faults.Err()
}

func (c *DayCheck) validatePresence(faults *finding.Faults, index int) {
	presence := c.Presences[index]
	path := func(field string) string { return fmt.Sprintf("presences[%d].%s", index, field) }
	if !(presence.StartMinute < presence.EndMinute) || !finite(presence.StartMinute) || !finite(presence.EndMinute) {
		faults.Add(path("end_minute"),
			fmt.Sprintf("from %v to %v is no stretch of time", presence.StartMinute, presence.EndMinute), "give an end after the start")
	}
	for i, other := range c.Presences[:index] {
		if presence.StartMinute < other.EndMinute && other.StartMinute < presence.EndMinute {
			faults.Add(path("start_minute"), fmt.Sprintf("overlaps presences[%d]", i), "nobody is in two places at one time")
		}
	}
	space := c.space(presence.Room)
	if space == nil {
		faults.Add(path("room"), fmt.Sprintf("there is no space %q", presence.Room), "name the zone of one that is given")
		return
	}
	if presence.At != "" && sourceNamed(space.Sources, presence.At) < 0 {
		faults.Add(path("at"), fmt.Sprintf("no source %q stands in %s", presence.At, presence.Room), "name one that does, or none")
	}
	for _, closed := range joined(space.Zone.Unoccupied) {
		if presence.StartMinute < closed.EndMinute && closed.StartMinute < presence.EndMinute {
			faults.Add(path("room"), fmt.Sprintf("%s is closed and signed from minute %v to %v", presence.Room,
				closed.StartMinute, closed.EndMinute), "nobody is inside then")
		}
	}
}

// breathed puts the pieces of the rooms' curves together along a person's way, with the limits. The presences stand for those
// of the check, in the same order; they may be shorter.
func (d *day) breathed(presences []Presence) (survey, error) {
	var species []string
	for _, curves := range d.places {
		for _, curve := range curves {
			if !slices.Contains(species, curve.species) {
				species = append(species, curve.species)
			}
		}
	}
	slices.Sort(species)
	var result survey
	for _, name := range species {
		limits, err := applicable(name, d.check.Own)
		if err != nil {
			return nil, err
		}
		m := &measured{curve: d.along(presences, name), limits: limits, way: wayOf(presences)}
		m.whole = m.curve
		m.peak, m.peakMinute = m.curve.Peak()
		result = append(result, m)
	}
	return result, nil
}

// along is what is breathed of a species along a way, as one curve without background: in each piece y' = gain - rate y
// holds for the whole concentration y, with the background folded into the gain.
func (d *day) along(way []Presence, species string) Curve {
	order := make([]int, len(way))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(way[a].StartMinute, way[b].StartMinute) })
	curve := Curve{species: species}
	for _, i := range order {
		if way[i].StartMinute < way[i].EndMinute {
			curve.lastRelease = max(curve.lastRelease, way[i].EndMinute)
			curve.segments = append(curve.segments, d.breathedAt(i, species, way[i])...)
		}
	}
	curve.close()
	return curve
}

// breathedAt is one presence's piece: nothing before and after it.
func (d *day) breathedAt(place int, species string, p Presence) []segment {
	zone := &d.check.space(p.Room).Zone
	source := Curve{background: zone.background(species)}
	if at := slices.IndexFunc(d.places[place], func(c Curve) bool { return c.species == species }); at >= 0 {
		source = d.places[place][at]
	}
	begins := p.EndMinute
	if len(source.segments) > 0 {
		begins = min(begins, source.segments[0].start)
	}
	pieces := append(zone.still(p.StartMinute, begins), source.pieces(p.StartMinute, p.EndMinute)...)
	for i := range pieces {
		pieces[i] = pieces[i].folded(source.background)
	}
	return withLastMoments(append(pieces, segment{start: p.EndMinute}))
}

// withLastMoments gives the end of each segment from which a curve falls at once a segment of its own, cutMinutes long: the
// highest value before a fall counts.
func withLastMoments(segments []segment) []segment {
	var result []segment
	for i, s := range segments {
		result = append(result, s)
		if i+1 == len(segments) {
			break
		}
		next := &segments[i+1]
		at := s
		at.start = next.start - cutMinutes
		if at.x0, _ = s.after(next.start - s.start); at.start > s.start && at.x0 > next.x0 {
			result = append(result, at)
		}
	}
	return result
}

// still is a room without any excess over a stretch of time, by its air exchange: gases that are added up must share it.
func (z *Zone) still(from, until float64) []segment {
	var segments []segment
	rates := z.exchanges()
	for i, step := range rates {
		start, end := max(from, step.minute), until
		if i+1 < len(rates) {
			end = min(end, rates[i+1].minute)
		}
		if start < end {
			segments = append(segments, segment{start: start, rate: step.rate})
		}
	}
	return segments
}

// folded is the segment with the background and the offset counted into its excess.
func (s segment) folded(background float64) segment {
	level := background + s.offset
	s.x0, s.gain, s.offset, s.area = s.x0+level, s.gain+s.rate*level, 0, 0
	return s
}

func (d *day) species(m *measured, excesses []Excess) DaySpecies {
	result := DaySpecies{
		Species: m.curve.species, PeakPPM: m.peak, PeakMinute: m.peakMinute, Max15MinutePPM: m.mean(shortTermMinutes).ppm,
		Max8HourPPM: m.mean(shiftMinutes).ppm, Limits: make([]LimitCheck, 0, len(m.limits)), Protection: []ProtectionClass{},
	}
	for _, limit := range m.limits {
		greatest := m.mean(limit.AveragingMinutes).ppm
		result.Limits = append(result.Limits, LimitCheck{limit, greatest, greatest / limit.PPM})
	}
	for _, p := range d.check.Presences {
		result.PPMMinutes = append(result.PPMMinutes, m.curve.sum(p.StartMinute, p.EndMinute))
	}
	refused := slices.ContainsFunc(excesses, func(e Excess) bool {
		return e.Limit.Species == m.curve.species && e.Limit.Severity == finding.Block
	})
	if refused {
		result.Protection = Protection(m.curve.species, m.peak)
	}
	return result
}

// sum is the curve's concentration summed over a stretch of time, ppm minutes.
func (c Curve) sum(from, until float64) float64 {
	to := func(minute float64) float64 {
		at := c.find(minute)
		if at < 0 {
			return 0
		}
		s := &c.segments[at]
		_, area := s.after(minute - s.start)
		return s.area + area + s.offset*(minute-s.start)
	}
	return to(until) - to(from) + c.background*(until-from)
}

// minutesLess is by how many whole minutes a presence must end earlier for everything that refuses to pass; false when even
// without it something is over. The less somebody is there, the less is breathed over any window, so halving finds it.
func (d *day) minutesLess(presence int) (float64, bool) {
	passes := func(less float64) bool {
		way := slices.Clone(d.check.Presences)
		way[presence].EndMinute -= less
		survey, err := d.breathed(way)
		return err == nil && !slices.ContainsFunc(survey.excesses(), func(e Excess) bool {
			return e.Limit.Severity == finding.Block
		})
	}
	low, high := 0.0, math.Ceil(d.check.Presences[presence].EndMinute-d.check.Presences[presence].StartMinute)
	if !passes(high) {
		return 0, false
	}
	for high-low > 1 {
		if middle := math.Floor((low + high) / 2); passes(middle) {
			high = middle
		} else {
			low = middle
		}
	}
	return high, true
}
