package hazard

import (
	"math"
	"slices"
	"sync"

	"saggar/chem"
	"saggar/chem/data"
)

// compound is a formula taken apart once.
type compound struct {
	text     string
	elements []chem.ElementCount // by atomic number, so that sums come out the same every time
	counts   map[string]float64
	// molarMass in g/mol.
	molarMass float64
}

func newCompound(f chem.Formula) *compound {
	c := &compound{text: f.String(), elements: f.Elements(), counts: map[string]float64{}, molarMass: f.MolarMass()}
	for _, e := range c.elements {
		c.counts[e.Symbol] = e.Count
	}
	return c
}

// n is the atoms of an element, 0 when absent.
func (c *compound) n(symbol string) float64 { return c.counts[symbol] }

// isElement reports whether it is this element alone.
func (c *compound) isElement(symbol string) bool { return len(c.counts) == 1 && c.counts[symbol] > 0 }

// only reports whether it has no other elements than these.
func (c *compound) only(symbols ...string) bool {
	for symbol := range c.counts {
		if !slices.Contains(symbols, symbol) {
			return false
		}
	}
	return true
}

// sum adds up the atoms of some elements.
func (c *compound) sum(symbols ...string) float64 {
	total := 0.0
	for _, symbol := range symbols {
		total += c.counts[symbol]
	}
	return total
}

// dryOxygen is the oxygen that is left when all hydrogen is taken out as water.
func (c *compound) dryOxygen() float64 { return math.Max(0, c.n("O")-c.n("H")/2) }

// states finds an element's usual oxidation states.
var states = sync.OnceValue(func() map[string]data.States {
	bySymbol := map[string]data.States{}
	for _, s := range data.OxidationStates() {
		bySymbol[s.Element] = s
	}
	return bySymbol
})

func high(s data.States) float64 { return s.High }
func low(s data.States) float64  { return s.Low }

// state is an element's oxidation state when every other has its usual one; false when one of them has none.
func (c *compound) state(symbol string, usual func(data.States) float64) (float64, bool) {
	charge := 0.0
	for _, e := range c.elements {
		if e.Symbol == symbol {
			continue
		}
		switch s, known := states()[e.Symbol]; {
		case e.Symbol == "O":
			charge -= 2 * e.Count
		case e.Symbol == "N":
			charge += c.nitrogenState() * e.Count
		case known:
			charge += usual(s) * e.Count
		default:
			return 0, false
		}
	}
	return -charge / c.counts[symbol], true
}

// nitrogenState is what nitrogen has beside another element that is asked about: ammonium where there is hydrogen enough.
func (c *compound) nitrogenState() float64 {
	if c.n("H") >= 3*c.n("N") {
		return -3
	}
	return 5
}

// leastShareOfOxygen is how many atoms an element must have for each oxygen, water aside, so that rounded subscripts of
// the others do not decide its state.
const leastShareOfOxygen = 0.04

// reaches reports whether an element has a state between two, the others being in their highest. Where the counts cannot
// tell, it asks whether the text has one of the groups.
func (c *compound) reaches(symbol string, least, most float64, groups ...string) bool {
	if c.n(symbol) == 0 {
		return false
	}
	state, known := c.state(symbol, high)
	if !known || c.n(symbol) < leastShareOfOxygen*c.dryOxygen() {
		return c.writes(groups...)
	}
	return state >= least && state <= most
}
