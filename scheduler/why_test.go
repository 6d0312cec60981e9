package scheduler_test

import (
	"context"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/scheduler"
	"saggar/scheduler/plan"
)

// without returns the problem less one blamed group.
func without(p scheduler.Problem, b scheduler.Blame) scheduler.Problem {
	p = later(p, 0)
	switch b.Kind {
	case scheduler.KindHorizon:
		p.HorizonMinutes *= 20
	case scheduler.KindRelease:
		p.Tasks[b.Index].ReleaseMinute = 0
	case scheduler.KindForbidden:
		for i := range p.Tasks[b.Index].Modes {
			p.Tasks[b.Index].Modes[i].ForbiddenStarts = nil
		}
	case scheduler.KindBusy:
		p.Unaries[b.Index].Busy, p.Unaries[b.Index].Held = nil, nil
	case scheduler.KindDeadline:
		p.Tasks[b.Index].DeadlineMinute = 0
	case scheduler.KindBudget:
		p.Budgets = []scheduler.Budget{{Amount: 1000}}
	case scheduler.KindCrew:
		p.Crews = []scheduler.Crew{{People: 1000}}
	case scheduler.KindCalendar, scheduler.KindTooLong:
		p.Calendars[b.Index].Open = []scheduler.Interval{{Start: 0, End: 1000}}
	case scheduler.KindCumulative, scheduler.KindOverDemand:
		p.Cumulatives[b.Index].Capacity = 1000
	case scheduler.KindLagMinimum:
		p.Lags = append([]scheduler.Lag(nil), p.Lags...)
		p.Lags[b.Index].MinMinutes = -1000
	case scheduler.KindLagMaximum:
		p.Lags = append([]scheduler.Lag(nil), p.Lags...)
		p.Lags[b.Index].MaxMinutes = -1
	case scheduler.KindSeparation:
		p.Separations = append([]scheduler.Separation(nil), p.Separations...)
		p.Separations[b.Index].ToMinutes = p.Separations[b.Index].FromMinutes + 1
	case scheduler.KindShared:
		p = ownUnaries(p, b.Index)
	}
	return p
}

// ownUnaries gives each task that uses the unary a copy of its own.
func ownUnaries(p scheduler.Problem, unary int) scheduler.Problem {
	for i := range p.Tasks {
		copied := len(p.Unaries)
		p.Unaries = append(p.Unaries, p.Unaries[unary])
		for k := range p.Tasks[i].Modes {
			if p.Tasks[i].Modes[k].Unary == unary {
				p.Tasks[i].Modes[k].Unary = copied
			}
		}
	}
	return p
}

// onlyBlamed relaxes every group of the problem that is not blamed.
func onlyBlamed(p scheduler.Problem, blame []scheduler.Blame) scheduler.Problem {
	blamed := make(map[scheduler.Blame]bool)
	for _, b := range blame {
		kind := b.Kind
		switch kind {
		case scheduler.KindTooLong:
			kind = scheduler.KindCalendar
		case scheduler.KindOverDemand:
			kind = scheduler.KindCumulative
		}
		blamed[scheduler.Blame{Kind: kind, Index: b.Index}] = true
	}
	relax := func(kind scheduler.Kind, count int) {
		for i := range count {
			if b := (scheduler.Blame{Kind: kind, Index: i}); !blamed[b] {
				p = without(p, b)
			}
		}
	}
	relax(scheduler.KindRelease, len(p.Tasks))
	relax(scheduler.KindDeadline, len(p.Tasks))
	relax(scheduler.KindBudget, len(p.Budgets))
	relax(scheduler.KindCrew, len(p.Crews))
	relax(scheduler.KindForbidden, len(p.Tasks))
	relax(scheduler.KindBusy, len(p.Unaries))
	relax(scheduler.KindCalendar, len(p.Calendars))
	relax(scheduler.KindCumulative, len(p.Cumulatives))
	relax(scheduler.KindLagMinimum, len(p.Lags))
	relax(scheduler.KindLagMaximum, len(p.Lags))
	relax(scheduler.KindSeparation, len(p.Separations))
	relax(scheduler.KindShared, len(p.Unaries))
	relax(scheduler.KindHorizon, 1)
	return p
}

// TestBlameIsMinimalAndSufficient holds each blame against changed problems: with nothing but the members there is no
// solution, and with one of them less there is.
func TestBlameIsMinimalAndSufficient(t *testing.T) {
	blameHolds(t, everything)
}

// TestBlameOfWhatIsShared is the same for what tasks share and for deadlines.
func TestBlameOfWhatIsShared(t *testing.T) {
	s := shape{tasks: 3, modes: 2, horizon: 14, lags: true, busy: true}
	s.setups, s.budgets, s.crews, s.deadlines, s.fromStart, s.noUnary, s.separations = true, true, true, true, true, true, true
	blameHolds(t, s)
}

func blameHolds(t *testing.T, s shape) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, s)
		result := solve(t, p, scheduler.Options{})
		if result.Status != scheduler.Infeasible {
			require.Empty(t, result.Blame)
			return
		}
		require.NotEmpty(t, result.Blame)
		require.True(t, result.BlameMinimal)
		later := without(p, scheduler.Blame{Kind: scheduler.KindHorizon})
		if solve(t, later, scheduler.Options{SkipWhy: true}).Status == scheduler.Optimal {
			last := result.Blame[len(result.Blame)-1]
			require.Equal(t, scheduler.KindHorizon, last.Kind, "a later horizon would help")
		}
		bare := onlyBlamed(p, result.Blame)
		require.Equal(t, scheduler.Infeasible, solve(t, bare, scheduler.Options{SkipWhy: true}).Status)
		for i, b := range result.Blame {
			others := slices.Delete(slices.Clone(result.Blame), i, i+1)
			less := onlyBlamed(p, others)
			require.Equal(t, scheduler.Optimal, solve(t, less, scheduler.Options{SkipWhy: true}).Status, "%+v", b)
		}
	})
}

// oneTask is a task of an hour's firing and half an hour's draw on one furnace.
func oneTask() scheduler.Problem {
	return scheduler.Problem{
		HorizonMinutes: 600,
		Unaries:        []scheduler.Unary{{Name: "kiln"}},
		Calendars:      []scheduler.Calendar{{Name: "staffed", Open: []scheduler.Interval{{Start: 0, End: 600}}}},
		Cumulatives:    []scheduler.Cumulative{{Name: "panel", Capacity: 10}},
		Tasks: []scheduler.Task{{Name: "bisque", Modes: []scheduler.Mode{{Phases: []scheduler.Phase{
			{Name: "fire", Minutes: 60, Calendar: -1, Demands: []scheduler.Demand{{Amount: 4}}},
			{Name: "wait", MaxMinutes: 120, Calendar: -1},
			{Name: "draw", Minutes: 30, Calendar: 0},
		}}}}},
	}
}

// rigid is a task that somebody must attend throughout: 10, 60 and 40 minutes.
func rigid() scheduler.Problem {
	p := oneTask()
	p.Tasks[0].Modes[0].Phases = []scheduler.Phase{
		{Name: "charge", Minutes: 10, Calendar: 0}, {Name: "fire", Minutes: 60, Calendar: 0},
		{Name: "stand", Calendar: -1}, {Name: "draw", Minutes: 40, Calendar: 0},
	}
	return p
}

// attended is a task with somebody there to charge and to draw: 10 minutes, 60 of firing, up to 120 of waiting, then 30.
func attended() scheduler.Problem {
	p := oneTask()
	mode := &p.Tasks[0].Modes[0]
	mode.Phases = slices.Insert(mode.Phases, 0, scheduler.Phase{Name: "charge", Minutes: 10, Calendar: 0})
	return p
}

// chain is two tasks as oneTask has, the second 10 to 20 minutes after the first.
func chain() scheduler.Problem {
	p := oneTask()
	p.Tasks = append(p.Tasks, p.Tasks[0])
	p.Tasks[1].Name = "glaze"
	p.Lags = []scheduler.Lag{{From: 0, To: 1, MinMinutes: 10, MaxMinutes: 20}}
	return p
}

// apart is two tasks as oneTask has, on a furnace each. The second starts at most 190 minutes before the first is drawn, and
// not less than 350 minutes after it starts or 200 before; the first separation is of a mode that there is only beside.
func apart() scheduler.Problem {
	p := chain()
	p.Unaries = append(p.Unaries, scheduler.Unary{Name: "other kiln"})
	p.Tasks[1].Modes = slices.Clone(p.Tasks[1].Modes)
	p.Tasks[1].Modes[0].Unary = 1
	never := p.Tasks[1].Modes[0]
	never.ForbiddenStarts = []scheduler.Interval{{Start: 0, End: 5000}}
	p.Tasks[1].Modes = append(p.Tasks[1].Modes, never)
	p.Lags = []scheduler.Lag{{From: 0, To: 1, MinMinutes: -100, MaxMinutes: -1}}
	p.Separations = []scheduler.Separation{
		{Name: "of another mode", First: 0, FirstMode: -1, Second: 1, SecondMode: 1, FromMinutes: -1000, ToMinutes: 1000},
		{Name: "air of the bay", First: 0, FirstMode: 0, Second: 1, SecondMode: -1, FromMinutes: -200, ToMinutes: 350},
	}
	return p
}

// apartBackwards is apart with its separation stated from the other task, and one more that refuses a little longer.
func apartBackwards() scheduler.Problem {
	p := apart()
	p.Separations = []scheduler.Separation{
		{First: 1, Second: 0, FirstMode: 0, SecondMode: 0, FromMinutes: -350, ToMinutes: 200},
		{First: 1, Second: 0, FirstMode: -1, SecondMode: 0, FromMinutes: -360, ToMinutes: -349},
	}
	return p
}

// tailed is a firing of an hour whose furnace then burns off for half an hour, one that follows it 10 to 20 minutes after
// the draw on another furnace, and one more on the first furnace.
func tailed() scheduler.Problem {
	p := scheduler.Problem{
		HorizonMinutes: 600,
		Unaries:        []scheduler.Unary{{Name: "kiln"}, {Name: "other kiln"}},
		Lags:           []scheduler.Lag{{From: 0, To: 1, MinMinutes: 10, MaxMinutes: 20}},
	}
	for i, name := range []string{"bisque", "glaze", "more"} {
		p.Tasks = append(p.Tasks, scheduler.Task{Name: name, Modes: []scheduler.Mode{
			{Unary: i % 2, TailPhases: 1, Phases: []scheduler.Phase{
				{Name: "fire", Minutes: 60, Calendar: -1},
				{Name: "burn off", Minutes: 30, Calendar: -1},
			}},
		}})
	}
	return p
}

// blameCases are problems without a solution and what is to blame.
var blameCases = map[string]struct {
	problem func() scheduler.Problem
	want    []scheduler.Blame
}{
	"furnace busy to the horizon": {func() scheduler.Problem {
		p := oneTask()
		p.Calendars[0].Open[0].End = 5000
		p.Unaries[0].Busy = []scheduler.Interval{{Start: 50, End: 560}}
		return p
	}, []scheduler.Blame{
		{Kind: scheduler.KindBusy, Name: "kiln", Need: 90, Have: 50},
		{Kind: scheduler.KindHorizon, Need: 650, Have: 600},
	}},
	"phase longer than every opening": {func() scheduler.Problem {
		p := oneTask()
		p.Calendars[0].Open = []scheduler.Interval{{Start: 100, End: 120}, {Start: 300, End: 329}}
		return p
	}, []scheduler.Blame{{Kind: scheduler.KindTooLong, Name: "staffed", Need: 30, Have: 29}}},
	"calendar opens too early": {func() scheduler.Problem {
		p := oneTask()
		p.Calendars[0].Open = []scheduler.Interval{{Start: 0, End: 89}}
		return p
	}, []scheduler.Blame{{Kind: scheduler.KindCalendar, Name: "staffed", Need: 30, Have: 89}}},
	"phases in a row longer than every opening": {func() scheduler.Problem {
		p := rigid()
		p.Calendars[0].Open = []scheduler.Interval{{Start: 0, End: 109}, {Start: 200, End: 309}}
		return p
	}, []scheduler.Blame{{Kind: scheduler.KindTooLong, Name: "staffed", Need: 110, Have: 109}}},
	"a phase without its calendar breaks the row": {func() scheduler.Problem {
		p := rigid()
		p.Tasks[0].Modes[0].Phases[1].Calendar = -1
		p.Calendars[0].Open = []scheduler.Interval{{Start: 0, End: 70}, {Start: 200, End: 270}}
		return p
	}, []scheduler.Blame{{Kind: scheduler.KindCalendar, Name: "staffed", Need: 40, Have: 70}}},
	"two calendars in a row": {func() scheduler.Problem {
		p := rigid()
		p.Calendars[0].Open = []scheduler.Interval{{Start: 0, End: 30}, {Start: 90, End: 199}}
		p.Calendars = append(p.Calendars, scheduler.Calendar{Name: "in reach", Open: []scheduler.Interval{{Start: 0, End: 80}}})
		p.Tasks[0].Modes[0].Phases[1].Calendar = 1
		return p
	}, []scheduler.Blame{
		{Kind: scheduler.KindCalendar, Index: 0, Name: "staffed", Need: 110, Have: 109},
		{Kind: scheduler.KindCalendar, Index: 1, Name: "in reach", Need: 110, Have: 109},
	}},
	"an opening after the horizon would do": {func() scheduler.Problem {
		p := rigid()
		p.Calendars[0].Open = []scheduler.Interval{{Start: 0, End: 100}, {Start: 550, End: 700}}
		return p
	}, []scheduler.Blame{
		{Kind: scheduler.KindTooLong, Name: "staffed", Need: 110, Have: 100},
		{Kind: scheduler.KindHorizon, Need: 660, Have: 600},
	}},
	"demand above capacity": {func() scheduler.Problem {
		p := oneTask()
		p.Cumulatives[0].Capacity = 3
		return p
	}, []scheduler.Blame{{Kind: scheduler.KindOverDemand, Name: "panel", Need: 4, Have: 3}}},
	"power used to the horizon": {func() scheduler.Problem {
		p := oneTask()
		p.Calendars[0].Open[0].End = 5000
		p.Cumulatives[0].Used = []scheduler.Step{{Interval: scheduler.Interval{Start: -10, End: 555}, Amount: 7}}
		return p
	}, []scheduler.Blame{
		{Kind: scheduler.KindCumulative, Name: "panel", Need: 4, Have: 3},
		{Kind: scheduler.KindHorizon, Need: 645, Have: 600},
	}},
	"released too late": {func() scheduler.Problem {
		p := oneTask()
		p.Tasks[0].ReleaseMinute = 520
		p.Calendars = []scheduler.Calendar{{Open: []scheduler.Interval{{Start: 0, End: 5000}}}}
		return p
	}, []scheduler.Blame{
		{Kind: scheduler.KindRelease, Name: "bisque", Need: -1, Have: 520},
		{Kind: scheduler.KindHorizon, Need: 610, Have: 600},
	}},
	"lag cannot bridge what is busy": {func() scheduler.Problem {
		p := chain()
		p.Calendars[0].Open[0].End = 5000
		p.Unaries[0].Busy = []scheduler.Interval{{Start: 90, End: 420}}
		return p
	}, []scheduler.Blame{
		{Kind: scheduler.KindLagMinimum, Name: "bisque to glaze", Need: 10, Have: -1},
		{Kind: scheduler.KindBusy, Name: "kiln", Need: 90, Have: 180},
		{Kind: scheduler.KindLagMaximum, Name: "bisque to glaze", Need: -1, Have: 20},
		{Kind: scheduler.KindHorizon, Need: 610, Have: 600},
	}},
	"tail longer than the lag allows": {func() scheduler.Problem {
		p := tailed()
		p.HorizonMinutes = 1 << 31
		p.Tasks = p.Tasks[:2]
		p.Tasks[1].Modes[0].Unary = 0
		first := &p.Tasks[0].Modes[0]
		first.Phases = slices.Insert(first.Phases, 1, scheduler.Phase{Name: "wait", MaxMinutes: 120, Calendar: -1})
		return p
	}, []scheduler.Blame{
		{Kind: scheduler.KindShared, Name: "kiln", Need: 180, Have: 1 << 31},
		{Kind: scheduler.KindLagMinimum, Name: "bisque to glaze", Need: 10, Have: -1},
		{Kind: scheduler.KindLagMaximum, Name: "bisque to glaze", Need: -1, Have: 20},
	}},
	"lags contradict each other": {func() scheduler.Problem {
		p := chain()
		p.Lags = append(p.Lags, scheduler.Lag{From: 1, To: 0, MinMinutes: 0, MaxMinutes: -1})
		p.HorizonMinutes = 1 << 30
		p.Calendars[0].Open[0].End = 1 << 31
		return p
	}, []scheduler.Blame{
		{Kind: scheduler.KindLagMinimum, Index: 0, Name: "bisque to glaze", Need: 10, Have: -1},
		{Kind: scheduler.KindLagMinimum, Index: 1, Name: "glaze to bisque", Need: 0, Have: -1},
	}},
	"one furnace for too much": {func() scheduler.Problem {
		p := chain()
		p.Calendars[0].Open[0].End = 5000
		p.HorizonMinutes, p.Lags = 179, nil
		p.Cumulatives = []scheduler.Cumulative{{Capacity: 100}}
		return p
	}, []scheduler.Blame{
		{Kind: scheduler.KindShared, Name: "kiln", Need: 180, Have: 179},
		{Kind: scheduler.KindHorizon, Need: 180, Have: 179},
	}},
	"separation longer than the day": {func() scheduler.Problem {
		p := apart()
		p.HorizonMinutes = 400
		p.Calendars[0].Open[0].End = 5000
		return p
	}, []scheduler.Blame{
		{Kind: scheduler.KindSeparation, Index: 1, Name: "air of the bay", Need: 350, Have: -200},
		{Kind: scheduler.KindLagMinimum, Name: "bisque to glaze", Need: -100, Have: -1},
		{Kind: scheduler.KindHorizon, Need: 440, Have: 400},
	}},
	"every start forbidden": {func() scheduler.Problem {
		p := oneTask()
		p.Calendars[0].Open[0].End = 5000
		p.Tasks[0].Modes[0].ForbiddenStarts = []scheduler.Interval{{Start: 0, End: 511}}
		return p
	}, []scheduler.Blame{
		{Kind: scheduler.KindForbidden, Name: "bisque", Need: -1, Have: 511},
		{Kind: scheduler.KindHorizon, Need: 601, Have: 600},
	}},
}

func TestBlame(t *testing.T) {
	for name, c := range blameCases {
		t.Run(name, func(t *testing.T) {
			result := solve(t, c.problem(), scheduler.Options{})
			require.Equal(t, scheduler.Infeasible, result.Status)
			require.Equal(t, c.want, result.Blame)
			require.True(t, result.BlameMinimal)
			require.Zero(t, result.Solution)
		})
	}
}

func TestBlameCutShortIsNotCalledMinimal(t *testing.T) {
	p := chain()
	p.Unaries[0].Busy = []scheduler.Interval{{Start: 90, End: 420}}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	result, err := scheduler.Solve(ctx, p, scheduler.Options{})
	require.NoError(t, err)
	require.Equal(t, scheduler.Unknown, result.Status, "nothing is proven by a search that did not run")
	require.Empty(t, result.Blame)

	cut := 0
	for looks := range 40 {
		result, err := scheduler.Solve(&lookLimit{Context: context.Background(), left: looks}, p, scheduler.Options{})
		require.NoError(t, err)
		if result.Status == scheduler.Infeasible && !result.BlameMinimal {
			cut++
			require.NotEmpty(t, result.Blame)
		}
	}
	require.Positive(t, cut, "the context ends between the questions about relaxed problems")
}

// TestReasons checks, case by case, what is said to hold the last task.
func TestReasons(t *testing.T) {
	cases := map[string]struct {
		problem func() scheduler.Problem
		start   int
		want    []scheduler.Reason
	}{
		"origin": {oneTask, 0, []scheduler.Reason{{Kind: scheduler.KindOrigin, OtherTask: -1, Phase: -1}}},
		"release": {func() scheduler.Problem {
			p := oneTask()
			p.Tasks[0].ReleaseMinute = 33
			return p
		}, 33, []scheduler.Reason{{Kind: scheduler.KindRelease, Name: "bisque", OtherTask: -1, Phase: -1, UntilMinute: 33}}},
		"busy, on the grid": {func() scheduler.Problem {
			p := oneTask()
			p.StepMinutes = 15
			p.Unaries[0].Busy = []scheduler.Interval{{Start: 20, End: 95}}
			return p
		}, 105, []scheduler.Reason{{Kind: scheduler.KindBusy, Name: "kiln", OtherTask: -1, Phase: -1, UntilMinute: 95}}},
		"forbidden": {func() scheduler.Problem {
			p := oneTask()
			p.Tasks[0].Modes[0].ForbiddenStarts = []scheduler.Interval{{Start: -5, End: 8}}
			return p
		}, 8, []scheduler.Reason{{Kind: scheduler.KindForbidden, Name: "bisque", OtherTask: -1, Phase: -1, UntilMinute: 8}}},
		"power": {func() scheduler.Problem {
			p := oneTask()
			p.Cumulatives[0].Used = []scheduler.Step{{Interval: scheduler.Interval{Start: 10, End: 70}, Amount: 7}}
			return p
		}, 70, []scheduler.Reason{{Kind: scheduler.KindCumulative, Name: "panel", OtherTask: -1, Phase: 0, UntilMinute: 70}}},
		"nobody to draw": {func() scheduler.Problem {
			p := oneTask()
			p.Calendars[0].Open = []scheduler.Interval{{Start: 200, End: 600}}
			return p
		}, 20, []scheduler.Reason{{Kind: scheduler.KindCalendar, Name: "staffed", OtherTask: -1, Phase: 2, UntilMinute: 200}}},
		"nobody to draw, later": {func() scheduler.Problem {
			p := oneTask()
			p.Calendars[0].Open = []scheduler.Interval{{Start: 185, End: 205}, {Start: 300, End: 400}}
			return p
		}, 120, []scheduler.Reason{
			{Kind: scheduler.KindCalendar, Name: "staffed", OtherTask: -1, Phase: 2, UntilMinute: 300},
		}},
		"could be charged before, but not drawn": {func() scheduler.Problem {
			p := attended()
			p.Calendars[0].Open = []scheduler.Interval{{Start: 0, End: 90}, {Start: 300, End: 600}}
			return p
		}, 300, []scheduler.Reason{
			{Kind: scheduler.KindCalendar, Name: "staffed", OtherTask: -1, Phase: 3, UntilMinute: 300},
		}},
		"could be charged before, but for power": {func() scheduler.Problem {
			p := attended()
			p.Calendars[0].Open = []scheduler.Interval{{Start: 0, End: 100}, {Start: 300, End: 600}}
			p.Tasks[0].Modes[0].Phases[3].Calendar = -1
			p.Cumulatives[0].Used = []scheduler.Step{{Interval: scheduler.Interval{Start: 0, End: 200}, Amount: 7}}
			return p
		}, 300, []scheduler.Reason{
			{Kind: scheduler.KindCumulative, Name: "panel", OtherTask: -1, Phase: 1, UntilMinute: -1},
			{Kind: scheduler.KindCalendar, Name: "staffed", OtherTask: -1, Phase: 0, UntilMinute: 300},
		}},
		"could be charged before, but for what is busy": {func() scheduler.Problem {
			p := attended()
			p.Calendars[0].Open = []scheduler.Interval{{Start: 0, End: 100}, {Start: 300, End: 600}}
			p.Tasks[0].Modes[0].Phases[3].Calendar = -1
			p.Unaries[0].Busy = []scheduler.Interval{{Start: 0, End: 200}}
			return p
		}, 300, []scheduler.Reason{
			{Kind: scheduler.KindCalendar, Name: "staffed", OtherTask: -1, Phase: 0, UntilMinute: 300},
		}},
		"opens for too short": {func() scheduler.Problem {
			p := attended()
			p.Calendars[0].Open = []scheduler.Interval{{Start: 20, End: 25}, {Start: 40, End: 600}}
			return p
		}, 40, []scheduler.Reason{
			{Kind: scheduler.KindCalendar, Name: "staffed", OtherTask: -1, Phase: 0, UntilMinute: 40},
		}},
		"separation": {apart, 350, []scheduler.Reason{
			{Task: 1, Kind: scheduler.KindSeparation, Index: 1, Name: "air of the bay", OtherTask: 0, Phase: -1, UntilMinute: 350},
		}},
		"separation, the other way round": {apartBackwards, 360, []scheduler.Reason{
			{Task: 1, Kind: scheduler.KindSeparation, Index: 1, OtherTask: 0, Phase: -1, UntilMinute: 360},
		}},
		"lag": {chain, 100, []scheduler.Reason{
			{Task: 1, Kind: scheduler.KindLagMinimum, Name: "bisque to glaze", OtherTask: 0, Phase: -1, UntilMinute: 100},
		}},
		"lag, the other furnace not yet free": {func() scheduler.Problem {
			p := tailed()
			p.Tasks = p.Tasks[:2]
			return p
		}, 70, []scheduler.Reason{
			{Task: 1, Kind: scheduler.KindLagMinimum, Name: "bisque to glaze", OtherTask: 0, Phase: -1, UntilMinute: 70},
		}},
		"the other task's tail": {tailed, 90, []scheduler.Reason{
			{Task: 2, Kind: scheduler.KindShared, Name: "kiln", OtherTask: -1, Phase: -1, UntilMinute: 90},
		}},
		"the other task on the furnace": {func() scheduler.Problem {
			p := chain()
			p.Lags = nil
			return p
		}, 90, []scheduler.Reason{{Task: 1, Kind: scheduler.KindShared, Name: "kiln", OtherTask: -1, Phase: -1, UntilMinute: 90}}},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			result := solve(t, c.problem(), scheduler.Options{})
			require.Equal(t, scheduler.Optimal, result.Status)
			last := len(result.Solution.Tasks) - 1
			require.Equal(t, c.start, result.Solution.Tasks[last].StartMinute)
			var got []scheduler.Reason
			for _, reason := range result.Reasons {
				if reason.Task == last {
					got = append(got, reason)
				}
			}
			require.Equal(t, c.want, got)
		})
	}
}

// TestEveryStartHasAReason: in a proven best plan nothing can start a step earlier with all else as it is.
func TestEveryStartHasAReason(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, everything)
		result := solve(t, p, scheduler.Options{})
		for task := range result.Solution.Tasks {
			found := false
			for _, reason := range result.Reasons {
				found = found || reason.Task == task
			}
			require.True(t, found, "task %d", task)
		}
	})
}

// oneStepEarlier is the problem in which all is as in the solution but for one task, which starts a step earlier in its mode.
func oneStepEarlier(p scheduler.Problem, solution scheduler.Solution, task int) scheduler.Problem {
	p.HorizonMinutes = solution.MakespanMinute()
	p.Tasks = slices.Clone(p.Tasks)
	for i, placed := range solution.Tasks {
		mode := p.Tasks[i].Modes[placed.Mode]
		mode.Phases = slices.Clone(mode.Phases)
		start := placed.StartMinute
		if i == task {
			start -= max(p.StepMinutes, 1)
		} else {
			for k, taken := range placed.Phases {
				mode.Phases[k].Minutes, mode.Phases[k].MaxMinutes = taken.Minutes(), 0
			}
		}
		mode.ForbiddenStarts = append(slices.Clone(mode.ForbiddenStarts),
			scheduler.Interval{Start: -1, End: start}, scheduler.Interval{Start: start + 1, End: 1000})
		p.Tasks[i].Modes = []scheduler.Mode{mode}
	}
	return p
}

// TestReasonsAreGivenWhereSomethingHolds: a task has reasons only where brute force finds no start a step earlier, be the
// solution proven best or not, and always there without a limit. The phase that a reason names needs what is said to hold it.
func TestReasonsAreGivenWhereSomethingHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, everything)
		limit := rapid.IntRange(0, 6).Draw(t, "conflicts")
		result := solve(t, p, scheduler.Options{ConflictLimit: limit})
		reasons := make([]int, len(p.Tasks))
		for _, reason := range result.Reasons {
			reasons[reason.Task]++
			mode := p.Tasks[reason.Task].Modes[result.Solution.Tasks[reason.Task].Mode]
			switch reason.Kind {
			case scheduler.KindCalendar:
				require.Equal(t, reason.Index, mode.Phases[reason.Phase].Calendar)
			case scheduler.KindCumulative:
				require.Positive(t, demand(mode.Phases[reason.Phase], reason.Index))
			default:
				require.Equal(t, -1, reason.Phase)
			}
		}
		for task, placed := range result.Solution.Tasks {
			held := placed.StartMinute < max(p.StepMinutes, 1) || bruteForce(oneStepEarlier(p, result.Solution, task)) == nil
			if limit == 0 || reasons[task] > 0 {
				require.Equal(t, held, reasons[task] > 0, "task %d", task)
			}
		}
	})
}

// TestWhatIsForbiddenForGoodIsNotCuredByALaterHorizon: a start forbidden up to MaxMinute never blames the horizon.
func TestWhatIsForbiddenForGoodIsNotCuredByALaterHorizon(t *testing.T) {
	t.Parallel()
	problem := scheduler.Problem{
		HorizonMinutes: 100, Unaries: []scheduler.Unary{{Name: "kiln", Busy: []scheduler.Interval{{Start: 0, End: 50}}}},
		Tasks: []scheduler.Task{{Name: "fire", Modes: []scheduler.Mode{{
			Phases: []scheduler.Phase{{Name: "fire", Minutes: 10, Calendar: -1}}, ForbiddenStarts: []scheduler.Interval{{Start: 40, End: plan.MaxMinute}},
		}}}},
	}
	result, err := scheduler.Solve(context.Background(), problem, scheduler.Options{})
	require.NoError(t, err)
	require.Equal(t, scheduler.Infeasible, result.Status)
	var kinds []scheduler.Kind
	for _, b := range result.Blame {
		kinds = append(kinds, b.Kind)
	}
	require.ElementsMatch(t, []scheduler.Kind{scheduler.KindForbidden, scheduler.KindBusy}, kinds)
	problem.Tasks[0].Modes[0].ForbiddenStarts[0].End = 200
	result, err = scheduler.Solve(context.Background(), problem, scheduler.Options{})
	require.NoError(t, err)
	require.Equal(t, scheduler.KindHorizon, result.Blame[len(result.Blame)-1].Kind, "%v", result.Blame)
}
