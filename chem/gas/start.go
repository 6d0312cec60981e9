package gas

import "math"

// The linear programme below has few rows; these bounds are never reached unless something is broken.
const (
	mostPivots = 200
	plainRule  = 60 // pivots after which the rule that cannot cycle takes over
)

// standInCost is above every difference of potentials that the tables can make, in units of RT.
const standInCost = 1e5

// start finds the components that hold the feed at the least Gibbs energy when mixing is left out, by the simplex method
// with Bland's rule against cycles. It answers false when the species considered cannot hold the feed.
func (t *tableau) start(elements int) bool {
	t.rows = elements
	for i := range elements {
		t.component[i] = -1
		for j := range t.species + t.feeds {
			t.nu[i][j] = t.columns[j][i]
		}
	}
	t.sumTotals()
	for count := range mostPivots {
		column := t.entering(count >= plainRule)
		if column < 0 {
			return t.clearStandIns()
		}
		row := t.leaving(column)
		if row < 0 {
			return false
		}
		t.pivot(row, column)
	}
	return false
}

func (t *tableau) cost(row int) float64 {
	if t.component[row] < 0 {
		return standInCost
	}
	return t.potential[t.component[row]]
}

// entering is the species that lowers the sum most, or the first that lowers it at all; -1 when none does.
func (t *tableau) entering(first bool) int {
	best, lowest := -1, -1e-7
	for j := range t.species {
		reduced := t.potential[j]
		for i := range t.rows {
			if t.nu[i][j] != 0 {
				reduced -= t.cost(i) * t.nu[i][j]
			}
		}
		if reduced < lowest {
			best, lowest = j, reduced
			if first {
				return best
			}
		}
	}
	return best
}

// leaving is the row whose component runs out first, the stand-in or the lowest species where several do.
func (t *tableau) leaving(column int) int {
	row, least := -1, math.Inf(1)
	for i := range t.rows {
		if t.nu[i][column] <= 0 {
			continue
		}
		ratio := max(t.total[i], 0) / t.nu[i][column]
		if ratio < least || ratio == least && t.component[i] < t.component[row] {
			row, least = i, ratio
		}
	}
	return row
}

// clearStandIns takes out stand-ins that hold nothing; one that holds something means that the feed cannot be held.
func (t *tableau) clearStandIns() bool {
	for i := t.rows - 1; i >= 0; i-- {
		if t.component[i] >= 0 {
			continue
		}
		if t.total[i] != 0 {
			return false
		}
		column := -1
		for j := range t.species {
			if t.nu[i][j] != 0 && t.rowOf(j) < 0 {
				column = j
				break
			}
		}
		if column >= 0 {
			t.pivot(i, column)
		} else {
			t.dropRow(i)
		}
	}
	return true
}
