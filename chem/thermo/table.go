package thermo

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"

	"saggar/chem"
	"saggar/chem/data"
	"saggar/chem/finding"
)

// compound is one composition with all that the tables have of it; a part is nil where they have nothing.
type compound struct {
	formula   chem.Formula
	gas       *Substance
	condensed *Substance // solids and liquid of the nine-coefficient sets
	minerals  []*Substance
	reference *Substance // at 298.15 K only
}

// index finds compounds by composition, and by the formulas as the tables write them.
type index struct {
	byKey  map[string]*compound
	byText map[string]*compound
	order  []*compound
}

var tables = sync.OnceValue(func() *index {
	x := &index{byKey: map[string]*compound{}, byText: map[string]*compound{}}
	for _, set := range data.CoefficientSets() {
		x.addSet(set)
	}
	values := data.ReferenceValues()
	for _, m := range data.MineralHeatCapacities() {
		x.addMineral(m, values)
	}
	for _, v := range values {
		x.addReference(v)
	}
	return x
})

func (x *index) compound(text string) *compound {
	if found := x.byText[text]; found != nil {
		return found
	}
	formula, err := chem.ParseFormula(text)
	if err != nil {
		panic("bug: " + err.Error())
	}
	key := compositionKey(formula)
	found := x.byKey[key]
	if found == nil {
		found = &compound{formula: formula}
		x.byKey[key] = found
		x.order = append(x.order, found)
	}
	x.byText[text] = found
	return found
}

func (x *index) addSet(set data.CoefficientSet) {
	c := x.compound(set.Formula)
	part := &c.condensed
	if set.Phase == string(Gas) {
		part = &c.gas
	}
	if *part == nil {
		*part = &Substance{name: set.Formula, formula: c.formula, source: set.Source}
	}
	(*part).pieces = append((*part).pieces, pieceOfSet(set))
}

// addMineral takes enthalpy and entropy from the row of the same mineral and the same source.
func (x *index) addMineral(m data.MineralHeatCapacity, values []data.ReferenceValue) {
	at := slices.IndexFunc(values, func(v data.ReferenceValue) bool { return v.Substance == m.Mineral && v.Source == m.Source })
	if at < 0 {
		panic("bug: no values at 298.15 K for " + m.Mineral)
	}
	c := x.compound(m.Formula)
	s := &Substance{name: m.Mineral, formula: c.formula, source: m.Source, pieces: []piece{pieceOfMineral(m, values[at])}}
	c.minerals = append(c.minerals, s)
}

// addReference keeps the first solid of a compound that no other table has.
func (x *index) addReference(v data.ReferenceValue) {
	stated := v.HeatCapacityJoulesPerMoleKelvin > 0 && v.EntropyJoulesPerMoleKelvin > 0
	if v.Phase != "cr" || v.Read != data.WasRead || !stated {
		return
	}
	c := x.compound(v.Formula)
	if c.condensed == nil && c.minerals == nil && c.reference == nil {
		c.reference = &Substance{
			name: v.Formula, formula: c.formula, source: v.Source, pieces: []piece{pieceOfReference(v)},
		}
	}
}

// best is the condensed form in the first table that has one; nil where none does.
func (c *compound) best() *Substance {
	switch {
	case c.condensed != nil:
		return c.condensed
	case len(c.minerals) > 0:
		return c.minerals[0]
	}
	return c.reference
}

// compositionKey is the same for all formulas with the same atom counts, however they are written.
func compositionKey(f chem.Formula) string {
	var key strings.Builder
	for _, e := range f.Elements() {
		key.WriteString(e.Symbol)
		key.WriteString(strconv.FormatFloat(e.Count, 'f', 6, 64))
	}
	return key.String()
}

// lookUp finds a compound by any way of writing its formula.
func lookUp(text string) (*compound, error) {
	if found := tables().byText[text]; found != nil {
		return found, nil
	}
	formula, err := chem.ParseFormula(text)
	if err != nil {
		return nil, finding.Faults{{Field: "formula", Message: err.Error(), Cure: "give one such as CaCO3"}}
	}
	if found := tables().byKey[compositionKey(formula)]; found != nil {
		return found, nil
	}
	return nil, finding.Faults{{
		Field: "formula", Message: fmt.Sprintf("%s is not tabled", formula), Cure: "give one of " + strings.Join(Formulas(), ", "),
	}}
}

// Formulas lists every compound that the tables have, in their order.
func Formulas() []string {
	list := make([]string, 0, len(tables().order))
	for _, c := range tables().order {
		list = append(list, c.formula.String())
	}
	return list
}

// Find returns a compound in one phase. A solid holds all its polymorphs, one after the other. Where several tables have
// a solid the nine-coefficient sets go first, then the minerals, then what is known at 298.15 K only. It returns
// finding.Faults at "formula" for what is no formula or not tabled, and at "phase" for a phase that is not tabled.
func Find(formula string, phase Phase) (*Substance, error) {
	c, err := lookUp(formula)
	if err != nil {
		return nil, err
	}
	whole := c.best()
	if phase == Gas {
		whole = c.gas
	}
	if whole == nil {
		return nil, noSuchPhase(c, phase)
	}
	return whole.only(func(p *piece) bool { return p.phase == phase }, noSuchPhase(c, phase))
}

// FindCondensed returns a compound's solids and liquid, one above the other by temperature; as Find otherwise.
func FindCondensed(formula string) (*Substance, error) {
	c, err := lookUp(formula)
	if err != nil {
		return nil, err
	}
	if c.best() == nil {
		return nil, noSuchPhase(c, Solid)
	}
	return c.best(), nil
}

// only keeps the pieces that fit, all of which must lie side by side; none is the error when there are no such.
func (s *Substance) only(fits func(*piece) bool, none error) (*Substance, error) {
	part := &Substance{name: s.name, formula: s.formula, source: s.source}
	for i := range s.pieces {
		if fits(&s.pieces[i]) {
			part.pieces = append(part.pieces, s.pieces[i])
		}
	}
	if len(part.pieces) == 0 {
		return nil, none
	}
	return part, nil
}

func noSuchPhase(c *compound, phase Phase) error {
	var have []string
	for _, s := range []*Substance{c.best(), c.gas} {
		if s == nil {
			continue
		}
		for _, p := range s.pieces {
			if !slices.Contains(have, string(p.phase)) {
				have = append(have, string(p.phase))
			}
		}
	}
	return finding.Faults{{
		Field: "phase", Message: fmt.Sprintf("%s is not tabled as %q", c.formula, string(phase)), Cure: "give " + strings.Join(have, " or "),
	}}
}
