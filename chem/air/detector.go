package air

import (
	"fmt"
	"slices"
	"time"

	"saggar/chem/finding"
)

// DefaultDetectorTestDays is how long a function test of a gas alarm counts (common practice, no source).
const DefaultDetectorTestDays = 30

// alarmed are the gases that ask for an alarm wherever they are given off, captured or not: an alarm is for the day on
// which the extraction fails (common practice, no source).
var alarmed = []string{"CO", "SO2", "H2S"}

func (c *RoomCheck) detectorFindings() ([]finding.Finding, error) {
	if c.Room == nil {
		return nil, nil
	}
	if c.DetectorTestDays < 0 {
		return nil, fault("detector_test_days", fmt.Sprintf("%d is no number of days", c.DetectorTestDays),
			"give one above zero, or 0 for the default")
	}
	days := c.DetectorTestDays
	if days == 0 {
		days = DefaultDetectorTestDays
	}
	on, err := parseDate("on_date", c.OnDate)
	if err != nil {
		return nil, err
	}
	then := on
	if c.FiringDate != "" {
		if then, err = parseDate("firing_date", c.FiringDate); err != nil {
			return nil, err
		}
	}
	var findings []finding.Finding
	for _, species := range alarmed {
		if !givenOff(c.Sources, species) {
			continue
		}
		if f, wrong := c.Room.detectorFinding(species, on, days); wrong {
			findings = append(findings, f)
		} else if f, due := c.Room.detectorFinding(species, then, days); due {
			f.Severity, f.Code = finding.Warn, "AIR_DETECTOR_DUE"
			findings = append(findings, f)
		}
	}
	return findings, nil
}

func givenOff(sources []Source, species string) bool {
	return slices.ContainsFunc(sources, func(s Source) bool {
		return slices.ContainsFunc(s.Releases, func(r Release) bool { return r.Species == species && r.GramsPerMinute > 0 })
	})
}

// detectorFinding is about the latest tested alarm for a species.
func (r *Room) detectorFinding(species string, on time.Time, days int) (finding.Finding, bool) {
	found, tested := false, time.Time{}
	for _, detector := range r.Detectors {
		if detector.Species != species {
			continue
		}
		found = true
		if date, err := time.Parse(time.DateOnly, detector.TestedOn); err == nil && !date.After(on) && date.After(tested) {
			tested = date
		}
	}
	result := finding.Finding{Severity: finding.Block, Field: "detectors", About: r.ID, Source: commonPractice}
	switch {
	case !found:
		result.Code = "AIR_DETECTOR_MISSING"
		result.Message = fmt.Sprintf("%s is given off in %s, which has no alarm for it", species, r.ID)
		result.Cure = fmt.Sprintf("an alarm for %s in %s, its function tested", species, r.ID)
	case tested.IsZero() || on.Sub(tested) > time.Duration(days)*24*time.Hour:
		result.Code = "AIR_DETECTOR_UNTESTED"
		result.Message = fmt.Sprintf("the alarm for %s in %s has no function test within %d days before %s",
			species, r.ID, days, on.Format(time.DateOnly))
		result.Figures = []finding.Figure{{Name: "test_counts_for", Value: float64(days), Unit: "d"}}
		result.Cure = fmt.Sprintf("test the function of the alarm for %s in %s and note the date", species, r.ID)
	default:
		return finding.Finding{}, false
	}
	return result, true
}
