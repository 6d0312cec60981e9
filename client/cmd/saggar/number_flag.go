package main

import (
	"fmt"
	"math"
	"strconv"
)

// numberFlag is a flag whose number must lie in a range; a refusal says which.
type numberFlag struct {
	value     float64
	low, high float64
	aboveLow  bool // low itself is refused
	orZero    bool // 0 is taken too
}

// between is a flag with a default; the range includes both ends.
func between(low, high, byDefault float64) *numberFlag {
	return &numberFlag{value: byDefault, low: low, high: high}
}

// aboveZero is a flag without a default, for numbers above zero.
func aboveZero(high float64) *numberFlag { return &numberFlag{high: high, aboveLow: true} }

// zeroOrBetween is a flag without a default, for 0 or numbers of a range.
func zeroOrBetween(low, high float64) *numberFlag {
	return &numberFlag{low: low, high: high, orZero: true}
}

// Set reads the number.
func (n *numberFlag) Set(text string) error {
	value, err := strconv.ParseFloat(text, 64)
	outside := value < n.low || value > n.high || n.aboveLow && value == n.low
	if err != nil || math.IsNaN(value) || outside && !(n.orZero && value == 0) {
		return fmt.Errorf("give a number %s", n.right())
	}
	n.value = value
	return nil
}

func (n *numberFlag) right() string {
	if n.aboveLow {
		return fmt.Sprintf("above %s, at most %s", plain(n.low), plain(n.high))
	}
	if n.orZero {
		return fmt.Sprintf("from %s to %s, or 0", plain(n.low), plain(n.high))
	}
	return fmt.Sprintf("from %s to %s", plain(n.low), plain(n.high))
}

// String is the number as help shows it.
func (n *numberFlag) String() string { return plain(n.value) }

// Type is what help calls the value.
func (n *numberFlag) Type() string { return "number" }

func plain(value float64) string { return strconv.FormatFloat(value, 'f', -1, 64) }
