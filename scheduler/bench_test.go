package scheduler_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"saggar/scheduler"
	"saggar/scheduler/studio"
)

const day = 24 * 60

// booked is twelve furnaces on two panels with one crew, booked by so many firings over eight weeks, and a run of three
// stages that can each be done on any furnace. Fill is the share of the furnaces' time that is taken.
func booked(firings int, fill float64, stepMinutes int) scheduler.Problem {
	const furnaces, weeks = 12, 8
	random := rand.New(rand.NewPCG(11, 7))
	p := scheduler.Problem{HorizonMinutes: weeks * 7 * day, StepMinutes: stepMinutes}
	p.Cumulatives = []scheduler.Cumulative{
		{Name: "panel A", Capacity: 100}, {Name: "panel B", Capacity: 100}, {Name: "crew", Capacity: 3},
	}
	perFurnace := firings / furnaces
	for f := range furnaces {
		unary := scheduler.Unary{Name: fmt.Sprintf("furnace %d", f)}
		pitch := p.HorizonMinutes / perFurnace
		for i := range perFurnace {
			start := i*pitch + random.IntN(max(int(float64(pitch)*(1-fill)), 1))
			busy := scheduler.Interval{Start: start, End: start + int(float64(pitch)*fill)}
			unary.Busy = append(unary.Busy, busy)
			panel := &p.Cumulatives[f%2]
			panel.Used = append(panel.Used, scheduler.Step{Interval: busy, Amount: 5 + random.IntN(15)})
			crew := scheduler.Interval{Start: busy.End - 10, End: busy.End}
			p.Cumulatives[2].Used = append(p.Cumulatives[2].Used, scheduler.Step{Interval: crew, Amount: 1})
		}
		p.Unaries = append(p.Unaries, unary)
	}
	var staffed scheduler.Calendar
	for d := range weeks * 7 {
		if d%7 < 5 {
			staffed.Open = append(staffed.Open, scheduler.Interval{Start: d*day + 8*60, End: d*day + 18*60})
		}
	}
	p.Calendars = []scheduler.Calendar{staffed}
	return p
}

// addRun adds the stages of a run, so many minutes of fire each, one to twelve hours after each other.
func addRun(p *scheduler.Problem, fire ...int) {
	before := len(p.Tasks)
	for stage, minutes := range fire {
		task := scheduler.Task{Name: fmt.Sprintf("stage %d", stage)}
		for f := range p.Unaries {
			power := []scheduler.Demand{{Cumulative: f % 2, Amount: 10 + f}}
			crew := []scheduler.Demand{{Cumulative: 2, Amount: 1}}
			task.Modes = append(task.Modes, scheduler.Mode{Unary: f, Phases: []scheduler.Phase{
				{Name: "charge", Minutes: 15, Calendar: 0, Demands: crew},
				{Name: "fire", Minutes: minutes + 3*f, Calendar: -1, Demands: power},
				{Name: "cool", Minutes: minutes / 2, Calendar: -1},
				{Name: "wait", MaxMinutes: 16 * 60, Calendar: -1},
				{Name: "draw", Minutes: 20, Calendar: 0, Demands: crew},
			}})
		}
		if last := len(p.Tasks) - 1; last >= before {
			p.Lags = append(p.Lags, scheduler.Lag{From: last, To: last + 1, MinMinutes: 60, MaxMinutes: 12 * 60})
		}
		p.Tasks = append(p.Tasks, task)
	}
}

func benchmark(b *testing.B, p scheduler.Problem, o scheduler.Options, want scheduler.Status) {
	var result scheduler.Result
	for b.Loop() {
		result = solve(b, p, o)
	}
	require.Equal(b, want, result.Status)
	b.ReportMetric(float64(result.Conflicts), "conflicts/op")
	b.ReportMetric(float64(result.MakespanMinute)/day, "makespan-days")
}

// BenchmarkOneRun places one run of three stages in a studio with 5,000 firings.
func BenchmarkOneRun(b *testing.B) {
	early := booked(5000, 0.5, 5)
	addRun(&early, 20, 30, 25)
	// The last two weeks are free: everything before is too full for these stages.
	late := booked(5000, 0.7, 5)
	addRun(&late, 150, 100, 80)
	for i := range late.Unaries {
		late.Unaries[i].Busy = slices.DeleteFunc(late.Unaries[i].Busy, func(v scheduler.Interval) bool { return v.End > 42*day })
	}
	never := booked(5000, 0.7, 5)
	addRun(&never, 150, 100, 80)
	long := booked(5000, 0.5, 5)
	addRun(&long, 20, 30, 25, 20, 15, 30, 20, 25)
	for i := range long.Lags {
		long.Lags[i].MaxMinutes = 3 * day // over a weekend
	}
	skip := scheduler.Options{SkipWhy: true}
	b.Run("eight stages", func(b *testing.B) { benchmark(b, long, scheduler.Options{}, scheduler.Optimal) })
	b.Run("early", func(b *testing.B) { benchmark(b, early, scheduler.Options{}, scheduler.Optimal) })
	b.Run("early, without why", func(b *testing.B) { benchmark(b, early, skip, scheduler.Optimal) })
	b.Run("after six weeks", func(b *testing.B) { benchmark(b, late, scheduler.Options{}, scheduler.Optimal) })
	b.Run("never", func(b *testing.B) { benchmark(b, never, scheduler.Options{}, scheduler.Infeasible) })
	b.Run("never, without why", func(b *testing.B) { benchmark(b, never, skip, scheduler.Infeasible) })
}

// project is so many tasks that follow each other and share two capacities.
func project(count int) scheduler.Problem {
	p := scheduler.Problem{HorizonMinutes: 1 << 20, Cumulatives: []scheduler.Cumulative{{Capacity: 10}, {Capacity: 12}}}
	for i := range count {
		demands := []scheduler.Demand{{Cumulative: 0, Amount: 1 + i%5}, {Cumulative: 1, Amount: 1 + i%7}}
		p.Tasks = append(p.Tasks, scheduler.Task{Modes: []scheduler.Mode{
			{Unary: -1, Phases: []scheduler.Phase{{Minutes: 5 + i%13, Calendar: -1, Demands: demands}}},
		}})
		if i >= 40 {
			p.Lags = append(p.Lags, scheduler.Lag{From: i - 1 - i%40, To: i, MaxMinutes: -1})
		}
	}
	return p
}

// manyRuns is a studio with so many runs of three stages, each with days, energies and places where it stands, so many firings of
// others and 5,000 separations.
func manyRuns(runs, firings int, objectives ...scheduler.Objective) scheduler.Problem {
	p := studio.Draw(7, studio.Size{Runs: runs, Stages: 3, Furnaces: 12, Weeks: max(runs/8, 8), Firings: firings})
	separate(&p, 5000)
	for d := range p.HorizonMinutes / day {
		p.Days = append(p.Days, scheduler.Interval{Start: d * day, End: (d + 1) * day})
	}
	for i := range p.Tasks {
		p.Tasks[i].Present = &scheduler.Present{StartMinute: 500 * i % p.HorizonMinutes, MinuteWeight: 1}
		for k := range p.Tasks[i].Modes {
			mode := &p.Tasks[i].Modes[k]
			mode.Energy, mode.Phases[0].Visit, mode.Phases[4].Visit = 10, true, true
		}
	}
	for u := range p.Unaries {
		p.Unaries[u].HotMinutes, p.Unaries[u].HotSaving = 120, 3
	}
	p.Objectives = objectives
	return p
}

// BenchmarkStops reports the longest processor time that Solve took beyond its limit on problems that it cannot finish, for
// each thread, over limits that end it in different parts of its work.
func BenchmarkStops(b *testing.B) {
	runs := booked(5000, 0.5, 5)
	for range 20 {
		addRun(&runs, 20, 30, 25)
	}
	for name, p := range map[string]scheduler.Problem{
		"60 jobs": jobs(60), "2000 jobs": jobs(2000), "20 runs, booked": runs, "2000 tasks of a project": project(2000),
		"60 runs, late":      manyRuns(60, 60, scheduler.LatenessObjective, scheduler.CompletionObjective),
		"60 runs, energy":    manyRuns(60, 60, scheduler.EnergyObjective, scheduler.VisitsObjective),
		"660 runs":           manyRuns(660, 660),
		"660 runs, late":     manyRuns(660, 660, scheduler.LatenessObjective),
		"660 runs, energy":   manyRuns(660, 660, scheduler.EnergyObjective),
		"660 runs, visits":   manyRuns(660, 660, scheduler.VisitsObjective, scheduler.ChangeObjective),
		"660 runs, too full": manyRuns(660, 9000, scheduler.LatenessObjective),
	} {
		for _, threads := range []int{1, 2} {
			b.Run(fmt.Sprintf("%s, %d threads", name, threads), func(b *testing.B) {
				over := time.Duration(0)
				for b.Loop() {
					for _, allowed := range []time.Duration{5, 20, 60, 200, 1000} {
						over = max(over, overrun(b, p, allowed*time.Millisecond, threads))
					}
				}
				b.ReportMetric(float64(over.Microseconds())/1000, "ms-over-worst")
			})
		}
	}
}

func overrun(b *testing.B, p scheduler.Problem, allowed time.Duration, threads int) time.Duration {
	runtime.GC() // what was made before is not this call's
	begun := processorTime()
	until := begun + allowed*time.Duration(threads)
	_, err := scheduler.Solve(processorLimit{context.Background(), until}, p, scheduler.Options{Threads: threads})
	require.NoError(b, err)
	return (processorTime() - until) / time.Duration(threads)
}
