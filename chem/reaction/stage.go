package reaction

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"saggar/chem"
	"saggar/chem/data"
	"saggar/chem/finding"
)

// Codes of the findings of a stage.
const (
	// CodeShort warns that a compound of the charge does not react to its end.
	CodeShort = "CONVERSION_SHORT"
	// CodeNoDepth notes that without a bed depth no 'enough' is given.
	CodeNoDepth = "CONVERSION_NO_DEPTH"
	// CodeNoRate notes compounds whose range is tabled but whose rate is not.
	CodeNoRate = "CONVERSION_NO_RATE"
)

// Part is one compound of a stage's charge that reacts there.
type Part struct {
	Reaction Reaction
	// Moles of formula units that may react at the stage's peak.
	Moles float64
	// MassFraction of the charge as it goes in.
	MassFraction float64
}

// Parts lists what reacts in a stage by the table's rules for compounds, in the table's order: from the gas that the balance
// lets go in the cautious case. What is fed while hot is left out, since it meets the program late.
func Parts(balance chem.StageBalance) []Part {
	moles := map[string]float64{}
	for _, gas := range balance.OffGas {
		if gas.Case == chem.Cautious && !gas.FedHot {
			moles[gas.Origin] += gas.Moles
		}
	}
	var parts []Part
	for _, r := range table() {
		if r.Kind != data.OfPhase || moles[r.Name] <= 0 {
			continue
		}
		perUnit := 0.0
		for _, gas := range r.Gases {
			perUnit += gas.Moles
		}
		part := Part{Reaction: r, Moles: moles[r.Name] / perUnit}
		if balance.MassInGrams > 0 {
			part.MassFraction = part.Moles * r.unitGrams / balance.MassInGrams
		}
		parts = append(parts, part)
	}
	return parts
}

// Conversion is how far one part of a stage's charge gets.
type Conversion struct {
	Part
	// Result is nil where no rate is tabled.
	Result *Result
}

// Fraction converted of the part: of the bed on average, or without a depth of a charge as hot as the program says; false
// without a rate.
func (c Conversion) Fraction() (float64, bool) {
	switch {
	case c.Result == nil:
		return 0, false
	case c.Result.MeanConversion != nil:
		return *c.Result.MeanConversion, true
	default:
		return c.Result.Conversion, true
	}
}

// heldBack reports a bed that its own gas holds back; of a charge of unknown depth that cannot be said.
func (c Conversion) heldBack() bool {
	return c.Result != nil && c.Result.HeldBack != "" && c.Result.CoreConversion != nil
}

// Stage is what Convert looks at.
type Stage struct {
	Kind    chem.StageKind
	Name    string
	Balance chem.StageBalance
	// Along is the program at the charge, and the bed.
	Along Request
}

// Convert follows every compound that reacts in a stage, traces included, and finds what falls short of what the stage is
// for. Only stages that calcine, bisque or oxidise are for it; compounds below TraceFraction of the charge find nothing.
// Errors: finding.Faults of the request.
func Convert(s Stage) ([]Conversion, []finding.Finding, error) {
	var conversions []Conversion
	for _, part := range Parts(s.Balance) {
		conversion := Conversion{Part: part}
		if part.Reaction.HasRate() {
			result, err := part.Reaction.Along(s.Along)
			if err != nil {
				return nil, nil, err
			}
			conversion.Result = &result
		}
		conversions = append(conversions, conversion)
	}
	if s.Kind != chem.Calcine && s.Kind != chem.Bisque && s.Kind != chem.Oxidise {
		return conversions, nil, nil
	}
	return conversions, s.findings(conversions), nil
}

func (s Stage) findings(conversions []Conversion) []finding.Finding {
	var found []finding.Finding
	var rated, unrated []string
	for _, c := range conversions {
		if c.MassFraction < TraceFraction {
			continue
		}
		switch {
		case c.Result == nil && c.Reaction.drivesOut():
			unrated = append(unrated, c.Reaction.Name)
		case c.heldBack():
			found = append(found, s.ownGas(c))
		case c.Result != nil && c.Result.Last() < EnoughFraction:
			found = append(found, s.short(*c.Result))
		case c.Result != nil && c.Result.CoreConversion == nil:
			rated = append(rated, c.Reaction.Name)
		}
	}
	if len(rated) > 0 {
		found = append(found, s.note(CodeNoDepth, "bed_depth_millimeters", fmt.Sprintf(
			"the depth of the charge of stage %s is not known, so whether its core is converted (%s) cannot be said", s.Name,
			strings.Join(rated, ", ")), "give bed_depth_millimeters, and weigh before and after"))
	}
	if len(unrated) > 0 {
		found = append(found, s.note(CodeNoRate, "", fmt.Sprintf(
			"no rate is tabled for %s: whether stage %s holds long enough cannot be said", strings.Join(unrated, ", "), s.Name),
			"weigh before and after: loss over the theoretical loss"))
	}
	if len(conversions) == 0 && s.Kind == chem.Calcine {
		found = append(found, s.notBegun()...)
	}
	return found
}

func (s Stage) note(code, field, message, cure string) finding.Finding {
	return finding.Finding{
		Severity: finding.Note, Code: code, Field: field, About: s.Name, Message: message, Cure: cure, Source: practiceSource,
	}
}

// drivesOut reports a reaction that gives steam or carbon dioxide of a compound, whose rate a kiln's time decides; what burns
// waits for air instead.
func (r Reaction) drivesOut() bool {
	if r.Formula == "C" || r.Formula == "S" {
		return false
	}
	return len(r.Gases) > 0 && !slices.ContainsFunc(r.Gases, func(y data.Yield) bool { return y.Formula != "H2O" && y.Formula != "CO2" })
}

// short warns of a compound that does not react to its end, with what would do.
func (s Stage) short(r Result) finding.Finding {
	where := "even where it is as hot as the program says"
	figures := []finding.Figure{{Name: "conversion", Value: percent(r.Conversion), Unit: "%"}}
	if r.CoreConversion != nil {
		where = "in the core"
		figures = append(figures, finding.Figure{Name: "core conversion", Value: percent(*r.CoreConversion), Unit: "%"},
			finding.Figure{Name: "core reaches", Value: math.Round(*r.CorePeakCelsius), Unit: "C"})
	}
	figures = append(figures, finding.Figure{Name: "hold at the peak", Value: math.Round(r.HoldMinutes), Unit: "min"})
	cure := "fire hotter"
	switch {
	case r.MinutesTo99Percent != nil:
		needed := math.Ceil(*r.MinutesTo99Percent)
		figures = append(figures, finding.Figure{Name: "hold that would do", Value: needed, Unit: "min"})
		cure = fmt.Sprintf("hold %.0f C for %.0f min, make the bed shallower, or fire hotter", r.PeakCelsius, needed)
	case r.EnoughCelsius != nil:
		figures = append(figures, finding.Figure{Name: "peak that would do", Value: *r.EnoughCelsius, Unit: "C"})
		cure = fmt.Sprintf("fire to %.0f C with the hold as it stands", *r.EnoughCelsius)
	}
	return finding.Finding{
		Severity: finding.Warn, Code: CodeShort, Field: "program", About: s.Name,
		Message: fmt.Sprintf("stage %s converts %.3g %% of its %s %s; %g %% counts as complete", s.Name, percent(r.Last()),
			r.Reaction, where, 100*EnoughFraction),
		Figures: figures, Cure: cure, Source: r.Source,
	}
}

// ownGas warns of a bed that is never hot enough for its own gas to leave freely, whatever its rate in moving gas says.
func (s Stage) ownGas(c Conversion) finding.Finding {
	r := c.Result
	free, _ := c.Reaction.OneBarCelsius()
	cure := fmt.Sprintf("fire above %.0f C, or spread it thin in moving air, and weigh before and after", math.Ceil(free))
	if r.EnoughCelsius != nil {
		cure = fmt.Sprintf("fire to %.0f C with the hold as it stands, or spread it thin in moving air, and weigh before and after",
			*r.EnoughCelsius)
	}
	return finding.Finding{
		Severity: finding.Warn, Code: CodeOwnGas, Field: "program", About: s.Name,
		Message: fmt.Sprintf("stage %s: %s", s.Name, r.HeldBack),
		Figures: []finding.Figure{
			{Name: "peak", Value: math.Round(r.PeakCelsius), Unit: "C"}, {Name: "gas at 1 bar", Value: math.Round(free), Unit: "C"},
			{Name: "core conversion in moving gas", Value: percent(*r.CoreConversion), Unit: "%"},
		},
		Cure: cure, Source: ownGasSource,
	}
}

func percent(fraction float64) float64 { return math.Floor(1000*fraction) / 10 }

// notBegun warns of a stage that calcines a charge in which nothing reacts though something could, hotter.
func (s Stage) notBegun() []finding.Finding {
	for _, left := range s.Balance.Remaining {
		if left.MassGrams < TraceFraction*s.Balance.MassInGrams {
			continue
		}
		counts := countsOf(left.Compound)
		for _, r := range table() {
			if r.Kind == data.OfPhase && r.drivesOut() && s.Balance.PeakCelsius < r.LowCelsius && sameRatios(counts, r.counts) {
				return []finding.Finding{s.tooCool(r)}
			}
		}
	}
	return nil
}

func (s Stage) tooCool(r Reaction) finding.Finding {
	return finding.Finding{
		Severity: finding.Warn, Code: CodeShort, Field: "program", About: s.Name,
		Message: fmt.Sprintf("stage %s is too cool at %g C for its %s, which breaks down from %g to %g C", s.Name,
			s.Balance.PeakCelsius, r.Name, r.LowCelsius, r.HighCelsius),
		Figures: []finding.Figure{
			{Name: "peak", Value: s.Balance.PeakCelsius, Unit: "C"}, {Name: "begins", Value: r.LowCelsius, Unit: "C"},
			{Name: "ends", Value: r.HighCelsius, Unit: "C"},
		},
		Cure: fmt.Sprintf("fire to %g C, or call the stage what it is", r.HighCelsius), Source: r.Source,
	}
}

// sameRatios reports two compounds of one composition, however each is written.
func sameRatios(a, b chem.Moles) bool {
	if len(a) != len(b) {
		return false
	}
	scale := 0.0
	for symbol, count := range a {
		if b[symbol] == 0 {
			return false
		}
		ratio := count / b[symbol]
		if scale == 0 {
			scale = ratio
		}
		if math.Abs(ratio-scale) > 1e-9*scale {
			return false
		}
	}
	return true
}
