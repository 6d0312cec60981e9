package heat

import (
	"fmt"
	"slices"
	"strings"
	"sync"

	"saggar/chem/data"
	"saggar/chem/finding"
)

// Codes of the findings of Check.
const (
	CodeFurnaceUnmeasured = "HEAT_FURNACE_UNMEASURED"
	CodeTreatmentInvalid  = "HEAT_TREATMENT_INVALID"
	CodeAboveTop          = "HEAT_ABOVE_TOP"
	CodeNearTop           = "HEAT_NEAR_TOP"
	CodeUnreachable       = "HEAT_UNREACHABLE"
	CodeFasterThanFurnace = "HEAT_FASTER_THAN_FURNACE"
	CodeFasterThanControl = "HEAT_FASTER_THAN_CONTROL"
	// CodeChargeTooHeavy is of a charge that takes more heat than the furnace can give it in time.
	CodeChargeTooHeavy = "HEAT_CHARGE_TOO_HEAVY"
	// CodeChargeExotherm is of a charge that gives off heat while it is fired.
	CodeChargeExotherm = "HEAT_CHARGE_EXOTHERM"
	CodeSetByPerson    = "HEAT_SET_BY_PERSON"
	CodeWatchRaised    = "HEAT_WATCH_RAISED"
	CodeOpenedReducing = "HEAT_OPENED_REDUCING"
	CodeAtmosphere     = "FURNACE_ATMOSPHERE"
	CodeExcludes       = "FURNACE_EXCLUDES"
	CodeChargeTooLarge = "FURNACE_CHARGE_TOO_LARGE"
	CodeNoCutOut       = "FURNACE_WITHOUT_CUT_OUT"
	CodeCannotClear    = "FURNACE_CANNOT_CLEAR"
	CodeElements       = "FURNACE_ELEMENTS"
)

// Check holds a treatment against the furnace by the rules of the trade about heat. It finds the constants itself: a
// furnace without measured times blocks. Fields are those of the treatment ("program.segments[0].to_celsius"), or
// "furnace." and a field of the furnace; About is the furnace's identifier, and the message begins with it. The worst
// finding comes first.
func Check(f Furnace, t Treatment) []finding.Finding {
	found, _ := CheckFitted(f, t)
	return found
}

// CheckFitted is Check that hands on the constants that it found; zero where it blocks for want of them.
func CheckFitted(f Furnace, t Treatment) ([]finding.Finding, Constants) {
	k := checker{furnace: f, treatment: t}
	k.checkFurnace()
	constants, err := Fit(f)
	if err != nil {
		var faults finding.Faults
		faults.AddUnder("furnace", finding.FaultsOf(err))
		k.addFaults(faults, CodeFurnaceUnmeasured)
	}
	if err == nil {
		k.checkCourse(constants)
	} else {
		k.addFaults(t.Faults(), CodeTreatmentInvalid)
	}
	finding.SortWorstFirst(k.findings)
	return k.findings, constants
}

type checker struct {
	furnace   Furnace
	treatment Treatment
	findings  []finding.Finding
	heavy     []heavySegment
}

// add names the furnace in what was found: several are tried, and only the message reaches every reader.
func (k *checker) add(f finding.Finding) {
	f.About = k.furnace.ID
	if rest, its := strings.CutPrefix(f.Message, "the furnace "); its && f.About != "" {
		f.Message = f.About + " " + rest
	} else if f.About != "" {
		f.Message = f.About + ": " + f.Message
	}
	k.findings = append(k.findings, f)
}

func (k *checker) addFaults(faults finding.Faults, code string) {
	for _, f := range faults.Findings(code) {
		k.add(f)
	}
}

func celsius(name string, value float64) finding.Figure {
	return finding.Figure{Name: name, Value: value, Unit: "C"}
}

func minutes(name string, value float64) finding.Figure {
	return finding.Figure{Name: name, Value: value, Unit: "min"}
}

func perHour(name string, value float64) finding.Figure {
	return finding.Figure{Name: name, Value: value, Unit: "C/h"}
}

// checkFurnace holds the charge against what the furnace is, whatever the program.
func (k *checker) checkFurnace() {
	f, t := k.furnace, k.treatment
	k.checkAtmosphere()
	for _, content := range t.Contents {
		if slices.Contains(f.Excludes, content) {
			k.add(finding.Finding{Severity: finding.Block, Code: CodeExcludes, Field: "contents",
				Message: fmt.Sprintf("the furnace may not take %s", content), Cure: "choose a furnace that takes " + content})
		}
	}
	k.checkElements()
	if f.MaxChargeGrams > 0 && t.ChargeGrams > f.MaxChargeGrams {
		k.add(finding.Finding{Severity: finding.Block, Code: CodeChargeTooLarge, Field: "charge_grams",
			Message: fmt.Sprintf("a charge of %.0f g is above the furnace's most, %.0f g", t.ChargeGrams, f.MaxChargeGrams),
			Figures: []finding.Figure{{Name: "charge", Value: t.ChargeGrams, Unit: "g"},
				{Name: "most", Value: f.MaxChargeGrams, Unit: "g"}},
			Cure: fmt.Sprintf("charge at most %.0f g at a time", f.MaxChargeGrams)})
	}
	k.checkWatch()
	k.checkControl()
}

// wearsElements are the contents of which an electric furnace must know what its elements make.
var wearsElements = []string{Sulfur, Chloride, Fluoride, VolatileMetal}

// checkElements finds what wears out the heating elements of an electric furnace, by its element type (chem/data,
// furnace-elements.csv). Reduction that the furnace is stated to hold is noted; else checkAtmosphere refuses it. What the
// furnace may not take at all is left to checkFurnace.
func (k *checker) checkElements() {
	f, t := k.furnace, k.treatment
	if f.Source != Electric {
		return
	}
	contents := slices.DeleteFunc(slices.Clone(t.Contents), func(c string) bool {
		return slices.Contains(f.Excludes, c) || c == Carbon && f.holds(Reducing)
	})
	if t.atmosphere() == Reducing && f.holds(Reducing) {
		contents = append(contents, string(Reducing))
	}
	rules := elementRules(f.ElementType)
	for _, rule := range rules {
		if slices.Contains(contents, rule.Content) {
			k.add(finding.Finding{Severity: finding.Severity(rule.Severity), Code: CodeElements, Field: "contents",
				Message: fmt.Sprintf("the furnace has %s elements: %s", rule.Family, rule.Why), Cure: rule.Cure, Source: rule.Source})
		}
	}
	wearing := slices.DeleteFunc(contents, func(c string) bool { return !slices.Contains(wearsElements, c) })
	if len(rules) == 0 && len(wearing) > 0 {
		k.add(finding.Finding{Severity: finding.Note, Code: CodeElements, Field: "furnace.element_type",
			Message: fmt.Sprintf("the furnace states no known element type, so what %s does to its elements is not judged",
				strings.ReplaceAll(strings.Join(wearing, ", "), "_", " ")),
			Cure: "state the element type, and exclude what the elements must not meet", Source: practiceSource})
	}
}

// furnaceElementRules is the table, read once.
var furnaceElementRules = sync.OnceValue(data.FurnaceElementRules)

// elementRules are the rules of the kind of element that a furnace's element type names; none when it names none.
func elementRules(elementType string) []data.FurnaceElementRule {
	kind, family := strings.ToLower(elementType), ""
	var rules []data.FurnaceElementRule
	for _, rule := range furnaceElementRules() {
		named := slices.ContainsFunc(rule.Words, func(word string) bool { return strings.Contains(kind, word) })
		if named && (family == "" || family == rule.Family) {
			family = rule.Family
			rules = append(rules, rule)
		}
	}
	return rules
}

func (k *checker) checkAtmosphere() {
	if asked := k.treatment.atmosphere(); !k.furnace.holds(asked) {
		k.add(finding.Finding{Severity: finding.Block, Code: CodeAtmosphere, Field: "atmosphere",
			Message: fmt.Sprintf("the furnace cannot hold a %s atmosphere; it holds %v", asked, k.furnace.Atmospheres),
			Cure:    fmt.Sprintf("choose a furnace that holds a %s atmosphere", asked)})
	}
	if k.treatment.ClearAfter && !k.furnace.holds(Oxidising) {
		k.add(finding.Finding{Severity: finding.Block, Code: CodeCannotClear, Field: "clear_after",
			Message: "an oxidising burn-off is owed afterwards and the furnace cannot hold an oxidising atmosphere",
			Cure:    "choose a furnace that can fire oxidising", Source: practiceSource})
	}
}

// holds tells whether a furnace can hold an atmosphere; one that lists none holds only air.
func (f Furnace) holds(a Atmosphere) bool {
	if len(f.Atmospheres) == 0 {
		return a == Oxidising
	}
	return slices.Contains(f.Atmospheres, a)
}

func (k *checker) checkWatch() {
	f, t := k.furnace, k.treatment
	needed := fireWatch(f, t)
	if f.Source == Electric && !f.OverTemperatureCutOut {
		k.checkCutOut(needed)
		return
	}
	if t.FireWatch != "" && t.FireWatch != needed {
		why := "something comes off"
		switch {
		case f.Control == ByHand:
			why = "it is driven by hand"
		case f.Source != Electric:
			why = "it burns gas"
		}
		k.add(finding.Finding{Severity: finding.Warn, Code: CodeWatchRaised, Field: "fire_watch",
			Message: fmt.Sprintf("the fire asks for watch %s and needs %s: %s", t.FireWatch, needed, why),
			Cure:    fmt.Sprintf("give the fire watch %s", needed), Source: practiceSource})
	}
}

func (k *checker) checkCutOut(needed Watch) {
	found := finding.Finding{Severity: finding.Note, Code: CodeNoCutOut, Field: "furnace.over_temperature_cut_out",
		Message: fmt.Sprintf("the furnace has no over-temperature cut-out: the fire needs watch %s and the cooling one in reach",
			needed),
		Cure: "fit a cut-out, or keep somebody in reach", Source: practiceSource}
	if k.treatment.FireWatch == WatchNone {
		found.Severity = finding.Block
		found.Message = "the furnace has no over-temperature cut-out and may not fire unattended"
		found.Cure = fmt.Sprintf("fit a cut-out, or give the fire watch %s", needed)
	}
	k.add(found)
}

// checkControl warns of a program that only a person can make the furnace follow.
func (k *checker) checkControl() {
	segments := k.treatment.Program.Segments
	if k.furnace.Control != SetPoint || len(segments) == 0 {
		return
	}
	if len(segments) > 1 || segments[0].RateCelsiusPerHour > 0 {
		what := fmt.Sprintf("its rates and %d segments", len(segments))
		if len(segments) == 1 {
			what = "the rate of its one segment"
		}
		k.add(finding.Finding{Severity: finding.Warn, Code: CodeSetByPerson, Field: "program.segments",
			Message: fmt.Sprintf("the furnace holds one set point: %s must be set by a person in time", what),
			Figures: []finding.Figure{{Name: "segments", Value: float64(len(segments)), Unit: "1"}},
			Cure:    "plan somebody at every change, or choose a programmed furnace"})
	}
}

// checkCourse follows the program and judges what comes of it.
func (k *checker) checkCourse(c Constants) {
	f, t := k.furnace, k.treatment
	result, faults := t.follow(f, c)
	if len(faults) > 0 {
		k.addFaults(faults, CodeTreatmentInvalid)
		return
	}
	light := k.withoutCharge(c, result)
	from := result.StartCelsius
	for i, s := range t.Program.Segments {
		field := fmt.Sprintf("program.segments[%d].", i)
		times, alone := result.Segments[i], light.Segments[i]
		found := k.checkReach(c, field+"to_celsius", from, s.ToCelsius)
		if k.weigh(times, alone); !times.Reachable && alone.Reachable {
			break // what comes after depends on it
		}
		switch {
		case times.Reachable:
			k.checkRate(field, s, alone, s.ToCelsius >= from)
			from = s.ToCelsius
		case !found:
			k.add(finding.Finding{Severity: finding.Block, Code: CodeUnreachable, Field: field + "to_celsius",
				Message: fmt.Sprintf("the furnace gets from %g C to %g C in more than %.0f minutes", from, s.ToCelsius,
					maxStretchMinutes),
				Figures: []finding.Figure{celsius("asked", s.ToCelsius), minutes("most", maxStretchMinutes)},
				Cure:    "ask for a temperature that it gets to sooner"})
		}
	}
	k.checkWeight(c)
	k.checkExotherm(c, result)
	if t.chargedHot() {
		k.checkReach(c, "charge_at_celsius", c.AmbientCelsius, t.ChargeAtCelsius)
	}
	if t.ClearAfter {
		k.checkReach(c, "clear_at_celsius", c.AmbientCelsius, t.clearing(f, c).Segments[0].ToCelsius)
	}
	k.checkOpening(t.openedAt(result))
}

// checkReach blocks a temperature above the furnace's top, or one that it never gets to, and tells whether it found any.
func (k *checker) checkReach(c Constants, field string, from, to float64) bool {
	top := k.furnace.TopCelsius
	found := finding.Finding{Severity: finding.Block, Field: field}
	switch {
	case to > top:
		found.Code = CodeAboveTop
		found.Message = fmt.Sprintf("%g C is above the furnace's top temperature, %g C", to, top)
		found.Figures = []finding.Figure{celsius("asked", to), celsius("top", top)}
		found.Cure = fmt.Sprintf("ask for at most %g C, or choose a hotter furnace", top)
	case to >= c.FinalCelsius:
		found.Code = CodeUnreachable
		found.Message = fmt.Sprintf("%g C is out of reach: by its measured times full power settles at %.0f C", to,
			c.FinalCelsius)
		found.Figures = []finding.Figure{celsius("asked", to), celsius("final", c.FinalCelsius)}
		found.Cure = fmt.Sprintf("ask for less than %.0f C, or mend the elements or burner and measure again",
			c.FinalCelsius)
	case to < from && to <= c.AmbientCelsius:
		found.Code = CodeUnreachable
		found.Message = fmt.Sprintf("natural cooling from %g C never gets down to %g C at an ambient of %g C", from, to,
			c.AmbientCelsius)
		found.Figures = []finding.Figure{celsius("asked", to), celsius("ambient", c.AmbientCelsius)}
		found.Cure = fmt.Sprintf("ask for at least %g C, or end the program and let it cool",
			c.AmbientCelsius+minAboveAmbientCelsius)
	case to+k.furnace.ToleranceCelsius > top:
		found.Severity, found.Code = finding.Note, CodeNearTop
		found.Message = fmt.Sprintf("%g C with a tolerance of %g C may pass the furnace's top temperature, %g C", to,
			k.furnace.ToleranceCelsius, top)
		found.Figures = []finding.Figure{celsius("asked", to), celsius("tolerance", k.furnace.ToleranceCelsius),
			celsius("top", top)}
		found.Cure = fmt.Sprintf("ask for at most %g C", top-k.furnace.ToleranceCelsius)
	default:
		return false
	}
	k.add(found)
	return true
}

// checkRate warns of a ramp that the control or the furnace cannot follow.
func (k *checker) checkRate(field string, s Segment, times SegmentTime, up bool) {
	rate, most := s.RateCelsiusPerHour, k.furnace.MaxRateCelsiusPerHour
	if rate == 0 {
		return
	}
	lost := times.DurationMinutes - times.AskedMinutes
	if up && most > 0 && rate > most {
		k.add(finding.Finding{Severity: finding.Warn, Code: CodeFasterThanControl, Field: field + "rate_celsius_per_hour",
			Message: fmt.Sprintf("%g C/h is above the fastest ramp of control and lining, %g C/h", rate, most),
			Figures: []finding.Figure{perHour("asked", rate), perHour("most", most), minutes("lost", lost)},
			Cure:    fmt.Sprintf("ask for at most %g C/h", most)})
		return
	}
	if lost >= 1 {
		k.add(finding.Finding{Severity: finding.Warn, Code: CodeFasterThanFurnace, Field: field + "rate_celsius_per_hour",
			Message: fmt.Sprintf("the furnace cannot follow %g C/h all the way to %g C: the ramp takes %.0f minutes longer", rate,
				s.ToCelsius, lost),
			Figures: []finding.Figure{perHour("asked", rate), minutes("lost", lost), minutes("duration", times.DurationMinutes)},
			Cure:    "ask for a slower rate, or accept the longer ramp"})
	}
}

func (k *checker) checkOpening(openedAt float64) {
	if k.treatment.atmosphere() != Reducing || openedAt >= CarbonMonoxideBurnsAboveCelsius {
		return
	}
	k.add(finding.Finding{Severity: finding.Warn, Code: CodeOpenedReducing, Field: "open_below_celsius",
		Message: fmt.Sprintf("a reducing furnace is opened at %.0f C: below %d C carbon monoxide may have collected unburnt",
			openedAt, CarbonMonoxideBurnsAboveCelsius),
		Figures: []finding.Figure{celsius("opened", openedAt), celsius("burns_above", CarbonMonoxideBurnsAboveCelsius)},
		Cure: "let air in and burn it off above that temperature before cooling, or vent it under extraction with a carbon " +
			"monoxide alarm before anybody opens it",
		Source: practiceSource})
}
