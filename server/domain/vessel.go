package domain

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"saggar/chem"
	"saggar/chem/data"
	"saggar/chem/finding"
)

// inspectionDays is for how long an inspection counts: common practice, no source.
const inspectionDays = 365

// Vessel is a crucible, saggar or tray with a mark on it, or a set of like ones.
type Vessel struct {
	ID    string          `json:"id"`
	Title string          `json:"title,omitempty"`
	Mark  string          `json:"mark,omitempty"` // by which it is found
	Kind  chem.VesselKind `json:"kind"`
	Count int             `json:"count"` // of like ones; 0: one
	// VolumeLiters is of one to its rim; 0: not known. The outside of one is DiameterMillimeters wide and HeightMillimeters high.
	VolumeLiters        float64  `json:"volume_liters"`
	MassGrams           float64  `json:"mass_grams,omitempty"`
	Material            string   `json:"material,omitempty"`
	TopCelsius          float64  `json:"top_celsius"` // 0: not known
	Lid                 chem.Lid `json:"lid,omitempty"`
	DiameterMillimeters float64  `json:"diameter_millimeters,omitempty"`
	HeightMillimeters   float64  `json:"height_millimeters,omitempty"`
	InspectedOn         string   `json:"inspected_on,omitempty"` // YYYY-MM-DD; empty: never
	InspectionDays      int      `json:"inspection_days,omitempty"`
	Department          string   `json:"department,omitempty"` // whose it is; empty: everybody's
	Shared              bool     `json:"shared,omitempty"`
	// Held is what its wall has taken up as of HeldTime, in the words of chem/data, vessel-words.csv; what was in it before that
	// time counts no more.
	Held     []string  `json:"held,omitempty"`
	HeldTime time.Time `json:"held_time,omitzero"`
	OutOfUse bool      `json:"out_of_use,omitempty"`
	// NowHeld is what its wall holds by now, where it is shown.
	NowHeld []string `json:"-"`
}

// Items is how many there are.
func (v Vessel) Items() int { return max(v.Count, 1) }

// OpenTo reports whether work of a department may take it.
func (v Vessel) OpenTo(department string) bool {
	return v.Department == "" || v.Shared || v.Department == department
}

// Words name it with its mark.
func (v Vessel) Words() string {
	if v.Mark == "" {
		return v.ID
	}
	return fmt.Sprintf("%s (marked %s)", v.ID, v.Mark)
}

// InspectedUntil is the last date on which its inspection counts, YYYY-MM-DD; empty when it never had one.
func (v Vessel) InspectedUntil() string {
	on, err := time.Parse(time.DateOnly, v.InspectedOn)
	if err != nil {
		return ""
	}
	return on.AddDate(0, 0, cmp.Or(v.InspectionDays, inspectionDays)).Format(time.DateOnly)
}

// Check returns what is wrong with a vessel by itself, at the instant when it is recorded.
func (v Vessel) Check(now time.Time) finding.Faults {
	var faults finding.Faults
	known := data.VesselWords()
	for i, held := range v.Held {
		if !slices.ContainsFunc(known, func(w data.VesselWord) bool { return w.Word == held }) {
			faults.Add(fmt.Sprintf("held[%d]", i), fmt.Sprintf("%q is nothing that a vessel is known to take up", held),
				"give some of "+vesselWords(known))
		}
	}
	checkDate(&faults, "inspected_on", v.InspectedOn)
	checkRecorded(&faults, "held_time", v.HeldTime, now)
	return faults
}

func vesselWords(known []data.VesselWord) string {
	var words []string
	for _, w := range known {
		words = append(words, w.Word)
	}
	return strings.Join(words, ", ")
}

// checkDate notes a date that is none; empty is no fault.
func checkDate(faults *finding.Faults, field, date string) {
	if _, err := time.Parse(time.DateOnly, date); date != "" && err != nil {
		faults.Add(field, fmt.Sprintf("%q is no date", date), "give it as YYYY-MM-DD")
	}
}

// clockLead is by how much the clock of whoever records something may be ahead of the server's (common practice, no source).
const clockLead = 5 * time.Minute

// checkRecorded notes an instant of what was seen or done that is still to come.
func checkRecorded(faults *finding.Faults, field string, at, now time.Time) {
	if at.After(now.Add(clockLead)) {
		faults.Add(field, "lies in the future", "record it once it is done, with the time when it was")
	}
}

// VesselUse is a vessel, or some of a set, that a stage takes.
type VesselUse struct {
	Vessel string
	Count  int    // 0: one
	Mark   string // what is written on it, where it is shown
}

// Items is how many are taken.
func (u VesselUse) Items() int { return max(u.Count, 1) }
