package chem

import (
	"sync"

	"saggar/chem/data"
	"saggar/chem/kinetics"
)

// rule is a row of the table of reactions that decides what leaves a charge, with its formulas read.
type rule struct {
	data.Reaction
	formula Formula
	gases   []Amount // moles per formula unit
	solids  []Amount
	// rate is of use where the rule has one.
	rate  kinetics.Rate
	rated bool
}

// passed is how far a peak has passed the range, in [0, 1].
func (r *rule) passed(peakCelsius float64) float64 {
	return min(1, max(0, (peakCelsius-r.LowCelsius)/(r.HighCelsius-r.LowCelsius)))
}

// soaksOut reports whether all that the rule sets free is steam or carbon dioxide, which a long hold drives out whole. What
// else leaves is kept to the linear rule, so that a later stage still counts with it.
func (r *rule) soaksOut() bool {
	for _, gas := range r.gases {
		if species := gas.Formula.String(); species != "H2O" && species != "CO2" {
			return false
		}
	}
	return len(r.gases) > 0
}

// middleCelsius is half way through the rule's range.
func (r *rule) middleCelsius() float64 { return (r.LowCelsius + r.HighCelsius) / 2 }

// ruleBook finds rules by what they apply to.
type ruleBook struct {
	byPhase   map[string]*rule // by the formula's key
	byElement map[string]*rule // by symbol
	freeWater *rule
	ware      []*rule
	oxides    map[string]Formula // by element
	water     Formula
	gases     map[string]float64 // molar mass of every gas, g/mol
}

// rules reads the tables of chem/data; a formula there that cannot be read is a bug that the tests find.
var rules = sync.OnceValue(func() *ruleBook {
	book := &ruleBook{
		byPhase: map[string]*rule{}, byElement: map[string]*rule{}, oxides: map[string]Formula{},
		water: tabled("H2O"), gases: map[string]float64{},
	}
	// Carbon and sulfur leave in these forms too, whatever a rule names.
	for _, species := range []string{"CO", "H2SO4"} {
		book.gases[species] = tabled(species).MolarMass()
	}
	for _, row := range data.Reactions() {
		if !row.Decides() {
			continue
		}
		r := &rule{Reaction: row, formula: tabled(row.Formula), gases: tabledYields(row.Gases), solids: tabledYields(row.Solids)}
		r.rate, r.rated = kinetics.NewRate(row.Kinetics)
		for _, gas := range r.gases {
			book.gases[gas.Formula.String()] = gas.Formula.MolarMass()
		}
		switch row.Kind {
		case data.OfPhase:
			book.byPhase[r.formula.key()] = r
		case data.OfElement:
			book.byElement[row.Formula] = r
		case data.OfFreeWater:
			book.freeWater = r
		case data.OfWare:
			book.ware = append(book.ware, r)
		}
	}
	for _, row := range data.SimpleOxides() {
		book.oxides[row.Element] = tabled(row.Formula)
	}
	return book
})

func tabledYields(yields []data.Yield) []Amount {
	amounts := make([]Amount, 0, len(yields))
	for _, yield := range yields {
		amounts = append(amounts, Amount{tabled(yield.Formula), yield.Moles})
	}
	return amounts
}

func tabled(text string) Formula {
	formula, err := ParseFormula(text)
	if err != nil {
		panic("bug: " + err.Error())
	}
	return formula
}

// asOxide states moles of an element as its simple oxide, or as the element where the table has none.
func (b *ruleBook) asOxide(symbol string, moles float64) Amount {
	if oxide, known := b.oxides[symbol]; known {
		return Amount{oxide, moles / oxide.Count(symbol)}
	}
	return Amount{Formula{}.with(Moles{symbol: 1}), moles}
}
