package chem

import (
	"slices"
	"strconv"
)

// Formula is a compound's composition. The zero value is no compound; ParseFormula makes one. It is immutable.
type Formula struct {
	text   string
	order  []string // symbols as first written
	counts Moles    // per formula unit, each above zero
	mass   float64  // g/mol
	ratios string   // see key
}

// newFormula works out once what is asked often.
func newFormula(text string, order []string, counts Moles) Formula {
	f := Formula{text: text, order: order, counts: counts}
	symbols, total := counts.Symbols(), 0.0
	for _, symbol := range symbols {
		total += counts[symbol]
		f.mass += counts[symbol] * gramsPerMole(symbol)
	}
	ratios := make([]byte, 0, 12*len(symbols))
	for _, symbol := range symbols {
		ratios = append(ratios, symbol...)
		ratios = strconv.AppendFloat(ratios, counts[symbol]/total, 'f', 6, 64)
	}
	f.ratios = string(ratios)
	return f
}

// ElementCount is one element of a formula.
type ElementCount struct {
	Symbol string `json:"symbol"`
	// Count is atoms per formula unit, above zero, not always whole.
	Count float64 `json:"count"`
	// MassFraction is the element's share of the formula's mass, (0, 1].
	MassFraction float64 `json:"mass_fraction"`
}

// String is the formula as it was written. One that a firing left is spelled so that ParseFormula reads it back, its counts
// rounded to four decimals; more than 10000 atoms, or a millionth of one beside nothing more, are written in ratio to the most.
func (f Formula) String() string { return f.text }

// IsZero reports whether this is no compound.
func (f Formula) IsZero() bool { return len(f.counts) == 0 }

// Count is the atoms of an element per formula unit; 0 when absent.
func (f Formula) Count(symbol string) float64 { return f.counts[symbol] }

// MolarMass is in g/mol, from the abridged standard atomic weights (CIAAW); see chem/data.
func (f Formula) MolarMass() float64 { return f.mass }

// Elements lists the elements by atomic number.
func (f Formula) Elements() []ElementCount {
	mass := f.MolarMass()
	list := make([]ElementCount, 0, len(f.counts))
	for _, symbol := range f.counts.Symbols() {
		count := f.counts[symbol]
		list = append(list, ElementCount{symbol, count, count * gramsPerMole(symbol) / mass})
	}
	return list
}

// key is the same for all formulas with the same atom ratios, however they are written.
func (f Formula) key() string { return f.ratios }

// atoms is the number of atoms per formula unit.
func (f Formula) atoms() float64 {
	total := 0.0
	for _, symbol := range f.counts.Symbols() {
		total += f.counts[symbol]
	}
	return total
}

// with returns the formula with other counts, leaving out what is no longer there.
func (f Formula) with(counts Moles) Formula {
	var order []string
	kept := make(Moles, len(counts))
	for _, symbol := range append(slices.Clone(f.order), counts.Symbols()...) {
		count := counts[symbol]
		if _, done := kept[symbol]; done || count <= negligible {
			continue
		}
		order = append(order, symbol)
		kept[symbol] = count
	}
	return newFormula(spelled(order, kept), order, kept)
}

// negligible moles or atoms are rounding, not matter.
const negligible = 1e-12
