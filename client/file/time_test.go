package file_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/client/file"
)

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation(name)
	require.NoError(t, err)
	return zone
}

// The changes are those of the IANA time zone database: Lisbon at 01:00 UTC on the last Sundays of March and October,
// New York at 02:00 local on the second Sunday of March and the first of November, Lord Howe by half an hour at 02:00
// local on the first Sundays of October and April.
func TestLocalTimeAtClockChanges(t *testing.T) {
	for _, c := range []struct{ zone, text, want string }{
		{"Europe/Lisbon", "2027-03-28 00:59", "2027-03-28T00:59:00Z"},
		{"Europe/Lisbon", "2027-03-28 02:00", "2027-03-28T01:00:00Z"},
		{"Europe/Lisbon", "2027-10-31 00:59", "2027-10-30T23:59:00Z"},
		{"Europe/Lisbon", "2027-10-31 02:00", "2027-10-31T02:00:00Z"},
		{"America/New_York", "2027-03-14 01:59", "2027-03-14T06:59:00Z"},
		{"America/New_York", "2027-03-14 03:00", "2027-03-14T07:00:00Z"},
		{"America/New_York", "2027-11-07 00:59", "2027-11-07T04:59:00Z"},
		{"America/New_York", "2027-11-07 02:00", "2027-11-07T07:00:00Z"},
		{"Australia/Lord_Howe", "2027-10-03 01:59", "2027-10-02T15:29:00Z"},
		{"Australia/Lord_Howe", "2027-10-03 02:30", "2027-10-02T15:30:00Z"},
		{"Australia/Lord_Howe", "2027-04-04 01:29", "2027-04-03T14:29:00Z"},
		{"Australia/Lord_Howe", "2027-04-04 02:00", "2027-04-03T15:30:00Z"},
	} {
		got, err := file.LocalTime(c.text, zone(t, c.zone))
		require.NoError(t, err, c)
		assert.Equal(t, c.want, got.UTC().Format(time.RFC3339), c)
	}
}

func TestLocalTimeRefusesSkippedAndRepeatedTimes(t *testing.T) {
	for _, c := range []struct{ zone, text, want string }{
		{"Europe/Lisbon", "2027-03-28 01:00", "2027-03-28 01:00 does not exist in Europe/Lisbon: the clock is put forward over it; " +
			"give 2027-03-28T01:00:00Z (the clock shows 02:00) or 2027-03-28T01:00:00+01:00 (the clock shows 00:00)"},
		{"Europe/Lisbon", "2027-03-28 01:59", "or 2027-03-28T01:59:00+01:00 (the clock shows 00:59)"},
		{"Europe/Lisbon", "2027-10-31T01:00", "2027-10-31 01:00 comes twice in Europe/Lisbon: the clock is put back over it; " +
			"give 2027-10-31T01:00:00+01:00 for the first or 2027-10-31T01:00:00Z for the second"},
		{"Europe/Lisbon", "2027-10-31 01:59:00", "give 2027-10-31T01:59:00+01:00 for the first or 2027-10-31T01:59:00Z for the second"},
		{"America/New_York", "2027-03-14 02:00", "give 2027-03-14T02:00:00-05:00 (the clock shows 03:00) or 2027-03-14T02:00:00-04:00 (the clock shows 01:00)"},
		{"America/New_York", "2027-03-14 02:59", "does not exist in America/New_York"},
		{"America/New_York", "2027-11-07 01:00", "give 2027-11-07T01:00:00-04:00 for the first or 2027-11-07T01:00:00-05:00 for the second"},
		{"America/New_York", "2027-11-07 01:59", "comes twice in America/New_York"},
		{"Australia/Lord_Howe", "2027-10-03 02:00", "give 2027-10-03T02:00:00+10:30 (the clock shows 02:30) or 2027-10-03T02:00:00+11:00 (the clock shows 01:30)"},
		{"Australia/Lord_Howe", "2027-10-03 02:29", "does not exist in Australia/Lord_Howe"},
		{"Australia/Lord_Howe", "2027-04-04 01:30", "give 2027-04-04T01:30:00+11:00 for the first or 2027-04-04T01:30:00+10:30 for the second"},
		{"Australia/Lord_Howe", "2027-04-04 01:59", "comes twice in Australia/Lord_Howe"},
		{"Pacific/Apia", "2011-12-30 12:00", "2011-12-30 12:00 does not exist in Pacific/Apia"}, // a whole day was skipped
	} {
		_, err := file.LocalTime(c.text, zone(t, c.zone))
		require.ErrorContains(t, err, c.want)
	}
}

func TestLocalTimeTakesTheCureOfItsRefusals(t *testing.T) {
	for _, text := range []string{"2027-03-28T01:30:00Z", "2027-03-28T01:30:00+01:00", "2027-10-31T01:30:00+01:00", "2027-10-31T01:30:00Z"} {
		got, err := file.LocalTime(text, zone(t, "Europe/Lisbon"))
		require.NoError(t, err)
		want, err := time.Parse(time.RFC3339, text)
		require.NoError(t, err)
		assert.True(t, want.Equal(got))
	}
}

func TestLocalTimeForms(t *testing.T) {
	berlin := zone(t, "Europe/Berlin")
	for _, text := range []string{
		"2027-03-01 08:00", "2027-03-01T08:00", "2027-03-01 08:00:00", "2027-03-01T08:00:00", " 2027-03-01 08:00 ",
		"2027-03-01T08:00:00+01:00", "2027-03-01T07:00Z", "2027-03-01 08:00+01:00", "2027-03-01 07:00:00Z", "2027-03-01T07:00:00.000Z",
	} {
		got, err := file.LocalTime(text, berlin)
		require.NoError(t, err, text)
		assert.Equal(t, "2027-03-01T07:00:00Z", got.UTC().Format(time.RFC3339), text)
	}
	for text, want := range map[string]string{
		"2027-03-01 08:00:30": `"2027-03-01 08:00:30" is no whole minute; give 2027-03-01 08:00`,
		"2027-03-01":          `"2027-03-01" is no time; give a time such as 2027-03-01 08:00 (in Europe/Berlin) or 2027-03-01T08:00:00Z`,
		"2027-02-29 08:00":    "is no time",
		"2027-03-01 24:00":    "is no time",
		"":                    `"" is no time`,
	} {
		_, err := file.LocalTime(text, berlin)
		require.ErrorContains(t, err, want)
	}
	_, err := file.LocalTime("2027-03-01 08:00", nil)
	require.EqualError(t, err, `"2027-03-01 08:00" has no offset, and the studio's time zone is not known; add the offset, such as 2027-03-01T08:00:00Z for UTC`)
	got, err := file.LocalTime("2027-03-01T08:00:00Z", nil)
	require.NoError(t, err)
	assert.Equal(t, 8, got.Hour())
}

// A local time is read as the instant at which the zone's clock shows it, and refused exactly when there is none or more
// than one within two days.
func TestLocalTimeAgreesWithTheClock(t *testing.T) {
	zones := []*time.Location{zone(t, "Europe/Lisbon"), zone(t, "America/New_York"), zone(t, "Australia/Lord_Howe"), zone(t, "Africa/Casablanca")}
	rapid.Check(t, func(t *rapid.T) {
		zone := rapid.SampledFrom(zones).Draw(t, "zone")
		near := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(rapid.IntRange(0, 365*24*60-1).Draw(t, "minute")) * time.Minute)
		if _, change := near.In(zone).ZoneBounds(); rapid.Bool().Draw(t, "at a change") && !change.IsZero() {
			near = change.UTC().Add(time.Duration(rapid.IntRange(-14*60, 14*60).Draw(t, "minutes from it")) * time.Minute)
		}
		text := near.Format("2006-01-02 15:04")
		var instants []time.Time
		for minute := -24 * 60; minute <= 24*60; minute++ {
			if at := near.Add(time.Duration(minute) * time.Minute); at.In(zone).Format("2006-01-02 15:04") == text {
				instants = append(instants, at)
			}
		}
		got, err := file.LocalTime(text, zone)
		if len(instants) == 1 {
			require.NoError(t, err)
			require.True(t, instants[0].Equal(got), "%s: want %s, got %s", text, instants[0], got)
			return
		}
		require.Error(t, err, "%s is shown %d times in %s", text, len(instants), zone)
	})
}
