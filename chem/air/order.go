package air

// order puts the load's changes in order of time and sums them up. What a source gives off is in order as it comes, so the
// changes are runs that need only be merged: quicker than sorting, and this is where a check spends its time. A spare list is
// written over, and one is given back.
func (l *load) order(spare []change) []change {
	for runEnd(l.changes, 0) < len(l.changes) {
		l.changes, spare = mergedByTwo(l.changes, spare[:0]), l.changes
	}
	gain, running := 0.0, 0
	for i := range l.changes {
		c := &l.changes[i]
		gain, running = gain+c.gain, running+c.releases
		if running == 0 { // what rounding left of releases that have ended
			gain = 0
		}
		c.level = max(0, gain)
	}
	return spare
}

// runEnd is where the run of changes in order of time ends that begins at an index.
func runEnd(changes []change, start int) int {
	end := start
	for end++; end < len(changes) && changes[end-1].minute <= changes[end].minute; end++ {
	}
	return min(end, len(changes))
}

// mergedByTwo appends the changes to a list with every two runs that follow each other made into one.
func mergedByTwo(changes, list []change) []change {
	for start := 0; start < len(changes); {
		middle := runEnd(changes, start)
		end := middle
		if middle < len(changes) {
			end = runEnd(changes, middle)
		}
		first, second := changes[start:middle], changes[middle:end]
		for len(first) > 0 && len(second) > 0 {
			if second[0].minute < first[0].minute {
				list, second = append(list, second[0]), second[1:]
			} else {
				list, first = append(list, first[0]), first[1:]
			}
		}
		list = append(append(list, first...), second...)
		start = end
	}
	return list
}
