package assess

import (
	"fmt"
	"time"

	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

// DefaultInterlockTestMonths is for how long a test of a fan interlock counts (common practice, no source).
const DefaultInterlockTestMonths = 12

// Codes of the findings about what cuts the heat when a fan stops.
const (
	CodeInterlockMissing = "FAN_INTERLOCK_MISSING"
	CodeInterlockDue     = "FAN_INTERLOCK_DUE"
)

// Interlock asks about what cuts a furnace's heat when the fan of its branch stops, for a firing that gives gas off.
type Interlock struct {
	Furnace heat.Furnace
	// Failure is the case of the failing fan; only looked at where nothing cuts the heat.
	Failure    *air.FanFailure
	OnDate     string // today, an ISO date: a test after it does not count
	FiringDate string // for which the test must count; empty: today
	TestMonths int    // for how long one counts; 0 means DefaultInterlockTestMonths
}

// Works reports whether it is fitted and its test counts at the firing.
func (i Interlock) Works() bool {
	_, counts := i.until()
	return i.Furnace.FanInterlock.Fitted() && counts
}

// until is the last date on which the test counts, and whether it does at the firing.
func (i Interlock) until() (last string, counts bool) {
	tested, err := time.Parse(time.DateOnly, i.Furnace.FanInterlock.TestedOn)
	if err != nil || i.Furnace.FanInterlock.TestedOn > i.OnDate {
		return "", false
	}
	last = tested.AddDate(0, i.months(), 0).Format(time.DateOnly)
	return last, max(i.OnDate, i.FiringDate) <= last
}

func (i Interlock) months() int {
	if i.TestMonths == 0 {
		return DefaultInterlockTestMonths
	}
	return i.TestMonths
}

// Findings are none for one that works. One that is missing warns where a stopped fan leads over a limit that refuses, and is a
// note otherwise; one whose test does not count at the firing warns. A furnace without a branch has no fan of its own.
func (i Interlock) Findings() []finding.Finding {
	f := i.Furnace
	found := finding.Finding{About: f.ID, Source: commonPractice}
	last, counts := i.until()
	switch {
	case f.Branch == "":
		return nil
	case !f.FanInterlock.Fitted():
		found.Severity, found.Code = finding.Note, CodeInterlockMissing
		found.Message = fmt.Sprintf("nothing cuts the heat of %s when the fan of %s stops", f.ID, f.Branch)
		found.Cure = "fit a flow switch, a pressure switch or a current relay that cuts the heat, stop the fan to try it, and note the date; " +
			"until then somebody stays who hears the fan stop and can cut the heat"
		if i.Failure != nil {
			for _, failing := range i.Failure.Findings {
				found.Message += "; " + failing.Message
				found.Figures = append(found.Figures, failing.Figures...)
				if failing.Severity == finding.Warn {
					found.Severity, found.Source = finding.Warn, failing.Source
				}
			}
		}
	case counts:
		return nil
	default:
		found.Severity, found.Code = finding.Warn, CodeInterlockDue
		found.Figures = []finding.Figure{{Name: "test_counts_for", Value: float64(i.months()), Unit: "month"}}
		found.Message = fmt.Sprintf("what cuts the heat of %s when its fan stops (%s) was never tested", f.ID, interlockWords[f.FanInterlock.Kind])
		if last != "" {
			found.Message = fmt.Sprintf("what cuts the heat of %s when its fan stops (%s) was tested on %s, which counts until %s and not on %s", f.ID,
				interlockWords[f.FanInterlock.Kind], f.FanInterlock.TestedOn, last, max(i.OnDate, i.FiringDate))
		}
		found.Cure = "stop the fan with the furnace on, see that the heat goes off, and note the date"
	}
	return []finding.Finding{found}
}

// Say adds to the case of the failing fan that one that works cuts the heat. No figure changes: what is hot gives gas off all
// the same.
func (i Interlock) Say() {
	if i.Failure == nil || !i.Works() {
		return
	}
	for k := range i.Failure.Findings {
		f := &i.Failure.Findings[k]
		f.Cure = fmt.Sprintf("the %s of %s cuts the heat by itself, tested on %s, but what is hot gives gas off all the same, so no figure is "+
			"smaller for it; %s", interlockWords[i.Furnace.FanInterlock.Kind], i.Furnace.ID, i.Furnace.FanInterlock.TestedOn, f.Cure)
	}
}

// interlockWords are what people call each kind.
var interlockWords = map[heat.InterlockKind]string{
	heat.FlowSwitch: "flow switch", heat.CurrentRelay: "current relay", heat.PressureSwitch: "pressure switch",
}
