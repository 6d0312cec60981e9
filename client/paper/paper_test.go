package paper

import (
	"flag"
	"io"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
	"google.golang.org/protobuf/types/known/timestamppb"

	saggarv1 "saggar/proto/saggar/v1"
)

var update = flag.Bool("update", false, "write the golden files anew")

// hostile is a title that breaks out of whatever does not escape it.
const hostile = `</title><script>alert("1")</script><img src=x onerror='1'>{{.}} & "quoted" </td></table>`

const caution = "A planning estimate: it replaces no measurement."

func instant(text string) *timestamppb.Timestamp {
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		panic(err)
	}
	return timestamppb.New(t)
}

// daySheet is an invented day in Lisbon: a firing with gas over the night, bench work, and what is not known.
func daySheet(title string) *saggarv1.DaySheet {
	charge := &saggarv1.DayTask{
		StartTime: instant("2027-03-02T10:00:00Z"), EndTime: instant("2027-03-02T10:20:00Z"), Kind: saggarv1.PhaseKind_PHASE_KIND_CHARGE,
		Job: "A", Room: "bay", Furnace: "pot", Title: title, Stage: "reduce", Watch: saggarv1.Watch_WATCH_IN_ROOM, PeopleCount: 2,
	}
	fire := &saggarv1.DayTask{
		StartTime: instant("2027-03-02T10:20:00Z"), EndTime: instant("2027-03-03T01:00:00Z"), Kind: saggarv1.PhaseKind_PHASE_KIND_FIRE,
		Job: "A", Room: "bay", Furnace: "pot", Title: title, Stage: "reduce", Watch: saggarv1.Watch_WATCH_IN_REACH, PeopleCount: 1,
	}
	half := &saggarv1.ProtectionClass{
		Class: "air_purifying/negative pressure/half_mask", AssignedProtectionFactor: 10, NeedsGoggles: true, Enough: true,
		Reason: "16 ppm at most", Source: "29 CFR 1910.134 Table 1",
	}
	return &saggarv1.DaySheet{
		Name: "studios/test/daySheets/2027-03-02", Title: title, TimeZone: "Europe/Lisbon",
		StartTime: instant("2027-03-02T00:00:00Z"), EndTime: instant("2027-03-03T00:00:00Z"), AsOfTime: instant("2027-03-01T18:00:00Z"),
		Revision: 7, Tasks: []*saggarv1.DayTask{charge, fire}, Closed: []string{"small-kiln is closed: new elements"},
		DueChecks: []*saggarv1.DueCheck{
			{Kind: saggarv1.DueCheckKind_DUE_CHECK_KIND_INTERLOCK, Subject: "furnaces/pot", Room: "bay", LastOn: "2026-03-01", DueOn: "2027-03-01", Overdue: true},
			{Kind: saggarv1.DueCheckKind_DUE_CHECK_KIND_FLOW, Subject: "extractionCircuits/fan", Part: "hood", Room: "bay", Overdue: true},
		},
		Rooms: []*saggarv1.DayRoom{{
			Room: "bay", Title: title, CrewCount: 2, NeededCount: 2, FlowCubicMetersPerSecond: 0.95,
			Staffed:   []*saggarv1.TimeSpan{{StartTime: instant("2027-03-02T08:00:00Z"), EndTime: instant("2027-03-02T21:00:00Z")}},
			Detectors: []*saggarv1.DayDetector{{Species: "SO2", Overdue: true}, {Species: "CO", TestedOn: "2027-02-22", DueOn: "2027-03-24"}},
			Missing:   []string{"whom to call is not recorded for bay"},
		}},
		Jobs: []*saggarv1.DayJob{
			{
				Mark: "A", Run: "studios/test/runs/blue-one", Title: title, Stage: "reduce", StageTitle: title, Department: "conservation",
				Maker: title, AttendedBy: "tess, who stays", GearWorn: []string{title, "goggles"}, State: saggarv1.LoadState_LOAD_STATE_CONFIRMED, Furnace: "pot", FurnaceTitle: title, Room: "bay",
				StartTime: charge.GetStartTime(), EndTime: instant("2027-03-03T18:30:00Z"), Phases: []*saggarv1.DayTask{charge, fire},
				WeighOut:    []*saggarv1.WeighedMaterial{{Material: "sulfur", MassGrams: 30}, {Material: "lots/of-mine", MassGrams: 61.25}},
				MassInGrams: 149.3, MassOutGrams: 101.7,
				Program: &saggarv1.HeatProgram{Segments: []*saggarv1.Segment{
					{ToCelsius: 750, RateCelsiusPerHour: 250, HoldMinutes: 240}, {ToCelsius: 500},
				}},
				Control: saggarv1.Control_CONTROL_PROGRAMMED, TopCelsius: 750, Atmosphere: saggarv1.Atmosphere_ATMOSPHERE_REDUCING,
				Lid: saggarv1.Lid_LID_LOOSE, Vessels: []*saggarv1.VesselUse{{Vessel: "pots", Count: 3, Mark: title}, {Vessel: "tray"}}, DamperPosition: title, OpenBelowCelsius: 100, GivesOffGas: true,
				Near: []*saggarv1.NearSpecies{
					{Species: "SO2", PeakPpm: 12.5, Ratio: 2.5, Protection: []*saggarv1.ProtectionClass{half}},
					{Species: "CO", PeakPpm: 1e-9, Ratio: 1e-11},
					{Species: "H2S", PeakPpm: 300, Ratio: 30, Protection: []*saggarv1.ProtectionClass{{Class: "any", Reason: "escape only"}}},
				},
				ReentryTime: instant("2027-03-03T11:04:00Z"), FanFailureTime: instant("2027-03-02T11:46:00Z"),
				FanFailure: []*saggarv1.PassedLimit{
					{Species: "SO2", Authority: "EU", Kind: "STEL", LimitPpm: 1, AfterMinutes: 0.4},
					{Species: "SO2", Authority: "NIOSH", Kind: "STEL", LimitPpm: 5, AfterMinutes: 6.9, Refuses: true},
					{Species: "SO2", Authority: "Ontario", Kind: "STEL", LimitPpm: 5, AfterMinutes: 7},
					{Species: "SO2", Authority: "NIOSH", Kind: "TWA", LimitPpm: 2, AfterMinutes: 35, Refuses: true},
					{Species: "SO2", Authority: "NIOSH", Kind: "IDLH", LimitPpm: 100, AfterMinutes: 1361, Refuses: true},
				},
				StopSteps:      []string{title, "Out of the bay"},
				UnattendedHeat: []*saggarv1.UnattendedHeat{{StartTime: instant("2027-03-02T21:00:00Z"), EndTime: instant("2027-03-03T01:00:00Z"), Watch: saggarv1.Watch_WATCH_NONE}},
				Clearing:       &saggarv1.TimeSpan{StartTime: instant("2027-03-03T08:20:00Z"), EndTime: instant("2027-03-03T18:30:00Z")},
				NextStage:      "oxidise", NextTime: instant("2027-03-04T08:00:00Z"),
				Findings: []*saggarv1.Finding{{
					Severity: saggarv1.Severity_SEVERITY_WARN, Code: "AIR_SHORT_TERM_LIMIT", Message: title, Cure: title, Source: title,
				}},
				Missing: []string{title}, Beside: []string{"run tiles of ada: 8 l"},
			},
			{
				Mark: "B", Run: "studios/test/runs/egypt-one", Title: "Egyptian blue", Stage: "pack", Department: "conservation", Maker: "mia",
				State:     saggarv1.LoadState_LOAD_STATE_CONFIRMED,
				StartTime: instant("2027-03-02T12:00:00Z"), EndTime: instant("2027-03-02T13:00:00Z"),
			},
		},
		Assumptions: []string{title, "the fan at the worst moment"}, Caution: caution,
	}
}

func page(t *testing.T, fill func(io.Writer) error) string {
	t.Helper()
	var b strings.Builder
	require.NoError(t, fill(&b))
	return b.String()
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := "testdata/" + name
	if *update {
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "run go test -update and look at what it wrote")
	assert.Equal(t, string(want), got)
}

// void are the elements that have no end.
var void = map[string]bool{"meta": true, "br": true, "img": true, "link": true, "hr": true, "input": true}

// wellFormed checks that every element that begins ends, in the order of nesting, and returns the tags that there are, the
// text outside of style, and the attributes.
func wellFormed(t *testing.T, page string) (tags map[string]int, text string, attributes []html.Attribute) {
	t.Helper()
	var open []string
	var said strings.Builder
	tags = map[string]int{}
	tokens := html.NewTokenizer(strings.NewReader(page))
	for {
		switch tokens.Next() {
		case html.ErrorToken:
			require.ErrorIs(t, tokens.Err(), io.EOF)
			require.Empty(t, open, "elements that do not end")
			return tags, said.String(), attributes
		case html.StartTagToken:
			token := tokens.Token()
			tags[token.Data]++
			attributes = append(attributes, token.Attr...)
			if !void[token.Data] {
				open = append(open, token.Data)
			}
		case html.EndTagToken:
			token := tokens.Token()
			require.NotEmpty(t, open, "%s ends and never began", token.Data)
			require.Equal(t, open[len(open)-1], token.Data, "ends out of order")
			open = open[:len(open)-1]
		case html.TextToken:
			if len(open) > 0 && open[len(open)-1] != "style" {
				said.WriteString(tokens.Token().Data)
			}
		}
	}
}

// selfContained holds a page to its promises: well-formed, nothing from outside, no scripts, the caution in the part that is
// repeated on every page, and texts that somebody stored kept as texts.
func selfContained(t *testing.T, page string) {
	t.Helper()
	tags, text, attributes := wellFormed(t, page)
	for _, tag := range []string{"script", "img", "link", "iframe", "object", "a", "form", "base"} {
		assert.Zero(t, tags[tag], tag)
	}
	for _, a := range attributes {
		assert.NotContains(t, []string{"src", "href", "style", "srcset", "action"}, a.Key)
		assert.False(t, strings.HasPrefix(a.Key, "on"), a.Key)
	}
	assert.NotContains(t, page, "http:")
	assert.NotContains(t, page, "https:")
	assert.NotContains(t, page, "url(")
	assert.NotContains(t, page, "@import")
	assert.NotContains(t, page, "ZgotmplZ")
	assert.Equal(t, 1, tags["tfoot"])
	_, foot, found := strings.Cut(page, "<tfoot>")
	require.True(t, found)
	foot, _, _ = strings.Cut(foot, "</tfoot>")
	assert.Contains(t, foot, caution)
	assert.Contains(t, page, "table-footer-group")
	assert.Contains(t, text, hostile, "what was stored is shown to the letter")
}

func TestTheDaySheetAsAPage(t *testing.T) {
	t.Parallel()
	got := page(t, func(w io.Writer) error { return Day(w, daySheet("Sodalite blue")) })
	golden(t, "day.html.golden", got)
	_, text, _ := wellFormed(t, got)
	for _, said := range []string{
		"Tuesday 2 March 2027", "TEST IT FIRST", "250 C/h", "full power (down: by itself)", "half_mask, assigned factor 10, with gas-tight goggles",
		"29 CFR 1910.134 Table 1", "No respirator is enough", "under 0.001 ppm", "Wed 3 Mar 11:04", "small-kiln is closed",
		"Heat while nobody answers for the room", "burn-off, empty and oxidising", "In charge on this day", "oxidise, Thu 4 Mar 08:00",
		"lots/of-mine", "tess, who stays",
	} {
		assert.Contains(t, text, said)
	}
	assert.NotContains(t, text, "Ontario", "a warning after a refusal is no time to leave by")
	assert.NotContains(t, text, "35 min", "of each gas the first refusal only")
	assert.Contains(t, text, "22 h 41 min", "and when it is dangerous to life")
}

func TestHostileTitlesStayTitles(t *testing.T) {
	t.Parallel()
	selfContained(t, page(t, func(w io.Writer) error { return Day(w, daySheet(hostile)) }))
}

func TestAnEmptyDayIsAPageToo(t *testing.T) {
	t.Parallel()
	got := page(t, func(w io.Writer) error {
		return Day(w, &saggarv1.DaySheet{TimeZone: "UTC", StartTime: instant("2027-03-02T00:00:00Z"), AsOfTime: instant("2027-03-02T00:00:00Z"), Caution: caution})
	})
	_, text, _ := wellFormed(t, got)
	assert.Contains(t, text, "Nothing is booked.")
	var b strings.Builder
	assert.Error(t, Day(&b, &saggarv1.DaySheet{TimeZone: "Nowhere/Land"}))
	assert.Empty(t, b.String(), "nothing is written by halves")
}
