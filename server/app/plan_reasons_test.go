package app

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/assess"
	"saggar/chem/heat"
	"saggar/scheduler"
	"saggar/server/domain"
)

// saturday is the origin of the plans explained here; minute 0 is at 15:30.
var saturday = time.Date(2027, time.March, 27, 15, 30, 0, 0, time.UTC)

const minutesPerDay = 24 * 60

// explained is a planner for a charge, a fire, cooling, at most a day of waiting and a draw in the room "bay", which has
// the first calendar; the second is for somebody in reach.
func explained() *planner {
	p := &planner{site: &domain.Site{Zone: time.UTC}, origin: saturday}
	p.index = resourceIndex{supply: map[string]int{"panel": 0}, reach: 1}
	run := &plannedRun{charge: assess.Charge{Recipe: chem.Recipe{Stages: []chem.Stage{{ID: "calcine"}}}}}
	p.runs = []*plannedRun{run}
	p.tasks = []plannedTask{{run: run, latest: -1}}
	p.problem = scheduler.Problem{
		HorizonMinutes: 14 * minutesPerDay, StepMinutes: 5,
		Unaries:     []scheduler.Unary{{Name: "pot"}},
		Cumulatives: []scheduler.Cumulative{{Name: "panel", Capacity: 5000}, {Name: "bay", Capacity: 2}},
		Calendars:   []scheduler.Calendar{{Name: "bay"}, {Name: "anybody in reach"}},
		Tasks: []scheduler.Task{{Name: "calcine", Modes: []scheduler.Mode{{Phases: []scheduler.Phase{
			{Name: string(heat.Charge), Minutes: 20, Calendar: 0},
			{Name: string(heat.Fire), Minutes: 325, Calendar: -1, Demands: []scheduler.Demand{{Amount: 4000}}},
			{Name: string(heat.Cool), Minutes: 458, Calendar: -1},
			{Name: string(heat.Wait), MaxMinutes: minutesPerDay, Calendar: -1},
			{Name: string(heat.Draw), Minutes: 20, Calendar: 0, Demands: []scheduler.Demand{{Cumulative: 1, Amount: 1}}},
		}}}}},
	}
	for day := range 14 {
		midnight := day*minutesPerDay - 15*60 - 30
		switch weekday := saturday.AddDate(0, 0, day).Weekday(); weekday {
		case time.Sunday:
		case time.Saturday:
			p.staff(midnight+8*60, midnight+17*60)
		default:
			p.staff(midnight+8*60, midnight+20*60)
		}
	}
	return p
}

func (p *planner) staff(opens, closes int) {
	for i := range p.problem.Calendars {
		c := &p.problem.Calendars[i]
		c.Open = append(c.Open, scheduler.Interval{Start: opens, End: closes})
	}
}

func (p *planner) phase(index int) *scheduler.Phase {
	return &p.problem.Tasks[0].Modes[0].Phases[index]
}

func (p *planner) solved(t *testing.T) scheduler.Result {
	t.Helper()
	result, err := scheduler.Solve(context.Background(), p.problem, scheduler.Options{})
	require.NoError(t, err)
	return result
}

// TestReasonNamesThePhaseThatHolds: on Saturday afternoon somebody is there to charge, but nobody when it must be drawn.
func TestReasonNamesThePhaseThatHolds(t *testing.T) {
	cases := map[string]struct {
		change func(p *planner)
		want   []PlanReason
	}{
		"to draw": {func(*planner) {}, []PlanReason{{
			Stage: "calcine", Code: "STAFFED_HOURS", About: "bay",
			Message: "to draw, somebody must be there (bay); next from Mon 29 Mar 08:00",
		}}},
		"in reach while it fires": {func(p *planner) { p.phase(1).Calendar = 1 }, []PlanReason{{
			Stage: "calcine", Code: "STAFFED_HOURS", About: "anybody in reach",
			Message: "while it fires, somebody must be in reach; next from Mon 29 Mar 08:00",
		}, {
			Stage: "calcine", Code: "STAFFED_HOURS", About: "bay",
			Message: "to charge, somebody must be there (bay); next from Mon 29 Mar 08:00",
		}}},
		"the supply while it fires": {func(p *planner) {
			p.phase(0).Calendar, p.phase(4).Calendar = -1, -1
			p.problem.Cumulatives[0].Used = []scheduler.Step{{Interval: scheduler.Interval{End: 60}, Amount: 2000}}
		}, []PlanReason{{
			Stage: "calcine", Code: "SUPPLY", About: "panel", Message: "while it fires, panel carries no more until Sat 27 Mar 16:30",
		}}},
		"the crew": {func(p *planner) {
			p.phase(0).Calendar, p.phase(4).Calendar, p.phase(3).MaxMinutes = -1, -1, 0
			p.problem.Cumulatives[1].Used = []scheduler.Step{{Interval: scheduler.Interval{End: 860}, Amount: 2}}
		}, []PlanReason{{
			Stage: "calcine", Code: "CREW", About: "bay", Message: "to draw, the people in bay are busy until Sun 28 Mar 05:50",
		}}},
		"the furnace": {func(p *planner) {
			p.phase(0).Calendar, p.phase(4).Calendar = -1, -1
			p.problem.Unaries[0].Busy = []scheduler.Interval{{End: 30}}
		}, []PlanReason{{Stage: "calcine", Code: "FURNACE_BUSY", About: "pot", Message: "pot is taken until Sat 27 Mar 16:00"}}},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			p := explained()
			c.change(p)
			result := p.solved(t)
			require.Equal(t, c.want, p.reasons(result.Solution, result.Reasons))
		})
	}
}

// TestEveryPhaseHasWords keeps a new kind of phase from beginning a sentence with nothing.
func TestEveryPhaseHasWords(t *testing.T) {
	for _, kind := range []heat.PhaseKind{
		heat.Warm, heat.Charge, heat.Fire, heat.Feed, heat.Cool, heat.Open, heat.Wait, heat.Draw, heat.Clear, heat.Work,
	} {
		require.NotEmpty(t, phaseWords[kind], kind)
	}
}

// TestBlameOfWhatIsSolved holds what is told of a failure against the figures of the problem.
func TestBlameOfWhatIsSolved(t *testing.T) {
	cases := map[string]struct {
		change func(p *planner)
		want   []PlanReason
	}{
		"somebody there throughout": {func(p *planner) {
			p.phase(1).Calendar, p.phase(2).Calendar, p.phase(3).MaxMinutes = 0, 0, 0
		}, []PlanReason{{
			Code: "STAFFED_HOURS", About: "bay",
			Message: "somebody must be there (bay) for 823 min at a stretch; the longest is 720",
		}}},
		"two rosters that together are too short": {func(p *planner) {
			p.phase(1).Calendar, p.phase(2).Minutes, p.phase(3).MaxMinutes, p.phase(4).Minutes = 1, 0, 0, 280
			p.problem.Calendars[0].Open = []scheduler.Interval{{Start: 0, End: 100}, {Start: 420, End: 700}}
			p.problem.Calendars[1].Open = []scheduler.Interval{{Start: 0, End: 350}}
		}, []PlanReason{{
			Code: "STAFFED_HOURS", About: "bay, anybody in reach",
			Message: "somebody must be there (bay, anybody in reach) for 625 min at a stretch; the longest is 350",
		}}},
		"the window ends too early": {func(p *planner) {
			p.problem.HorizonMinutes = 2 * minutesPerDay
		}, []PlanReason{{
			Code:    "HORIZON",
			Message: "everything must be over by Mon 29 Mar 15:30; with a later end it could be by Tue 30 Mar 08:20",
		}, {
			Code: "STAFFED_HOURS", About: "bay",
			Message: "no time fits the staffed hours of bay together with the others named",
		}}},
		"nothing else is to blame": {func(p *planner) {
			p.problem.Calendars[0].Open = []scheduler.Interval{{Start: 0, End: 50}}
		}, []PlanReason{{Code: "STAFFED_HOURS", About: "bay", Message: "no time fits the staffed hours of bay"}}},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			p := explained()
			c.change(p)
			require.Equal(t, c.want, p.blames(p.solved(t)))
		})
	}
}

// TestBlameInWords: figures are told only where they show what is missing.
func TestBlameInWords(t *testing.T) {
	const together = " together with the others named"
	cases := []struct {
		blame scheduler.Blame
		want  PlanReason
	}{
		{scheduler.Blame{Kind: scheduler.KindBusy, Name: "pot", Need: 90, Have: 50}, PlanReason{
			Code: "FURNACE_BUSY", About: "pot", Message: "pot is needed for 90 min at a stretch and stands free for 50 at most",
		}},
		{scheduler.Blame{Kind: scheduler.KindBusy, Name: "pot", Need: 90, Have: 180}, PlanReason{
			Code: "FURNACE_BUSY", About: "pot", Message: "no time fits what is booked on pot" + together,
		}},
		{scheduler.Blame{Kind: scheduler.KindShared, Name: "pot", Need: 180, Have: 179}, PlanReason{
			Code: "FURNACE_BUSY", About: "pot", Message: "pot is needed for 180 min in all, of 179 asked for",
		}},
		{scheduler.Blame{Kind: scheduler.KindShared, Name: "pot", Need: 0, Have: 179}, PlanReason{
			Code: "FURNACE_BUSY", About: "pot", Message: "no time fits the stages one after another on pot" + together,
		}},
		{scheduler.Blame{Kind: scheduler.KindCalendar, Index: 1, Name: "anybody in reach", Need: 0, Have: 780}, PlanReason{
			Code: "STAFFED_HOURS", About: "anybody in reach", Message: "no time fits the hours with somebody in reach" + together,
		}},
		{scheduler.Blame{Kind: scheduler.KindTooLong, Index: 1, Name: "anybody in reach", Need: 90, Have: 80}, PlanReason{
			Code: "STAFFED_HOURS", About: "anybody in reach",
			Message: "somebody must be in reach for 90 min at a stretch; the longest is 80",
		}},
		{scheduler.Blame{Kind: scheduler.KindOverDemand, Name: "panel", Need: 4000, Have: 3000}, PlanReason{
			Code: "SUPPLY", About: "panel", Message: "panel is needed for 4.0 kW and can give 3.0 kW",
		}},
		{scheduler.Blame{Kind: scheduler.KindCumulative, Name: "panel", Need: 4000, Have: 3000}, PlanReason{
			Code: "SUPPLY", About: "panel", Message: "panel is needed for 4.0 kW and at times has no more left than 3.0 kW",
		}},
		{scheduler.Blame{Kind: scheduler.KindCumulative, Name: "panel", Need: 3000, Have: 3000}, PlanReason{
			Code: "SUPPLY", About: "panel", Message: "no time fits what panel has left" + together,
		}},
		{scheduler.Blame{Kind: scheduler.KindOverDemand, Index: 1, Name: "bay", Need: 3, Have: 2}, PlanReason{
			Code: "CREW", About: "bay", Message: "bay needs 3 people at once and has 2",
		}},
		{scheduler.Blame{Kind: scheduler.KindCumulative, Index: 1, Name: "bay", Need: 1, Have: 2}, PlanReason{
			Code: "CREW", About: "bay", Message: "no time fits the people free in bay" + together,
		}},
		{scheduler.Blame{Kind: scheduler.KindForbidden, Name: "calcine"}, PlanReason{
			Stage: "calcine", Code: "AIR", About: "calcine",
			Message: "the air does not carry stage calcine; see the findings for what would be enough",
		}},
		{scheduler.Blame{Kind: scheduler.KindLagMinimum, Name: "calcine to glaze", Need: 30, Have: -1}, PlanReason{
			Stage: "glaze", Code: "LAG", About: "calcine to glaze", Message: "glaze may start at the earliest 30 min after calcine",
		}},
		{scheduler.Blame{Kind: scheduler.KindLagMinimum, Index: 1, Name: "calcine to glaze", Have: -1}, PlanReason{
			Stage: "glaze", Code: "LAG", About: "calcine to glaze", Message: "glaze may start only after calcine",
		}},
		{scheduler.Blame{Kind: scheduler.KindLagMaximum, Name: "calcine to glaze", Need: -1, Have: 45}, PlanReason{
			Stage: "glaze", Code: "LAG", About: "calcine to glaze", Message: "calcine must be followed by glaze within 60 min",
		}},
	}
	p := twoStages()
	horizon := scheduler.Blame{Kind: scheduler.KindHorizon, Need: -1, Have: 60}
	for _, c := range cases {
		require.Equal(t, []PlanReason{
			{Code: "HORIZON", Message: "everything must be over by Sat 27 Mar 16:30"}, c.want,
		}, p.blames(scheduler.Result{Blame: []scheduler.Blame{c.blame, horizon}}))
	}
}

// twoStages is a plan with a second stage, 30 to 60 minutes after the first as the recipe says; the problem has 15 minutes
// of warming taken off.
func twoStages() *planner {
	p := explained()
	p.problem.Tasks = append(p.problem.Tasks, p.problem.Tasks[0])
	p.problem.Tasks[1].Name = "glaze"
	p.problem.Lags = []scheduler.Lag{{To: 1, MinMinutes: 30, MaxMinutes: 45}, {To: 1, MaxMinutes: -1}}
	p.runs[0].charge.Recipe.Stages = []chem.Stage{{ID: "calcine"}, {ID: "glaze"}}
	p.tasks = append(p.tasks, plannedTask{run: p.runs[0], stage: 1, latest: -1})
	p.lags = []chem.Lag{{FromStage: "calcine", ToStage: "glaze", MinMinutes: 30, MaxMinutes: 60}, {FromStage: "calcine", ToStage: "glaze"}}
	return p
}

// TestMostOfALagInReasons: what must follow soon keeps the earlier stage late.
func TestMostOfALagInReasons(t *testing.T) {
	reason := scheduler.Reason{Kind: scheduler.KindLagMaximum, Name: "calcine to glaze", OtherTask: 1, Phase: -1, UntilMinute: -1}
	require.Equal(t, []PlanReason{{
		Stage: "calcine", Code: "LAG", About: "calcine to glaze", Message: "glaze must follow it within 60 min",
	}}, twoStages().reasons(scheduler.Solution{}, []scheduler.Reason{reason}))
}

// TestManyOfACodeBecomeOneSentence: three are told one by one, more are counted, each name once.
func TestManyOfACodeBecomeOneSentence(t *testing.T) {
	var blame []scheduler.Blame
	for i, name := range []string{"pot", "muffle-a", "muffle-b"} {
		blame = append(blame, scheduler.Blame{Kind: scheduler.KindBusy, Index: i, Name: name, Need: 90, Have: 50})
	}
	p := explained()
	require.Len(t, p.blames(scheduler.Result{Blame: blame}), 3)

	blame = append(blame, scheduler.Blame{Kind: scheduler.KindShared, Name: "pot", Need: 90, Have: 50})
	require.Equal(t, []PlanReason{{
		Code: "FURNACE_BUSY", About: "pot, muffle-a, muffle-b", Message: "pot, muffle-a, muffle-b are taken",
	}}, p.blames(scheduler.Result{Blame: blame}))

	for i := range 9 {
		blame = append(blame, scheduler.Blame{Kind: scheduler.KindBusy, Index: 3 + i, Name: fmt.Sprintf("kiln-%d", i)})
	}
	blame = append(blame, scheduler.Blame{Kind: scheduler.KindTooLong, Name: "bay", Need: 30, Have: 20})
	require.Equal(t, []PlanReason{{
		Code: "FURNACE_BUSY", About: "pot, muffle-a, muffle-b and 9 more",
		Message: "pot, muffle-a, muffle-b and 9 more are taken",
	}, {
		Code: "STAFFED_HOURS", About: "bay", Message: "somebody must be there (bay) for 30 min at a stretch; the longest is 20",
	}}, p.blames(scheduler.Result{Blame: blame}))
}
