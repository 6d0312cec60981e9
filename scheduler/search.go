package scheduler

import (
	"saggar/scheduler/plan"
)

// rootTrials is how many nodes may go into looking for a solution exactly at the bound, before the search improves on what
// it has step by step.
const rootTrials = 2000

// aim is what a search makes least.
type aim struct {
	what aimKind
	task int
}

type aimKind int

const (
	aimAny aimKind = iota // any solution
	aimMakespan
	aimStart // of the task
	aimEnd   // of the task
)

// search is depth-first branch and bound on modes, orders and clashes.
type search struct {
	*propagator
	aim    aim
	most   int // only solutions whose value is at most this count
	floor  int // no solution is below: stop on reaching it
	ration int // nodes left to the present attempt; negative: no ration
	found  bool
	best   plan.Solution
	value  int // of best, by the aim
	done   bool
}

func newSearch(m *model, meter *meter) *search {
	return &search{propagator: newPropagator(m, meter), ration: -1}
}

// minimise finds the least value of the aim among the solutions below root, which is only propagated, given that best
// has the value incumbent; far: there is no best yet. It returns false when there is no solution or when the meter stopped it.
// A better solution found on the way stays in best.
func (s *search) minimise(root *state, goal aim, incumbent int) (int, bool) {
	s.aim, s.found, s.done, s.value = goal, false, false, incumbent
	floor, ok := s.lowerBound(root)
	if !ok || floor >= incumbent {
		return incumbent, ok && !s.meter.stopped
	}
	s.floor, s.most, s.ration = floor, floor, rootTrials
	s.dive(root.clone())
	if !s.found && !s.meter.stopped {
		if s.ration > 0 {
			s.floor++ // all of it was searched
		}
		s.ration, s.most = -1, incumbent-1
		s.dive(root.clone())
	}
	return s.value, s.value < far && !s.meter.stopped
}

// decideAny finds any solution below root.
func (s *search) decideAny(root *state) bool {
	s.aim, s.found, s.done = aim{}, false, false
	s.most, s.floor, s.ration = far, 0, -1
	s.dive(root.clone())
	return s.found
}

// lowerBound returns the least value that propagation cannot exclude; false when it excludes all.
func (s *search) lowerBound(root *state) (int, bool) {
	base, low := s.window(root)
	if base == nil {
		return 0, false
	}
	possible := func(most int) bool {
		trial := base.clone()
		s.cap(trial, most)
		return s.run(trial)
	}
	high, reach := low, 1
	for !possible(high) {
		if s.meter.stopped {
			return 0, false
		}
		low = high + 1
		high, reach = high+reach, 2*reach
	}
	for low < high {
		if middle := low + (high-low)/2; possible(middle) {
			high = middle
		} else if low = middle + 1; s.meter.stopped {
			return 0, false
		}
	}
	return low, true
}

// window returns a propagated state below root with a lower bound of the aim's value anywhere below root; nil when there is
// no solution. Whatever root has and the state has not is above the bound. For the makespan it tries short horizons first:
// most plans end long before the horizon, and then the rest need not be looked at.
func (s *search) window(root *state) (*state, int) {
	low := 0
	if s.aim.what == aimMakespan {
		for share := 64; share > 1; share /= 4 {
			trial := root.clone()
			s.cap(trial, s.horizon/share)
			if s.run(trial) {
				return trial, max(low, s.least(trial))
			}
			if s.meter.stopped {
				return nil, 0
			}
			low = s.horizon/share + 1
		}
	}
	if !s.run(root) {
		return nil, 0
	}
	return root, max(low, s.least(root))
}

// least is the least value of the aim that the state's sets leave, as if tasks did not clash.
func (s *search) least(st *state) int {
	switch s.aim.what {
	case aimStart:
		start, _ := s.earliest(st, s.aim.task)
		return start
	case aimEnd:
		_, end := s.earliest(st, s.aim.task)
		return end
	case aimMakespan:
		latest := 0
		for task := range s.problem.Tasks {
			_, end := s.earliest(st, task)
			latest = max(latest, end)
		}
		return latest
	}
	return 0
}

// cap leaves only what keeps the aim's value at or below most.
func (s *search) cap(st *state, most int) {
	switch s.aim.what {
	case aimStart:
		s.capTask(st, s.aim.task, most, far)
	case aimEnd:
		s.capTask(st, s.aim.task, far, most)
	case aimMakespan:
		for task := range s.problem.Tasks {
			s.capTask(st, task, far, most)
		}
	}
}

func (s *search) capTask(st *state, task, start, end int) {
	changed := false
	for m := s.first[task]; m < s.first[task+1]; m++ {
		if !s.alive(st, m) {
			continue
		}
		first, last := s.modes[m].firstBlock, s.modes[m].lastBlock
		changed = s.capBlock(st, first, start) || changed
		if !st.starts[first].empty() {
			changed = s.capBlock(st, last, end-s.blocks[last].minutes) || changed
		}
		if st.starts[first].empty() || st.starts[last].empty() {
			s.drop(st, m)
		}
	}
	if changed {
		st.pending = append(st.pending, task)
	}
}

func (s *search) capBlock(st *state, block, most int) bool {
	kept := st.starts[block].atMost(floorDiv(most, s.blocks[block].unit))
	changed := !kept.same(st.starts[block])
	st.starts[block] = kept
	return changed
}

// dive searches below the state, which it uses up.
func (s *search) dive(st *state) {
	if s.done || s.ration == 0 || !s.meter.open() {
		return
	}
	s.ration--
	s.cap(st, s.most)
	if !s.run(st) || s.meter.stopped {
		return
	}
	choices := s.decide(st)
	if s.meter.stopped {
		return
	}
	if choices == nil {
		s.record(st)
		return
	}
	for i, c := range choices {
		next := st
		if i+1 < len(choices) {
			next = st.clone()
		}
		s.dive(s.apply(next, c))
		if s.done {
			return
		}
	}
}

// record keeps the solution of least starts and asks for a better one from now on.
func (s *search) record(st *state) {
	s.found, s.value = true, s.least(st)
	s.best = plan.Solution{}
	for task := range s.problem.Tasks {
		s.best.Tasks = append(s.best.Tasks, s.placement(st, s.only(st, task)))
	}
	s.most = s.value - 1
	s.done = s.aim.what == aimAny || s.value <= s.floor
}

// placement is the mode's phases at its blocks' least starts.
func (s *search) placement(st *state, m int) plan.Placement {
	mode := s.modes[m]
	source := s.problem.Tasks[mode.task].Modes[mode.index]
	at := s.startOf(st, m)
	placed := plan.Placement{Task: mode.task, Mode: mode.index, StartMinute: at}
	add := func(until int) {
		placed.Phases = append(placed.Phases, plan.Interval{Start: at, End: until})
		at = until
	}
	index := 0
	for k := mode.firstBlock; k <= mode.lastBlock; k++ {
		for range s.blocks[k].phases {
			add(at + source.Phases[index].Minutes)
			index++
		}
		if k < mode.lastBlock {
			add(st.starts[k+1].lo * s.blocks[k+1].unit)
			index++
		}
	}
	return placed
}
