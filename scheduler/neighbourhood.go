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

// freeRuns frees tasks by the groups that lags tie together: one, rather one that is late, and others that are in its way.
func (o *optimiser) freeRuns(free []bool) {
	seed := o.random.IntN(len(free))
	for range 2 {
		if other := o.random.IntN(len(free)); o.cost(o.groups[other]) > o.cost(o.groups[seed]) {
			seed = other
		}
	}
	inWay := o.inTheWayOf(o.groups[seed])
	freed := o.release(free, o.groups[seed])
	for range 8 * o.size {
		i := o.random.IntN(len(free))
		if !inWay(i) && o.random.IntN(16) > 0 {
			continue
		}
		if freed += o.release(free, o.groups[i]); freed >= o.size {
			return
		}
	}
}

// inTheWayOf says of a task whether it is in the way of a group: between the group's release and its end, on a unary that the
// group could use or kept apart from it by a separation.
func (o *optimiser) inTheWayOf(group int) func(task int) bool {
	way, rival := map[int]bool{}, map[int]bool{}
	from, until := o.best.MakespanMinute(), 0
	for _, i := range o.members[group] {
		from, until = min(from, o.problem.Tasks[i].ReleaseMinute), max(until, o.best.Tasks[i].EndMinute())
		for _, m := range o.x.tasks[i].modes {
			way[o.x.model.modes[m].unary] = true
		}
		for _, k := range o.x.rivals[i] {
			rival[k] = true
		}
	}
	return func(i int) bool {
		placed := o.best.Tasks[i]
		return !placed.Omitted() && placed.StartMinute < until && placed.EndMinute() > from &&
			(rival[i] || way[o.problem.Tasks[i].Modes[placed.Mode].Unary])
	}
}

// release frees the tasks of a group and says how many it freed.
func (o *optimiser) release(free []bool, group int) int {
	if members := o.members[group]; !free[members[0]] {
		for _, i := range members {
			free[i] = true
		}
		return len(members)
	}
	return 0
}

// cost is what a group adds to lateness and completion in the best solution.
func (o *optimiser) cost(group int) int {
	sum := 0
	for _, i := range o.members[group] {
		if placed := o.best.Tasks[i]; !placed.Omitted() {
			task := &o.problem.Tasks[i]
			sum += task.LatenessWeight * max(placed.EndMinute()-task.DueMinute, 0)
			if o.board.at.Objective == plan.Completion {
				sum += task.CompletionWeight * (placed.EndMinute() - task.ReleaseMinute)
			}
		}
	}
	return sum
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
