// Package studio draws scheduling problems as a shared studio has them: runs of several stages on furnaces that differ, with
// staffed hours, power, extraction, people, lags and furnaces that must be cleared. All of it is invented. The same seed
// draws the same problem.
package studio

import (
	"fmt"
	"math/rand/v2"

	"saggar/scheduler/plan"
)

// Size says how large the studio is and how much it has to do.
type Size struct {
	Runs, Stages, Furnaces, Weeks int
	// Firings is how many firings of others stand already.
	Firings int
}

const (
	hour = 60
	day  = 24 * hour
	week = 7 * day
	step = 15
)

// The resources, as indices into the problem's lists.
const (
	panelA = iota
	panelB
	crew
	extraction
)

// The two families of firings: some leave sulfur that the next clean firing must not meet.
const (
	clean = iota
	sulfur
)

type drawer struct {
	*rand.Rand
	size    Size
	problem plan.Problem
}

// Draw makes a problem. Its objectives are the lateness of runs, then the sum of when they are done.
func Draw(seed uint64, size Size) plan.Problem {
	d := &drawer{Rand: rand.New(rand.NewPCG(seed, 97)), size: size}
	p := &d.problem
	p.HorizonMinutes, p.StepMinutes = size.Weeks*week, step
	p.Objectives = []plan.Objective{plan.Lateness, plan.Completion}
	p.Cumulatives = []plan.Cumulative{
		panelA: {Name: "panel A", Capacity: 80}, panelB: {Name: "panel B", Capacity: 80},
		crew: {Name: "crew", Capacity: 2}, extraction: {Name: "extraction", Capacity: 180},
	}
	p.Calendars = []plan.Calendar{d.staffed()}
	for f := range size.Furnaces {
		p.Unaries = append(p.Unaries, plan.Unary{
			Name: fmt.Sprintf("furnace %d", f+1), SetupMinutes: [][]int{clean: {0, 0}, sulfur: {2 * hour, 0}},
		})
	}
	d.standing()
	for run := range size.Runs {
		d.run(run)
	}
	return d.problem
}

// staffed is Monday to Friday, and every other Saturday morning.
func (d *drawer) staffed() plan.Calendar {
	calendar := plan.Calendar{Name: "staffed"}
	for n := range d.size.Weeks * 7 {
		begin := n * day
		switch {
		case n%7 < 5:
			calendar.Open = append(calendar.Open, plan.Interval{Start: begin + 8*hour, End: begin + 18*hour})
		case n%14 == 5:
			calendar.Open = append(calendar.Open, plan.Interval{Start: begin + 9*hour, End: begin + 13*hour})
		}
	}
	return calendar
}

// standing books the firings of others, with what they take while they are charged, fire and are drawn.
func (d *drawer) standing() {
	p := &d.problem
	for f := range p.Unaries {
		count := d.size.Firings / d.size.Furnaces
		if count == 0 {
			return
		}
		pitch := p.HorizonMinutes / count
		for i := range count {
			length := min((12+d.IntN(24))*hour, pitch*6/10)
			begin := i*pitch + d.IntN(max(pitch-length, 1))
			held := plan.Held{Interval: plan.Interval{Start: begin, End: begin + length}, Family: d.IntN(2)}
			p.Unaries[f].Held = append(p.Unaries[f].Held, held)
			panel := &p.Cumulatives[f%2]
			panel.Used = append(panel.Used, plan.Step{Interval: held.Interval, Amount: 1 + d.IntN(4)})
		}
	}
}

// run adds the stages of one run, each after the one before.
func (d *drawer) run(run int) {
	p := &d.problem
	release := d.IntN(max(p.HorizonMinutes/2/day, 1)) * day
	due := release + (6+d.IntN(15))*day
	for stage := range d.size.Stages {
		task := d.stage(fmt.Sprintf("run %d stage %d", run+1, stage+1), stage)
		task.ReleaseMinute = release
		if stage == d.size.Stages-1 {
			task.DueMinute, task.LatenessWeight, task.CompletionWeight = due, 1+d.IntN(5), 1
		}
		p.Tasks = append(p.Tasks, task)
		if last := len(p.Tasks) - 1; stage > 0 {
			most := -1
			if d.IntN(2) == 0 {
				most = 7 * day
			}
			p.Lags = append(p.Lags, plan.Lag{From: last - 1, To: last, MinMinutes: 2 * hour, MaxMinutes: most})
		}
	}
}

// stage is a task that some of the furnaces can do, the larger ones in more time.
func (d *drawer) stage(name string, stage int) plan.Task {
	task := plan.Task{Name: name}
	fire, gas := (3+d.IntN(8))*hour, 10+d.IntN(40)
	family := clean
	if d.IntN(4) == 0 {
		family = sulfur
	}
	first, ways := d.IntN(d.size.Furnaces), 2+d.IntN(4)
	for k := range min(ways, d.size.Furnaces) {
		f := (first + k*(stage+1)) % d.size.Furnaces
		longer := fire + f*10
		people := []plan.Demand{{Cumulative: crew, Amount: 1}}
		task.Modes = append(task.Modes, plan.Mode{
			Name: d.problem.Unaries[f].Name, Unary: f, Family: family, Phases: []plan.Phase{
				{Name: "charge", Minutes: 30, Calendar: 0, Demands: people},
				{Name: "fire", Minutes: longer, Calendar: -1, Demands: []plan.Demand{
					{Cumulative: f % 2, Amount: 10 + f}, {Cumulative: extraction, Amount: gas},
				}},
				{Name: "cool", Minutes: longer * 3 / 2, Calendar: -1},
				{Name: "wait", MaxMinutes: 4 * day, Calendar: -1},
				{Name: "draw", Minutes: 30, Calendar: 0, Demands: people},
			},
		})
	}
	return task
}
