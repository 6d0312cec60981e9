package scheduler_test

import (
	"pgregory.net/rapid"

	"saggar/scheduler"
)

// shape says what random problems may hold.
type shape struct {
	tasks, modes, horizon              int
	lags, anyLags                      bool // lags along the chain; between any two tasks
	elastic, calendars, cumulatives    bool
	forbidden, busy, releases, anyStep bool
	ownUnary, certain                  bool // a unary for each task; a demand in each phase
	// What tasks share, and what may be left out or is sought.
	setups, batches, budgets, crews, optional, deadlines, fromStart, noUnary, separations bool
	objectives                                                                            []scheduler.Objective
}

// everything is small enough for brute force.
var everything = shape{
	tasks: 3, modes: 2, horizon: 16, lags: true, anyLags: true, elastic: true, calendars: true, cumulatives: true,
	forbidden: true, busy: true, releases: true, anyStep: true,
}

// drawer draws one random problem.
type drawer struct {
	*rapid.T
	shape
}

func (d drawer) number(least, most int, label string) int {
	return rapid.IntRange(least, most).Draw(d.T, label)
}

// oneIn is true once in n.
func (d drawer) oneIn(n int, label string) bool { return d.number(1, n, label) == n }

func drawProblem(t *rapid.T, s shape) scheduler.Problem {
	d := drawer{t, s}
	p := scheduler.Problem{HorizonMinutes: d.number(3, s.horizon, "horizon")}
	if s.anyStep {
		p.StepMinutes = d.number(0, 3, "step")
	}
	for range d.number(1, 2, "unaries") {
		p.Unaries = append(p.Unaries, scheduler.Unary{Busy: d.intervals(d.busy, 2, "busy")})
	}
	d.shared(&p)
	if s.calendars {
		for range d.number(0, 2, "calendars") {
			p.Calendars = append(p.Calendars, scheduler.Calendar{Open: d.openings(p.HorizonMinutes)})
		}
	}
	if s.cumulatives {
		for range d.number(0, 2, "cumulatives") {
			p.Cumulatives = append(p.Cumulatives, d.cumulative())
		}
	}
	for range d.number(1, s.tasks, "tasks") {
		p.Tasks = append(p.Tasks, d.task(&p))
	}
	if s.ownUnary {
		p.Unaries = make([]scheduler.Unary, len(p.Tasks))
		for i := range p.Tasks {
			for k := range p.Tasks[i].Modes {
				p.Tasks[i].Modes[k].Unary = i
			}
		}
	}
	d.drawLags(&p)
	d.drawSeparations(&p)
	if s.batches {
		d.alike(&p)
	}
	return p
}

func (d drawer) intervals(wanted bool, most int, label string) []scheduler.Interval {
	var all []scheduler.Interval
	if !wanted {
		return nil
	}
	for range d.number(0, most, label) {
		start := d.number(-3, d.horizon, label+" start")
		all = append(all, scheduler.Interval{Start: start, End: start + d.number(1, 5, label+" minutes")})
	}
	return all
}

func (d drawer) openings(horizon int) []scheduler.Interval {
	var open []scheduler.Interval
	at := -2
	for at < horizon {
		start := at + d.number(0, 4, "closed")
		at = start + d.number(1, 8, "open")
		open = append(open, scheduler.Interval{Start: start, End: at})
	}
	return open
}

func (d drawer) cumulative() scheduler.Cumulative {
	c := scheduler.Cumulative{Capacity: d.number(1, 5, "capacity")}
	for range d.number(0, 3, "used") {
		start := d.number(-3, d.horizon, "used start")
		c.Used = append(c.Used, scheduler.Step{
			Interval: scheduler.Interval{Start: start, End: start + d.number(1, 6, "used minutes")},
			Amount:   d.number(0, 4, "used amount"),
		})
	}
	return c
}

func (d drawer) task(p *scheduler.Problem) scheduler.Task {
	var task scheduler.Task
	if d.releases && d.oneIn(3, "released") {
		task.ReleaseMinute = d.number(0, 6, "release")
	}
	d.wishes(p, &task)
	for range d.number(1, d.modes, "modes") {
		mode := scheduler.Mode{
			Unary:           d.number(0, len(p.Unaries)-1, "unary"),
			ForbiddenStarts: d.intervals(d.forbidden, 1, "forbidden"),
		}
		for range d.number(1, 3, "phases") {
			mode.Phases = append(mode.Phases, d.phase(p))
		}
		mode.Phases[0].Minutes = max(mode.Phases[0].Minutes, 1)
		mode.Phases[0].MaxMinutes = 0
		if d.lags || d.anyLags {
			d.drawTail(&mode)
		}
		d.extras(p, &mode)
		task.Modes = append(task.Modes, mode)
	}
	return task
}

// drawTail keeps the last phases, as many as may be, from counting for lags.
func (d drawer) drawTail(mode *scheduler.Mode) {
	lasting := 0
	for _, phase := range mode.Phases {
		if phase.Minutes > 0 {
			lasting++
		}
	}
	mode.TailPhases = d.number(0, lasting-1, "tail")
	for i := len(mode.Phases) - mode.TailPhases; i < len(mode.Phases); i++ {
		mode.Phases[i].MaxMinutes = 0
	}
}

func (d drawer) phase(p *scheduler.Problem) scheduler.Phase {
	phase := scheduler.Phase{Minutes: d.number(0, 3, "minutes"), Calendar: -1}
	if d.elastic && d.oneIn(2, "elastic") {
		phase.MaxMinutes = phase.Minutes + d.number(0, 4, "more")
	}
	if len(p.Calendars) > 0 && d.oneIn(2, "bound") {
		phase.Calendar = d.number(0, len(p.Calendars)-1, "calendar")
	}
	if len(p.Cumulatives) > 0 && (d.certain || d.oneIn(2, "demanding")) {
		for range d.number(1, 2, "demands") {
			phase.Demands = append(phase.Demands, scheduler.Demand{
				Cumulative: d.number(0, len(p.Cumulatives)-1, "cumulative"),
				Amount:     d.number(0, 3, "amount"),
			})
		}
	}
	return phase
}

func (d drawer) drawLags(p *scheduler.Problem) {
	if d.lags {
		for to := 1; to < len(p.Tasks); to++ {
			p.Lags = append(p.Lags, d.lag(to-1, to))
		}
	}
	if !d.anyLags || len(p.Tasks) < 2 || !d.oneIn(3, "crossing") {
		return
	}
	for range d.number(1, 2, "crossing lags") {
		from := d.number(0, len(p.Tasks)-1, "from")
		to := (from + d.number(1, len(p.Tasks)-1, "to")) % len(p.Tasks)
		p.Lags = append(p.Lags, d.lag(from, to))
	}
}

func (d drawer) lag(from, to int) scheduler.Lag {
	lag := scheduler.Lag{From: from, To: to, MinMinutes: d.number(-6, 3, "lag"), MaxMinutes: -1}
	if d.oneIn(2, "most") {
		lag.MaxMinutes = max(lag.MinMinutes, 0) + d.number(0, 4, "lag room")
	}
	lag.FromStart = d.fromStart && d.oneIn(2, "from start")
	return lag
}
