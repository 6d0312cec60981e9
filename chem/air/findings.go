package air

import (
	"fmt"
	"slices"
	"strings"

	"saggar/chem/data"
	"saggar/chem/finding"
)

// codes are the findings' codes by the kind of limit that is exceeded.
var codes = map[data.LimitKind]string{
	data.TimeWeighted: "AIR_SHIFT_LIMIT", data.ActionLevel: "AIR_SHIFT_LIMIT",
	data.ShortTerm: "AIR_SHORT_TERM_LIMIT", Excursion: "AIR_SHORT_TERM_LIMIT",
	data.Ceiling: "AIR_CEILING", data.Peak: "AIR_CEILING", ExcursionCeiling: "AIR_CEILING",
	data.DangerousToLife: "AIR_IDLH", MixtureShift: "AIR_MIXTURE", MixtureShortTerm: "AIR_MIXTURE",
}

// Code is the finding's code for this excess, for example AIR_SHIFT_LIMIT.
func (e Excess) Code() string { return codes[e.Limit.Kind] }

// harmless species have no limit and need none in these amounts.
var harmless = []string{"H2O", "N2", "O2"}

// findings turns excesses into findings: for each species, code and severity the worst limit.
func (s survey) findings(check *RoomCheck, air *trial, result *Assessment, excesses []Excess) []finding.Finding {
	findings := []finding.Finding{}
	for _, excess := range worstOfEach(excesses) {
		f := excess.finding(check.Zone.ID)
		s.cure(&f, excess, check, air, result)
		findings = append(findings, f)
	}
	for _, m := range s {
		if len(m.limits) == 0 && m.peak > m.curve.background && !slices.Contains(harmless, m.curve.species) {
			findings = append(findings, m.noLimit(check.Zone.ID))
		}
	}
	return findings
}

// worstOfEach keeps the highest ratio of each species, code and severity, in the order in which they come.
func worstOfEach(excesses []Excess) []Excess {
	var kept []Excess
	for _, excess := range excesses {
		at := slices.IndexFunc(kept, func(k Excess) bool {
			return k.Limit.Species == excess.Limit.Species && k.Code() == excess.Code() &&
				k.Limit.Severity == excess.Limit.Severity
		})
		switch {
		case at < 0:
			kept = append(kept, excess)
		case excess.Ratio > kept[at].Ratio:
			kept[at] = excess
		}
	}
	return kept
}

func (e Excess) finding(about string) finding.Finding {
	result := finding.Finding{Severity: e.Limit.Severity, Code: e.Code(), About: about, Source: e.Limit.Source}
	if e.Limit.Species == mixtureSpecies {
		result.Message = fmt.Sprintf("the gases together reach %.3g of their limits (%s), 1 is allowed", e.Ratio, e.Limit.Kind)
		result.Figures = []finding.Figure{{Name: "mixture_ratio", Value: e.Ratio, Unit: "1"}}
		return result
	}
	window := "at its peak"
	if e.Limit.AveragingMinutes > 0 {
		window = fmt.Sprintf("over %g min", e.Limit.AveragingMinutes)
	}
	result.Message = fmt.Sprintf("%s reaches %s %s from minute %.0f, the limit %s %s is %s", e.Limit.Species,
		worded(e.Limit.Species, e.PPM), window, e.Minute, e.Limit.Authority, e.Limit.Kind, worded(e.Limit.Species, e.Limit.PPM))
	if e.Limit.Read != data.WasRead {
		result.Message += " (a value not read in its source)"
	}
	result.Figures = []finding.Figure{
		{Name: "concentration", Value: e.PPM, Unit: "ppm"},
		{Name: "limit", Value: e.Limit.PPM, Unit: "ppm"},
		{Name: "ratio", Value: e.Ratio, Unit: "1"},
		{Name: "averaging_time", Value: e.Limit.AveragingMinutes, Unit: "min"},
		{Name: "begins", Value: e.Minute, Unit: "min"},
	}
	return result
}

// cure adds the flow and the share of what escapes that would be enough: for all that refuses in the room where the
// finding refuses, so that one cure clears them together, and for the one limit where it only warns.
func (s survey) cure(f *finding.Finding, excess Excess, check *RoomCheck, air *trial, result *Assessment) {
	flow, share, ok := result.FlowNeeded, 0.0, result.ChargeShareEnough != nil
	if ok {
		share = *result.ChargeShareEnough
	}
	if excess.Limit.Severity != finding.Block {
		at := slices.IndexFunc(s, func(m *measured) bool { return m.curve.species == excess.Limit.Species })
		flow = s[at].flowNeeded(air, []Limit{excess.Limit})
		share, ok = s.shareFor(excess.Limit)
	}
	var ways []string
	if flow != nil {
		f.Figures = append(f.Figures, finding.Figure{Name: "flow_needed", Value: *flow, Unit: "m3/s"})
		ways = append(ways, fmt.Sprintf("a steady flow of at least %.2g m3/s through the room", roundUp(*flow)))
	}
	if ok && share < 1 {
		f.Figures = append(f.Figures, finding.Figure{Name: "charge_share_enough", Value: share, Unit: "1"})
		ways = append(ways, fmt.Sprintf("%.2g of the charge", roundDown(share)), captureWay(check.Sources, excess, share))
	}
	ways = append(ways, result.laterWay())
	f.Cure = s.together(excess, result) + strings.Join(ways, "; or ") + result.inside(excess)
}

// inside says what whoever must be in the room needs while the limit is exceeded: it covers its wearer and cures nothing.
func (a *Assessment) inside(excess Excess) string {
	at := slices.IndexFunc(a.Species, func(s SpeciesAssessment) bool { return s.Species == excess.Limit.Species })
	if excess.Limit.Severity != finding.Block || at < 0 {
		return ""
	}
	species := a.Species[at]
	switch {
	case species.ProtectionEnough != nil:
		return fmt.Sprintf(". Whoever must be inside meanwhile needs at least %s, fitted, which covers its wearer only and clears "+
			"nothing", species.ProtectionEnough.worded())
	case species.PeakPPM > dangerous(limitsOf(species.Species)):
		return ". Nobody enters meanwhile: it is dangerous to life"
	default:
		return ". No respirator is enough for whoever is inside meanwhile"
	}
}

// together says that a cure is for more than its own finding, which alone would ask for less.
func (s survey) together(excess Excess, result *Assessment) string {
	if excess.Limit.Severity != finding.Block {
		return ""
	}
	alone, ok := s.shareFor(excess.Limit)
	if all := result.ChargeShareEnough; ok && all != nil && roundDown(alone) == roundDown(*all) {
		return ""
	}
	with := "for all limits that refuse together"
	if len(s) > 1 && above(result.MixtureRatio, 1) {
		with = fmt.Sprintf("for all limits that refuse and the mixture (%.3g, 1 is allowed) together", result.MixtureRatio)
	}
	if ok {
		with += fmt.Sprintf(" (this limit alone: %.2g of the charge)", roundDown(alone))
	}
	return with + ": "
}

// shareFor is the share of the releases at which one limit is met, also that of a mixture.
func (s survey) shareFor(limit Limit) (float64, bool) {
	if limit.Species == mixtureSpecies {
		x := s.mixture(limit.Kind)
		ratio, _ := x.ratio()
		return shareOf(ratio, 1, x.background())
	}
	at := slices.IndexFunc(s, func(m *measured) bool { return m.curve.species == limit.Species })
	return s[at].shareWithin([]Limit{limit}, func(*Limit) bool { return true })
}

// captureWay words the capture that is enough for the source that lets the most escape while the limit is exceeded; all
// sources together need that share.
func captureWay(sources []Source, excess Excess, share float64) string {
	if len(sources) == 0 {
		return "less gas in the room at the start"
	}
	most, grams := &sources[0], sources[0].escaping(excess)
	for i := range sources[1:] {
		if more := sources[1+i].escaping(excess); more > grams {
			most, grams = &sources[1+i], more
		}
	}
	need := most.captured(share)
	return fmt.Sprintf("capture that lets at most %.2g of what now escapes escape (%s: %s closed, %s with the door open)",
		roundDown(share), most.Name, captureWorded(need.CaptureFraction), captureWorded(need.DoorOpenFraction))
}

// escaping is the mass in g that escapes from the closed source over the window of an excess: of its species, or of
// everything for a mixture.
func (s *Source) escaping(excess Excess) float64 {
	var grams float64
	until := excess.Minute + max(excess.Limit.AveragingMinutes, 1)
	for i := range s.Releases {
		r := &s.Releases[i]
		if r.StartMinute >= until || r.EndMinute <= excess.Minute {
			continue
		}
		minutes := min(r.EndMinute, until) - max(r.StartMinute, excess.Minute)
		if minutes > 0 && (excess.Limit.Species == mixtureSpecies || countedAs(r.Species) == excess.Limit.Species) {
			grams += r.GramsPerMinute * minutes * (1 - s.CaptureFraction)
		}
	}
	return grams
}

func (m *measured) noLimit(about string) finding.Finding {
	return finding.Finding{
		Severity: finding.Warn, Code: "AIR_NO_LIMIT", About: about,
		Message: fmt.Sprintf("%s reaches %.3g ppm and no limit for it is known here, so it was held to none",
			m.curve.species, m.peak),
		Figures: []finding.Figure{{Name: "concentration", Value: m.peak, Unit: "ppm"}},
		Cure:    "set a limit of the studio's own with its source, or keep it out of the room",
		Source:  "no row of the table of exposure limits",
	}
}
