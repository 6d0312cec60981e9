package domain

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"saggar/chem/finding"
)

// WeeklyHours are hours that come back every week in local time.
type WeeklyHours struct {
	Days         []time.Weekday `json:"days"`
	OpensMinute  int            `json:"opens_minute"`  // minute of the local day, [0, 1440)
	ClosesMinute int            `json:"closes_minute"` // (OpensMinute, 1440]
}

// DateHours are the hours of one date instead of the weekly ones; both zero means closed all day.
type DateHours struct {
	Date         string `json:"date"` // YYYY-MM-DD
	OpensMinute  int    `json:"opens_minute"`
	ClosesMinute int    `json:"closes_minute"`
}

// StaffedHours is when somebody who answers for a room is there. ID is the room's.
type StaffedHours struct {
	ID         string        `json:"id"`
	Weekly     []WeeklyHours `json:"weekly"`
	Exceptions []DateHours   `json:"exceptions"`
}

// Window is a stretch of time [Start, End).
type Window struct {
	Start, End time.Time
}

// Minutes returns the window's length in whole minutes.
func (w Window) Minutes() int { return int(w.End.Sub(w.Start) / time.Minute) }

// Overlaps reports whether two windows share an instant.
func (w Window) Overlaps(o Window) bool { return w.Start.Before(o.End) && o.Start.Before(w.End) }

// Contains reports whether o lies within w.
func (w Window) Contains(o Window) bool { return !o.Start.Before(w.Start) && !o.End.After(w.End) }

// Check returns what is wrong with the hours, with paths relative to the resource.
func (h StaffedHours) Check() finding.Faults {
	var faults finding.Faults
	for i, w := range h.Weekly {
		if w.OpensMinute < 0 || w.ClosesMinute > 24*60 || w.ClosesMinute <= w.OpensMinute {
			faults = append(faults, finding.Fault{
				Field: fmt.Sprintf("weekly[%d].closes", i), Message: "closes before it opens",
				Cure: "give two sets of hours when they run past midnight",
			})
		}
	}
	seen := map[string]bool{}
	for i, e := range h.Exceptions {
		if _, err := time.Parse(time.DateOnly, e.Date); err != nil || seen[e.Date] {
			faults = append(faults, finding.Fault{
				Field: fmt.Sprintf("exceptions[%d].date", i), Message: fmt.Sprintf("%q is no date, or stands twice", e.Date),
				Cure: "give each date once, as YYYY-MM-DD",
			})
		}
		seen[e.Date] = true
		closed := e.OpensMinute == 0 && e.ClosesMinute == 0
		if !closed && (e.OpensMinute < 0 || e.ClosesMinute > 24*60 || e.ClosesMinute <= e.OpensMinute) {
			faults = append(faults, finding.Fault{
				Field: fmt.Sprintf("exceptions[%d].closes", i), Message: "closes before it opens",
				Cure: "leave both empty for a day that is closed",
			})
		}
	}
	return faults
}

// Windows returns the staffed windows that overlap span, in order and merged where they touch, as instants. Local hours
// that a clock change skips move to the first instant after the gap; hours it repeats count once from their first pass.
func (h StaffedHours) Windows(span Window, zone *time.Location) []Window {
	exceptions := map[string]DateHours{}
	for _, e := range h.Exceptions {
		exceptions[e.Date] = e
	}
	var windows []Window
	first := span.Start.In(zone).AddDate(0, 0, -1)
	for day := 0; ; day++ {
		date := time.Date(first.Year(), first.Month(), first.Day()+day, 12, 0, 0, 0, zone)
		if localMinute(date, 0, zone).After(span.End) {
			break
		}
		windows = append(windows, h.day(date, exceptions, zone)...)
	}
	return slices.DeleteFunc(MergeWindows(windows), func(w Window) bool { return !w.Overlaps(span) })
}

func (h StaffedHours) day(date time.Time, exceptions map[string]DateHours, zone *time.Location) []Window {
	var windows []Window
	add := func(opens, closes int) {
		w := Window{localMinute(date, opens, zone), localMinute(date, closes, zone)}
		if w.Start.Before(w.End) {
			windows = append(windows, w)
		}
	}
	if e, ok := exceptions[date.Format(time.DateOnly)]; ok {
		if e.ClosesMinute > e.OpensMinute {
			add(e.OpensMinute, e.ClosesMinute)
		}
		return windows
	}
	for _, w := range h.Weekly {
		if slices.Contains(w.Days, date.Weekday()) {
			add(w.OpensMinute, w.ClosesMinute)
		}
	}
	return windows
}

// localMinute returns the instant at which a local clock first shows the minute of the day, or the first instant after
// the gap when a clock change skips it.
func localMinute(date time.Time, minute int, zone *time.Location) time.Time {
	wall := time.Date(date.Year(), date.Month(), date.Day(), 0, minute, 0, 0, time.UTC)
	near := time.Date(date.Year(), date.Month(), date.Day(), 0, minute, 0, 0, zone)
	_, before := near.Add(-12 * time.Hour).Zone()
	_, after := near.Add(12 * time.Hour).Zone()
	for _, offset := range []int{max(before, after), min(before, after)} {
		candidate := wall.Add(-time.Duration(offset) * time.Second).In(zone)
		if _, shown := candidate.Zone(); shown == offset {
			return candidate
		}
	}
	_, gapEnd := wall.Add(-time.Duration(max(before, after)) * time.Second).In(zone).ZoneBounds()
	return gapEnd
}

// MergeWindows sorts windows and joins those that touch or overlap.
func MergeWindows(windows []Window) []Window {
	slices.SortFunc(windows, func(a, b Window) int { return cmp.Or(a.Start.Compare(b.Start), a.End.Compare(b.End)) })
	var merged []Window
	for _, w := range windows {
		if n := len(merged); n > 0 && !w.Start.After(merged[n-1].End) {
			if w.End.After(merged[n-1].End) {
				merged[n-1].End = w.End
			}
			continue
		}
		merged = append(merged, w)
	}
	return merged
}

// SubtractWindows returns what is left of windows outside others, in order.
func SubtractWindows(windows, others []Window) []Window {
	left := MergeWindows(slices.Clone(windows))
	for _, o := range others {
		var rest []Window
		for _, w := range left {
			if !w.Overlaps(o) {
				rest = append(rest, w)
				continue
			}
			if w.Start.Before(o.Start) {
				rest = append(rest, Window{w.Start, o.Start})
			}
			if o.End.Before(w.End) {
				rest = append(rest, Window{o.End, w.End})
			}
		}
		left = rest
	}
	return left
}
