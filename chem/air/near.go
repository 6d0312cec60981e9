package air

import (
	"fmt"
	"math"
	"slices"

	"saggar/chem/data"
	"saggar/chem/finding"
)

// DefaultNearExchange is beta, the exchange between the air near a furnace and the room's, in m3/s
// (common practice, no source).
const DefaultNearExchange = 0.2

// forgottenTimes is after how many changes of its air a room holds nothing of what it held: below a double's last figure.
const forgottenTimes = 37

// NearCheck is what CheckNear is asked.
type NearCheck struct {
	Zone    Zone     `json:"zone"`
	Sources []Source `json:"sources"` // all that give off gas in the room
	// At is the index in Sources of the furnace that people stand at while its door is open.
	At int `json:"at"`
	// ExchangeCubicMetersPerSecond is beta; 0 means DefaultNearExchange.
	ExchangeCubicMetersPerSecond float64 `json:"exchange_cubic_meters_per_second"`
	// Worn is the class of respirator that all who stand there wear, as in ProtectionClass; empty: none.
	Worn    string     `json:"worn"`
	Goggles bool       `json:"goggles"`
	Own     []OwnLimit `json:"own_limits"`
}

// NearAssessment is the air that people breathe beside one furnace: the room's, and above it what spills from the open
// door divided by the exchange of the near zone.
type NearAssessment struct {
	Source      string            `json:"source"`
	Species     []NearSpecies     `json:"species"`
	Findings    []finding.Finding `json:"findings"`
	Assumptions []string          `json:"assumptions"`
	Caution     string            `json:"caution"`
}

// NearSpecies is one species of a NearAssessment.
type NearSpecies struct {
	Species        string  `json:"species"`
	PeakPPM        float64 `json:"peak_ppm"`
	PeakMinute     float64 `json:"peak_minute"`
	Max15MinutePPM float64 `json:"max_15_minute_ppm"`
	// Ratio is the worst of all refusing limits; above 1 asks for protection.
	Ratio float64 `json:"ratio"`
	// Protection is every class against the peak; empty while no refusing limit is exceeded.
	Protection []ProtectionClass `json:"protection"`
}

// CheckNear predicts the air beside a furnace while its door is open and says what protection would be enough.
// Protection covers its wearer only: it clears no finding of CheckRoom. The error is a fault of the input.
func CheckNear(check NearCheck) (NearAssessment, error) {
	if check.ExchangeCubicMetersPerSecond == 0 {
		check.ExchangeCubicMetersPerSecond = DefaultNearExchange
	}
	lists := borrow()
	defer lists.giveBack()
	beside, err := check.gather(lists)
	if err != nil {
		return NearAssessment{}, err
	}
	if check.Worn != "" && !knownClass(check.Worn) {
		return NearAssessment{}, fault("worn", fmt.Sprintf("%q is no class of respirator", check.Worn),
			"give one such as air_purifying/negative pressure/half_mask")
	}
	result := NearAssessment{Source: check.Sources[check.At].Name, Species: []NearSpecies{}, Findings: []finding.Finding{},
		Caution: Caution, Assumptions: []string{
			fmt.Sprintf("the air near the furnace exchanges %g m3/s with the room", check.ExchangeCubicMetersPerSecond),
			"people stand near the furnace whenever its door is open, and stay in the room otherwise",
			"door-open capture as given",
			"protection covers its wearer only, fitted and with a cartridge that is not spent",
		}}
	for i := range beside.loads {
		limits, err := applicable(beside.loads[i].species, check.Own)
		if err != nil {
			return NearAssessment{}, err
		}
		result.add(beside, i, limits, check)
	}
	finding.SortWorstFirst(result.Findings)
	return result, nil
}

func knownClass(class string) bool {
	return slices.ContainsFunc(Protection("SO2", 0), func(p ProtectionClass) bool { return p.Class == class })
}

// SpillPPM is, by species, the most by which a source's spill raises the air beside it while its door is open, in ppm, at
// the default exchange of the near zone. The error is a fault of the source.
func SpillPPM(source Source) (map[string]float64, error) {
	spills, err := spilled(source, DefaultNearExchange)
	if err != nil {
		return nil, err
	}
	most := map[string]float64{}
	for _, spill := range spills {
		most[spill.species], _ = spill.Peak()
	}
	return most, nil
}

// NearField is the concentration of each species beside a source: the room's everywhere, and in the source's door-open
// intervals what spills there over the exchange in m3/s. At is the source's index.
func NearField(zone Zone, sources []Source, at int, exchangeCubicMetersPerSecond float64) ([]Curve, error) {
	check := NearCheck{Zone: zone, Sources: sources, At: at, ExchangeCubicMetersPerSecond: exchangeCubicMetersPerSecond}
	if err := check.validate(); err != nil {
		return nil, err
	}
	return check.field()
}

// beside is what the air beside an open furnace is made of.
type beside struct {
	loads     []load // of the room, by species
	rates     []rateStep
	forgotten float64 // how long it takes the room to forget what it held, minutes
	spills    []Curve
	lists     *workspace
	segments  []segment
}

// gather is what bears on the air while the door is open and shortTermMinutes before and after. What is given off later, or so
// much earlier that the room has forgotten it, is left out.
func (c *NearCheck) gather(lists *workspace) (*beside, error) {
	if err := c.validate(); err != nil {
		return nil, err
	}
	b := &beside{rates: c.Zone.exchanges(), lists: lists}
	slowest := math.Inf(1)
	for _, step := range b.rates {
		slowest = min(slowest, step.rate)
	}
	b.forgotten = forgottenTimes / slowest
	during := Interval{math.Inf(1), math.Inf(-1)}
	for _, open := range c.Sources[c.At].DoorOpen {
		during.StartMinute = min(during.StartMinute, open.StartMinute-shortTermMinutes-b.forgotten)
		during.EndMinute = max(during.EndMinute, open.EndMinute+shortTermMinutes)
	}
	var err error
	if b.loads, err = lists.collectDuring(&c.Zone, c.Sources, during); err != nil {
		return nil, err
	}
	b.spills, err = spilled(c.Sources[c.At], c.ExchangeCubicMetersPerSecond)
	return b, err
}

// while is the curve of the species of a load, as in NearField, while the door is open and shortTermMinutes before and after;
// beyond that there is nothing.
func (b *beside) while(l *load, open Interval) Curve {
	from, until := open.StartMinute-shortTermMinutes, open.EndMinute+shortTermMinutes
	if count := len(l.changes) + len(b.rates); count > cap(b.segments) {
		b.segments = b.lists.segmentList(count)
	}
	room := l.curveDuring(b.segments[:0], b.rates, Interval{from - b.forgotten, until}).between(from, until)
	at := slices.IndexFunc(b.spills, func(c Curve) bool { return c.species == l.species })
	if at < 0 {
		return room
	}
	both := combine([]Curve{b.spills[at].between(from, until), room}, []float64{1, 1})
	both.species = l.species
	return both
}

func (c *NearCheck) validate() error {
	at, sources, exchangeCubicMetersPerSecond := c.At, c.Sources, c.ExchangeCubicMetersPerSecond
	if at < 0 || at >= len(sources) {
		return fault("at", fmt.Sprintf("%d is no source", at), fmt.Sprintf("give an index of the %d sources", len(sources)))
	}
	if !(exchangeCubicMetersPerSecond > 0) || !finite(exchangeCubicMetersPerSecond) {
		return fault("exchange_cubic_meters_per_second", fmt.Sprintf("%v is no flow", exchangeCubicMetersPerSecond),
			"give a number above zero")
	}
	return Validate(c.Zone, sources)
}

func (c *NearCheck) field() ([]Curve, error) {
	var none *workspace
	loads, err := none.collect(&c.Zone, c.Sources)
	if err != nil {
		return nil, err
	}
	rates, curves := c.Zone.exchanges(), make([]Curve, len(loads))
	for i := range loads {
		curves[i] = loads[i].curve(rates)
	}
	// In a room of one cubic metre that exchanges beta a second, a release stands at G/beta once it is steady.
	spills, err := spilled(c.Sources[c.At], c.ExchangeCubicMetersPerSecond)
	if err != nil {
		return nil, err
	}
	for i, curve := range curves {
		for _, spill := range spills {
			if spill.species == curve.species {
				curves[i] = combine([]Curve{spill, curve}, []float64{1, 1})
				curves[i].species = curve.species
			}
		}
	}
	return curves, nil
}

// spilled is, by species, what a source spills with its door open over the exchange, as curves of offsets alone.
func spilled(source Source, exchange float64) ([]Curve, error) {
	openOnly := source
	openOnly.CaptureFraction = 1
	var none *workspace
	loads, err := none.collect(&Zone{VolumeCubicMeters: 60 * exchange}, []Source{openOnly})
	if err != nil {
		return nil, err
	}
	curves := make([]Curve, len(loads))
	for i, l := range loads {
		curves[i] = Curve{species: l.species, lastRelease: l.last}
		for j, c := range l.changes {
			if j+1 == len(l.changes) || l.changes[j+1].minute != c.minute { // within a minute they stand in any order
				curves[i].segments = append(curves[i].segments, segment{start: c.minute, offset: c.level})
			}
		}
	}
	return curves, nil
}

// add judges a species by the time at which the door stands open when it is worst; at other times nobody stands there.
func (a *NearAssessment) add(b *beside, at int, limits []Limit, check NearCheck) {
	l := &b.loads[at]
	species := NearSpecies{Species: l.species}
	var worst Excess
	for _, open := range check.Sources[check.At].DoorOpen {
		m := &measured{load: l, curve: b.while(l, open), limits: limits}
		m.peak, m.peakMinute = m.curve.Peak()
		there, excess := nearWhile(m)
		if there.Ratio >= species.Ratio {
			species, worst = there, excess
		}
	}
	if worst.Ratio > 0 {
		species.Protection = Protection(species.Species, species.PeakPPM)
		a.Findings = append(a.Findings, nearFinding(worst, species, check))
	}
	a.Species = append(a.Species, species)
}

// nearWhile is what a species comes to over one time at the open door, and the excess that matters most.
func nearWhile(m *measured) (NearSpecies, Excess) {
	species := NearSpecies{
		Species: m.curve.species, PeakPPM: m.peak, PeakMinute: m.peakMinute, Max15MinutePPM: m.mean(shortTermMinutes).ppm,
	}
	var worst Excess
	for _, limit := range m.limits {
		if !limit.refuses() {
			continue
		}
		species.Ratio = max(species.Ratio, m.mean(limit.AveragingMinutes).ppm/limit.PPM)
		excess, over := m.over(limit)
		if over && (limit.Kind == data.DangerousToLife || worst.Limit.Kind != data.DangerousToLife && excess.Ratio > worst.Ratio) {
			worst = excess
		}
	}
	return species, worst
}

// nearFinding judges an excess beside the furnace by the protection that would be, or is, worn.
func nearFinding(worst Excess, species NearSpecies, check NearCheck) finding.Finding {
	name := check.Sources[check.At].Name
	result := worst.finding(name)
	result.Severity = finding.Block
	result.Message = "beside the open furnace " + result.Message
	result.Figures = append(result.Figures, finding.Figure{Name: "near_peak", Value: species.PeakPPM, Unit: "ppm"})
	less := "more capture with the door open, a smaller or slower charge, or a closed feed"
	least, some := leastProtection(species.Protection)
	worn, isWorn := wornClass(species.Protection, check)
	switch {
	case worst.Limit.Kind == data.DangerousToLife:
		result.Code, result.Cure = "AIR_NEAR_IDLH", less
	case isWorn && worn.Enough && (check.Goggles || !worn.NeedsGoggles):
		result.Severity, result.Code = finding.Note, "AIR_PROTECTION_WORN"
		result.Cure = "it is worn: " + worn.Class + "; " + worn.Reason
	case !some:
		result.Code, result.Cure = "AIR_PROTECTION_EXCEEDED", less+": no respirator is enough"
	case isWorn:
		result.Code = "AIR_PROTECTION_NOT_ENOUGH"
		result.Cure = fmt.Sprintf("%s: %s; at least %s, or %s", worn.Class, worn.Reason, least.worded(), less)
	default:
		result.Severity, result.Code = finding.Warn, "AIR_PROTECTION_NEEDED"
		result.Cure = fmt.Sprintf("at least %s for all who stand there, or %s", least.worded(), less)
	}
	result.Source += "; 29 CFR 1910.134(d)(3)(i) Table 1"
	return result
}

// leastProtection is the class with the lowest factor that is enough.
func leastProtection(classes []ProtectionClass) (ProtectionClass, bool) {
	var least ProtectionClass
	found := false
	for _, class := range classes {
		if class.Enough && (!found || class.AssignedProtectionFactor < least.AssignedProtectionFactor) {
			least, found = class, true
		}
	}
	return least, found
}

func wornClass(classes []ProtectionClass, check NearCheck) (ProtectionClass, bool) {
	at := slices.IndexFunc(classes, func(p ProtectionClass) bool { return p.Class == check.Worn })
	if at < 0 {
		return ProtectionClass{}, false
	}
	return classes[at], true
}

func (p ProtectionClass) worded() string {
	if p.NeedsGoggles {
		return p.Class + " with gas-tight goggles"
	}
	return p.Class
}
