package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	"saggar/client/file"
	saggarv1 "saggar/proto/saggar/v1"
)

// weekAnswer is a plan of two runs for which something may be better.
func weekAnswer() *saggarv1.PlanRunsResponse {
	answer := planAnswer()
	answer.Status = saggarv1.PlanStatus_PLAN_STATUS_FEASIBLE
	answer.Runs = append(answer.Runs, &saggarv1.Run{
		Recipe: "studios/marl-lane/recipes/red/versions/1", Department: "printmaking", Title: "Red",
		StageWindows: []*saggarv1.StageWindow{{Stage: "calcine", Furnace: "muffle", Phases: phases("2027-03-02T08:00:00Z",
			charge, "2027-03-02T08:20:00Z", fire, "2027-03-02T14:00:00Z", cool, "2027-03-02T20:00:00Z", draw, "2027-03-02T20:20:00Z")}},
	})
	answer.Reasons = append(answer.Reasons, &saggarv1.PlanReason{
		RunIndex: 1, Stage: "calcine", Code: "FURNACE_BUSY", About: "muffle", Message: "to charge, muffle is taken until Tue 2 Mar 08:00",
	})
	answer.Progress = &saggarv1.PlanProgress{
		Elapsed: durationpb.New(3210 * time.Millisecond), AirRoundCount: 2,
		Objectives: []*saggarv1.PlanObjective{
			{Code: "VISITS", Value: 3, Bound: 3, Unit: "days"}, {Code: "COMPLETION", Value: 3980, Bound: 3582, GapFraction: 0.1, Unit: "min"},
		},
	}
	return answer
}

// booked and closed in the week of the plan.
func (f *fakeServer) busyWeek() {
	f.answer("ListFirings", &saggarv1.ListFiringsResponse{Firings: []*saggarv1.Firing{{
		Furnace: "muffle", Run: "studios/marl-lane/runs/pots", StartTime: instant("2027-03-01T10:00:00Z"), EndTime: instant("2027-03-02T08:00:00Z"),
		Phases: phases("2027-03-01T10:00:00Z", charge, "2027-03-01T10:20:00Z", fire, "2027-03-01T16:00:00Z",
			cool, "2027-03-02T00:00:00Z", wait, "2027-03-02T07:40:00Z", draw, "2027-03-02T08:00:00Z"),
	}}})
	f.answer("ListClosures", &saggarv1.ListClosuresResponse{Closures: []*saggarv1.Closure{
		closure("furnaces/muffle", "2027-03-03T08:00:00Z", "2027-03-03T16:00:00Z"),
	}})
}

const runsFile = `runs:
  - name: tiles
    title: Tiles
    recipe: bisque/versions/2
    department: ceramics
    scale: {factor: 2}
    limits:
      attendance: [{days: [monday, friday], opens: "08:00", closes: "12:00"}]
      start_time: 2027-07-01 08:00
  - recipe: red
    department: printmaking
`

func TestRunsOfAFileArePlannedTogether(t *testing.T) {
	f := newFakeServer(t)
	f.busyWeek()
	f.answer("PlanRuns", weekAnswer())
	out := f.succeed("run", "plan", "--runs", f.written("runs.yaml", runsFile), "--wish", "fewest-visits", "--search-time", "3s",
		"--attend", "tue-thu,sat 13:00-24:00", "--avoid", "small-kiln", "--heat-only-while-staffed", "--from", "2027-07-01 08:00")
	golden(t, "plan-runs.table.golden", out)
	for _, line := range strings.Split(out, "\n") {
		if strings.Contains(line, "|") {
			assert.LessOrEqual(t, len(line), tableWidth, line)
		}
	}
	afternoons := &saggarv1.WeeklyHours{Opens: "13:00", Closes: "24:00", Days: []saggarv1.Weekday{
		saggarv1.Weekday_WEEKDAY_TUESDAY, saggarv1.Weekday_WEEKDAY_WEDNESDAY, saggarv1.Weekday_WEEKDAY_THURSDAY, saggarv1.Weekday_WEEKDAY_SATURDAY,
	}}
	mornings := &saggarv1.WeeklyHours{Opens: "08:00", Closes: "12:00", Days: []saggarv1.Weekday{
		saggarv1.Weekday_WEEKDAY_MONDAY, saggarv1.Weekday_WEEKDAY_FRIDAY,
	}}
	assertSame(t, &saggarv1.PlanRunsRequest{
		Parent: "studios/marl-lane", StartTime: instant("2027-07-01T07:00:00Z"), Wish: saggarv1.PlanWish_PLAN_WISH_FEWEST_VISITS,
		SearchLimit: durationpb.New(3 * time.Second),
		Runs: []*saggarv1.Run{
			{Name: "studios/marl-lane/runs/tiles", Title: "Tiles", Recipe: "studios/marl-lane/recipes/bisque/versions/2", Department: "ceramics", Scale: &saggarv1.Scale{Factor: 2}},
			{Recipe: "studios/marl-lane/recipes/red", Department: "printmaking"},
		},
		Limits: []*saggarv1.PlanLimits{ // a run's own hours stand for those of the flag; what the flags exclude is excluded for all
			{
				Attendance: []*saggarv1.WeeklyHours{mornings}, AvoidFurnaces: []string{"small-kiln"}, HeatOnlyWhileStaffed: true,
				StartTime: instant("2027-07-01T07:00:00Z"),
			},
			{Attendance: []*saggarv1.WeeklyHours{afternoons}, AvoidFurnaces: []string{"small-kiln"}, HeatOnlyWhileStaffed: true},
		},
	}, asked[*saggarv1.PlanRunsRequest](f))
	week := asked[*saggarv1.ListFiringsRequest](f)
	assert.Equal(t, "2027-02-28 00:00", week.GetStartTime().AsTime().Format("2006-01-02 15:04"), "the chart begins with the plan's first day")

	csv := f.succeed("run", "plan", "--runs", f.written("runs.yaml", runsFile), "--output", "csv")
	assert.Contains(t, csv, "2. Red,calcine,muffle,Tue 2 Mar 08:00", "programs get the stages of all runs")
}

func TestFlagsHoldForAllRunsWhenNoneHasLimits(t *testing.T) {
	f := newFakeServer(t)
	f.answer("PlanRuns", weekAnswer())
	path := f.written("runs.yaml", "runs:\n  - {recipe: bisque, department: ceramics}\n  - {recipe: red, department: printmaking}\n")
	f.succeed("run", "plan", "--runs", path, "--avoid", "muffle,pot")
	assert.Len(t, asked[*saggarv1.PlanRunsRequest](f).GetLimits(), 1, "one for all")
	f.succeed("run", "plan", "--runs", path)
	assert.Empty(t, asked[*saggarv1.PlanRunsRequest](f).GetLimits())
	assert.Nil(t, asked[*saggarv1.PlanRunsRequest](f).GetSearchLimit(), "left to the server")
}

func TestFaultsOfARunsFileHaveTheirLine(t *testing.T) {
	f := newFakeServer(t)
	path := f.written("runs.yaml", "runs:\n  - recipe: bisque\n    departement: ceramics\n")
	r := f.run("run", "plan", "--runs", path)
	assert.Equal(t, 2, r.code)
	assert.Contains(t, r.errOut, path+":3: runs[0].departement: is no field here; did you mean department?")
	assert.Zero(t, requests[*saggarv1.PlanRunsRequest](f))

	refusal, err := status.New(codes.InvalidArgument, "bad").WithDetails(&errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{
		{Field: "runs[0].scale.factor", Description: "too large"}, {Field: "limits[0].attendance[0].opens", Description: "no hour"},
		{Field: "limits[1].avoid_furnaces[0]", Description: "no furnace"}, {Field: "search_limit", Description: "too long"},
	}})
	require.NoError(t, err)
	f.answer("PlanRuns", refusal.Err())
	path = f.written("runs.yaml", runsFile)
	r = f.run("run", "plan", "--runs", path, "--avoid", "gone")
	assert.Equal(t, 2, r.code)
	assert.Contains(t, r.errOut, path+":6: runs[0].scale.factor: too large\n")
	assert.Contains(t, r.errOut, path+":8: runs[0].limits.attendance[0].opens: no hour\n")
	assert.Contains(t, r.errOut, "\n--avoid: no furnace\n", "what the file does not say was typed")
	assert.Contains(t, r.errOut, "\n--search-time: too long\n")
	assert.Empty(t, r.out)
}

// offered is a plan with two alternatives.
func offered() *saggarv1.PlanRunsResponse {
	answer := planAnswer()
	for i, furnace := range []string{"muffle", "pot"} {
		other := proto.CloneOf(answer.GetRuns()[0])
		other.StageWindows[1].Furnace = furnace
		answer.Alternatives = append(answer.Alternatives, &saggarv1.PlanAlternative{
			Run: other, Summary: "over 1 day later, on " + furnace + " instead of big-kiln", EndTime: instant("2027-03-03T08:20:00Z"),
			VisitDays: int32(2 + i), EnergyKilowattHours: 12.5,
		})
	}
	return answer
}

func TestAlternativesAreOfferedAndTaken(t *testing.T) {
	f := newFakeServer(t)
	f.answer("PlanRuns", offered())
	kept := filepath.Join(f.dir, "kept.json")
	golden(t, "plan-alternatives.table.golden", f.succeed("run", "plan", "bisque", "--department", "ceramics", "--alternatives", "3", "--save", kept))
	assert.EqualValues(t, 3, asked[*saggarv1.PlanRunsRequest](f).GetAlternativeCount())

	f.answer("BookRun", booked())
	f.succeed("run", "book", "--plan", kept, "--take", "2", "--id", "pots")
	run := asked[*saggarv1.BookRunRequest](f).GetRuns()[0]
	assert.Equal(t, "pot", run.GetStageWindows()[1].GetFurnace())
	assert.Equal(t, "studios/marl-lane/runs/pots", run.GetName())

	taken := filepath.Join(f.dir, "taken.json")
	out := f.succeed("run", "plan", "bisque", "--department", "ceramics", "--alternatives", "3", "--take", "1", "--save", taken)
	assert.Contains(t, out, "bisque  muffle")
	assert.NotContains(t, out, "Alternatives")
	assert.NotContains(t, out, "Why not earlier", "the reasons are those of the first")
	f.succeed("run", "book", "--plan", taken)
	book := asked[*saggarv1.BookRunRequest](f)
	assert.Equal(t, "muffle", book.GetRuns()[0].GetStageWindows()[1].GetFurnace())
	assert.EqualValues(t, 7, book.GetRevision())

	r := f.run("run", "plan", "bisque", "--department", "ceramics", "--alternatives", "3", "--take", "3")
	assert.Equal(t, 2, r.code)
	assert.Contains(t, r.errOut, "there is no alternative 3, the plan has 2 alternatives")
}

func TestAllRunsOfAKeptPlanAreBooked(t *testing.T) {
	f := newFakeServer(t)
	f.answer("PlanRuns", weekAnswer())
	kept := filepath.Join(f.dir, "week.json")
	f.succeed("run", "plan", "--runs", f.written("runs.yaml", runsFile), "--save", kept)
	answer := booked()
	answer.Runs = append(answer.Runs, weekAnswer().GetRuns()[1])
	f.answer("BookRun", answer)
	golden(t, "book-runs.table.golden", f.succeed("run", "book", "--plan", kept))
	require.Len(t, asked[*saggarv1.BookRunRequest](f).GetRuns(), 2)
	for i, run := range weekAnswer().GetRuns() {
		assertSame(t, run, asked[*saggarv1.BookRunRequest](f).GetRuns()[i])
	}
	f.answer("GetRun", booked().GetRuns()[0])
	for _, args := range [][]string{{"book", "--plan", kept, "--id", "x"}, {"move", "tiles", "--plan", kept}} {
		r := f.run(append([]string{"run"}, args...)...)
		assert.Equal(t, 2, r.code)
		assert.Contains(t, r.errOut, "2 runs", "%v", args)
	}
}

func TestAnOvertakenPlanIsRefreshed(t *testing.T) {
	f := newFakeServer(t)
	within := planAnswer()
	within.Limits = []*saggarv1.PlanLimits{{HeatOnlyWhileStaffed: true, AvoidFurnaces: []string{"muffle"}}}
	f.answer("PlanRuns", within)
	path := filepath.Join(f.dir, "plan.json")
	f.succeed("run", "plan", "bisque", "--department", "ceramics", "--save", path)
	overtaken := &saggarv1.Finding{Severity: saggarv1.Severity_SEVERITY_NOTE, Code: "PLAN_OVERTAKEN", Message: "the studio has changed twice"}
	refusal, err := status.New(codes.FailedPrecondition, "refused").WithDetails(warning(saggarv1.Severity_SEVERITY_BLOCK), overtaken)
	require.NoError(t, err)
	f.answer("BookRun", refusal.Err())
	r := f.run("run", "book", "--plan", path)
	assert.Equal(t, 3, r.code)
	assert.True(t, strings.HasPrefix(r.errOut, "saggar: refused\n  BLOCK AIR_SHORT_TERM_LIMIT"), r.errOut)
	assert.Contains(t, r.errOut, "'saggar run plan --refresh "+path+" --save "+path+"' plans it again")

	f.succeed("run", "plan", "--refresh", path, "--save", path, "--avoid", "pot")
	request := asked[*saggarv1.PlanRunsRequest](f)
	assert.Equal(t, saggarv1.PlanWish_PLAN_WISH_LEAST_CHANGE, request.GetWish())
	assertSame(t, planAnswer().GetRuns()[0], request.GetRuns()[0])
	assertSame(t, &saggarv1.PlanLimits{HeatOnlyWhileStaffed: true, AvoidFurnaces: []string{"muffle", "pot"}}, request.GetLimits()[0])

	refusal, err = status.New(codes.FailedPrecondition, "refused").WithDetails(warning(saggarv1.Severity_SEVERITY_BLOCK))
	require.NoError(t, err)
	f.answer("BookRun", refusal.Err())
	assert.NotContains(t, f.run("run", "book", "--plan", path).errOut, "--refresh", "nothing has changed meanwhile")
}

func TestProgressIsToldWhereItIsAskedFor(t *testing.T) {
	f := newFakeServer(t)
	waiting := &saggarv1.PlanRunsResponse{
		Status: saggarv1.PlanStatus_PLAN_STATUS_SEARCHING, Progress: &saggarv1.PlanProgress{WaitingCount: 2, Elapsed: durationpb.New(time.Second)},
	}
	f.answer("PlanRuns", waiting, weekAnswer())
	path := f.written("runs.yaml", runsFile)
	r := f.run("run", "plan", "--runs", path, "--progress")
	assert.Zero(t, r.code)
	assert.Equal(t, "waiting for 2 other plans, 1s\n"+
		"planning, 3.2s; days to come 3 days, at least 3 days, gap 0 %; sum of the ends 66 h 20 min, at least 59 h 42 min, gap 10 %; "+
		"sent back by the air 2 times\n", r.errOut)
	assert.Empty(t, f.run("run", "plan", "--runs", path).errOut, "this is no terminal")
}

func TestATerminalsLineIsWrittenOver(t *testing.T) {
	var out strings.Builder
	line := &teller{out: &out, width: 21}
	line.tell(&saggarv1.PlanProgress{WaitingCount: 1})
	line.tell(&saggarv1.PlanProgress{Objectives: []*saggarv1.PlanObjective{{Code: "ENERGY", Value: 12.5, Bound: 10, Unit: "kWh", GapFraction: 0.2}}})
	line.end()
	assert.Equal(t, "\rwaiting for 1 other \x1b[K\rplanning, 0s; energy\x1b[K\r\x1b[K", out.String())
}

func TestEveryAnswerIsALineOfJSON(t *testing.T) {
	f := newFakeServer(t)
	f.answer("PlanRuns", &saggarv1.PlanRunsResponse{Status: saggarv1.PlanStatus_PLAN_STATUS_SEARCHING}, planAnswer())
	out := f.succeed("run", "plan", "bisque", "--department", "ceramics", "--output", "json", "--every-answer")
	lines := strings.Split(strings.TrimSpace(out), "\n")
	require.Len(t, lines, 2)
	for i, status := range []string{"searching", "optimal"} {
		var answer map[string]any
		require.NoError(t, json.Unmarshal([]byte(lines[i]), &answer))
		assert.Equal(t, status, answer["status"])
	}
	last := &saggarv1.PlanRunsResponse{}
	_, err := file.Decode("x", []byte(lines[1]), last, file.Options{})
	require.NoError(t, err)
	assertSame(t, planAnswer(), last)
}

func TestWhatWasNotResolvedIsShownAndNeitherKeptNorBooked(t *testing.T) {
	f := newFakeServer(t)
	answer := planAnswer()
	answer.Status = saggarv1.PlanStatus_PLAN_STATUS_UNRESOLVED
	f.answer("PlanRuns", answer)
	kept := filepath.Join(f.dir, "kept.json")
	for _, args := range [][]string{{"plan", "bisque", "--save", kept}, {"book", "bisque"}} {
		r := f.run(append(append([]string{"run"}, args...), "--department", "ceramics")...)
		assert.Equal(t, 3, r.code, args)
		assert.Contains(t, r.out, "Nothing was found in the time that can be booked")
		assert.Contains(t, r.out, "AIR_SHORT_TERM_LIMIT", "what is still in conflict")
	}
	_, err := os.Stat(kept)
	assert.ErrorIs(t, err, os.ErrNotExist)
	assert.Zero(t, requests[*saggarv1.BookRunRequest](f))
}

func TestHoursOfAWeekAsTheyAreTyped(t *testing.T) {
	for text, want := range map[string]string{
		"mon 08:00-12:00": "mon 08:00-12:00", "Monday, WED 08:00 - 12:30": "mon,wed 08:00-12:30",
		"fri-mon 00:00-24:00": "fri,sat,sun,mon 00:00-24:00", "tu,th-fr 09:15-09:20": "tue,thu,fri 09:15-09:20",
	} {
		var hours attendFlag
		require.NoError(t, hours.Set(text), text)
		assert.Equal(t, want, hours.String())
	}
	for _, text := range []string{
		"", "mon", "08:00-12:00", "mon 8:00-12:00", "mon 24:00-24:00", "mon 25:00-26:00", "mon 08:60-09:00", "m 08:00-09:00", "mon- 08:00-09:00",
		"mon,,wed 08:00-09:00", "mon wed 08:00-09:00", "mon 08:00-08:00", "moonday 08:00-09:00",
	} {
		assert.Error(t, new(attendFlag).Set(text), "%q", text)
	}
}
