package scheduler_test

import (
	"slices"

	"saggar/scheduler"
)

func (b *brute) mode(p scheduler.Placement) scheduler.Mode {
	return b.problem.Tasks[p.Task].Modes[p.Mode]
}

func (b *brute) setup(unary, from, to int) int {
	if minutes := b.problem.Unaries[unary].SetupMinutes; len(minutes) > 0 {
		return minutes[from][to]
	}
	return 0
}

func (b *brute) clearOfHeld(p scheduler.Placement, mode scheduler.Mode) bool {
	if mode.Unary < 0 {
		return true
	}
	for _, held := range b.problem.Unaries[mode.Unary].Held {
		after := p.StartMinute >= held.End+b.setup(mode.Unary, held.Family, mode.Family)
		if !after && p.EndMinute()+b.setup(mode.Unary, mode.Family, held.Family) > held.Start {
			return false
		}
	}
	return true
}

// batched says whether two placements are one firing.
func (b *brute) batched(x, y scheduler.Placement) bool {
	if x.Omitted() || y.Omitted() {
		return false
	}
	one, other := b.mode(x), b.mode(y)
	return one.Unary == other.Unary && one.Batch > 0 && one.Batch == other.Batch && slices.Equal(x.Phases, y.Phases)
}

func (b *brute) apart(x, y scheduler.Placement) bool {
	if x.Omitted() || y.Omitted() || b.mode(x).Unary != b.mode(y).Unary || b.mode(x).Unary < 0 || b.batched(x, y) {
		return true
	}
	unary, one, other := b.mode(x).Unary, b.mode(x).Family, b.mode(y).Family
	return x.EndMinute()+b.setup(unary, one, other) <= y.StartMinute || y.EndMinute()+b.setup(unary, other, one) <= x.StartMinute
}

// firings are the placements without those that share an earlier one's firing.
func (b *brute) firings(placed []scheduler.Placement) []scheduler.Placement {
	var all []scheduler.Placement
	for _, p := range placed {
		if !p.Omitted() && !slices.ContainsFunc(all, func(other scheduler.Placement) bool { return b.batched(other, p) }) {
			all = append(all, p)
		}
	}
	return all
}

// shares says whether loads, budgets and crews suffice.
func (b *brute) shares(placed []scheduler.Placement) bool {
	for _, first := range b.firings(placed) {
		load := 0
		for _, p := range placed {
			if b.batched(first, p) {
				load += b.mode(p).Load
			}
		}
		if b.mode(first).Batch > 0 && load > b.problem.Unaries[b.mode(first).Unary].BatchCapacity {
			return false
		}
	}
	for i, budget := range b.problem.Budgets {
		used := 0
		for _, p := range placed {
			if p.Omitted() {
				continue
			}
			for _, use := range b.mode(p).Uses {
				if use.Budget == i {
					used += use.Amount
				}
			}
		}
		if used > budget.Amount {
			return false
		}
	}
	for i := range b.problem.Crews {
		for minute := range b.problem.HorizonMinutes {
			if !b.enough(placed, i, minute) {
				return false
			}
		}
	}
	return true
}

func (b *brute) enough(placed []scheduler.Placement, crew, minute int) bool {
	places, own := map[int]bool{}, false
	for _, p := range b.firings(placed) {
		for k, phase := range b.mode(p).Phases {
			for _, watch := range phase.Watches {
				if watch.Crew == crew && p.Phases[k].Start <= minute && minute < p.Phases[k].End {
					places[watch.Place], own = true, true
				}
			}
		}
	}
	for _, post := range b.problem.Crews[crew].Posted {
		if post.Start <= minute && minute < post.End {
			places[post.Place] = true
		}
	}
	return !own || len(places) <= b.problem.Crews[crew].People
}

// value works an objective out minute by minute.
func (b *brute) value(s scheduler.Solution, what scheduler.Objective) int {
	switch what {
	case scheduler.VisitsObjective:
		return b.visits(s)
	case scheduler.EnergyObjective:
		return b.energy(s)
	case scheduler.MakespanObjective:
		latest := 0
		for _, p := range s.Tasks {
			latest = max(latest, p.EndMinute())
		}
		return latest
	}
	sum := 0
	for _, p := range s.Tasks {
		task := b.problem.Tasks[p.Task]
		switch {
		case what == scheduler.ChangeObjective:
			sum += b.change(p, task.Present)
		case p.Omitted():
			if what == scheduler.OmissionObjective {
				sum += task.OmissionWeight
			}
		case what == scheduler.CompletionObjective:
			sum += task.CompletionWeight * p.EndMinute()
		case what == scheduler.LatenessObjective && p.EndMinute() > task.DueMinute:
			sum += task.LatenessWeight * (p.EndMinute() - task.DueMinute)
		}
	}
	return sum
}

func (b *brute) change(p scheduler.Placement, present *scheduler.Present) int {
	if present == nil {
		return 0
	}
	sum := 0
	if p.Mode != present.Mode {
		sum += present.ModeWeight
	}
	for at := min(p.StartMinute, present.StartMinute); at < max(p.StartMinute, present.StartMinute) && !p.Omitted(); at++ {
		sum += present.MinuteWeight
	}
	return sum
}

func (b *brute) visits(s scheduler.Solution) int {
	days := map[int]bool{}
	for _, p := range s.Tasks {
		if p.Omitted() {
			continue
		}
		for k, phase := range b.mode(p).Phases {
			for minute := p.Phases[k].Start; phase.Visit && minute < p.Phases[k].End; minute++ {
				if d := slices.IndexFunc(b.problem.Days, func(i scheduler.Interval) bool { return i.Start <= minute && minute < i.End }); d >= 0 {
					days[d] = true
				}
			}
		}
	}
	return len(days)
}

func (b *brute) energy(s scheduler.Solution) int {
	sum := 0
	for _, p := range b.firings(s.Tasks) {
		sum += b.mode(p).Energy
		if b.mode(p).Unary < 0 {
			continue
		}
		unary := b.problem.Unaries[b.mode(p).Unary]
		ends := []int{}
		for _, held := range unary.Held {
			ends = append(ends, held.End)
		}
		for _, other := range s.Tasks {
			if !other.Omitted() && other.Task != p.Task && b.mode(other).Unary == b.mode(p).Unary {
				ends = append(ends, other.EndMinute())
			}
		}
		if slices.ContainsFunc(ends, func(end int) bool { return end <= p.StartMinute && p.StartMinute <= end+unary.HotMinutes }) {
			sum -= unary.HotSaving
		}
	}
	return sum
}
