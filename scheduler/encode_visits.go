package scheduler

import (
	"slices"

	"saggar/scheduler/engine"
)

// fewestDays is how many days must be visited at least by what the visits take of each cumulative, say of people: the days
// that have most to give come first.
func (x *encoding) fewestDays() int {
	fewest := 0
	for c := range x.problem.Cumulatives {
		if x.meter.spend(len(x.res.levels[c]) + len(x.tasks)) {
			fewest = max(fewest, x.daysFor(c))
		}
	}
	return fewest
}

func (x *encoding) daysFor(cumulative int) int {
	v := visiting{encoding: x, cumulative: cumulative}
	need := 0
	for task := range x.tasks {
		if t := &x.tasks[task]; t.present == engine.True {
			need += v.taskNeeds(t)
		}
	}
	if need == 0 {
		return 0
	}
	outside := v.given(span{0, x.horizon - 1})
	var days []int
	for _, day := range x.problem.Days {
		given := v.given(span{max(day.Start, 0), min(day.End, x.horizon) - 1})
		days = append(days, given)
		outside -= given
	}
	need -= outside
	slices.SortFunc(days, func(a, b int) int { return b - a })
	count := 0
	for need > 0 && count < len(days) {
		need -= days[count]
		count++
	}
	return count
}

// visiting is what visits take of a cumulative.
type visiting struct {
	*encoding
	cumulative int
	open       set  // when, by the calendars of the visits that take of it
	always     bool // one of them needs no calendar
}

// taskNeeds is the minutes times amount that the task's visits take at least, in the mode that takes least. What a batch
// takes counts once for all of it, and so not here.
func (v *visiting) taskNeeds(t *taskTerms) int {
	least := far
	for _, m := range t.modes {
		mode := &v.model.modes[m]
		source := &v.problem.Tasks[mode.task].Modes[mode.index]
		need := 0
		for _, phase := range source.Phases {
			for _, demand := range phase.Demands {
				if !phase.Visit || demand.Cumulative != v.cumulative || demand.Amount == 0 || source.Batch > 0 {
					continue
				}
				need += phase.Minutes * demand.Amount
				if phase.Calendar < 0 {
					v.always = true
				} else {
					v.open = union(v.open, v.res.open[phase.Calendar])
				}
			}
		}
		least = min(least, need)
	}
	return least
}

// given is the minutes times amount that the cumulative has left within a span in which visits may be.
func (v *visiting) given(within span) int {
	minutes := v.open
	if v.always {
		minutes = always
	}
	minutes = minutes.between(within.lo, within.hi)
	capacity, sum := v.problem.Cumulatives[v.cumulative].Capacity, 0
	for i := range minutes.spans {
		sp := minutes.at(i)
		v.meter.spend(8)
		for at := sp.lo; at <= sp.hi; {
			used, until := levelAt(v.res.levels[v.cumulative], at)
			until = min(until, sp.hi+1)
			sum += (until - at) * max(capacity-used, 0)
			at = until
		}
	}
	return sum
}

// levelAt is what is used at a minute, and until when.
func levelAt(levels []level, minute int) (used, until int) {
	i, found := slices.BinarySearchFunc(levels, minute, func(l level, minute int) int { return l.from - minute })
	if !found {
		i--
	}
	if i+1 < len(levels) {
		return levels[i].used, levels[i+1].from
	}
	return levels[i].used, far
}
