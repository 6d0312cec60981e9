package plan

import (
	"fmt"
	"slices"
)

// more goes through what belongs to no list that Validate walks itself.
func (v *validator) more(p *Problem) {
	for i, unary := range p.Unaries {
		v.unaryExtras(v.path("unaries[%d]", i), unary)
	}
	for i, budget := range p.Budgets {
		v.inRange(v.path("budgets[%d].amount", i), budget.Amount, 0, MaxAmount)
	}
	for i, crew := range p.Crews {
		at := v.path("crews[%d]", i)
		v.inRange(at+".people", crew.People, 0, MaxAmount)
		for k, post := range crew.Posted {
			if !sound(post.Interval) {
				v.interval(v.path("%s.posted[%d]", at, k), post.Interval)
			}
			v.inRange(v.path("%s.posted[%d].place", at, k), post.Place, 0, MaxAmount)
		}
	}
	v.calendar("days", p.Days)
	known := []Objective{Makespan, Omission, Completion, Lateness, Visits, Energy, Change}
	for i, objective := range p.Objectives {
		if !slices.Contains(known, objective) || slices.Contains(p.Objectives[:i], objective) {
			v.add(v.path("objectives[%d]", i), i, fmt.Sprintf("must be one of %v, each at most once", known))
		}
	}
	v.batches(p)
}

func (v *validator) separation(field string, s Separation, p *Problem) {
	v.index(field+".first", s.First, len(p.Tasks), "tasks")
	v.index(field+".second", s.Second, len(p.Tasks), "tasks")
	if s.First == s.Second {
		v.add(field+".second", s.Second, "must be another task than first")
	}
	v.modeOf(field+".first_mode", s.FirstMode, s.First, p)
	v.modeOf(field+".second_mode", s.SecondMode, s.Second, p)
	v.inRange(field+".from_minutes", s.FromMinutes, -MaxMinute, MaxMinute)
	v.inRange(field+".to_minutes", s.ToMinutes, -MaxMinute, MaxMinute)
	if s.ToMinutes <= s.FromMinutes {
		v.add(field+".to_minutes", s.ToMinutes, "must be above from_minutes")
	}
}

// modeOf holds a mode against those of a task, if there is such a task.
func (v *validator) modeOf(field string, mode, task int, p *Problem) {
	if mode != -1 && task >= 0 && task < len(p.Tasks) {
		v.index(field, mode, len(p.Tasks[task].Modes), "the task's modes, or -1 for any; modes")
	}
}

func (v *validator) taskExtras(field string, task Task) {
	v.inRange(field+".deadline_minute", task.DeadlineMinute, 0, MaxMinute)
	v.inRange(field+".due_minute", task.DueMinute, 0, MaxMinute)
	v.inRange(field+".omission_weight", task.OmissionWeight, 0, MaxWeight)
	v.inRange(field+".completion_weight", task.CompletionWeight, 0, MaxWeight)
	v.inRange(field+".lateness_weight", task.LatenessWeight, 0, MaxWeight)
	if now := task.Present; now != nil {
		v.index(field+".present.mode", now.Mode, len(task.Modes), "the task's modes")
		v.inRange(field+".present.start_minute", now.StartMinute, 0, MaxMinute)
		v.inRange(field+".present.minute_weight", now.MinuteWeight, 0, MaxWeight)
		v.inRange(field+".present.mode_weight", now.ModeWeight, 0, MaxWeight)
	}
}

func (v *validator) modeExtras(field string, mode Mode, p *Problem) {
	families := 0
	if mode.Unary >= 0 && mode.Unary < len(p.Unaries) {
		families = len(p.Unaries[mode.Unary].SetupMinutes)
	}
	v.inRange(field+".family", mode.Family, 0, max(families-1, 0))
	v.inRange(field+".batch", mode.Batch, 0, MaxAmount)
	v.inRange(field+".load", mode.Load, 0, MaxAmount)
	v.inRange(field+".energy", mode.Energy, 0, MaxWeight)
	if mode.Batch > 0 && mode.Unary == -1 {
		v.add(field+".batch", mode.Batch, "must be 0 where the mode is on no unary")
	}
	for i, use := range mode.Uses {
		at := v.path("%s.uses[%d]", field, i)
		v.index(at+".budget", use.Budget, len(p.Budgets), "budgets")
		v.inRange(at+".amount", use.Amount, 0, MaxAmount)
	}
	for i, phase := range mode.Phases {
		if phase.Visit && phase.Minutes == 0 {
			v.add(v.path("%s.phases[%d].minutes", field, i), 0, "must be at least 1 where the phase is a visit")
		}
		for k, watch := range phase.Watches {
			at := v.path("%s.phases[%d].watches[%d]", field, i, k)
			v.index(at+".crew", watch.Crew, len(p.Crews), "crews")
			v.inRange(at+".place", watch.Place, 0, MaxAmount)
			if slices.ContainsFunc(phase.Watches[:k], func(w Watch) bool { return w.Crew == watch.Crew }) {
				v.add(at+".crew", watch.Crew, "must be another crew than that of the watches before")
			}
		}
	}
}

func (v *validator) unaryExtras(field string, unary Unary) {
	families := len(unary.SetupMinutes)
	for i, row := range unary.SetupMinutes {
		if len(row) != families {
			v.add(v.path("%s.setup_minutes[%d]", field, i), len(row),
				fmt.Sprintf("must have as many entries as there are rows, which is %d", families))
		}
		for k, minutes := range row {
			v.inRange(v.path("%s.setup_minutes[%d][%d]", field, i, k), minutes, 0, MaxMinute)
		}
	}
	for i, held := range unary.Held {
		at := v.path("%s.held[%d]", field, i)
		if !sound(held.Interval) {
			v.interval(at, held.Interval)
		}
		v.inRange(at+".family", held.Family, 0, max(families-1, 0))
	}
	v.inRange(field+".batch_capacity", unary.BatchCapacity, 0, MaxAmount)
	v.inRange(field+".hot_minutes", unary.HotMinutes, 0, MaxMinute)
	v.inRange(field+".hot_saving", unary.HotSaving, 0, MaxWeight)
}

// batches holds modes that may share a firing to the same phases.
func (v *validator) batches(p *Problem) {
	type key struct{ unary, batch int }
	first := map[key]Mode{}
	for i, task := range p.Tasks {
		for k, mode := range task.Modes {
			at := key{mode.Unary, mode.Batch}
			if mode.Batch <= 0 {
				continue
			}
			before, ok := first[at]
			if !ok {
				first[at] = mode
				continue
			}
			if before.Family != mode.Family || before.TailPhases != mode.TailPhases ||
				!slices.EqualFunc(before.Phases, mode.Phases, samePhase) {
				v.add(v.path("tasks[%d].modes[%d].batch", i, k), mode.Batch,
					"must be shared only by modes with the same phases, tail and family on the unary")
			}
		}
	}
}

func samePhase(a, b Phase) bool {
	return a.Minutes == b.Minutes && a.LongestMinutes() == b.LongestMinutes() && a.Calendar == b.Calendar &&
		a.Visit == b.Visit && slices.Equal(a.Demands, b.Demands) && slices.Equal(a.Watches, b.Watches)
}
