package scheduler

import (
	"saggar/scheduler/engine"
	"saggar/scheduler/plan"
)

// Large neighbourhood search (Shaw 1998): most of the best solution is held, and the engine looks for a better one in what
// is left free. What it learns there holds everywhere.

// neighbourhood is statements that hold most of the best solution. Where the makespan is sought everything must move a
// little: then tasks outside of a window of time are held close to where they are. Else whole runs are held as they are.
func (o *optimiser) neighbourhood(what plan.Objective) []engine.Lit {
	free := make([]bool, len(o.x.tasks))
	if what == plan.Makespan && o.round%3 != 0 {
		o.freeWindow(free)
		return o.hold(free, 1+o.random.IntN(1+o.best.MakespanMinute()/20))
	}
	o.freeRuns(free)
	if what == plan.Makespan {
		return o.hold(free, 1+o.random.IntN(1+o.best.MakespanMinute()/20))
	}
	return o.hold(free, 0)
}

// freeWindow frees the tasks that run in a window of time with about as many tasks as size says.
func (o *optimiser) freeWindow(free []bool) {
	centre := o.best.Tasks[o.random.IntN(len(free))]
	reach := max(o.best.MakespanMinute()*o.size/(2*len(free)), 1)
	middle := (centre.StartMinute + centre.EndMinute()) / 2
	for i, placed := range o.best.Tasks {
		free[i] = placed.StartMinute < middle+reach && placed.EndMinute() > middle-reach
	}
}

// freeRuns frees tasks by the groups that lags tie together: one at random, and others that have a task near it in time.
func (o *optimiser) freeRuns(free []bool) {
	groups := map[int][]int{}
	var order []int
	for i, g := range o.groups {
		if groups[g] == nil {
			order = append(order, g)
		}
		groups[g] = append(groups[g], i)
	}
	seed := order[o.random.IntN(len(order))]
	count := 0
	release := func(g int) {
		for _, i := range groups[g] {
			if !free[i] {
				free[i] = true
				count++
			}
		}
	}
	release(seed)
	at := o.best.Tasks[groups[seed][o.random.IntN(len(groups[seed]))]]
	for range 4 * len(order) {
		g := order[o.random.IntN(len(order))]
		near := o.best.Tasks[groups[g][o.random.IntN(len(groups[g]))]]
		if near.StartMinute < at.EndMinute() && at.StartMinute < near.EndMinute() || o.random.IntN(8) == 0 {
			release(g)
		}
		if count >= o.size {
			return
		}
	}
}

// hold states the modes and starts of the tasks that are not free, give or take some minutes.
func (o *optimiser) hold(free []bool, give int) []engine.Lit {
	var held []engine.Lit
	for i := range o.x.tasks {
		t, placed := &o.x.tasks[i], o.best.Tasks[i]
		if free[i] || len(t.modes) == 0 {
			continue
		}
		if placed.Omitted() {
			held = append(held, t.present.Not())
			continue
		}
		for way, m := range t.modes {
			if o.x.model.modes[m].index == placed.Mode && t.lits[way] != engine.True {
				held = append(held, t.lits[way])
			}
		}
		for _, start := range t.blocks {
			if at := o.startIn(start); start.View != 0 {
				held = append(held, start.AtLeast(at-give), start.AtMost(at+give))
			}
		}
	}
	return held
}

// startIn is the term's value in the best solution.
func (o *optimiser) startIn(t engine.Term) int { return t.Value(o.bestValues) }
