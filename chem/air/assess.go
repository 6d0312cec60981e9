package air

import (
	"fmt"
	"math"
	"slices"

	"saggar/chem/finding"
)

// RoomCheck is what CheckRoom is asked.
type RoomCheck struct {
	Zone Zone `json:"zone"`
	// Standing sources give off gas there in any case. They count for the air, but a limit is held against Sources only at
	// times when their own gas is there.
	Standing []Source   `json:"standing"`
	Sources  []Source   `json:"sources"`
	Own      []OwnLimit `json:"own_limits"`
	// Room is looked at for its detectors; nil: they are not checked.
	Room *Room `json:"room"`
	// OnDate is the ISO date on which detectors must be in test; needed with Room.
	OnDate string `json:"on_date"`
	// FiringDate is the ISO date of the firing: a detector whose test no longer counts then is due. Empty: not looked at.
	FiringDate string `json:"firing_date"`
	// DetectorTestDays is how long a function test counts; 0 means DefaultDetectorTestDays.
	DetectorTestDays int `json:"detector_test_days"`
	// SeriesStepMinutes is the spacing of the series; 0: about a hundred points over the gas's stay.
	SeriesStepMinutes float64 `json:"series_step_minutes"`
	// CureOnly leaves out the flow that is needed where no limit that refuses is passed and the flow as it is is enough.
	CureOnly bool `json:"cure_only"`
	// ShiftHorizonMinutes is how far ahead a later time that would be enough is sought; 0: it is not sought.
	ShiftHorizonMinutes float64 `json:"shift_horizon_minutes"`
	// ShiftStepMinutes is the grid on which it is sought; 0 means 5.
	ShiftStepMinutes float64 `json:"shift_step_minutes"`
}

// Assessment is the predicted air of one room against every limit, with what would cure what is wrong.
type Assessment struct {
	Species []SpeciesAssessment `json:"species"`
	// MixtureRatio is the larger of the two below: the largest sum of concentration over limit, each species at its
	// strictest limit of that kind that refuses. Above 1 refuses (29 CFR 1910.1000(d)(2)). With one species it is that
	// species' own ratio, and 0 only where none has such a limit.
	MixtureRatio          float64 `json:"mixture_ratio"`
	ShiftMixtureRatio     float64 `json:"shift_mixture_ratio"`
	ShortTermMixtureRatio float64 `json:"short_term_mixture_ratio"`
	// FlowNeeded is the least steady flow that passes every refusing limit and both mixtures; nil: no flow does, no species
	// has such a limit, or it is left out (RoomCheck.CureOnly). Limits that only warn are not counted in it.
	FlowNeeded *float64 `json:"flow_needed_cubic_meters_per_second"`
	// ChargeShareEnough is the share of all releases, [0, 1], that passes them at the given flow; nil: none does.
	ChargeShareEnough *float64 `json:"charge_share_enough"`
	// CaptureEnough is, by source, the capture that would let only that share escape; empty when nothing is over.
	CaptureEnough []CaptureCure `json:"capture_enough"`
	// LaterMinutesEnough is by how many minutes later the sources would be refused no more; nil: not sought, or none is.
	LaterMinutesEnough *float64 `json:"later_minutes_enough"`
	// ReentryMinute is when, after the last release of the sources, every species is at or below its re-entry level; nil: never, or
	// one has no limit. What standing sources give off later closes the room again, and is not counted here.
	ReentryMinute *float64          `json:"reentry_minute"`
	Series        []SeriesPoint     `json:"series"`
	Findings      []finding.Finding `json:"findings"`
	Assumptions   []string          `json:"assumptions"`
	Caution       string            `json:"caution"`
}

// SpeciesAssessment is one species of an Assessment. Peak and means are of the time when people may be inside.
type SpeciesAssessment struct {
	Species        string       `json:"species"`
	PeakPPM        float64      `json:"peak_ppm"`
	PeakMinute     float64      `json:"peak_minute"`
	Max15MinutePPM float64      `json:"max_15_minute_ppm"`
	Max8HourPPM    float64      `json:"max_8_hour_ppm"`
	Limits         []LimitCheck `json:"limits"`
	// ReentryPPM is a tenth of the strictest shift limit that refuses, else of the strictest limit (common practice).
	ReentryPPM float64 `json:"reentry_ppm"`
	// ReentryMinute is when it is at or below that after the last release of it by the sources; nil: never, or no limit.
	ReentryMinute *float64 `json:"reentry_minute"`
	// FlowNeeded is the least steady flow that passes this species' refusing limits; nil: no flow does, there is no such
	// limit and so no flow is known to be enough, or it is left out (RoomCheck.CureOnly).
	FlowNeeded *float64 `json:"flow_needed_cubic_meters_per_second"`
	// ProtectionEnough is the least class that would be enough at the peak for whoever must be inside while a limit that
	// refuses is exceeded. It covers its wearer only and clears no finding. Nil: nothing is exceeded, or none is enough.
	ProtectionEnough *ProtectionClass `json:"protection_enough"`
}

// LimitCheck is one limit with what is predicted against it.
type LimitCheck struct {
	Limit
	MeanPPM float64 `json:"mean_ppm"` // greatest mean over the limit's averaging time
	Ratio   float64 `json:"ratio"`    // above 1: over the limit
}

func (l LimitCheck) refused() bool { return l.Severity == finding.Block && above(l.MeanPPM, l.PPM) }

// SeriesPoint is one point of a curve for printing.
type SeriesPoint struct {
	Minute  float64 `json:"minute"`
	Species string  `json:"species"`
	PPM     float64 `json:"ppm"`
}

// CheckRoom predicts the air of a room over the whole stay of the gas and holds it against every limit.
// The error is a fault of the input; limits exceeded are findings.
func CheckRoom(check RoomCheck) (Assessment, error) {
	if err := check.validate(); err != nil {
		return Assessment{}, err
	}
	added := check.Sources
	check.Sources = slices.Concat(check.Standing, added)
	lists := borrow()
	defer lists.giveBack()
	survey, err := lists.take(check.Zone, check.Sources, check.Own)
	if err != nil {
		return Assessment{}, err
	}
	for _, m := range survey {
		if err := possible(m.curve.species, m.peak); err != nil {
			return Assessment{}, err
		}
	}
	excesses, stays, err := check.held(survey, added)
	if err != nil {
		return Assessment{}, err
	}
	detectors, err := check.detectorFindings()
	if err != nil {
		return Assessment{}, err
	}
	result := Assessment{
		Species: []SpeciesAssessment{}, CaptureEnough: []CaptureCure{}, Assumptions: check.assumptions(), Caution: Caution,
	}
	air := asItIs(&check.Zone)
	mixtures := survey.mixtures(air)
	for _, m := range survey {
		result.Species = append(result.Species, m.assess(lastRelease(added, m.curve.species)))
	}
	result.ReentryMinute = survey.reentry(lastRelease(added, ""))
	result.ShiftMixtureRatio, result.ShortTermMixtureRatio = mixtures[0].total, mixtures[1].total
	result.MixtureRatio = max(result.ShiftMixtureRatio, result.ShortTermMixtureRatio)
	if !check.CureOnly || result.refused() {
		result.needFlow(air, survey, mixtures)
	}
	result.cureByRelease(survey, mixtures, check)
	if result.LaterMinutesEnough, err = check.laterEnough(added); err != nil {
		return Assessment{}, err
	}
	result.Series = survey.series(check.SeriesStepMinutes)
	result.Findings = slices.Concat(survey.findings(&check, air, &result, excesses), check.extractionFindings(), detectors,
		survey.reentryFindings(&check.Zone, stays), check.openWhileSigned(added))
	finding.SortWorstFirst(result.Findings)
	return result, nil
}

// validate lists the faults of the check's own fields; the zone and the sources have theirs.
func (c *RoomCheck) validate() error {
	var faults finding.Faults
	if !atLeastZero(c.SeriesStepMinutes) {
		faults.Add("series_step_minutes", fmt.Sprintf("%v is no step", c.SeriesStepMinutes),
			"give minutes above zero, or 0 for the default")
	}
	c.validateShift(&faults)
	faults = append(faults, OwnLimitFaults(c.Own)...)
	return faults.Err()
}

// held is what the added sources are held to account for, and when their gas is there.
func (c *RoomCheck) held(survey survey, added []Source) ([]Excess, map[string]stay, error) {
	if len(c.Standing) == 0 {
		stays := map[string]stay{}
		for _, m := range survey {
			stays[m.whole.species] = stay{math.Inf(-1), math.Inf(1)}
		}
		return survey.excesses(), stays, nil
	}
	stays, err := survey.stays(c.Zone, added)
	if err != nil {
		return nil, nil, err
	}
	return survey.worsened(stays), stays, nil
}

// refused reports whether a limit or a mixture refuses.
func (a *Assessment) refused() bool {
	return above(a.MixtureRatio, 1) || slices.ContainsFunc(a.Species, func(s SpeciesAssessment) bool {
		return slices.ContainsFunc(s.Limits, LimitCheck.refused)
	})
}

// needFlow seeks the flow that each species and all of them together need.
func (a *Assessment) needFlow(air *trial, survey survey, mixtures []mixed) {
	judged := false
	for i, m := range survey {
		if m.judged() {
			judged = true
			a.Species[i].FlowNeeded = m.flowNeeded(air, refusing(m.limits))
		}
	}
	if judged {
		a.FlowNeeded = flowNeeded(air, a.Species, mixtures)
	}
}

func (m *measured) assess(lastRelease float64) SpeciesAssessment {
	result := SpeciesAssessment{
		Limits: make([]LimitCheck, 0, len(m.limits)), Species: m.curve.species, PeakPPM: m.peak,
		PeakMinute:     m.occupied.clock(m.peakMinute),
		Max15MinutePPM: m.mean(shortTermMinutes).ppm, Max8HourPPM: m.mean(shiftMinutes).ppm,
	}
	for _, limit := range m.limits {
		greatest := m.mean(limit.AveragingMinutes).ppm
		result.Limits = append(result.Limits, LimitCheck{limit, greatest, greatest / limit.PPM})
	}
	if over := slices.ContainsFunc(result.Limits, LimitCheck.refused); over {
		if least, some := leastEnough(m.curve.species, m.peak); some {
			result.ProtectionEnough = &least
		}
	}
	if level, ok := reentryLevel(m.limits); ok {
		result.ReentryPPM = level
		if minute, falls := m.whole.firstBelow(lastRelease, level); falls {
			result.ReentryMinute = &minute
		}
	}
	return result
}

// judged reports whether the species is held to a limit that refuses, or needs none.
func (m *measured) judged() bool {
	return slices.ContainsFunc(m.limits, func(l Limit) bool { return l.refuses() }) || slices.Contains(harmless, m.curve.species)
}

// reentryLevel is a tenth of the strictest refusing shift limit, else of the strictest limit at all.
func reentryLevel(limits []Limit) (float64, bool) {
	limit, ok := strictest(limits, refusesShift)
	if !ok {
		limit, ok = strictest(limits, func(Limit) bool { return true })
	}
	return reentryShareOfShift * limit.PPM, ok
}

// lastRelease is when the last of what sources give off of a species, or where they give off none of it of anything, is out; of
// what is in the air to begin with, minute 0.
func lastRelease(sources []Source, species string) float64 {
	ofSpecies, ofAny := math.Inf(-1), math.Inf(-1)
	for _, source := range sources {
		for _, r := range source.Releases {
			ofAny = max(ofAny, r.EndMinute)
			if r.Species == species {
				ofSpecies = max(ofSpecies, r.EndMinute)
			}
		}
	}
	switch {
	case !math.IsInf(ofSpecies, -1):
		return ofSpecies
	case !math.IsInf(ofAny, -1):
		return ofAny
	}
	return 0
}

// reentry is the first minute, not before one, at which every species is at or below its re-entry level; nil: never, or one has no
// limit.
func (s survey) reentry(from float64) *float64 {
	if len(s) == 0 {
		return nil
	}
	for minute := from; ; {
		latest := minute
		for _, m := range s {
			level, limited := reentryLevel(m.limits)
			below, falls := m.whole.firstBelow(minute, level)
			if !limited || !falls {
				return nil
			}
			latest = max(latest, below)
		}
		if latest-minute <= cutMinutes {
			return &latest
		}
		minute = latest // another may have risen meanwhile
	}
}
