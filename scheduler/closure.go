package scheduler

// closure brings what is fixed and the lags to their fixed point before any search, and so finds what these alone exclude:
// starts, modes, windows of time and lower bounds of the makespan.
type closure struct{ *propagator }

func newClosure(m *model, meter *meter) *closure {
	return &closure{newPropagator(m, meter)}
}

// lowerBound returns the least makespan that the closure cannot exclude below a state at its fixed point; false when it
// excludes all (destructive lower bound).
func (c *closure) lowerBound(base *state) (int, bool) {
	possible := func(most int) bool {
		trial := base.clone()
		c.cap(trial, most)
		return c.run(trial)
	}
	low := c.least(base)
	high, reach := low, 1
	for !possible(high) {
		if c.meter.stopped || high > c.horizon {
			return low, false
		}
		low = high + 1
		high, reach = high+reach, 2*reach
	}
	for low < high {
		if middle := low + (high-low)/2; possible(middle) {
			high = middle
		} else if low = middle + 1; c.meter.stopped {
			return low, false
		}
	}
	return low, true
}

// least is the least makespan that the state's sets leave, as if tasks did not clash.
func (c *closure) least(st *state) int {
	latest := 0
	for task := range c.problem.Tasks {
		if _, end := c.earliest(st, task); !c.optional[task] {
			latest = max(latest, end)
		}
	}
	return latest
}

// cap leaves only what ends at or before a minute.
func (c *closure) cap(st *state, most int) {
	for task := range c.problem.Tasks {
		c.capTask(st, task, most)
	}
}

func (c *closure) capTask(st *state, task, end int) {
	changed := false
	for m := c.first[task]; m < c.first[task+1]; m++ {
		if !c.alive(st, m) {
			continue
		}
		last := c.modes[m].lastBlock
		kept := st.starts[last].atMost(floorDiv(end-c.blocks[last].minutes, c.blocks[last].unit))
		changed = changed || !kept.same(st.starts[last])
		st.starts[last] = kept
		if kept.empty() {
			c.drop(st, m)
		}
	}
	if changed {
		st.pending = append(st.pending, task)
	}
}
