package chem

import (
	"maps"
	"slices"
	"sync"

	"saggar/chem/data"
)

// elements finds an element's row by its symbol.
var elements = sync.OnceValue(func() map[string]data.AtomicWeight {
	bySymbol := make(map[string]data.AtomicWeight, 118)
	for _, row := range data.AtomicWeights() {
		bySymbol[row.Symbol] = row
	}
	return bySymbol
})

// gramsPerMole is an element's abridged standard atomic weight; a parsed formula holds none without one.
func gramsPerMole(symbol string) float64 { return elements()[symbol].GramsPerMole }

// Moles counts moles by element symbol. The zero value reads as empty; writing needs a made map.
type Moles map[string]float64

// Add adds factor times the other's moles, in place.
func (m Moles) Add(other Moles, factor float64) {
	for symbol, moles := range other {
		m[symbol] += moles * factor
	}
}

// Grams is the mass of all elements together.
func (m Moles) Grams() float64 {
	total := 0.0
	for _, symbol := range m.Symbols() {
		total += m[symbol] * gramsPerMole(symbol)
	}
	return total
}

// Symbols lists the elements by atomic number, so that sums and lists come out the same every time.
func (m Moles) Symbols() []string {
	number := atomicNumbers()
	symbols := slices.AppendSeq(make([]string, 0, len(m)), maps.Keys(m))
	slices.SortFunc(symbols, func(a, b string) int { return number[a] - number[b] })
	return symbols
}

var atomicNumbers = sync.OnceValue(func() map[string]int {
	bySymbol := make(map[string]int, 118)
	for symbol, row := range elements() {
		bySymbol[symbol] = row.AtomicNumber
	}
	return bySymbol
})
