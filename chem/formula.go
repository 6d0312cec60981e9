package chem

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Formula is a compound's composition. The zero value is no compound; ParseFormula makes one. It is immutable.
type Formula struct {
	text   string
	order  []string // symbols as first written
	counts Moles    // per formula unit, each above zero
}

// ElementCount is one element of a formula.
type ElementCount struct {
	Symbol string `json:"symbol"`
	// Count is atoms per formula unit, above zero, not always whole.
	Count float64 `json:"count"`
	// MassFraction is the element's share of the formula's mass, (0, 1].
	MassFraction float64 `json:"mass_fraction"`
}

// String is the formula as it was written.
func (f Formula) String() string { return f.text }

// IsZero reports whether this is no compound.
func (f Formula) IsZero() bool { return len(f.counts) == 0 }

// Count is the atoms of an element per formula unit; 0 when absent.
func (f Formula) Count(symbol string) float64 { return f.counts[symbol] }

// MolarMass is in g/mol, from the abridged standard atomic weights (CIAAW); see chem/data.
func (f Formula) MolarMass() float64 { return f.counts.Grams() }

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
func (f Formula) key() string {
	total := f.atoms()
	var key strings.Builder
	for _, symbol := range f.counts.Symbols() {
		fmt.Fprintf(&key, "%s%.6f", symbol, f.counts[symbol]/total)
	}
	return key.String()
}

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
	changed := Formula{counts: make(Moles, len(counts))}
	for _, symbol := range append(slices.Clone(f.order), counts.Symbols()...) {
		count := counts[symbol]
		if _, done := changed.counts[symbol]; done || count <= negligible {
			continue
		}
		changed.order = append(changed.order, symbol)
		changed.counts[symbol] = count
		changed.text += symbol + subscript(count)
	}
	return changed
}

// negligible moles or atoms are rounding, not matter.
const negligible = 1e-12

func subscript(count float64) string {
	rounded := math.Round(count*1e4) / 1e4
	if rounded == 1 {
		return ""
	}
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}
