package app_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/heat"
	"saggar/server/app"
	"saggar/server/domain"
)

// many asks for several runs over four weeks from Monday.
func many(runs ...app.RunRequest) app.PlanInput {
	for i := range runs {
		runs[i].ID = fmt.Sprintf("%s-%d", runs[i].RecipeID, i)
	}
	return app.PlanInput{
		StudioID: "test", Runs: runs, Window: domain.Window{Start: monday, End: monday.AddDate(0, 0, 28)}, SearchTime: 5 * time.Second,
	}
}

// TestManyRunsAreBookedAsPlanned: the answer to several runs is booked as it is, in one go.
func TestManyRunsAreBookedAsPlanned(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	var improvements int
	var last app.PlanAnswer
	in := many(request("blue", 1), request("red", 1), request("blue", 0.5), request("red", 2))
	require.NoError(t, b.PlanRuns(b.ctx, in, func(a app.PlanAnswer) error {
		if a.Status == app.PlanSearching && len(a.Runs) > 0 {
			improvements++
			assert.NotEmpty(t, a.Progress.Objectives)
			assert.Empty(t, b.blocks(t, a.Runs...), "what is shown while the search goes on can be booked")
		}
		last = a
		return nil
	}))
	require.Contains(t, []app.PlanStatus{app.PlanOptimal, app.PlanFeasible}, last.Status)
	assert.Positive(t, improvements)
	require.Len(t, last.Runs, 4)
	for i, run := range last.Runs {
		assert.Equal(t, in.Runs[i].ID, run.ID)
	}
	seen := map[[2]string]bool{}
	for _, r := range last.Reasons {
		seen[[2]string{last.Runs[r.Run].ID, r.Stage}] = true
	}
	assert.GreaterOrEqual(t, len(seen), 6, "what holds the stages is said: %v", last.Reasons)
	require.Len(t, last.Progress.Objectives, 1)
	assert.GreaterOrEqual(t, last.Progress.Objectives[0].Value, last.Progress.Objectives[0].Bound)
	booked, err := b.BookRun(b.ctx, call("BookRun"), app.BookRunInput{StudioID: "test", Runs: last.Runs, Acknowledged: codes(planned{PlanAnswer: last})})
	require.NoError(t, err)
	assert.Len(t, booked.Runs, 4)
}

// TestTheAirKeepsRunsApart: two charges that the room carries one at a time are planned so that their gases do not meet, and
// the plan is not sent back for each start again.
func TestTheAirKeepsRunsApart(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	factor := b.addGlow(t)
	both, err := b.planInput(many(request("glow", factor), request("glow", factor), request("glow", factor)))
	require.NoError(t, err)
	require.Contains(t, []app.PlanStatus{app.PlanOptimal, app.PlanFeasible}, both.Status, "%v %v", both.Blames, both.Findings)
	assert.Positive(t, both.Progress.AirRounds)
	assert.Less(t, both.Progress.AirRounds, 40)
	assert.Empty(t, b.blocks(t, both.Runs...))
	// As near as without the air they could not be booked.
	near := both.Runs[1]
	near.Windows = shifted(near.Windows, both.Runs[0].Windows[0].Window().Start.Sub(near.Windows[0].Window().Start))
	if near.Windows[0].Furnace == both.Runs[0].Windows[0].Furnace {
		near.Windows[0].Furnace = map[string]string{"pot": "pot-two", "pot-two": "pot"}[near.Windows[0].Furnace]
	}
	assert.Contains(t, b.blocks(t, both.Runs[0], near), "AIR_SHORT_TERM_LIMIT")
}

// addGlow adds a recipe of one stage that gives off sulfur dioxide, and a second furnace that can do it. It returns a scale that
// the room carries once and not twice at one time.
func (b bench) addGlow(t *testing.T) float64 {
	t.Helper()
	load := testStudio()
	second := testFurnace("pot-two")
	load.Equipment = append(load.Equipment, domain.Equipment{Kind: domain.KindFurnace, ID: second.ID, Furnace: &second})
	load.Recipes = append(load.Recipes, chem.Recipe{ID: "glow", Title: "Glow", Stages: []chem.Stage{{
		ID: "fire", Kind: chem.Oxidise, Atmosphere: heat.Oxidising, Lid: chem.LooseLid, MaxWaitMinutes: 1440, Furnaces: []string{"pot", "pot-two"},
		Additions: []chem.Addition{{Material: "kaolin", MassGrams: 50}, {Material: "sulfur", MassGrams: 5}},
		Program:   &heat.Program{Segments: []heat.Segment{{ToCelsius: 500, RateCelsiusPerHour: 200, HoldMinutes: 60}}},
	}}})
	_, err := b.LoadStudio(b.ctx, call("LoadStudio"), load)
	require.NoError(t, err)
	for factor := 1.0; factor < 100; factor *= 1.2 {
		alone, err := b.planInput(many(request("glow", factor)))
		require.NoError(t, err)
		if alone.Status == app.PlanInfeasible {
			require.Equal(t, "AIR", alone.Blames[0].Code)
			return factor / 1.2 * 0.8
		}
	}
	t.Fatal("the room carries whatever is asked")
	return 0
}

func TestWishes(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	plan := func(wish app.PlanWish) planned {
		in := many(request("blue", 1))
		in.Wish = wish
		answer, err := b.planInput(in)
		require.NoError(t, err)
		require.Equal(t, app.PlanOptimal, answer.Status, "%s: %v", wish, answer.Blames)
		assert.Empty(t, b.blocks(t, answer.Run))
		return answer
	}
	earliest, visits, energy := plan(app.WishEarliest), plan(app.WishFewestVisits), plan(app.WishLeastEnergy)
	assert.False(t, visits.End.Before(earliest.End))
	assert.LessOrEqual(t, visits.VisitDays, earliest.VisitDays)
	assert.InDelta(t, float64(visits.VisitDays), visits.Progress.Objectives[0].Value, 0, "days counted apart from the search")
	assert.LessOrEqual(t, energy.KilowattHours, earliest.KilowattHours)
	assert.InDelta(t, energy.KilowattHours, energy.Progress.Objectives[0].Value, 1e-9)
}

func TestOwnLimitsHold(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	plan := func(limits domain.PlanLimits) planned {
		in := many(request("blue", 1))
		in.Limits = []domain.PlanLimits{limits}
		answer, err := b.planInput(in)
		require.NoError(t, err)
		require.Equal(t, app.PlanOptimal, answer.Status, "%v", answer.Blames)
		return answer
	}
	mornings := plan(domain.PlanLimits{Attendance: []domain.WeeklyHours{{
		Days: []time.Weekday{1, 2, 4, 5}, OpensMinute: 8 * 60, ClosesMinute: 12 * 60, // a cold furnace may wait for a day
	}}})
	at := 0
	for _, window := range mornings.Run.Windows {
		for _, phase := range window.Phases {
			if phase.Kind != heat.Charge && phase.Kind != heat.Draw && phase.Kind != heat.Work {
				continue
			}
			at++
			assert.Contains(t, []time.Weekday{1, 2, 4, 5}, phase.Window.Start.Weekday())
			assert.GreaterOrEqual(t, phase.Window.Start.Hour(), 8)
			assert.False(t, phase.Window.End.After(phase.Window.Start.Truncate(24*time.Hour).Add(12*time.Hour)), "%v", phase)
		}
	}
	assert.Equal(t, 7, at)
	free := plan(domain.PlanLimits{})
	avoided := free.Run.Windows[3].Furnace
	other := plan(domain.PlanLimits{AvoidFurnaces: []string{avoided}})
	assert.NotEqual(t, avoided, other.Run.Windows[3].Furnace)
	late := plan(domain.PlanLimits{Start: monday.AddDate(0, 0, 2), HeatOnlyWhileStaffed: true})
	assert.False(t, late.Run.Windows[0].Window().Start.Before(monday.AddDate(0, 0, 2)))
	for _, window := range late.Run.Windows {
		for _, phase := range window.Phases {
			if phase.Kind == heat.Fire && phase.Window.Minutes() > 0 {
				assert.Equal(t, phase.Window.Start.YearDay(), phase.Window.End.YearDay(), "the studio is staffed from 7 to 23")
				assert.GreaterOrEqual(t, phase.Window.Start.Hour(), 7)
			}
		}
	}
	in := many(request("blue", 1))
	in.Limits = []domain.PlanLimits{{End: monday.AddDate(0, 0, 1)}}
	answer, err := b.planInput(in)
	require.NoError(t, err)
	assert.Equal(t, app.PlanInfeasible, answer.Status)
	assert.NotEmpty(t, answer.Blames)
}

func TestAlternativesDifferAndCanBeBooked(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	in := many(request("blue", 1))
	in.Alternatives = 3
	answer, err := b.planInput(in)
	require.NoError(t, err)
	require.NotEmpty(t, answer.Alternatives)
	for i, other := range answer.Alternatives {
		assert.NotEmpty(t, other.Summary)
		assert.Empty(t, b.blocks(t, other.Run))
		for _, earlier := range answer.Alternatives[:i] {
			assert.NotEqual(t, earlier.Run.Windows, other.Run.Windows)
		}
		furnaces := false
		for k, window := range other.Run.Windows {
			furnaces = furnaces || window.Furnace != answer.Run.Windows[k].Furnace
		}
		assert.True(t, furnaces || other.VisitDays != answer.VisitDays || heatAtNight(other.Run) != heatAtNight(answer.Run),
			"%s differs in more than times", other.Summary)
		t.Log(other.Summary)
	}
}

// heatAtNight says whether anything burns while the test studio is empty, from 23 to 7.
func heatAtNight(run app.RunRequest) bool {
	for _, window := range run.Windows {
		for _, phase := range window.Phases {
			for at := phase.Window.Start; phase.Kind == heat.Fire && at.Before(phase.Window.End); at = at.Add(time.Minute) {
				if at.Hour() >= 23 || at.Hour() < 7 {
					return true
				}
			}
		}
	}
	return false
}

// TestAnOvertakenPlanIsRefreshed: what others booked in between is said, and the plan that stays nearest is found.
func TestAnOvertakenPlanIsRefreshed(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	plan := b.plan(t, request("blue", 1), monday)
	taken := b.plan(t, request("blue", 1), monday)
	_, err := b.book(taken, "")
	require.NoError(t, err)
	_, err = b.book(plan, "")
	var refusal *domain.Refusal
	require.ErrorAs(t, err, &refusal)
	last := refusal.Findings[len(refusal.Findings)-1]
	assert.Equal(t, "PLAN_OVERTAKEN", last.Code)
	assert.Contains(t, last.Message, "run "+taken.Runs[0].RecipeID+"-")
	assert.Contains(t, last.Message, "was booked")
	in := many(plan.Run)
	in.Wish = app.WishLeastChange
	fresh, err := b.planInput(in)
	require.NoError(t, err)
	require.Equal(t, app.PlanOptimal, fresh.Status, "%v", fresh.Blames)
	assert.Empty(t, b.blocks(t, fresh.Run))
	again := b.plan(t, request("blue", 1), monday)
	assert.LessOrEqual(t, moved(plan.Run, fresh.Run), moved(plan.Run, again.Run), "no plan is nearer")
	assert.InDelta(t, moved(plan.Run, fresh.Run), fresh.Progress.Objectives[0].Value, 0)
	in.Runs[0].Windows = nil
	_, err = b.planInput(in)
	require.Error(t, err)
	assert.Contains(t, err.Error(), "stage_windows")
}

// moved is how far a run's stages lie from where they were, in minutes, another furnace as four hours.
func moved(from, to app.RunRequest) float64 {
	sum := 0.0
	for i, window := range to.Windows {
		sum += window.Window().Start.Sub(from.Windows[i].Window().Start).Abs().Minutes()
		if window.Furnace != from.Windows[i].Furnace {
			sum += 240
		}
	}
	return sum
}

func TestPlanRequestsThatCannotBe(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	first := b.plan(t, request("red", 1), monday)
	booked, err := b.book(first, "")
	require.NoError(t, err)
	cases := map[string]struct {
		change func(in *app.PlanInput)
		want   string
	}{
		"limits for some":      {func(in *app.PlanInput) { in.Limits = make([]domain.PlanLimits, 3) }, "limits"},
		"alternatives of many": {func(in *app.PlanInput) { in.Alternatives = 1 }, "alternative_count"},
		"the same run twice":   {func(in *app.PlanInput) { in.Runs[1].ID = in.Runs[0].ID }, "runs[1].name"},
		"some stand":           {func(in *app.PlanInput) { in.Runs[1].ID = booked.Runs[0].ID }, "runs[1].name"},
		"a furnace nobody has": {func(in *app.PlanInput) { in.Limits = []domain.PlanLimits{{AvoidFurnaces: []string{"gone"}}} }, "avoid_furnaces"},
		"hours that end before": {func(in *app.PlanInput) {
			in.Limits = []domain.PlanLimits{{Attendance: []domain.WeeklyHours{{Days: []time.Weekday{1}, OpensMinute: 60, ClosesMinute: 30}}}}
		}, "limits[0].attendance[0].closes"},
		"a deadline before": {func(in *app.PlanInput) {
			in.Limits = []domain.PlanLimits{{Start: monday, End: monday}}
		}, "limits[0].end_time"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			in := many(request("red", 1), request("red", 1))
			c.change(&in)
			_, err := b.planInput(in)
			require.Error(t, err)
			assert.Contains(t, err.Error(), c.want)
		})
	}
}
