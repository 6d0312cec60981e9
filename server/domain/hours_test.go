package domain

import (
	"fmt"
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	z, err := LoadZone(name)
	require.NoError(t, err)
	return z
}

func everyDay(opens, closes int) StaffedHours {
	return StaffedHours{Weekly: []WeeklyHours{{Days: []time.Weekday{0, 1, 2, 3, 4, 5, 6}, OpensMinute: opens, ClosesMinute: closes}}}
}

// day is the whole local day.
func day(z *time.Location, year int, month time.Month, d int) Window {
	return Window{time.Date(year, month, d, 0, 0, 0, 0, z), time.Date(year, month, d+1, 0, 0, 0, 0, z)}
}

// The tz database (2026) has these changes: Lisbon 28 March 2027 01:00 to 02:00 and 31 October 2027 02:00 to 01:00; New York
// 14 March 2027 02:00 to 03:00 and 7 November 2027 02:00 to 01:00; Lord Howe 3 October 2027 02:00 to 02:30 and 4 April 2027
// 02:00 to 01:30.
func TestHoursOverClockChanges(t *testing.T) {
	cases := []struct {
		name, zone    string
		date          string
		opens, closes int
		minutes       int // staffed on that day
	}{
		{"Lisbon, night shift over the gap", "Europe/Lisbon", "2027-03-28", 0, 6 * 60, 5 * 60},
		{"Lisbon, opens inside the gap", "Europe/Lisbon", "2027-03-28", 90, 6 * 60, 4 * 60},
		{"Lisbon, night shift over the repeat", "Europe/Lisbon", "2027-10-31", 0, 6 * 60, 7 * 60},
		{"Lisbon, ordinary day", "Europe/Lisbon", "2027-06-15", 0, 6 * 60, 6 * 60},
		{"New York, over the gap", "America/New_York", "2027-03-14", 60, 4 * 60, 2 * 60},
		{"New York, over the repeat", "America/New_York", "2027-11-07", 0, 4 * 60, 5 * 60},
		{"Lord Howe, over the half-hour gap", "Australia/Lord_Howe", "2027-10-03", 60, 4 * 60, 150},
		{"Lord Howe, over the half-hour repeat", "Australia/Lord_Howe", "2027-04-04", 60, 4 * 60, 210},
		{"Lisbon, day shift on the day of the change", "Europe/Lisbon", "2027-03-28", 8 * 60, 21 * 60, 13 * 60},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			z := zone(t, c.zone)
			date, err := time.ParseInLocation(time.DateOnly, c.date, z)
			require.NoError(t, err)
			minutes := 0
			for _, w := range everyDay(c.opens, c.closes).Windows(day(z, date.Year(), date.Month(), date.Day()), z) {
				minutes += w.Minutes()
			}
			assert.Equal(t, c.minutes, minutes)
		})
	}
}

// A minute is staffed exactly when the local clock shows a time between opening and closing, outside the repeated hour.
func TestHoursAgreeWithTheClockMinuteByMinute(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		z := zone(t, rapid.SampledFrom([]string{"Europe/Lisbon", "America/New_York", "Australia/Lord_Howe", "UTC"}).Draw(rt, "zone"))
		start := time.Date(2027, 1, 1+rapid.IntRange(0, 364).Draw(rt, "day"), 0, 0, 0, 0, z)
		opens := rapid.IntRange(4*60, 20*60).Draw(rt, "opens") // after any clock change
		closes := rapid.IntRange(opens+1, 24*60).Draw(rt, "closes")
		span := Window{start, start.AddDate(0, 0, 2)}
		windows := everyDay(opens, closes).Windows(span, z)
		for at := span.Start; at.Before(span.End); at = at.Add(17 * time.Minute) {
			shown := at.Hour()*60 + at.Minute()
			staffed := false
			for _, w := range windows {
				staffed = staffed || w.Contains(Window{at, at})
				if at.Equal(w.End) {
					staffed = shown >= opens && shown < closes
				}
			}
			if want := shown >= opens && shown < closes; want != staffed {
				rt.Fatalf("%s: staffed %v, the clock says %v", at, staffed, want)
			}
		}
	})
}

func TestExceptionsReplaceTheWeeklyHours(t *testing.T) {
	z := zone(t, "Europe/Lisbon")
	hours := everyDay(8*60, 20*60)
	hours.Exceptions = []DateHours{{Date: "2027-03-03"}, {Date: "2027-03-04", OpensMinute: 600, ClosesMinute: 720}}
	assert.Empty(t, hours.Windows(day(z, 2027, 3, 3), z), "closed all day")
	open := hours.Windows(day(z, 2027, 3, 4), z)
	require.Len(t, open, 1)
	assert.Equal(t, 120, open[0].Minutes())
	assert.Len(t, hours.Windows(day(z, 2027, 3, 5), z), 1)
}

func TestHoursThatMeetAtMidnightAreOneWindow(t *testing.T) {
	z := zone(t, "UTC")
	windows := everyDay(0, 24*60).Windows(Window{time.Date(2027, 3, 1, 0, 0, 0, 0, z), time.Date(2027, 3, 8, 0, 0, 0, 0, z)}, z)
	assert.Len(t, windows, 1)
}

func TestHoursThatCannotBe(t *testing.T) {
	bad := StaffedHours{
		Weekly:     []WeeklyHours{{OpensMinute: 600, ClosesMinute: 600}},
		Exceptions: []DateHours{{Date: "2027-02-30"}, {Date: "2027-03-01", OpensMinute: 700, ClosesMinute: 600}, {Date: "2027-03-01"}},
	}
	var fields []string
	for _, f := range bad.Check() {
		fields = append(fields, f.Field)
	}
	assert.Equal(t, []string{"weekly[0].closes", "exceptions[0].date", "exceptions[1].closes", "exceptions[2].date"}, fields)
}

func TestZonesThatDependOnTheMachineAreRefused(t *testing.T) {
	for _, name := range []string{"", "Local", "Mars/Olympus"} {
		_, err := LoadZone(name)
		assert.Error(t, err, name)
	}
}

func TestMergeWindows(t *testing.T) {
	at := func(minute int) time.Time { return time.Date(2027, 1, 1, 0, minute, 0, 0, time.UTC) }
	merged := MergeWindows([]Window{{at(30), at(40)}, {at(0), at(10)}, {at(10), at(20)}, {at(5), at(8)}, {at(35), at(50)}})
	assert.Equal(t, []Window{{at(0), at(20)}, {at(30), at(50)}}, merged, fmt.Sprint(merged))
}

func TestWhatIsLeftOfWindows(t *testing.T) {
	at := func(hours ...int) (windows []Window) {
		day := time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC)
		for i := 0; i < len(hours); i += 2 {
			windows = append(windows, Window{day.Add(time.Duration(hours[i]) * time.Hour), day.Add(time.Duration(hours[i+1]) * time.Hour)})
		}
		return windows
	}
	for name, c := range map[string]struct{ windows, others, want []Window }{
		"nothing taken":  {at(8, 12), nil, at(8, 12)},
		"apart":          {at(8, 12), at(12, 14, 6, 8), at(8, 12)},
		"the middle":     {at(8, 12), at(9, 10), at(8, 9, 10, 12)},
		"both ends":      {at(8, 12), at(7, 9, 11, 13), at(9, 11)},
		"all":            {at(8, 12), at(8, 12), nil},
		"over several":   {at(8, 10, 12, 14), at(9, 13), at(8, 9, 13, 14)},
		"twice the same": {at(8, 12), at(9, 10, 9, 10), at(8, 9, 10, 12)},
	} {
		assert.Equal(t, c.want, SubtractWindows(c.windows, c.others), name)
	}
}
