package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	saggarv1 "saggar/proto/saggar/v1"
)

// daySheet is a day with one firing of which not everything is known.
func daySheet() *saggarv1.DaySheet {
	draws := &saggarv1.DayTask{
		StartTime: instant("2027-03-02T08:00:00Z"), EndTime: instant("2027-03-02T08:20:00Z"), Kind: draw, Job: "A", Room: "bay",
		Furnace: "muffle", Title: "Tiles", Stage: "bisque", Watch: saggarv1.Watch_WATCH_IN_ROOM, PeopleCount: 1,
	}
	cools := &saggarv1.DayTask{
		StartTime: instant("2027-03-01T18:00:00Z"), EndTime: instant("2027-03-02T08:00:00Z"), Kind: cool, Job: "A", Room: "bay",
		Furnace: "muffle", Title: "Tiles", Stage: "bisque", Watch: saggarv1.Watch_WATCH_NONE,
	}
	return &saggarv1.DaySheet{
		Name: "studios/marl-lane/daySheets/2027-03-02", Title: "Marl Lane", TimeZone: "Europe/Lisbon",
		StartTime: instant("2027-03-02T00:00:00Z"), EndTime: instant("2027-03-03T00:00:00Z"), AsOfTime: instant("2027-03-01T12:00:00Z"),
		Tasks: []*saggarv1.DayTask{cools, draws}, Closed: []string{"small-kiln is closed from Mon 1 Mar 08:00 to Tue 2 Mar 12:00"},
		Rooms: []*saggarv1.DayRoom{{
			Room: "bay", NeededCount: 1, Missing: []string{"whom to call is not recorded for bay"},
			Detectors: []*saggarv1.DayDetector{{Species: "CO", TestedOn: "2027-01-04", DueOn: "2027-02-03", Overdue: true}, {Species: "SO2", Overdue: true}},
		}},
		Jobs: []*saggarv1.DayJob{{
			Mark: "A", Run: "studios/marl-lane/runs/tiles", Title: "Tiles", Stage: "bisque", Maker: "mira", Furnace: "muffle", Room: "bay",
			StartTime: instant("2027-03-01T08:00:00Z"), EndTime: instant("2027-03-02T10:20:00Z"), OpenBelowCelsius: 100, GivesOffGas: true,
			ReentryTime: instant("2027-03-02T09:10:00Z"), FanFailureTime: instant("2027-03-01T12:00:00Z"),
			FanFailure: []*saggarv1.PassedLimit{
				{Species: "SO2", Authority: "EU", Kind: "STEL", LimitPpm: 1, AfterMinutes: 2},
				{Species: "SO2", Authority: "NIOSH", Kind: "STEL", LimitPpm: 5, AfterMinutes: 6.9, Refuses: true},
			},
			Clearing: &saggarv1.TimeSpan{StartTime: instant("2027-03-02T08:20:00Z"), EndTime: instant("2027-03-02T10:20:00Z")},
			Missing:  []string{"no stop steps are recorded for muffle"},
		}},
		Caution: "Planning estimates.",
	}
}

func TestTheDay(t *testing.T) {
	f := newFakeServer(t)
	f.answer("GetDaySheet", daySheet())
	path := filepath.Join(t.TempDir(), "day.html")
	golden(t, "day.table.golden", f.succeed("day", "--date", "2027-03-02", "--html", path))
	assertSame(t, &saggarv1.GetDaySheetRequest{Name: "studios/marl-lane/daySheets/2027-03-02"}, asked[*saggarv1.GetDaySheetRequest](f))
	page, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Contains(t, string(page), "Tuesday 2 March 2027")

	assert.Contains(t, f.succeed("day", "--date", "2027-03-02", "--output", "json", "--room", "bay"), `"mark": "A"`)
	assert.Equal(t, "bay", asked[*saggarv1.GetDaySheetRequest](f).GetRoom())
	f.succeed("day")
	assert.Regexp(t, `^studios/marl-lane/daySheets/20\d\d-\d\d-\d\d$`, asked[*saggarv1.GetDaySheetRequest](f).GetName(), "today")
}

func TestADayThatCannotBeShown(t *testing.T) {
	f := newFakeServer(t)
	f.answer("GetDaySheet", daySheet())
	for _, wrong := range [][]string{
		{"day", "--date", "2027-02-30"}, {"day", "--date", "tuesday"}, {"day", "--room", "Not An Id"}, {"day", "extra"},
		{"day", "--date", "2027-03-02", "--html", filepath.Join(t.TempDir(), "no", "such", "folder.html")},
	} {
		r := f.run(wrong...)
		assert.NotZero(t, r.code, "%v", wrong)
		assert.NotEmpty(t, r.errOut, "%v", wrong)
		assert.Empty(t, r.out, "%v", wrong)
	}
	f.answer("GetDaySheet", status.Error(codes.NotFound, "no such studio"))
	path := filepath.Join(t.TempDir(), "day.html")
	assert.NotZero(t, f.run("day", "--date", "2027-03-02", "--html", path).code)
	assert.NoFileExists(t, path)
}
