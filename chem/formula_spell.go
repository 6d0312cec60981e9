package chem

import (
	"math"
	"slices"
	"strconv"
	"strings"
)

// dotted are the elements after whose subscript a dot may join two parts; see ParseFormula.
var dotted = []string{"O", "F", "Cl", "Br", "I", "S"}

// spelledElement is one element of a formula in the making.
type spelledElement struct{ symbol, number string }

// leavesOpen reports a decimal subscript whose dot could join two parts, were more to follow.
func (e spelledElement) leavesOpen() bool {
	return strings.Contains(e.number, ".") && !strings.HasPrefix(e.number, "0") && slices.Contains(dotted, e.symbol)
}

// spelled writes counts so that ParseFormula reads them back: of the decimal subscripts whose dot could join two parts the
// last one closes the formula, and the others stand in brackets.
func spelled(order []string, counts Moles) string {
	var elements, open []spelledElement
	scale := spellScale(counts)
	for _, symbol := range order {
		number := subscript(counts[symbol] * scale)
		if number == "0" {
			continue
		}
		element := spelledElement{symbol, number}
		elements = append(elements, element)
		if element.leavesOpen() {
			open = append(open, element)
		}
	}
	if len(open) > 0 {
		last := open[len(open)-1]
		elements = slices.DeleteFunc(elements, func(e spelledElement) bool { return e == last })
		elements = append(elements, last)
	}
	var text strings.Builder
	for i, e := range elements {
		if written := e.symbol + e.number; i < len(elements)-1 && (e.leavesOpen() || beforeWater(elements[i:])) {
			text.WriteString("(" + written + ")")
		} else {
			text.WriteString(written)
		}
	}
	return text.String()
}

// beforeWater reports a decimal subscript with nothing but H2O after it, which would read as the water of a hydrate.
func beforeWater(rest []spelledElement) bool {
	return strings.Contains(rest[0].number, ".") &&
		slices.Equal(rest[1:], []spelledElement{{"H", "2"}, {"O", ""}})
}

// spellScale is 1, or what brings the largest count to 1 when the counts are beyond what a formula may hold.
func spellScale(counts Moles) float64 {
	most := 0.0
	for _, count := range counts {
		most = max(most, count)
	}
	if most > maxSubscript || (most > 0 && most < leastSubscript) {
		return 1 / most
	}
	return 1
}

// subscript writes a count with four decimals, or three figures below 0.01; "" for 1, and "0" for less than a formula
// may hold.
func subscript(count float64) string {
	rounded := math.Round(count*1e4) / 1e4
	switch {
	case count < leastSubscript:
		return "0"
	case rounded < 0.01:
		digits := math.Pow(10, 2-math.Floor(math.Log10(count)))
		rounded = math.Round(count*digits) / digits
	case rounded == 1:
		return ""
	}
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}
