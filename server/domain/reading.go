package domain

import (
	"fmt"
	"time"

	"saggar/chem/air"
	"saggar/chem/finding"
)

// Reading is what an instrument showed in a room at one moment, with what was forecast for it when it was noted. It is a record:
// nothing of it changes but that somebody explains it.
type Reading struct {
	NotedRevision int64     `json:"-"` // at which it was noted: its id
	Room          string    `json:"room"`
	Furnace       string    `json:"furnace,omitempty"` // beside which it was read; empty: in the room
	Species       string    `json:"species"`
	PPM           float64   `json:"ppm"`
	ReadTime      time.Time `json:"read_time"`
	Instrument    string    `json:"instrument"`
	CalibratedOn  string    `json:"calibrated_on,omitempty"` // ISO date; empty: not known
	// UncertaintyFraction and UncertaintyPPM are what the instrument states; see air.Reading.
	UncertaintyFraction float64 `json:"uncertainty_fraction,omitempty"`
	UncertaintyPPM      float64 `json:"uncertainty_ppm,omitempty"`
	Reader              string  `json:"caller"`
	Note                string  `json:"note,omitempty"`
	// CautiousPPM and LikelyPPM are what was forecast from what was booked; nil: the likely case could not be worked out.
	CautiousPPM float64           `json:"cautious_ppm"`
	LikelyPPM   *float64          `json:"likely_ppm,omitempty"`
	Findings    []finding.Finding `json:"findings,omitempty"`
	Assumptions []string          `json:"assumptions,omitempty"`
	// Unexplained: it is above its forecast, and nobody has said why.
	Unexplained bool      `json:"unexplained"`
	ClosedBy    string    `json:"closed_by,omitempty"`
	CloseReason string    `json:"close_reason,omitempty"`
	CloseTime   time.Time `json:"close_time,omitzero"`
	Revision    int64     `json:"-"`
	CreateTime  time.Time `json:"-"`
}

const readingPrefix = "m"

// ID is the reading's id within its studio, for example "m17".
func (r Reading) ID() string { return revisionID(readingPrefix, r.NotedRevision) }

// Name is its name within its studio.
func (r Reading) Name() string { return "readings/" + r.ID() }

// ReadingRevision is the revision in an id, or 0, at which nothing was noted.
func ReadingRevision(id string) int64 { return revisionIn(readingPrefix, id) }

// Place is where it was read, in words.
func (r Reading) Place() string {
	if r.Furnace == "" {
		return r.Room
	}
	return r.Room + " at " + r.Furnace
}

// oldestReading is how long after it was read a reading may be noted.
const oldestReading = 30 * 24 * time.Hour

// Check returns what is wrong with a reading by itself, at the instant when it is noted.
func (r Reading) Check(now time.Time) finding.Faults {
	var faults finding.Faults
	if r.ReadTime.After(now) {
		faults.Add("read_time", "lies in the future", "give when it was read")
	}
	if now.Sub(r.ReadTime) > oldestReading {
		faults.Add("read_time", "lies more than 30 days back", "note readings while what was booked is still remembered")
	}
	if _, err := air.GramsPerMole(r.Species); err != nil {
		faults.Add("species", fmt.Sprintf("%q is no formula", r.Species), "give one such as SO2")
	}
	if _, err := time.Parse(time.DateOnly, r.CalibratedOn); err != nil && r.CalibratedOn != "" {
		faults.Add("calibrated_on", fmt.Sprintf("%q is no date", r.CalibratedOn), "give YYYY-MM-DD, or nothing when it is not known")
	}
	return faults
}

// calibrationYears is how long a calibration counts (common practice, no source).
const calibrationYears = 1

// Calibration warns of an instrument that was not calibrated within a year before it was read; date is the local one.
func (r Reading) Calibration(date string) []finding.Finding {
	calibrated, err := time.Parse(time.DateOnly, r.CalibratedOn)
	if err == nil && r.CalibratedOn <= date && date <= calibrated.AddDate(calibrationYears, 0, 0).Format(time.DateOnly) {
		return nil
	}
	f := finding.Finding{
		Severity: finding.Warn, Code: "READING_UNCALIBRATED", About: r.Instrument, Source: "common practice, no source",
		Message: fmt.Sprintf("%s has no calibration within a year before %s on record", r.Instrument, date),
		Cure:    "have it calibrated, and read again",
	}
	return []finding.Finding{f}
}

// Closed is the reading once somebody has explained it. Errors: ErrWrongState when there is nothing to explain any more.
func (r Reading) Closed(by, reason string, at time.Time) (Reading, error) {
	if !r.Unexplained {
		return r, &Error{
			Kind: ErrWrongState, Subject: r.Name(), Message: "it is not above its forecast, or was explained already",
			Cure: "look at it as it stands",
		}
	}
	r.Unexplained, r.ClosedBy, r.CloseReason, r.CloseTime = false, by, reason, at
	return r, nil
}
