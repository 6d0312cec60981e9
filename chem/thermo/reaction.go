package thermo

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"saggar/chem/finding"
)

// Reaction is a balanced equation. It is immutable.
type Reaction struct{ terms []term }

// term is one substance of it; where the phase was left open, forms has the condensed one and the gas.
type term struct {
	text        string
	coefficient float64
	forms       []*Substance
}

// ReactionState is a reaction at one temperature with every gas at 1 bar, for the coefficients as given.
type ReactionState struct {
	Kelvin                 float64
	EnthalpyKilojoules     float64
	EntropyJoulesPerKelvin float64
	GibbsKilojoules        float64
	// LnK is the natural logarithm of the equilibrium constant, pressures in bar.
	LnK float64
}

// Log10K is the common logarithm of the equilibrium constant.
func (s ReactionState) Log10K() float64 { return s.LnK / math.Ln10 }

// EquilibriumConstant is K for pressures in bar; where LnK is beyond what a number can hold it is 0 or the largest number.
func (s ReactionState) EquilibriumConstant() float64 {
	return math.Min(math.Exp(s.LnK), math.MaxFloat64)
}

// NewReaction reads an equation as coefficients by formula: above zero for products, below for reactants. A formula may
// end in (g), (l) or (s); without it the compound is taken in the tabled phase that has the lowest Gibbs energy at each
// temperature and 1 bar. Where one compound is known as a mineral only, all solids that the mineral compilation has are
// taken from it, since enthalpies of two compilations must not be mixed. It returns finding.Faults at
// "coefficients[FORMULA]" for what cannot be used, and at "coefficients" when the equation does not balance.
func NewReaction(coefficients map[string]float64) (*Reaction, error) {
	var faults finding.Faults
	r := &Reaction{}
	mineral := false
	for _, text := range slices.Sorted(maps.Keys(coefficients)) {
		field := "coefficients[" + text + "]"
		value := coefficients[text]
		if math.IsNaN(value) || math.IsInf(value, 0) || value == 0 {
			faults.Add(field, "is no finite number other than zero", "leave the substance out or give its moles")
		}
		c, forms, err := readTerm(text)
		if err != nil {
			faults.AddUnder(field, finding.FaultsOf(err))
			continue
		}
		mineral = mineral || c.gas == nil && c.condensed == nil && len(c.minerals) > 0
		r.terms = append(r.terms, term{text, value, forms})
	}
	if len(r.terms) == 0 && len(faults) == 0 {
		faults.Add("coefficients", "is empty", "give products above zero and reactants below")
	}
	if len(faults) == 0 {
		faults = r.imbalance()
	}
	if mineral {
		r.useMinerals()
	}
	return r, faults.Err()
}

// phaseMarks are the endings of a formula that name its phase.
var phaseMarks = map[string]Phase{"(g)": Gas, "(l)": Liquid, "(s)": Solid}

// readTerm splits a formula from its phase and finds the forms that are meant.
func readTerm(text string) (*compound, []*Substance, error) {
	formula, phase := strings.TrimSpace(text), Phase("")
	if at := len(formula) - 3; at > 0 {
		if marked, ok := phaseMarks[formula[at:]]; ok {
			formula, phase = formula[:at], marked
		}
	}
	c, err := lookUp(formula)
	if err != nil {
		return nil, nil, err
	}
	if phase != "" {
		s, err := Find(formula, phase)
		return c, []*Substance{s}, err
	}
	var forms []*Substance
	for _, s := range []*Substance{c.best(), c.gas} {
		if s != nil {
			forms = append(forms, s)
		}
	}
	return c, forms, nil
}

// FindStable returns the form of a compound that has the lowest Gibbs energy at a temperature in kelvin and 1 bar, or the
// form that an ending (g), (l) or (s) of the formula names. It returns finding.Faults at "formula", "phase" or "kelvin".
func FindStable(text string, kelvin float64) (*Substance, error) {
	_, forms, err := readTerm(text)
	if err != nil {
		return nil, err
	}
	t := term{text: text, forms: forms}
	if s, _ := t.stable(kelvin); s != nil {
		return s, nil
	}
	low, high := t.rangeKelvin()
	return nil, outOfRange("kelvin", text, kelvin, [2]float64{low, high})
}

func (r *Reaction) imbalance() finding.Faults {
	sum, size := map[string]float64{}, map[string]float64{}
	for _, t := range r.terms {
		for _, e := range t.forms[0].formula.Elements() {
			sum[e.Symbol] += t.coefficient * e.Count
			size[e.Symbol] += math.Abs(t.coefficient * e.Count)
		}
	}
	var faults finding.Faults
	for _, symbol := range slices.Sorted(maps.Keys(sum)) {
		if math.Abs(sum[symbol]) > balanceTolerance*size[symbol] {
			faults.Add("coefficients", fmt.Sprintf("%s does not balance: %.6g mol more on the right", symbol, sum[symbol]),
				"correct the coefficients; reactants are below zero")
		}
	}
	return faults
}

// balanceTolerance is what rounding may leave of an element, as a share of what goes through.
const balanceTolerance = 1e-9

func (r *Reaction) useMinerals() {
	for i, t := range r.terms {
		for k, s := range t.forms {
			c := tables().byKey[compositionKey(s.formula)]
			if s.pieces[0].phase == Solid && len(c.minerals) > 0 {
				r.terms[i].forms[k] = c.minerals[0]
			}
		}
	}
}

// AtKelvin gives the reaction at a temperature in kelvin. It returns finding.Faults at "kelvin" when a substance has no
// figures there.
func (r *Reaction) AtKelvin(kelvin float64) (ReactionState, error) {
	state, missing := r.at(kelvin)
	if missing != nil {
		low, high := missing.rangeKelvin()
		return ReactionState{}, outOfRange("kelvin", missing.text, kelvin, [2]float64{low, high})
	}
	return state, nil
}

// AtCelsius is AtKelvin for a temperature in degrees Celsius, with faults at "celsius".
func (r *Reaction) AtCelsius(celsius float64) (ReactionState, error) {
	state, missing := r.at(Kelvin(celsius))
	if missing != nil {
		low, high := missing.rangeKelvin()
		return ReactionState{}, outOfRange("celsius", missing.text, celsius, [2]float64{Celsius(low), Celsius(high)})
	}
	return state, nil
}

// at also returns the first term that has no figures at the temperature, nil when all have.
func (r *Reaction) at(kelvin float64) (ReactionState, *term) {
	sum := ReactionState{Kelvin: kelvin}
	for i := range r.terms {
		t := &r.terms[i]
		form, state := t.stable(kelvin)
		if form == nil {
			return ReactionState{}, t
		}
		sum.EnthalpyKilojoules += t.coefficient * state.EnthalpyKilojoulesPerMole
		sum.EntropyJoulesPerKelvin += t.coefficient * state.EntropyJoulesPerMoleKelvin
		sum.GibbsKilojoules += t.coefficient * state.GibbsKilojoulesPerMole
	}
	sum.LnK = -sum.GibbsKilojoules * 1000 / (gasConstant * kelvin)
	return sum, nil
}

// stable is the form with the lowest Gibbs energy among those that have figures at the temperature; nil when none has.
func (t *term) stable(kelvin float64) (form *Substance, lowest State) {
	for _, s := range t.forms {
		p := s.within(kelvin)
		if p == nil {
			continue
		}
		state := p.state(kelvin)
		if form == nil || state.GibbsKilojoulesPerMole < lowest.GibbsKilojoulesPerMole {
			form, lowest = s, state
		}
	}
	return form, lowest
}

func (t *term) rangeKelvin() (low, high float64) {
	low, high = t.forms[0].RangeKelvin()
	for _, s := range t.forms[1:] {
		from, to := s.RangeKelvin()
		low, high = min(low, from), max(high, to)
	}
	return low, high
}
