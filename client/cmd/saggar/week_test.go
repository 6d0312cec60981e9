package main

import (
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/timestamppb"

	saggarv1 "saggar/proto/saggar/v1"
)

// weekServer has three furnaces, a firing over a night and a closure of each kind of subject.
func weekServer(t *testing.T) *fakeServer {
	f := newFakeServer(t)
	f.answer("ListFurnaces",
		&saggarv1.ListFurnacesResponse{NextPageToken: "more", Furnaces: []*saggarv1.Furnace{
			{Name: "studios/marl-lane/furnaces/big-kiln", Room: "kiln-hall", Supply: "hall-panel", Branch: "hall-fan/hood"},
		}},
		&saggarv1.ListFurnacesResponse{Furnaces: []*saggarv1.Furnace{
			{Name: "studios/marl-lane/furnaces/muffle", Room: "bay", Supply: "bay-panel", Branch: "bay-fan/hood"},
			{Name: "studios/marl-lane/furnaces/mortar", Room: "bay"},
		}},
	)
	f.answer("ListClosures", &saggarv1.ListClosuresResponse{Closures: []*saggarv1.Closure{
		closure("furnaces/muffle", "2027-03-03T00:00:00Z", "2027-03-03T06:00:00Z"),
		closure("rooms/bay", "2027-03-04T00:00:00Z", "2027-03-04T06:00:00Z"),
		closure("supplies/hall-panel", "2027-03-05T00:00:00Z", "2027-03-05T06:00:00Z"),
		closure("extractionCircuits/bay-fan", "2027-03-06T00:00:00Z", "2027-03-06T06:00:00Z"),
	}})
	f.answer("ListFirings", &saggarv1.ListFiringsResponse{Firings: []*saggarv1.Firing{{
		Name: "studios/marl-lane/firings/f1", Run: "studios/marl-lane/runs/tiles", Furnace: "big-kiln", Title: "Tiles", Stage: "bisque", Department: "ceramics",
		State: saggarv1.LoadState_LOAD_STATE_CONFIRMED, TopCelsius: 1000,
		StartTime: instant("2027-03-01T08:00:00Z"), EndTime: instant("2027-03-02T10:20:00Z"), Phases: bisquePhases(),
	}}})
	return f
}

func closure(subject, start, end string) *saggarv1.Closure {
	return &saggarv1.Closure{Subject: subject, StartTime: instant(start), EndTime: instant(end)}
}

func TestWeekChart(t *testing.T) {
	f := weekServer(t)
	out := f.succeed("week", "--from", "2027-03-01", "--hours", "2")
	golden(t, "week.table.golden", out)
	request := asked[*saggarv1.ListFiringsRequest](f)
	assertSame(t, &saggarv1.ListFiringsRequest{
		Parent: "studios/marl-lane", StartTime: instant("2027-03-01T00:00:00Z"), EndTime: instant("2027-03-08T00:00:00Z"),
	}, request)
	assert.Equal(t, "more", asked[*saggarv1.ListFurnacesRequest](f).GetPageToken(), "furnaces of every page have a row")

	golden(t, "week.csv.golden", f.succeed("week", "--from", "2027-03-01", "--output", "csv"))
	assert.Contains(t, f.succeed("week", "--from", "2027-03-01", "--output", "json"), `"furnace": "big-kiln"`)
}

func TestWeekFitsAHundredColumns(t *testing.T) {
	f := weekServer(t)
	for _, days := range []string{"1", "2", "7", "14", "31"} {
		out := f.succeed("week", "--from", "2027-03-01", "--days", days)
		chart, _, _ := strings.Cut(out, "\n\n")
		for _, line := range strings.Split(chart, "\n")[1:] {
			assert.LessOrEqual(t, utf8.RuneCountInString(line), 100, "%s days: %s", days, line)
		}
	}
}

func TestEveryDayOfAChartHasItsDateAndIsShownOnce(t *testing.T) {
	f := weekServer(t)
	for _, hours := range []string{"1", "2", "3", "4", "6"} {
		out := f.succeed("week", "--from", "2027-03-01", "--days", "31", "--hours", hours)
		chart, _, _ := strings.Cut(out, "\n\n")
		assert.Equal(t, 31, strings.Count(chart, "|0 "), "%s hours: days", hours)
		for _, line := range strings.Split(chart, "\n")[1:] {
			assert.LessOrEqual(t, utf8.RuneCountInString(line), 100, "%s hours: %s", hours, line)
		}
		for _, day := range []string{"Mo", "We"} {
			assert.Contains(t, chart, "|"+day)
		}
		assert.Regexp(t, `\|We(d 31|31)`, chart, "%s hours", hours)
	}
}

func TestAFiringThatAClosureLiesOverIsMarkedAndNamed(t *testing.T) {
	f := weekServer(t)
	over := closure("rooms/kiln-hall", "2027-03-02T03:30:00Z", "2027-03-02T14:00:00Z")
	over.Name = "studios/marl-lane/closures/floor"
	f.answer("ListClosures", &saggarv1.ListClosuresResponse{Closures: []*saggarv1.Closure{over}})
	out := f.succeed("week", "--from", "2027-03-01", "--hours", "2")
	assert.Contains(t, out, "big-kiln |....#####~~~|~!!!!!x.....|", "the firing ends within the sixth")
	assert.Contains(t, out, "! booked and closed\n")
	assert.Contains(t, out, "Booked and closed: move the run or end the closure\n"+
		"big-kiln: Tiles, stage bisque, run tiles, Mon 1 Mar 08:00 to Tue 2 Mar 10:20; closure floor of\n"+
		"  rooms/kiln-hall, Tue 2 Mar 03:30 to Tue 2 Mar 14:00\n")
	assert.NotContains(t, weekServer(t).succeed("week", "--from", "2027-03-01"), "!", "closures beside firings are no fault")
	assert.Contains(t, f.succeed("week", "--from", "2027-03-01", "--output", "csv"), "starts,free again", "the list is what programs get")
}

func TestARoomClosedToPeopleOnlyGoesOnFiring(t *testing.T) {
	f := weekServer(t)
	empty := closure("rooms/kiln-hall", "2027-03-02T03:30:00Z", "2027-03-02T14:00:00Z")
	empty.Unoccupied = true
	f.answer("ListClosures", &saggarv1.ListClosuresResponse{Closures: []*saggarv1.Closure{empty}})
	assert.Contains(t, f.succeed("week", "--from", "2027-03-01", "--hours", "2"), "big-kiln |....#####~~~|~~--##......|")
}

func TestBenchWorkHasNoTemperature(t *testing.T) {
	f := weekServer(t)
	f.answer("ListFirings", &saggarv1.ListFiringsResponse{Firings: []*saggarv1.Firing{{
		Furnace: "mortar", Title: "Grind", Stage: "grind", Department: "glass", State: saggarv1.LoadState_LOAD_STATE_CONFIRMED,
		StartTime: instant("2027-03-01T08:00:00Z"), EndTime: instant("2027-03-01T09:00:00Z"),
	}}})
	assert.Regexp(t, `mortar +Grind  grind  glass +- +CONFIRMED`, f.succeed("week", "--from", "2027-03-01"))
}

func TestWeekStartsOnMonday(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Lisbon")
	require.NoError(t, err)
	for now, monday := range map[string]string{
		"2027-03-01 00:00": "2027-03-01", "2027-03-03 15:00": "2027-03-01", "2027-03-07 23:59": "2027-03-01",
		"2027-03-08 00:00": "2027-03-08", "2027-03-29 12:00": "2027-03-29", "2027-04-01 12:00": "2027-03-29",
	} {
		at, err := time.ParseInLocation("2006-01-02 15:04", now, zone)
		require.NoError(t, err)
		assert.Equal(t, monday+" 00:00", thisMonday(at).Format("2006-01-02 15:04"), "the week of %s", now)
	}
}

// Every instant of a day belongs to exactly one character, also on the days of 23 and 25 hours, and of 23.5 and 24.5.
func TestNoInstantOfAWeekIsLeftOutOrShownTwice(t *testing.T) {
	for _, c := range []struct{ zone, day string }{
		{"Europe/Lisbon", "2027-03-28"}, {"Europe/Lisbon", "2027-10-31"}, {"America/New_York", "2027-03-14"},
		{"America/New_York", "2027-11-07"}, {"Australia/Lord_Howe", "2027-04-04"}, {"Australia/Lord_Howe", "2027-10-03"},
	} {
		zone, err := time.LoadLocation(c.zone)
		require.NoError(t, err)
		day, err := time.ParseInLocation(time.DateOnly, c.day, zone)
		require.NoError(t, err)
		w := &week{start: day, days: 2, zone: zone}
		w.firings = &saggarv1.ListFiringsResponse{Firings: []*saggarv1.Firing{{
			Furnace: "kiln", Phases: []*saggarv1.PhaseWindow{{Kind: fire, StartTime: stamp(w.day(0)), EndTime: stamp(w.day(1))}},
		}}}
		for _, hours := range cellHours {
			until := w.day(0)
			for k := range 24 / hours {
				from, to := w.clock(0, k*hours), w.clock(0, (k+1)*hours)
				assert.True(t, from.Equal(until), "%v: a gap or an overlap at %v", c, from)
				assert.False(t, to.Before(from), "%v: backwards at %v", c, from)
				until = to
			}
			assert.True(t, until.Equal(w.day(1)), "%v: the day ends at %v", c, until)
		}
		row := w.row("kiln", dayRange{0, w.days}, 2)
		assert.Equal(t, "|"+strings.Repeat("#", 12)+"|"+strings.Repeat(".", 12), row, "%v: fired all day", c)
	}
}

func TestTheMarkIsOfWhatFillsTheMost(t *testing.T) {
	w := &week{zone: time.UTC, days: 1, start: time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC)}
	w.closures = map[string][]*saggarv1.Closure{"kiln": {closure("furnaces/kiln", "2027-03-01T20:00:00Z", "2027-03-01T22:00:00Z")}}
	w.firings = &saggarv1.ListFiringsResponse{Firings: []*saggarv1.Firing{
		{Furnace: "kiln", Phases: phases("2027-03-01T00:00:00Z", charge, "2027-03-01T00:20:00Z", fire, "2027-03-01T04:00:00Z",
			cool, "2027-03-01T06:30:00Z", wait, "2027-03-01T10:00:00Z", draw, "2027-03-01T12:00:00Z")},
		{Furnace: "other", Phases: phases("2027-03-01T12:00:00Z", fire, "2027-03-01T20:00:00Z")},
	}}
	assert.Equal(t, "|##~--o....x.", w.row("kiln", dayRange{0, w.days}, 2))
	assert.Equal(t, "|......####..", w.row("other", dayRange{0, w.days}, 2))
}

func stamp(t time.Time) *timestamppb.Timestamp { return timestamppb.New(t) }

func TestWeekRefusesBadInput(t *testing.T) {
	f := weekServer(t)
	for _, args := range [][]string{
		{"--from", "2027-02-30"}, {"--from", "monday"}, {"--days", "0"}, {"--days", "32"}, {"--hours", "5"}, {"--hours", "8"}, {"--hours", "12"}, {"--hours", "-1"}, {"--hours", "24"},
	} {
		r := f.run(append([]string{"week"}, args...)...)
		assert.Equal(t, 2, r.code, "%v", args)
		assert.Contains(t, r.errOut, args[0])
		assert.Empty(t, r.out)
	}
}
