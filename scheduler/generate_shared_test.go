package scheduler_test

import (
	"saggar/scheduler"
)

// shared draws what tasks share, but for batches, and the objectives.
func (d drawer) shared(p *scheduler.Problem) {
	for u := range p.Unaries {
		unary := &p.Unaries[u]
		if d.setups {
			unary.SetupMinutes = [][]int{{0, d.number(0, 3, "setup")}, {d.number(0, 3, "setup back"), d.number(0, 1, "setup same")}}
			for _, held := range d.intervals(true, 1, "held") {
				unary.Held = append(unary.Held, scheduler.Held{Interval: held, Family: d.number(0, 1, "held family")})
			}
		}
		unary.BatchCapacity = d.number(2, 5, "batch capacity")
		unary.HotMinutes, unary.HotSaving = d.number(0, 3, "hot"), d.number(0, 4, "saving")
	}
	if d.budgets {
		p.Budgets = []scheduler.Budget{{Amount: d.number(1, 6, "budget")}}
	}
	if d.crews {
		crew := scheduler.Crew{People: d.number(1, 2, "people")}
		for _, post := range d.intervals(true, 2, "posted") {
			crew.Posted = append(crew.Posted, scheduler.Post{Interval: post, Place: d.number(0, 2, "posted place")})
		}
		p.Crews = []scheduler.Crew{crew}
	}
	for at := 0; at < p.HorizonMinutes; at += 6 {
		p.Days = append(p.Days, scheduler.Interval{Start: at, End: at + 5})
	}
	p.Objectives = d.objectives
}

// wishes draws what is wished of a task.
func (d drawer) wishes(p *scheduler.Problem, task *scheduler.Task) {
	if d.deadlines && d.oneIn(2, "deadline wanted") {
		task.DeadlineMinute = d.number(1, p.HorizonMinutes, "deadline")
	}
	task.Optional = d.optional && d.oneIn(2, "optional")
	if len(d.objectives) == 0 {
		return
	}
	task.OmissionWeight, task.CompletionWeight = d.number(0, 20, "omission"), d.number(0, 3, "completion")
	task.DueMinute, task.LatenessWeight = d.number(0, 12, "due"), d.number(0, 3, "lateness")
	if d.oneIn(2, "stands") {
		task.Present = &scheduler.Present{
			StartMinute: d.number(0, p.HorizonMinutes, "stands at"), MinuteWeight: d.number(0, 2, "a minute"),
			ModeWeight: d.number(0, 5, "a mode"),
		}
	}
}

// extras draws what a mode has beyond its phases.
func (d drawer) extras(p *scheduler.Problem, mode *scheduler.Mode) {
	if d.noUnary && d.oneIn(3, "no unary") {
		mode.Unary = -1
	}
	if d.setups && mode.Unary >= 0 {
		mode.Family = d.number(0, 1, "family")
	}
	if d.budgets {
		mode.Uses = []scheduler.Use{{Amount: d.number(0, 3, "use")}}
	}
	mode.Energy = d.number(0, 5, "energy")
	for i := range mode.Phases {
		phase := &mode.Phases[i]
		if d.crews && d.oneIn(2, "watched") {
			phase.Watches = []scheduler.Watch{{Place: d.number(0, 2, "place")}}
		}
		phase.Visit = len(d.objectives) > 0 && phase.Minutes > 0 && d.oneIn(2, "visit")
	}
}

// drawSeparations draws up to five, several of them between the same tasks more often than not.
func (d drawer) drawSeparations(p *scheduler.Problem) {
	if !d.separations || len(p.Tasks) < 2 {
		return
	}
	for range d.number(1, 5, "separations") {
		first := d.number(0, len(p.Tasks)-1, "first")
		second := (first + d.number(1, len(p.Tasks)-1, "second")) % len(p.Tasks)
		from := d.number(-8, 5, "refused from")
		p.Separations = append(p.Separations, scheduler.Separation{
			First: first, FirstMode: d.number(-1, len(p.Tasks[first].Modes)-1, "first mode"),
			Second: second, SecondMode: d.number(-1, len(p.Tasks[second].Modes)-1, "second mode"),
			FromMinutes: from, ToMinutes: from + d.number(1, 10, "refused"),
		})
	}
}

// alike makes some modes share the phases of the first task's first mode, so that they may be one batch.
func (d drawer) alike(p *scheduler.Problem) {
	first := p.Tasks[0].Modes[0]
	if first.Unary < 0 {
		return
	}
	for i := range p.Tasks {
		for k := range p.Tasks[i].Modes {
			mode := &p.Tasks[i].Modes[k]
			if (i == 0 && k == 0) || mode.Unary == first.Unary && d.number(0, 2, "alike") > 0 {
				mode.Phases, mode.TailPhases, mode.Family, mode.Batch = first.Phases, first.TailPhases, first.Family, 1
				mode.Load = d.number(0, 3, "load")
			}
		}
	}
}
