package gas

import (
	"slices"
	"strings"
	"sync"

	"saggar/chem/data"
	"saggar/chem/finding"
	"saggar/chem/thermo"
)

// candidate is a species that the mixture may hold.
type candidate struct {
	formula string
	form    *thermo.Substance
	isGas   bool
	atoms   atoms
	// oxygenDemand is the O2 that a mole takes to burn to CO2, H2O and SO2, halogens going with hydrogen.
	oxygenDemand float64
	// elements has a bit for each element that the species holds.
	elements uint
}

// speciesTable is every gas of the tables, and solid carbon and condensed sulfur.
type speciesTable struct {
	elements   []string
	candidates []candidate
	byName     map[string]int
	names      string
}

// burning is the O2 that an atom takes when it burns; oxygen brings its own, a halogen keeps a hydrogen from burning.
var burning = map[string]float64{"C": 1, "S": 1, "H": 0.25, "O": -0.5, "F": -0.25, "Cl": -0.25}

// condensedSpecies are the solids and liquids that the mixture may hold; each in the form that is stable at the temperature.
var condensedSpecies = []string{"C", "S"}

var species = sync.OnceValue(func() *speciesTable {
	t := &speciesTable{byName: map[string]int{}}
	var gases []string
	for _, set := range data.CoefficientSets() {
		if set.Phase == string(thermo.Gas) && !slices.Contains(gases, set.Formula) {
			gases = append(gases, set.Formula)
		}
	}
	for _, formula := range gases {
		form, err := thermo.Find(formula, thermo.Gas)
		t.add(formula, form, err)
	}
	for _, formula := range condensedSpecies {
		form, err := thermo.FindCondensed(formula)
		t.add(formula, form, err)
	}
	t.names = strings.Join(slices.Concat(gases, condensedSpecies), ", ")
	return t
})

func (t *speciesTable) add(formula string, form *thermo.Substance, err error) {
	if err != nil {
		panic("bug: " + err.Error())
	}
	low, _ := form.RangeKelvin()
	c := candidate{formula: formula, form: form, isGas: form.PhaseAtKelvin(low) == thermo.Gas}
	for _, e := range form.Formula().Elements() {
		at := slices.Index(t.elements, e.Symbol)
		if at < 0 {
			at = len(t.elements)
			t.elements = append(t.elements, e.Symbol)
		}
		c.atoms[at] = e.Count
		c.elements |= 1 << at
		c.oxygenDemand += e.Count * burning[e.Symbol]
	}
	t.byName[formula] = len(t.candidates)
	if c.isGas {
		t.byName[formula+"(g)"] = len(t.candidates)
	} else {
		t.byName[formula+"(s)"], t.byName[formula+"(l)"] = len(t.candidates), len(t.candidates)
	}
	t.candidates = append(t.candidates, c)
}

// find answers the place of a species; a formula may be written in any way, with or without its phase.
func (t *speciesTable) find(name string) (int, finding.Faults) {
	name = strings.TrimSpace(name)
	if at, ok := t.byName[name]; ok {
		return at, nil
	}
	fault := finding.Faults{{
		Message: "\"" + name + "\" is no species that the tables have as a gas, nor carbon or sulfur", Cure: "give one of " + t.names,
	}}
	form, err := thermo.FindStable(name, thermo.Kelvin(DefaultFeedCelsius))
	if err != nil {
		return 0, fault
	}
	for i := range t.candidates {
		if t.candidates[i].form.Formula().String() == form.Formula().String() {
			return i, nil
		}
	}
	return 0, fault
}

func (t *speciesTable) index(formula string) int { return t.byName[formula] }

// liquidWater is not among the species, but tells where steam would condense.
var liquidWater = sync.OnceValue(func() *thermo.Substance {
	s, err := thermo.Find("H2O", thermo.Liquid)
	if err != nil {
		panic("bug: " + err.Error())
	}
	return s
})
