package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/client/file"
	saggarv1 "saggar/proto/saggar/v1"
)

// instant reads an RFC 3339 time.
func instant(text string) *timestamppb.Timestamp {
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		panic(err)
	}
	return timestamppb.New(t)
}

// phases are windows that follow each other, each with its kind and end.
func phases(start string, parts ...any) []*saggarv1.PhaseWindow {
	var list []*saggarv1.PhaseWindow
	from := instant(start)
	for i := 0; i < len(parts); i += 2 {
		until := instant(parts[i+1].(string))
		list = append(list, &saggarv1.PhaseWindow{Kind: parts[i].(saggarv1.PhaseKind), StartTime: from, EndTime: until})
		from = until
	}
	return list
}

const (
	charge   = saggarv1.PhaseKind_PHASE_KIND_CHARGE
	fire     = saggarv1.PhaseKind_PHASE_KIND_FIRE
	cool     = saggarv1.PhaseKind_PHASE_KIND_COOL
	wait     = saggarv1.PhaseKind_PHASE_KIND_WAIT
	draw     = saggarv1.PhaseKind_PHASE_KIND_DRAW
	clearing = saggarv1.PhaseKind_PHASE_KIND_CLEAR
	work     = saggarv1.PhaseKind_PHASE_KIND_WORK
)

// bisquePhases are a firing over a night, with the burn-off of the furnace after it.
func bisquePhases() []*saggarv1.PhaseWindow {
	return phases("2027-03-01T08:00:00Z", charge, "2027-03-01T08:20:00Z", fire, "2027-03-01T18:00:00Z",
		cool, "2027-03-02T03:00:00Z", wait, "2027-03-02T08:00:00Z", draw, "2027-03-02T08:20:00Z", clearing, "2027-03-02T10:20:00Z")
}

// warning is a finding with everything in it.
func warning(severity saggarv1.Severity) *saggarv1.Finding {
	return &saggarv1.Finding{
		Severity: severity, Code: "AIR_SHORT_TERM_LIMIT", Field: "runs[0].stage_windows[0]", About: "kiln-hall",
		Message: "SO2 reaches 1.2 ppm over 15 min", Figures: []*saggarv1.Figure{{Name: "mean", Value: 1.2, Unit: "ppm"}},
		Cure: "a steady flow of at least 2 m3/s", Source: "a published table",
	}
}

// planAnswer is a feasible plan of one run.
func planAnswer() *saggarv1.PlanRunsResponse {
	return &saggarv1.PlanRunsResponse{
		Status: saggarv1.PlanStatus_PLAN_STATUS_OPTIMAL, Revision: 7, EndTime: instant("2027-03-02T08:20:00Z"),
		Runs: []*saggarv1.Run{{
			Name: "studios/marl-lane/runs/tiles", Recipe: "studios/marl-lane/recipes/bisque/versions/2", Title: "Tiles",
			Department: "ceramics", Scale: &saggarv1.Scale{Factor: 2},
			StageWindows: []*saggarv1.StageWindow{
				{Stage: "dry", Phases: phases("2027-02-28T09:00:00Z", work, "2027-02-28T10:00:00Z")},
				{Stage: "bisque", Furnace: "big-kiln", Phases: bisquePhases()},
			},
		}},
		Reasons:  []*saggarv1.PlanReason{{Stage: "bisque", Code: "STAFFED_HOURS", About: "kiln-hall", Message: "nobody is there until Mon 1 Mar 08:00"}},
		Findings: []*saggarv1.Finding{warning(saggarv1.Severity_SEVERITY_WARN)}, Caution: "A planning estimate.",
		Assumptions: []string{"all sulfur leaves"}, VisitDays: 3, EnergyKilowattHours: 41.25,
	}
}

func impossible() *saggarv1.PlanRunsResponse {
	return &saggarv1.PlanRunsResponse{
		Status: saggarv1.PlanStatus_PLAN_STATUS_INFEASIBLE, BlamesMinimal: true, Caution: "A planning estimate.",
		Blames: []*saggarv1.PlanReason{{Code: "HORIZON", Message: "the asked time ends on Mon 1 Mar 09:00"}},
	}
}

// booked is a plan's run after booking.
func booked() *saggarv1.BookRunResponse {
	run := planAnswer().GetRuns()[0]
	run.State, run.Maker, run.Etag = saggarv1.RunState_RUN_STATE_CONFIRMED, "ada", "r8"
	return &saggarv1.BookRunResponse{
		Runs: []*saggarv1.Run{run}, Findings: []*saggarv1.Finding{warning(saggarv1.Severity_SEVERITY_WARN)}, Revision: 8,
		Assumptions: []string{"all sulfur leaves"}, Caution: "A planning estimate.",
	}
}

func TestPlanAsksWhatTheFlagsSay(t *testing.T) {
	f := newFakeServer(t)
	worse := planAnswer()
	worse.Status = saggarv1.PlanStatus_PLAN_STATUS_FEASIBLE
	worse.Runs[0].Title = "a first answer, not the best"
	f.answer("PlanRuns", worse, planAnswer())
	// Lisbon is an hour before UTC in July.
	out := f.succeed("run", "plan", "bisque", "--department", "ceramics", "--id", "tiles", "--title", "Tiles",
		"--from", "2027-07-01 08:00", "--until", "2027-07-08T08:00", "--factor", "2")
	golden(t, "plan.table.golden", out)
	want := &saggarv1.PlanRunsRequest{
		Parent: "studios/marl-lane", StartTime: instant("2027-07-01T07:00:00Z"), EndTime: instant("2027-07-08T07:00:00Z"),
		Runs: []*saggarv1.Run{{
			Name: "studios/marl-lane/runs/tiles", Recipe: "studios/marl-lane/recipes/bisque", Department: "ceramics", Title: "Tiles",
			Scale: &saggarv1.Scale{Factor: 2},
		}},
	}
	assertSame(t, want, asked[*saggarv1.PlanRunsRequest](f))
	assert.NotContains(t, out, "a first answer", "the last answer of the stream stands")
}

// assertSame compares messages.
func assertSame(t *testing.T, want, got proto.Message) {
	t.Helper()
	assert.True(t, proto.Equal(want, got), "want %v\ngot  %v", want, got)
}

func TestPlanWithoutTimesLeavesThemToTheServer(t *testing.T) {
	f := newFakeServer(t)
	f.answer("PlanRuns", planAnswer())
	f.succeed("run", "plan", "bisque/versions/2", "--department", "ceramics")
	request := asked[*saggarv1.PlanRunsRequest](f)
	assert.Nil(t, request.GetStartTime())
	assert.Nil(t, request.GetEndTime())
	assert.Nil(t, request.GetRuns()[0].GetScale(), "no flag: the recipe's own masses")
	assert.Empty(t, request.GetRuns()[0].GetName())
	assert.Equal(t, "studios/marl-lane/recipes/bisque/versions/2", request.GetRuns()[0].GetRecipe())
}

func TestAPlanThatDoesNotFitIsShownAndRefused(t *testing.T) {
	f := newFakeServer(t)
	f.answer("PlanRuns", impossible())
	for _, verb := range []string{"plan", "book"} {
		r := f.run("run", verb, "bisque", "--department", "ceramics")
		assert.Equal(t, 3, r.code, verb)
		assert.Contains(t, r.out, "HORIZON", "what makes it impossible is the answer")
		assert.Contains(t, r.out, "A planning estimate.")
		assert.Empty(t, r.errOut)
	}
	assert.Zero(t, requests[*saggarv1.BookRunRequest](f), "nothing is booked")
}

func TestAPlanThatTheServerBreaksOff(t *testing.T) {
	f := newFakeServer(t)
	f.answer("PlanRuns", &saggarv1.PlanRunsResponse{Status: saggarv1.PlanStatus_PLAN_STATUS_FEASIBLE})
	for _, args := range [][]string{{"plan", "bisque"}, {"book", "bisque"}} {
		r := f.run(append([]string{"run"}, append(args, "--department", "ceramics")...)...)
		assert.NotZero(t, r.code)
		assert.Contains(t, r.errOut, "without an answer")
	}
}

// keptPlan saves a plan as the command does.
func keptPlan(t *testing.T, f *fakeServer) string {
	t.Helper()
	f.answer("PlanRuns", planAnswer())
	path := filepath.Join(f.dir, "plan.json")
	f.succeed("run", "plan", "bisque", "--department", "ceramics", "--save", path)
	return path
}

func TestAKeptPlanIsBookedAsItIs(t *testing.T) {
	f := newFakeServer(t)
	path := keptPlan(t, f)
	kept := &saggarv1.PlanRunsResponse{}
	_, err := file.Read(path, kept, file.Options{})
	require.NoError(t, err)
	assertSame(t, planAnswer(), kept)

	f.answer("BookRun", booked())
	golden(t, "book.table.golden", f.succeed("run", "book", "--plan", path, "--acknowledge", "AIR_SHORT_TERM_LIMIT"))
	request := asked[*saggarv1.BookRunRequest](f)
	_, err = uuid.Parse(request.GetRequestId())
	assert.NoError(t, err, "a booking carries an id, so that a repeat does not book twice")
	request.RequestId = ""
	assertSame(t, &saggarv1.BookRunRequest{
		Parent: "studios/marl-lane", Runs: planAnswer().GetRuns(), Revision: 7,
		AcknowledgedFindingCodes: []string{"AIR_SHORT_TERM_LIMIT"},
	}, request)
	assert.Equal(t, 1, requests[*saggarv1.PlanRunsRequest](f), "a kept plan is not planned again")
}

func TestAnAcknowledgedCodeOfNoFindingIsNamed(t *testing.T) {
	f := newFakeServer(t)
	path := keptPlan(t, f)
	f.answer("BookRun", booked())
	f.answer("GetRun", booked().GetRuns()[0])
	f.answer("MoveRun", booked().GetRuns()[0])
	for _, verb := range [][]string{{"book"}, {"move", "tiles"}} {
		args := append(append([]string{"run"}, verb...), "--plan", path, "--acknowledge", "AIR_SHORT_TERM_LIMIT,HEAT_SLOW", "--acknowledge", "X")
		r := f.run(args...)
		assert.Zero(t, r.code, "it does no harm")
		assert.Equal(t, "saggar: --acknowledge: \"HEAT_SLOW\" is the code of no finding here\n"+
			"saggar: --acknowledge: \"X\" is the code of no finding here\n", r.errOut)
	}
	assert.Equal(t, []string{"AIR_SHORT_TERM_LIMIT", "HEAT_SLOW", "X"}, asked[*saggarv1.BookRunRequest](f).GetAcknowledgedFindingCodes())
}

func TestACheckedRunIsNotShownAsBooked(t *testing.T) {
	f := newFakeServer(t)
	path := keptPlan(t, f)
	passes, fails := booked(), booked()
	for _, answer := range []*saggarv1.BookRunResponse{passes, fails} {
		answer.Runs[0].State, answer.Runs[0].Name = saggarv1.RunState_RUN_STATE_UNSPECIFIED, ""
	}
	fails.Findings = append(fails.Findings, warning(saggarv1.Severity_SEVERITY_BLOCK))
	f.answer("CheckRun", passes, fails)
	golden(t, "run-check.table.golden", f.succeed("run", "check", "--plan", path))
	r := f.run("run", "check", "--plan", path)
	assert.Equal(t, 3, r.code)
	assert.Contains(t, r.out, "would be refused")
}

func TestAKeptPlanTakesAnotherID(t *testing.T) {
	f := newFakeServer(t)
	path := keptPlan(t, f)
	f.answer("BookRun", booked())
	f.succeed("run", "book", "--plan", path, "--id", "more-tiles")
	assert.Equal(t, "studios/marl-lane/runs/more-tiles", asked[*saggarv1.BookRunRequest](f).GetRuns()[0].GetName())
}

func TestPlanAndBookInOneGo(t *testing.T) {
	f := newFakeServer(t)
	f.answer("PlanRuns", planAnswer())
	f.answer("BookRun", booked())
	f.succeed("run", "book", "bisque", "--department", "ceramics")
	assertSame(t, planAnswer().GetRuns()[0], asked[*saggarv1.BookRunRequest](f).GetRuns()[0])
}

func TestARefusedBookingSaysWhyAndWhatWouldDo(t *testing.T) {
	f := newFakeServer(t)
	path := keptPlan(t, f)
	refusal, err := status.New(codes.FailedPrecondition, "refused").WithDetails(
		&errdetails.ErrorInfo{Reason: "BOOKING_REFUSED"}, warning(saggarv1.Severity_SEVERITY_BLOCK))
	require.NoError(t, err)
	f.answer("BookRun", refusal.Err())
	r := f.run("run", "book", "--plan", path)
	assert.Equal(t, 3, r.code)
	assert.Empty(t, r.out, "an answer that is none does not go to standard output")
	for _, part := range []string{"BLOCK AIR_SHORT_TERM_LIMIT", "cure: a steady flow of at least 2 m3/s", "source: a published table"} {
		assert.Contains(t, r.errOut, part)
	}
}

func TestCheckShowsEveryFindingAndExitsByTheWorst(t *testing.T) {
	f := newFakeServer(t)
	path := keptPlan(t, f)
	passes, fails := booked(), booked()
	fails.Findings = append(fails.Findings, warning(saggarv1.Severity_SEVERITY_BLOCK))
	f.answer("CheckRun", passes, fails)
	assert.Contains(t, f.succeed("run", "check", "--plan", path), "WARN AIR_SHORT_TERM_LIMIT: kiln-hall: SO2")
	assertSame(t, &saggarv1.CheckRunRequest{Parent: "studios/marl-lane", Runs: planAnswer().GetRuns()}, asked[*saggarv1.CheckRunRequest](f))
	r := f.run("run", "check", "--plan", path, "--output", "json")
	assert.Equal(t, 3, r.code)
	assert.Contains(t, r.out, `"severity": "BLOCK"`)
	assert.Empty(t, r.errOut, "the answer says it all")
}

func TestMoveTakesAKeptPlanOrMakesOne(t *testing.T) {
	f := newFakeServer(t)
	path := keptPlan(t, f)
	old := booked().GetRuns()[0]
	f.answer("GetRun", old)
	f.answer("MoveRun", old)
	windows := planAnswer().GetRuns()[0].GetStageWindows()
	for name, args := range map[string][]string{
		"kept": {"--plan", path}, "made": {"--from", "2027-03-05 08:00", "--until", "2027-03-20 08:00"},
	} {
		f.succeed(append([]string{"run", "move", "tiles", "--acknowledge", "AIR_SHORT_TERM_LIMIT"}, args...)...)
		request := asked[*saggarv1.MoveRunRequest](f)
		assert.NotEmpty(t, request.GetRequestId(), name)
		request.RequestId = ""
		assertSame(t, &saggarv1.MoveRunRequest{
			Name: "studios/marl-lane/runs/tiles", StageWindows: windows, Etag: "r8", AcknowledgedFindingCodes: []string{"AIR_SHORT_TERM_LIMIT"},
		}, request)
	}
	again := asked[*saggarv1.PlanRunsRequest](f)
	assert.Equal(t, old.GetRecipe(), again.GetRuns()[0].GetRecipe(), "a run keeps its recipe's version when it moves")
	assertSame(t, old.GetScale(), again.GetRuns()[0].GetScale())
	assert.Equal(t, "studios/marl-lane/runs/tiles", again.GetRuns()[0].GetName(), "its own windows are free to it")

	f.answer("PlanRuns", impossible())
	assert.Equal(t, 3, f.run("run", "move", "tiles").code)
	assert.Equal(t, 2, requests[*saggarv1.MoveRunRequest](f), "what does not fit is not moved")
}

func TestShowListAndCancel(t *testing.T) {
	f := newFakeServer(t)
	run := booked().GetRuns()[0]
	f.answer("GetRun", run)
	golden(t, "run.table.golden", f.succeed("run", "show", "tiles"))
	assert.Equal(t, "studios/marl-lane/runs/tiles", asked[*saggarv1.GetRunRequest](f).GetName())

	other := &saggarv1.Run{Name: "studios/marl-lane/runs/pots", Recipe: "studios/marl-lane/recipes/glaze/versions/1", Title: "Pots"}
	f.answer("ListRuns", &saggarv1.ListRunsResponse{Runs: []*saggarv1.Run{run}, NextPageToken: "more"},
		&saggarv1.ListRunsResponse{Runs: []*saggarv1.Run{other}})
	golden(t, "runs.table.golden", f.succeed("run", "list", "--department", "ceramics"))
	last := asked[*saggarv1.ListRunsRequest](f)
	assert.Equal(t, []string{"more", "ceramics"}, []string{last.GetPageToken(), last.GetDepartment()}, "every page is asked for the same")

	f.answer("CancelRun", run)
	f.succeed("run", "cancel", "tiles")
	cancel := asked[*saggarv1.CancelRunRequest](f)
	assert.Equal(t, "studios/marl-lane/runs/tiles", cancel.GetName())
	assert.NotEmpty(t, cancel.GetRequestId())
}

func TestRunVerbsRefuseBadInput(t *testing.T) {
	f := newFakeServer(t)
	path := keptPlan(t, f)
	empty := filepath.Join(f.dir, "empty.json")
	require.NoError(t, os.WriteFile(empty, []byte("{}"), 0o600))
	before := len(f.seen)
	for name, c := range map[string]struct {
		args []string
		says string
	}{
		"nothing to book":        {[]string{"book"}, "recipe"},
		"two things to book":     {[]string{"book", "bisque", "--plan", path}, "--plan"},
		"book for nobody":        {[]string{"book", "bisque"}, "--department"},
		"plan for nobody":        {[]string{"plan", "bisque"}, "department"},
		"plan nothing":           {[]string{"plan", "--department", "ceramics"}, "needs RECIPE"},
		"another scale":          {[]string{"book", "--plan", path, "--factor", "3"}, "factor"},
		"another time":           {[]string{"book", "--plan", path, "--from", "2027-03-01 08:00"}, "from"},
		"another department":     {[]string{"book", "--plan", path, "--department", "glass"}, "department"},
		"move by plan and time":  {[]string{"move", "tiles", "--plan", path, "--from", "2027-03-01 08:00"}, "from"},
		"scaled twice":           {[]string{"plan", "bisque", "--department", "x", "--factor", "2", "--product-grams", "5"}, "product-grams"},
		"half a crucible":        {[]string{"plan", "bisque", "--department", "x", "--crucibles", "2"}, "crucible-milliliters"},
		"negative factor":        {[]string{"plan", "bisque", "--department", "x", "--factor", "-2"}, "--factor"},
		"no plan file":           {[]string{"check", "--plan", filepath.Join(f.dir, "none")}, "cannot be read"},
		"a file without a plan":  {[]string{"check", "--plan", empty}, "holds no plan"},
		"check without a plan":   {[]string{"check"}, "plan"},
		"a plan that cannot be":  {[]string{"plan", "bisque", "--department", "x", "--save", filepath.Join(f.dir, "no", "dir")}, "no such file"},
		"a time that is skipped": {[]string{"plan", "bisque", "--department", "x", "--from", "2027-03-28 01:30"}, "does not exist in Europe/Lisbon"},
		"a time that comes twice": {
			[]string{"plan", "bisque", "--department", "x", "--until", "2027-10-31 01:30"}, "2027-10-31T01:30:00+01:00 for the first",
		},
		"no time":             {[]string{"plan", "bisque", "--department", "x", "--from", "soon"}, "--from"},
		"no recipe's id":      {[]string{"plan", "The Blue", "--department", "x"}, "RECIPE: \"The Blue\" is no id"},
		"book what is no id":  {[]string{"book", "The Blue", "--department", "x"}, "RECIPE: \"The Blue\" is no id"},
		"a recipe and a file": {[]string{"plan", "bisque", "--runs", path}, "not both"},
		"two files":           {[]string{"plan", "--runs", path, "--refresh", path}, "--refresh and --runs contradict each other"},
		"a file and a title":  {[]string{"plan", "--runs", path, "--title", "x"}, "--title"},
		"refreshed otherwise": {[]string{"plan", "--refresh", path, "--wish", "earliest"}, "--wish"},
		"refreshed at hours":  {[]string{"plan", "--refresh", path, "--attend", "mon 08:00-09:00"}, "--attend"},
		"no wish":             {[]string{"plan", "bisque", "--department", "x", "--wish", "cheapest"}, "give earliest, fewest-visits, least-energy or least-change"},
		"no day":              {[]string{"plan", "bisque", "--department", "x", "--attend", "noday 08:00-09:00"}, "\"noday\" is no day of the week"},
		"no hours":            {[]string{"plan", "bisque", "--department", "x", "--attend", "mon"}, "'mon,wed 08:00-12:00'"},
		"hours backwards":     {[]string{"plan", "bisque", "--department", "x", "--attend", "mon 12:00-08:00"}, "12:00-08:00 are no hours of a day"},
		"searched too long":   {[]string{"plan", "bisque", "--department", "x", "--search-time", "11m"}, "at most 10m"},
		"searched backwards":  {[]string{"book", "bisque", "--department", "x", "--search-time", "-1s"}, "--search-time"},
		"four alternatives":   {[]string{"plan", "bisque", "--department", "x", "--alternatives", "4"}, "give 0 to 3"},
		"taken unasked":       {[]string{"plan", "bisque", "--department", "x", "--take", "1"}, "--alternatives"},
		"take without a plan": {[]string{"book", "bisque", "--department", "x", "--take", "1"}, "give --plan FILE too"},
		"take what is none":   {[]string{"book", "--plan", path, "--take", "1"}, "there is no alternative 1, the plan has 0 alternatives"},
		"every answer":        {[]string{"plan", "bisque", "--department", "x", "--every-answer"}, "--output json"},
		"a wish for a plan":   {[]string{"book", "--plan", path, "--wish", "earliest"}, "--wish"},
		"acknowledged early":  {[]string{"replan", "--acknowledge", "X"}, "--accept"},
		"looked and accepted": {[]string{"replan", "--accept", path, "--until", "2027-03-05 08:00"}, "--until"},
		"no overrun":          {[]string{"replan", "--overrun", "tiles"}, "RUN/STAGE=TIME"},
		"overrun without end": {[]string{"replan", "--overrun", "tiles/bisque="}, "RUN/STAGE=TIME"},
		"overrun until soon":  {[]string{"replan", "--overrun", "tiles/bisque=soon"}, "--overrun"},
		"may move what":       {[]string{"replan", "--may-move", "The Tiles"}, "--may-move"},
		"no moves":            {[]string{"replan", "--accept", empty}, "holds no moves"},
		"no moves file":       {[]string{"replan", "--accept", filepath.Join(f.dir, "none")}, "cannot be read"},
	} {
		r := f.run(append([]string{"run"}, c.args...)...)
		assert.Equal(t, 2, r.code, "%s: %s", name, r.errOut)
		assert.Contains(t, r.errOut, c.says, name)
	}
	for _, m := range f.seen[before:] {
		switch m.(type) {
		case *saggarv1.BookRunRequest, *saggarv1.MoveRunRequest, *saggarv1.CheckRunRequest,
			*saggarv1.ReplanRunsRequest, *saggarv1.MoveRunsRequest:
			assert.Fail(t, "asked all the same", "%v", m)
		}
	}
}

func TestJSONIsTheMessage(t *testing.T) {
	f := newFakeServer(t)
	f.answer("PlanRuns", planAnswer())
	out := f.succeed("run", "plan", "bisque", "--department", "ceramics", "--output", "json")
	golden(t, "plan.json.golden", out)
	back := &saggarv1.PlanRunsResponse{}
	_, err := file.Decode("answer", []byte(out), back, file.Options{})
	require.NoError(t, err)
	assertSame(t, planAnswer(), back)
}

func TestFindingsAreBrokenAtTheWidthOfATable(t *testing.T) {
	f := warning(saggarv1.Severity_SEVERITY_BLOCK)
	f.Message, f.Cure = strings.Repeat("over the limit ", 20), strings.Repeat("less of it ", 20)
	var text []string
	for _, row := range findingGrids([]*saggarv1.Finding{f, f})[0].Rows { // a repeat is shown once
		require.Len(t, row, 1)
		assert.LessOrEqual(t, len(row[0]), tableWidth)
		text = append(text, strings.TrimSpace(row[0]))
	}
	assert.Equal(t, "BLOCK AIR_SHORT_TERM_LIMIT: kiln-hall: "+f.Message+"cure: "+f.Cure+"source: a published table", strings.Join(text, " "))
}
