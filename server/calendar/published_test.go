package calendar

import (
	"slices"
	"strings"
	"testing"
	"time"

	other "github.com/emersion/go-ical"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/teambition/rrule-go"

	"saggar/server/domain"
)

// newYorkRules is the first example of RFC 5545, section 3.6.5: all the rules for New York City since April 30, 1967.
const newYorkRules = `BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//RFC 5545//3.6.5//EN
BEGIN:VTIMEZONE
TZID:America/New_York
LAST-MODIFIED:20050809T050000Z
BEGIN:DAYLIGHT
DTSTART:19670430T020000
RRULE:FREQ=YEARLY;BYMONTH=4;BYDAY=-1SU;UNTIL=19730429T070000Z
TZOFFSETFROM:-0500
TZOFFSETTO:-0400
TZNAME:EDT
END:DAYLIGHT
BEGIN:STANDARD
DTSTART:19671029T020000
RRULE:FREQ=YEARLY;BYMONTH=10;BYDAY=-1SU;UNTIL=20061029T060000Z
TZOFFSETFROM:-0400
TZOFFSETTO:-0500
TZNAME:EST
END:STANDARD
BEGIN:DAYLIGHT
DTSTART:19740106T020000
RDATE:19750223T020000
TZOFFSETFROM:-0500
TZOFFSETTO:-0400
TZNAME:EDT
END:DAYLIGHT
BEGIN:DAYLIGHT
DTSTART:19760425T020000
RRULE:FREQ=YEARLY;BYMONTH=4;BYDAY=-1SU;UNTIL=19860427T070000Z
TZOFFSETFROM:-0500
TZOFFSETTO:-0400
TZNAME:EDT
END:DAYLIGHT
BEGIN:DAYLIGHT
DTSTART:19870405T020000
RRULE:FREQ=YEARLY;BYMONTH=4;BYDAY=1SU;UNTIL=20060402T070000Z
TZOFFSETFROM:-0500
TZOFFSETTO:-0400
TZNAME:EDT
END:DAYLIGHT
BEGIN:DAYLIGHT
DTSTART:20070311T020000
RRULE:FREQ=YEARLY;BYMONTH=3;BYDAY=2SU
TZOFFSETFROM:-0500
TZOFFSETTO:-0400
TZNAME:EDT
END:DAYLIGHT
BEGIN:STANDARD
DTSTART:20071104T020000
RRULE:FREQ=YEARLY;BYMONTH=11;BYDAY=1SU
TZOFFSETFROM:-0400
TZOFFSETTO:-0500
TZNAME:EST
END:STANDARD
END:VTIMEZONE
END:VCALENDAR
`

// change is one clock change as a VTIMEZONE tells it: the local time before it, the offsets, the name after it.
type change struct{ onset, from, to, kind, name string }

// expanded lists the clock changes of a VTIMEZONE up to a year, its rules worked out by a library of recurrences.
func expanded(t *testing.T, zone *other.Component, lastYear int) (changes []change) {
	t.Helper()
	for _, o := range zone.Children {
		start, err := time.Parse(localForm, o.Props.Get("DTSTART").Value)
		require.NoError(t, err)
		onsets := []time.Time{start}
		if more := o.Props.Get("RDATE"); more != nil {
			date, err := time.Parse(localForm, more.Value)
			require.NoError(t, err)
			onsets = append(onsets, date)
		}
		if rule := o.Props.Get("RRULE"); rule != nil {
			option, err := rrule.StrToROption(rule.Value)
			require.NoError(t, err)
			option.Dtstart = start
			if !option.Until.IsZero() {
				// UNTIL is in UTC; onsets are in the local time before the change.
				option.Until = option.Until.Add(time.Duration(secondsOf(t, o.Props.Get("TZOFFSETFROM").Value)) * time.Second)
			}
			worked, err := rrule.NewRRule(*option)
			require.NoError(t, err)
			onsets = worked.Between(start, time.Date(lastYear, 12, 31, 0, 0, 0, 0, time.UTC), true)
		}
		for _, onset := range onsets {
			changes = append(changes, change{
				onset.Format(localForm), o.Props.Get("TZOFFSETFROM").Value, o.Props.Get("TZOFFSETTO").Value, o.Name, o.Props.Get("TZNAME").Value,
			})
		}
	}
	slices.SortFunc(changes, func(a, b change) int { return strings.Compare(a.onset, b.onset) })
	return changes
}

// TestPublishedTimeZoneRulesOfNewYork holds every clock change that is written for 1967 to 2010 against the rules that RFC 5545,
// section 3.6.5, gives for the same zone.
func TestPublishedTimeZoneRulesOfNewYork(t *testing.T) {
	want := expanded(t, zoneIn(t, parsed(t, strings.ReplaceAll(newYorkRules, "\n", "\r\n"))), 2010)
	require.Len(t, want, 2*44, "two changes a year")
	newYork := zoneOf(t, "America/New_York")
	first, last := time.Date(1967, 5, 1, 12, 0, 0, 0, time.UTC), time.Date(2009, 12, 1, 0, 0, 0, 0, time.UTC)
	got := expanded(t, zoneIn(t, parsed(t, written(t, Calendar{Zone: newYork, Appointments: []domain.Appointment{calcine(first), calcine(last)}}))), 2010)
	assert.Equal(t, want, got)
}

// TestPublishedTimeZoneOfOneYear is the second example of RFC 5545, section 3.6.5: New York City for an event between March 11,
// 2007 and March 9, 2008, by onsets only.
func TestPublishedTimeZoneOfOneYear(t *testing.T) {
	newYork := zoneOf(t, "America/New_York")
	var got []change
	for _, o := range observances(newYork, time.Date(2007, 3, 11, 7, 0, 0, 0, time.UTC), time.Date(2008, 3, 9, 6, 59, 59, 0, time.UTC)) {
		kind := "STANDARD"
		if o.daylight {
			kind = "DAYLIGHT"
		}
		before := o.onset.UTC().Add(time.Duration(o.from) * time.Second)
		got = append(got, change{before.Format(localForm), offset(o.from), offset(o.to), kind, o.name})
	}
	assert.Equal(t, []change{
		{"20070311T020000", "-0500", "-0400", "DAYLIGHT", "EDT"}, {"20071104T020000", "-0400", "-0500", "STANDARD", "EST"},
	}, got)
}

// TestPublishedFoldingOfAByteAtATime takes the bound of RFC 5545, section 3.1, literally: 75 octets without the line break pass,
// 76 are folded.
func TestPublishedFoldingOfAByteAtATime(t *testing.T) {
	for _, octets := range []int{74, 75, 76, 149, 150} {
		a := calcine(time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC))
		a.RunTitle = strings.Repeat("t", octets-len("SUMMARY:calcine:  in pot"))
		out := written(t, Calendar{Appointments: []domain.Appointment{a}})
		checkLines(t, out)
		_, rest, _ := strings.Cut(out, "\r\nSUMMARY:")
		line, _, _ := strings.Cut(rest, "\r\n")
		assert.Equal(t, octets <= 75, strings.HasSuffix(line, " in pot"), "%d octets", octets)
	}
}
