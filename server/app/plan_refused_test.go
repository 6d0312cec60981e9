package app_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/app"
	"saggar/server/domain"
)

// planAs plans one run as somebody with a role, over two weeks.
func (b bench) planAs(t *testing.T, maker string, role domain.Role, run app.RunRequest) planned {
	t.Helper()
	answer, err := b.planInput(app.PlanInput{
		StudioID: "test", Runs: []app.RunRequest{run}, Maker: maker, Role: role, Window: domain.Window{Start: monday, End: monday.AddDate(0, 0, 14)},
	})
	require.NoError(t, err)
	return answer
}

func reasonCodes(reasons []app.PlanReason) (codes []string) {
	for _, r := range reasons {
		codes = append(codes, r.Code)
	}
	return codes
}

// TestAPlanGoesNoFurtherAheadThanItsMakerBooks: what could only be booked later is refused, naming the limit.
func TestAPlanGoesNoFurtherAheadThanItsMakerBooks(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.limitBy(t, domain.BookingRule{Kind: domain.KindBookingLimit, ID: "near", Limit: &domain.BookingLimit{ID: "near", Role: domain.RoleMaker, AheadDays: 3}})
	require.Equal(t, app.PlanOptimal, b.planAs(t, "ada", domain.RoleMaker, request("red", 1)).Status)
	b.close(t, domain.KindRoom, "bay", domain.Window{Start: monday.Add(-time.Hour), End: monday.AddDate(0, 0, 5)})
	answer := b.planAs(t, "ada", domain.RoleMaker, request("red", 1))
	require.Equal(t, app.PlanInfeasible, answer.Status)
	assert.Empty(t, answer.Runs)
	require.Contains(t, reasonCodes(answer.Blames), "BOOKED_TOO_FAR_AHEAD", "%v", answer.Blames)
	assert.NotContains(t, reasonCodes(answer.Blames), "AIR")
	assert.NotContains(t, reasonCodes(answer.Blames), "HORIZON", "a later end would not do: %v", answer.Blames)
	assert.Equal(t, app.PlanOptimal, b.planAs(t, "tom", domain.RoleTechnician, request("red", 1)).Status, "it is for makers")
}

// TestAPlanKeepsToAllotments: what is spent this week goes into the next, says so, and can be booked; hours held unused are cured
// by no time.
func TestAPlanKeepsToAllotments(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.put(t, domain.Equipment{Kind: domain.KindStaffedHours, ID: "bay", Hours: &domain.StaffedHours{ID: "bay", Weekly: []domain.WeeklyHours{
		{Days: []time.Weekday{0, 1, 2, 3, 4, 5, 6}, OpensMinute: 0, ClosesMinute: 24 * 60}, // so that nothing else holds it
	}}})
	first := b.planAs(t, "ada", domain.RoleMaker, request("red", 1))
	run, blocks, err := b.tryBook(as("ada", domain.RoleMaker, "BookRun"), first.Run, codes(first))
	require.NoError(t, err)
	require.Empty(t, blocks)
	b.limitBy(t, allotment(domain.Allotment{ID: "week", Department: "ceramics", FurnaceHours: 1.5 * run.Firings()[0].Use().FurnaceHours}))
	next := b.planAs(t, "ada", domain.RoleMaker, request("red", 1))
	require.Equal(t, app.PlanFeasible, next.Status, "%v", next.Blames)
	assert.False(t, next.Run.Windows[0].Window().Start.Before(monday.AddDate(0, 0, 6).Truncate(24*time.Hour)), "from Sunday midnight on")
	require.Contains(t, reasonCodes(next.Reasons), "ALLOTMENT_SPENT", "%v", next.Reasons)
	_, blocks, err = b.tryBook(as("ada", domain.RoleMaker, "BookRun"), next.Run, codes(next))
	require.NoError(t, err)
	assert.Empty(t, blocks)

	both := many(request("red", 1), request("red", 1))
	both.Maker, both.Role = "ada", domain.RoleMaker
	both.Runs[0].ID, both.Runs[1].ID = "one-more", "and-one"
	answer, err := b.planInput(both)
	require.NoError(t, err)
	require.Equal(t, app.PlanFeasible, answer.Status, "%v", answer.Blames)
	apart := answer.Runs[1].Windows[0].Window().Start.Sub(answer.Runs[0].Windows[0].Window().Start)
	assert.Greater(t, apart.Abs(), 24*time.Hour, "one fits into each week, and the next has one")
	assert.False(t, finding.Blocks(answer.Findings))

	b.limitBy(t, domain.BookingRule{Kind: domain.KindBookingLimit, ID: "held", Limit: &domain.BookingLimit{ID: "held", Role: domain.RoleMaker, UnusedHours: 1}})
	answer = b.planAs(t, "ada", domain.RoleMaker, request("red", 1))
	require.Equal(t, app.PlanInfeasible, answer.Status)
	assert.Contains(t, reasonCodes(answer.Blames), "UNUSED_HOURS")
}

// TestAPlanUsesASignOff: a load that the room's air never carries with people inside is fired while nobody may be.
func TestAPlanUsesASignOff(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	load := testStudio()
	load.Equipment[0].Room.MakeUpCubicMetersPerSecond = 0.05
	load.Recipes = append(load.Recipes, chem.Recipe{ID: "coke", Title: "Coke", Stages: []chem.Stage{{
		ID: "reduce", Kind: chem.Reduce, Additions: []chem.Addition{{Material: "charcoal", MassGrams: 3000}, {Material: "goethite", MassGrams: 5000}},
		Program:    &heat.Program{Segments: []heat.Segment{{ToCelsius: 900, RateCelsiusPerHour: 100, HoldMinutes: 120}}},
		Atmosphere: heat.Reducing, Lid: chem.LooseLid, Furnaces: []string{"pot"}, MaxWaitMinutes: 2880,
	}}})
	_, err := b.LoadStudio(b.ctx, call("LoadStudio"), load)
	require.NoError(t, err)
	answer := b.plan(t, request("coke", 1), monday)
	require.Equal(t, app.PlanInfeasible, answer.Status)
	require.Equal(t, []string{"AIR"}, reasonCodes(answer.Blames), "%v", answer.Blames)
	signed := domain.Window{Start: monday.AddDate(0, 0, 2), End: monday.AddDate(0, 0, 3).Add(6 * time.Hour)}
	require.NoError(t, b.signOff(signed.Start, signed.End))
	answer = b.plan(t, request("coke", 1), monday)
	require.Contains(t, []app.PlanStatus{app.PlanOptimal, app.PlanFeasible}, answer.Status, "%v", answer.Blames)
	assert.Empty(t, b.blocks(t, answer.Run))
	window := answer.Run.Windows[0]
	assert.False(t, phase(window, heat.Charge).Overlaps(signed))
	assert.False(t, phase(window, heat.Draw).Overlaps(signed))
	assert.True(t, window.Window().Overlaps(signed))
}

// TestAnswersOnTheWayAreCheckedToo: what refuses a plan shows before the search ends.
func TestAnswersOnTheWayAreCheckedToo(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.limitBy(t, domain.BookingRule{Kind: domain.KindBookingLimit, ID: "held", Limit: &domain.BookingLimit{ID: "held", Role: domain.RoleMaker, UnusedHours: 1}})
	in := many(request("red", 1), request("red", 1))
	in.Maker, in.Role = "ada", domain.RoleMaker
	shown := 0
	require.NoError(t, b.PlanRuns(b.ctx, in, func(a app.PlanAnswer) error {
		if a.Status == app.PlanSearching && len(a.Runs) > 0 {
			shown++
			assert.NotNil(t, findingOf(a.Findings, "UNUSED_HOURS"))
		}
		return nil
	}))
	assert.Positive(t, shown)
}

// TestAReplanKeepsToWhatItsMakerMay: moves that only a technician could accept are not offered to a maker.
func TestAReplanKeepsToWhatItsMakerMay(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	first := b.planAs(t, "ada", domain.RoleMaker, request("red", 1))
	run, blocks, err := b.tryBook(as("ada", domain.RoleMaker, "BookRun"), first.Run, codes(first))
	require.NoError(t, err)
	require.Empty(t, blocks)
	b.limitBy(t, domain.BookingRule{Kind: domain.KindBookingLimit, ID: "near", Limit: &domain.BookingLimit{ID: "near", Role: domain.RoleMaker, AheadDays: 3}})
	b.close(t, domain.KindRoom, "bay", domain.Window{Start: run.Loads[0].Window.Start.Add(-time.Hour), End: monday.AddDate(0, 0, 5)})
	answer := b.replan(t, as("ada", domain.RoleMaker, "ReplanRuns"), app.ReplanInput{})
	assert.Empty(t, answer.Moves)
	assert.Contains(t, reasonCodes(answer.Blames), "BOOKED_TOO_FAR_AHEAD")
	answer = b.replan(t, as("tom", domain.RoleTechnician, "ReplanRuns"), app.ReplanInput{})
	assert.Len(t, answer.Moves, 1)
}

// TestBlamesNameTheirRun: where several are planned, also when what refuses one is found without a search.
func TestBlamesNameTheirRun(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	in := many(request("red", 1), request("blue", 1))
	in.Limits = []domain.PlanLimits{{}, {End: monday.Add(5 * time.Hour)}}
	answer, err := b.planInput(in)
	require.NoError(t, err)
	require.Equal(t, app.PlanInfeasible, answer.Status)
	labels := map[string]bool{}
	for _, blame := range answer.Blames {
		labels[blame.Label] = true
		assert.Equal(t, blame.Stage == "", blame.Label == "", "%v", blame)
	}
	assert.True(t, labels["blue-1"], "%v", answer.Blames)
	assert.False(t, answer.Moving)

	booked, err := b.book(b.plan(t, request("red", 1), monday), "")
	require.NoError(t, err)
	again := request("red", 1)
	again.ID = booked.Runs[0].ID
	assert.True(t, b.plan(t, again, monday).Moving, "it stands")
}
