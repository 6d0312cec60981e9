package file

import (
	"fmt"
	"strings"
	"time"
)

// Times with an offset; RFC 3339 comes first, the others leave out seconds or the T.
var offsetLayouts = []string{time.RFC3339, "2006-01-02T15:04Z07:00", "2006-01-02 15:04:05Z07:00", "2006-01-02 15:04Z07:00"}

var localLayouts = []string{"2006-01-02 15:04", "2006-01-02T15:04", "2006-01-02 15:04:05", "2006-01-02T15:04:05"}

// LocalTime reads a time: RFC 3339 with an offset, or local to the zone as "2006-01-02 15:04" (a T may stand between, and
// seconds when they are zero). A local time that a clock change skips or repeats is refused, since it would be a guess;
// the error names both offsets. A nil zone takes times with an offset only. Errors: an [*Error] without a file.
func LocalTime(text string, zone *time.Location) (time.Time, error) {
	t, fault := localTime(text, zone)
	if fault != nil {
		return time.Time{}, fault
	}
	return t, nil
}

func localTime(text string, zone *time.Location) (time.Time, *Error) {
	text = strings.TrimSpace(text)
	for _, layout := range offsetLayouts {
		if t, err := time.Parse(layout, text); err == nil {
			return t, nil
		}
	}
	for _, layout := range localLayouts {
		if wall, err := time.Parse(layout, text); err == nil {
			return atWall(wall, text, zone)
		}
	}
	return time.Time{}, &Error{Problem: shown(text) + " is no time", Cure: "give a time such as " + timeExample(zone)}
}

func timeExample(zone *time.Location) string {
	if zone == nil {
		return "2027-03-01T08:00:00Z"
	}
	return "2027-03-01 08:00 (in " + zone.String() + ") or 2027-03-01T08:00:00Z"
}

// atWall finds the one instant at which the zone's clock shows wall (given as if it were UTC).
func atWall(wall time.Time, text string, zone *time.Location) (time.Time, *Error) {
	if zone == nil {
		return wall, &Error{
			Problem: shown(text) + " has no offset, and the studio's time zone is not known",
			Cure:    "add the offset, such as " + wall.Format(time.RFC3339) + " for UTC",
		}
	}
	if wall.Second() != 0 || wall.Nanosecond() != 0 {
		return wall, &Error{Problem: shown(text) + " is no whole minute", Cure: "give " + wall.Format("2006-01-02 15:04")}
	}
	t := time.Date(wall.Year(), wall.Month(), wall.Day(), wall.Hour(), wall.Minute(), 0, 0, zone)
	start, end := t.ZoneBounds()
	for _, change := range []time.Time{start, end} {
		if change.IsZero() {
			continue
		}
		before, after := offset(change.Add(-time.Second)), offset(change)
		from, to := onClock(change, min(before, after)), onClock(change, max(before, after))
		if !wall.Before(from) && wall.Before(to) {
			return t, changeFault(wall, zone, before, after)
		}
	}
	return t, nil
}

func offset(t time.Time) int {
	_, seconds := t.Zone()
	return seconds
}

// onClock is what a clock at an offset shows at an instant, as if it were UTC.
func onClock(t time.Time, offset int) time.Time {
	return t.UTC().Add(time.Duration(offset) * time.Second)
}

func changeFault(wall time.Time, zone *time.Location, before, after int) *Error {
	local := wall.Format("2006-01-02 15:04")
	first, second := withOffset(wall, before), withOffset(wall, after)
	if after > before {
		return &Error{
			Problem: fmt.Sprintf("%s does not exist in %s: the clock is put forward over it", local, zone),
			Cure: fmt.Sprintf("give %s (the clock shows %s) or %s (the clock shows %s)",
				first.Format(time.RFC3339), first.In(zone).Format("15:04"), second.Format(time.RFC3339), second.In(zone).Format("15:04")),
		}
	}
	return &Error{
		Problem: fmt.Sprintf("%s comes twice in %s: the clock is put back over it", local, zone),
		Cure:    fmt.Sprintf("give %s for the first or %s for the second", first.Format(time.RFC3339), second.Format(time.RFC3339)),
	}
}

// withOffset is the instant at which a clock at an offset shows wall.
func withOffset(wall time.Time, offset int) time.Time {
	return time.Date(wall.Year(), wall.Month(), wall.Day(), wall.Hour(), wall.Minute(), 0, 0, time.FixedZone("", offset))
}
