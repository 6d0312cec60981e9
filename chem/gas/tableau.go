package gas

import "math"

// Sizes of the fixed arrays; the tests hold the tables against them.
const (
	maxElements = 8
	maxSpecies  = 24
	maxFeeds    = 24
	maxColumns  = maxSpecies + maxFeeds
)

// atoms are the atoms of each element in one mole of a species, in the order of the tables' elements.
type atoms [maxElements]float64

// problem is what is to be minimised: moles of species that hold given amounts of elements at the least Gibbs energy.
type problem struct {
	species int
	gas     [maxSpecies]bool
	// potential is G/RT of the pure species, at the pressure of the problem for a gas.
	potential [maxSpecies]float64
	// columns are the atoms of the species, followed by those of the feeds.
	columns [maxColumns]atoms
	feeds   int
	moles   [maxFeeds]float64 // of each feed, scaled by a power of two so that they are about one together
}

// tableau writes every species and feed as a sum of component species, one a row. Components are independent, and as many
// as the elements that the feed holds independently of each other.
type tableau struct {
	*problem
	rows int
	// component is the species of each row; while the start is sought, below zero for a stand-in that must vanish.
	component [maxElements]int
	nu        [maxElements][maxColumns]float64
	// total is the component's moles in feed and products together, in terms of components; it may be below zero.
	total [maxElements]float64
	dead  [maxSpecies]bool // species of which the feed allows no amount at all
}

// Coefficients are small fractions and amounts are scaled to one: what is smaller than these is rounding.
const (
	tinyCoefficient = 1e-9
	roundingShare   = 1e-15
	roundingOfAll   = 1e-14 // what an element may lack for rounding, beside a feed of about one
)

// pivot makes a column's species the component of a row.
func (t *tableau) pivot(row, column int) {
	width := t.species + t.feeds
	factor := 1 / t.nu[row][column]
	for j := range width {
		t.nu[row][j] = snapped(t.nu[row][j] * factor)
	}
	t.nu[row][column] = 1
	for i := range t.rows {
		share := t.nu[i][column]
		if i == row || share == 0 {
			continue
		}
		for j := range width {
			t.nu[i][j] = snapped(t.nu[i][j] - share*t.nu[row][j])
		}
		t.nu[i][column] = 0
	}
	t.component[row] = column
	t.sumTotals()
}

func snapped(coefficient float64) float64 {
	if math.Abs(coefficient) < tinyCoefficient {
		return 0
	}
	return coefficient
}

// sumTotals works the totals out of the feed each time anew, with the rounding of each step carried along. What cancels
// down to rounding is nothing: a component that the feed holds in none of its species appears only in the traces into
// which others fall apart.
func (t *tableau) sumTotals() {
	for i := range t.rows {
		sum, rest, size := 0.0, 0.0, 0.0
		for f := range t.feeds {
			nu, moles := t.nu[i][t.species+f], t.moles[f]
			part := nu * moles
			rest += math.FMA(nu, moles, -part)
			next := sum + part
			back := next - sum
			rest += (sum - (next - back)) + (part - back)
			sum = next
			size += math.Abs(part)
		}
		sum += rest
		if math.Abs(sum) <= roundingShare*size {
			sum = 0
		}
		t.total[i] = sum
	}
}

// dropRow takes a row out; the last takes its place.
func (t *tableau) dropRow(row int) {
	last := t.rows - 1
	t.component[row], t.nu[row], t.total[row] = t.component[last], t.nu[last], t.total[last]
	t.rows = last
}

// rowOf is the row of a component; -1 for a species that is none.
func (t *tableau) rowOf(species int) int {
	for i := range t.rows {
		if t.component[i] == species {
			return i
		}
	}
	return -1
}
