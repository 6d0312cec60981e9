package reaction

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"saggar/chem"
	"saggar/chem/data"
	"saggar/chem/kinetics"
)

// Reaction is a row of the table with its formulas and its model read.
type Reaction struct {
	data.Reaction
	// Equation is per formula unit, the oxygen and water that the air gives or takes included.
	Equation string
	// Rate is empty where none is tabled.
	Rate kinetics.Rate
	// unitGrams is the mass of a formula unit per mole, counts its atoms.
	unitGrams float64
	counts    chem.Moles
}

var table = sync.OnceValue(func() []Reaction {
	var list []Reaction
	for _, row := range data.Reactions() {
		if row.Kind == data.OfElement || row.Kind == data.OfWare {
			continue
		}
		list = append(list, read(row))
	}
	return list
})

// read makes a reaction of a row; a formula there that cannot be read is a bug, which the tests find.
func read(row data.Reaction) Reaction {
	formula, err := chem.ParseFormula(row.Formula)
	if err != nil {
		panic("bug: " + err.Error())
	}
	r := Reaction{Reaction: row, unitGrams: formula.MolarMass(), counts: countsOf(formula), Equation: equation(row)}
	r.Rate, _ = kinetics.NewRate(row.Kinetics)
	return r
}

// All returns the reactions of compounds, between reactants and the transitions in the table's order; rules for elements
// and for ordinary ware, which are no reactions, are left out.
func All() []Reaction { return slices.Clone(table()) }

// Named finds a reaction by the table's name.
func Named(name string) (Reaction, bool) {
	at := slices.IndexFunc(table(), func(r Reaction) bool { return r.Name == name })
	if at < 0 {
		return Reaction{}, false
	}
	return table()[at], true
}

// Rated lists the names of the reactions with a tabled rate.
func Rated() []string {
	var names []string
	for _, r := range table() {
		if r.HasRate() {
			names = append(names, r.Name)
		}
	}
	return names
}

// HasRate reports whether a rate is tabled; the others have a range of temperature only.
func (r Reaction) HasRate() bool { return r.Rate.Model != "" }

// kineticsText is the rate in one line, empty without a tabled rate.
func (r Reaction) kineticsText() string {
	if !r.HasRate() {
		return ""
	}
	return fmt.Sprintf("%s (%s), E %g kJ/mol, A %.4g 1/s, measured at %g to %g C", r.Rate.F.Name, r.Rate.F.Title,
		r.Kinetics.ActivationKilojoulesPerMole, r.Kinetics.FrequencyPerSecond, r.Kinetics.LowCelsius, r.Kinetics.HighCelsius)
}

// equation writes a row as an equation. What the two sides of a rule differ by is water of the air, as far as it is
// hydrogen, and oxygen.
func equation(row data.Reaction) string {
	left := row.Reactants
	if len(left) == 0 {
		left = []data.Yield{{Formula: row.Formula, Moles: 1}}
	}
	right := slices.Concat(row.Solids, row.Gases)
	if row.Kind != data.Transition {
		missing := chem.Moles{}
		for _, y := range right {
			missing.Add(tabledCounts(y.Formula), y.Moles)
		}
		for _, y := range left {
			missing.Add(tabledCounts(y.Formula), -y.Moles)
		}
		for _, air := range []data.Yield{{Formula: "H2O", Moles: missing["H"] / 2}, {Formula: "O2", Moles: (missing["O"] - missing["H"]/2) / 2}} {
			switch {
			case air.Moles > 1e-9:
				left = append(slices.Clone(left), air)
			case air.Moles < -1e-9:
				right = append(right, data.Yield{Formula: air.Formula, Moles: -air.Moles})
			}
		}
	}
	from, to := side(left), side(right)
	switch {
	case from != to:
		return from + " -> " + to
	case len(row.Gases) == 0:
		return from + " -> " + to + " (liquid)"
	default:
		return from + " -> " + to + " (vapour)"
	}
}

// tabledCounts are the atoms of a formula of the table; one that cannot be read is a bug, which the tests find.
func tabledCounts(formula string) chem.Moles {
	parsed, err := chem.ParseFormula(formula)
	if err != nil {
		panic("bug: " + err.Error())
	}
	return countsOf(parsed)
}

func countsOf(formula chem.Formula) chem.Moles {
	counts := chem.Moles{}
	for _, e := range formula.Elements() {
		counts[e.Symbol] = e.Count
	}
	return counts
}

func side(amounts []data.Yield) string {
	var parts []string
	for _, y := range amounts {
		text := y.Formula
		if y.Moles != 1 {
			text = strconv.FormatFloat(math.Round(y.Moles*1e6)/1e6, 'f', -1, 64) + " " + text
		}
		parts = append(parts, text)
	}
	return strings.Join(parts, " + ")
}
