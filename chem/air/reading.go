package air

import (
	"fmt"
	"math"

	"saggar/chem/data"
	"saggar/chem/finding"
)

// DefaultReadingUncertainty is the share by which a reading may be off where the instrument states nothing: 25 %, the accuracy
// that NIOSH asks of a method of measurement (NIOSH Manual of Analytical Methods; from memory).
const DefaultReadingUncertainty = 0.25

// Codes of the findings about readings.
const (
	CodeReadingAboveLimit    = "READING_ABOVE_LIMIT"
	CodeReadingAboveForecast = "READING_ABOVE_FORECAST"
)

// Reading is what an instrument showed at one moment, beside what the cautious case forecast for it.
type Reading struct {
	Place   string // for the words: "bay", or "pot in bay"
	Species string
	PPM     float64
	// UncertaintyFraction and UncertaintyPPM are what the instrument's maker states, a share of the reading and an amount; the
	// larger counts. Both zero: DefaultReadingUncertainty.
	UncertaintyFraction, UncertaintyPPM float64
	ForecastPPM                         float64
	Own                                 []OwnLimit
}

// Forecast is the concentration in ppm of a species at minute 0, in the zone, or beside one of the sources by its index; near
// below 0: in the zone. Without a source it is what outdoor air holds. The error is a finding.Faults.
func Forecast(zone Zone, sources []Source, near int, species string) (float64, error) {
	// A release of nothing, so that what the incoming air holds is known of a species that nobody gives off.
	nothing := Source{Name: "nothing", Releases: []Release{{Species: species, StartMinute: -1, EndMinute: 0}}}
	sources = append(append([]Source{}, sources...), nothing)
	var curves []Curve
	var err error
	if near >= 0 {
		curves, err = NearField(zone, sources, near, DefaultNearExchange)
	} else {
		curves, err = Curves(zone, sources)
	}
	for _, curve := range curves {
		if curve.species == countedAs(species) {
			return curve.At(0), err
		}
	}
	return 0, err
}

// UncertainPPM is by how much the reading may be off.
func (r Reading) UncertainPPM() float64 {
	if r.UncertaintyFraction == 0 && r.UncertaintyPPM == 0 {
		return DefaultReadingUncertainty * r.PPM
	}
	return math.Max(r.UncertaintyFraction*r.PPM, r.UncertaintyPPM)
}

// Findings refuse a reading above a limit that is held over a quarter of an hour or less, or a concentration dangerous to life;
// warn of one above a shift's; and warn of one above the forecast by more than it may be off. No uncertainty is taken off before
// a limit. The error is a finding.Faults.
func (r Reading) Findings() ([]finding.Finding, error) {
	limits, err := applicable(countedAs(r.Species), r.Own)
	if err != nil {
		return nil, err
	}
	var found []finding.Finding
	above := func(severity finding.Severity, keep func(l Limit) bool, cure string) bool {
		limit, passed := strictest(limits, func(l Limit) bool { return keep(l) && r.PPM > l.PPM })
		if passed {
			found = append(found, r.aboveLimit(limit, severity, cure))
		}
		return passed
	}
	if !above(finding.Block, Limit.drivesOut, "leave the room, close its door and keep others out; then do the stop steps of what is under fire "+
		"from outside, and go in again only after a detector shows that the air is below the re-entry level") {
		above(finding.Warn, refusesShift, "nobody stays a shift in that: find out where it comes from, and leave when it does not fall")
	}
	if r.PPM-r.UncertainPPM() > r.ForecastPPM {
		found = append(found, r.aboveForecast())
	}
	return found, nil
}

// drivesOut reports whether nobody may stay a quarter of an hour above the limit.
func (l Limit) drivesOut() bool {
	return l.Kind == data.DangerousToLife || l.Severity == finding.Block && l.AveragingMinutes <= shortTermMinutes
}

func (r Reading) aboveLimit(l Limit, severity finding.Severity, cure string) finding.Finding {
	return finding.Finding{
		Severity: severity, Code: CodeReadingAboveLimit, About: r.Place, Source: l.Source, Cure: cure,
		Message: fmt.Sprintf("%s was read at %s in %s, the limit %s %s is %s", r.Species, worded(r.Species, r.PPM), r.Place, l.Authority, l.Kind,
			worded(r.Species, l.PPM)),
		Figures: []finding.Figure{
			{Name: "measured", Value: r.PPM, Unit: "ppm"}, {Name: "limit", Value: l.PPM, Unit: "ppm"}, {Name: "ratio", Value: r.PPM / l.PPM, Unit: "1"},
		},
	}
}

func (r Reading) aboveForecast() finding.Finding {
	forecast := "nothing of it was forecast"
	if r.ForecastPPM > 0 {
		forecast = "at most " + worded(r.Species, r.ForecastPPM) + " was forecast"
	}
	f := finding.Finding{
		Severity: finding.Warn, Code: CodeReadingAboveForecast, About: r.Place, Source: commonPractice,
		Message: fmt.Sprintf("%s was read at %s in %s, where %s: the flow or the capture is not what was measured, or something comes off that is "+
			"not booked", r.Species, worded(r.Species, r.PPM), r.Place, forecast),
		Figures: []finding.Figure{
			{Name: "measured", Value: r.PPM, Unit: "ppm"}, {Name: "uncertain", Value: r.UncertainPPM(), Unit: "ppm"},
			{Name: "forecast", Value: r.ForecastPPM, Unit: "ppm"},
		},
		Cure: "measure the flow and the capture, and book nothing dirtier in the room until then; close the reading once it is explained",
	}
	if r.ForecastPPM > 0 {
		f.Figures = append(f.Figures, finding.Figure{Name: "ratio", Value: r.PPM / r.ForecastPPM, Unit: "1"})
	}
	return f
}
