package domain

import (
	"fmt"
	"slices"
	"time"

	"saggar/chem/finding"
)

// Allotment is how much a department may book, in each week from Monday on or between two dates in local time. A firing
// counts where it starts.
type Allotment struct {
	ID         string   `json:"id"`
	Title      string   `json:"title"`
	Department string   `json:"department"`
	Furnaces   []string `json:"furnaces"` // none: all
	// FurnaceHours is for how long furnaces may be held, KilowattHours what its firings may draw. One of them is set.
	FurnaceHours  float64 `json:"furnace_hours"`
	KilowattHours float64 `json:"kilowatt_hours"`
	FirstDate     string  `json:"first_date"` // YYYY-MM-DD; both empty: each week
	LastDate      string  `json:"last_date"`
}

// Use is what firings take of furnaces: hours for which they are held, and kilowatt hours that they draw.
type Use struct{ FurnaceHours, KilowattHours float64 }

// Plus is the use of both.
func (u Use) Plus(other Use) Use {
	return Use{u.FurnaceHours + other.FurnaceHours, u.KilowattHours + other.KilowattHours}
}

// Use is what the firing takes.
func (f Firing) Use() Use {
	use := Use{FurnaceHours: f.Window.End.Sub(f.Window.Start).Hours()}
	for _, p := range f.Phases {
		use.KilowattHours += p.Kilowatts * p.Window.End.Sub(p.Window.Start).Hours()
	}
	return use
}

// Check returns what is wrong with the allotment by itself, with paths relative to it.
func (a Allotment) Check() finding.Faults {
	var faults finding.Faults
	faults = append(faults, notNegative("furnace_hours", a.FurnaceHours)...)
	faults = append(faults, notNegative("kilowatt_hours", a.KilowattHours)...)
	if faults == nil && (a.FurnaceHours > 0) == (a.KilowattHours > 0) {
		faults.Add("furnace_hours", "one of furnace_hours and kilowatt_hours says how much", "give one of them, above 0")
	}
	faults = append(faults, dateFaults(a.FirstDate, a.LastDate)...)
	if (a.FirstDate == "") != (a.LastDate == "") {
		faults.Add("last_date", "a term has a first and a last day", "give both dates, or none for each week")
	}
	return faults
}

// dateFaults are dates that are none, or end before they begin. Empty ones are left out.
func dateFaults(first, last string) finding.Faults {
	var faults finding.Faults
	for _, d := range []struct{ field, date string }{{"first_date", first}, {"last_date", last}} {
		if _, err := time.Parse(time.DateOnly, d.date); d.date != "" && err != nil {
			faults.Add(d.field, fmt.Sprintf("%q is no date", d.date), "give a date as YYYY-MM-DD")
		}
	}
	if faults == nil && first != "" && last != "" && last < first {
		faults.Add("last_date", "lies before first_date", "give a later date")
	}
	return faults
}

// On reports whether the allotment counts what happens on a furnace.
func (a Allotment) On(furnace string) bool {
	return len(a.Furnaces) == 0 || slices.Contains(a.Furnaces, furnace)
}

// Period is the week or term in which an instant counts; false when it lies outside the term.
func (a Allotment) Period(at time.Time, zone *time.Location) (Window, bool) {
	local := at.In(zone)
	first := local.AddDate(0, 0, -(int(local.Weekday())+6)%7)
	last := first.AddDate(0, 0, 6)
	if a.FirstDate != "" {
		// Check lets only dates pass.
		first, _ = time.ParseInLocation(time.DateOnly, a.FirstDate, zone)
		last, _ = time.ParseInLocation(time.DateOnly, a.LastDate, zone)
	}
	period := Window{localMinute(first, 0, zone), localMinute(last.AddDate(0, 0, 1), 0, zone)}
	return period, !at.Before(period.Start) && at.Before(period.End)
}

// Of is what of a use the allotment counts, and how much it allows, in its own unit.
func (a Allotment) Of(u Use) (used, allowed float64, unit string) {
	if a.KilowattHours > 0 {
		return u.KilowattHours, a.KilowattHours, "kWh"
	}
	return u.FurnaceHours, a.FurnaceHours, "h"
}

// TaughtHours are hours in which a class is taught: only its department, or a technician, books into them.
type TaughtHours struct {
	ID         string        `json:"id"`
	Title      string        `json:"title"`
	Department string        `json:"department"`
	Furnaces   []string      `json:"furnaces"` // none: all
	Weekly     []WeeklyHours `json:"weekly"`
	FirstDate  string        `json:"first_date"` // YYYY-MM-DD; empty: without a first
	LastDate   string        `json:"last_date"`
	// FreeAheadHours is from how long before they begin anybody books what is still free; 0: never.
	FreeAheadHours float64 `json:"free_ahead_hours"`
}

// Check returns what is wrong with the hours by themselves, with paths relative to them.
func (h TaughtHours) Check() finding.Faults {
	faults := notNegative("free_ahead_hours", h.FreeAheadHours)
	if len(h.Weekly) == 0 {
		faults.Add("weekly", "there are no hours", "give days with opens and closes")
	}
	faults.AddUnder("weekly", weeklyFaults(h.Weekly))
	return append(faults, dateFaults(h.FirstDate, h.LastDate)...)
}

// On reports whether the hours hold on a furnace.
func (h TaughtHours) On(furnace string) bool {
	return len(h.Furnaces) == 0 || slices.Contains(h.Furnaces, furnace)
}

// Kept are the classes over a span that are still kept for their department at an instant, in order.
func (h TaughtHours) Kept(span Window, now time.Time, zone *time.Location) []Window {
	return slices.DeleteFunc(StaffedHours{Weekly: h.Weekly}.Windows(span, zone), func(w Window) bool {
		date := w.Start.In(zone).Format(time.DateOnly)
		free := h.FreeAheadHours > 0 && !now.Before(h.FreeFrom(w))
		return date < h.FirstDate || h.LastDate != "" && date > h.LastDate || free
	})
}

// FreeFrom is from when on anybody books into a class, where there is such a time.
func (h TaughtHours) FreeFrom(class Window) time.Time {
	return class.Start.Add(-hours(h.FreeAheadHours))
}

// BookingLimit is how far ahead whoever has a role books, and how much of what they booked may be unused.
type BookingLimit struct {
	ID          string  `json:"id"`
	Title       string  `json:"title"`
	Role        Role    `json:"role"`
	AheadDays   float64 `json:"ahead_days"`   // 0: no limit
	UnusedHours float64 `json:"unused_hours"` // 0: no limit
	// MissedDays is for how long what was missed counts with the hours to come; 0: it does not.
	MissedDays float64 `json:"missed_days"`
}

// Check returns what is wrong with the limit by itself, with paths relative to it.
func (l BookingLimit) Check() finding.Faults {
	faults := notNegative("ahead_days", l.AheadDays)
	faults = append(faults, notNegative("unused_hours", l.UnusedHours)...)
	faults = append(faults, notNegative("missed_days", l.MissedDays)...)
	if faults == nil && l.AheadDays == 0 && l.UnusedHours == 0 {
		faults.Add("ahead_days", "it limits nothing", "give ahead_days, unused_hours or both")
	}
	if l.Role == RoleNone {
		faults.Add("role", "it is for nobody", "give the role that it is for")
	}
	return faults
}

// Until is the last instant at which whoever it is for lets a window start.
func (l BookingLimit) Until(now time.Time) time.Time { return now.Add(hours(24 * l.AheadDays)) }
