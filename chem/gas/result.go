package gas

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/chem/thermo"
)

// GasPhase is the phase of every gas.
const GasPhase = string(thermo.Gas)

// SpeciesAmount is one species of the mixture.
type SpeciesAmount struct {
	// Species is the formula.
	Species string
	// Phase is gas, the name of the solid (graphite for C, rhombic sulfur or monoclinic sulfur for S) or liquid.
	Phase string
	// MoleFraction is the share of the gas by mole, 0 to 1; of a solid or liquid its moles over those of the gas, which may
	// be above 1 and is 0 without a gas.
	MoleFraction float64
	Moles        float64
	// Log10MoleFraction goes on where MoleFraction is too small for a number; nil for a solid or liquid and for a gas that
	// the feed cannot make at all.
	Log10MoleFraction *float64
}

// ElementBalance is an element's moles of atoms in the feed, and how much more of it the mixture holds by rounding.
type ElementBalance struct {
	Symbol        string
	FeedMoles     float64
	ResidualMoles float64
}

// Result is a mixture at equilibrium. Figures that the feed's elements leave open are nil.
type Result struct {
	Celsius     float64
	PressureBar float64
	// Species are the gases, the most abundant first, and then solids and liquids.
	Species []SpeciesAmount
	// GasMoles is 0 when all is solid or liquid: the vapours do not reach the pressure. Mole fractions of gases are then 0.
	GasMoles float64
	Elements []ElementBalance
	// Log10OxygenBar is the common logarithm of the partial pressure of O2 in bar, also where O2 is no species considered.
	Log10OxygenBar *float64
	// CarbonMonoxidePerCarbonDioxide is moles of CO over moles of CO2.
	CarbonMonoxidePerCarbonDioxide *float64
	// CarbonActivity is 1 over graphite, less where none is, and above 1 only where graphite was not considered.
	CarbonActivity *float64
	// FeedKilojoules and ProductKilojoules are enthalpies counted from the elements at 25 C; HeatKilojoules is what must be
	// put in, below zero for what comes out.
	FeedKilojoules    float64
	ProductKilojoules float64
	HeatKilojoules    float64
	Assumptions       []string
	Caution           string
}

// Equilibrium finds the mixture that a feed comes to. It returns finding.Faults at "celsius", "pressure_bar", "feed",
// "feed[i].formula", "feed[i].moles", "feed_celsius", "species" or "species[i]" for input that cannot be used.
func Equilibrium(in Input) (Result, error) {
	t, err := prepare(in)
	if err != nil {
		return Result{}, err
	}
	s, err := t.solved()
	if err != nil {
		return Result{}, err
	}
	r := t.mixture(s)
	r.Celsius, r.PressureBar = in.Celsius, in.PressureBar
	t.heats(s, &r)
	return r, nil
}

func (t *task) solved() (*solver, error) {
	s := &solver{tableau: tableau{problem: &t.problem}}
	if !s.start(t.elements) {
		return nil, finding.Faults{{
			Field: "species", Message: "cannot hold the elements of the feed in its proportions",
			Cure: "add species that take up the rest, or leave the list out",
		}}
	}
	if !s.solve() {
		return nil, finding.Faults{{
			Field: "feed", Message: "no equilibrium was found", Cure: "leave out species that are there in traces, or narrow the list",
		}}
	}
	return s, nil
}

// mixture is the answer without place and heat.
func (t *task) mixture(s *solver) Result {
	r := Result{Species: t.amounts(s), Elements: t.balances(s), Caution: chem.Caution}
	if !s.noGas {
		r.GasMoles = math.Exp(s.lnGas) * t.scale
	}
	t.potentials(s, &r)
	r.Assumptions = t.assumptions(s, &r)
	slices.SortStableFunc(r.Species, func(a, b SpeciesAmount) int {
		return cmp.Or(-cmp.Compare(a.isGas(), b.isGas()), -cmp.Compare(a.log(), b.log()), -cmp.Compare(a.Moles, b.Moles))
	})
	return r
}

// isGas is 1 for a gas, 0 otherwise.
func (a SpeciesAmount) isGas() int {
	if a.Phase == GasPhase {
		return 1
	}
	return 0
}

func (a SpeciesAmount) log() float64 {
	if a.Log10MoleFraction == nil {
		return math.Inf(-1)
	}
	return *a.Log10MoleFraction
}

// moles of a species of the problem, in units of the problem.
func (s *solver) moles(j int) float64 {
	switch {
	case !s.gas[j]:
		return s.amount[j]
	case s.dead[j] || s.noGas:
		return 0
	}
	return math.Exp(s.lnMole[j])
}

// amounts lists the species in the table's order.
func (t *task) amounts(s *solver) []SpeciesAmount {
	list := make([]SpeciesAmount, s.species)
	logs := make([]float64, s.species)
	for j := range list {
		c := &species().candidates[t.chosen[j]]
		moles := s.moles(j)
		list[j] = SpeciesAmount{Species: c.formula, Phase: phaseName(c, t.kelvin), Moles: moles * t.scale}
		switch {
		case s.noGas || s.dead[j]:
		case s.gas[j]:
			ln := s.lnMole[j] - s.lnGas
			logs[j], list[j].MoleFraction = ln/math.Ln10, math.Exp(ln)
			list[j].Log10MoleFraction = &logs[j]
		default:
			list[j].MoleFraction = finite(moles / math.Exp(s.lnGas))
		}
	}
	return list
}

// phaseName is the form of a solid where it has a name, its phase otherwise.
func phaseName(c *candidate, kelvin float64) string {
	if c.isGas {
		return GasPhase
	}
	return c.form.FormAtKelvin(kelvin)
}

func (t *task) balances(s *solver) []ElementBalance {
	list := make([]ElementBalance, t.elements)
	for e := range list {
		fed, held := 0.0, 0.0
		for f := range s.feeds {
			fed += s.columns[s.species+f][e] * s.problem.moles[f]
		}
		for j := range s.species {
			held += s.columns[j][e] * s.moles(j)
		}
		list[e] = ElementBalance{species().elements[t.element[e]], fed * t.scale, (held - fed) * t.scale}
	}
	return list
}

// potentials works out what the potentials of the components say of oxygen and carbon.
func (t *task) potentials(s *solver, r *Result) {
	if ln, ok := t.lnActivity(s, "O2"); ok {
		log := ln / math.Ln10
		r.Log10OxygenBar = &log
	}
	if ln, ok := t.lnActivity(s, "C"); ok {
		activity := finite(math.Exp(ln))
		if math.Abs(ln) <= 10*saturation {
			activity = 1
		}
		r.CarbonActivity = &activity
	}
	carbonMonoxide, ok := t.lnActivity(s, "CO")
	carbonDioxide, both := t.lnActivity(s, "CO2")
	if ok && both {
		ratio := finite(math.Exp(carbonMonoxide - carbonDioxide))
		r.CarbonMonoxidePerCarbonDioxide = &ratio
	}
}

func finite(value float64) float64 { return min(value, math.MaxFloat64) }

// lnActivity is that of a species, in bar for a gas, whether it is one of the problem or not; false when the feed leaves it
// open.
func (t *task) lnActivity(s *solver, formula string) (float64, bool) {
	at := species().index(formula)
	c := &species().candidates[at]
	wanted := t.column(c.atoms)
	for e := range species().elements {
		if c.atoms[e] > 0 && !slices.Contains(t.element[:t.elements], e) {
			return 0, false
		}
	}
	share, ok := s.express(wanted)
	if !ok {
		return 0, false
	}
	pure, _, _ := c.form.Reduced(t.kelvin)
	sum := -pure
	for i := range s.rows {
		sum += share[i] * s.mu[i]
	}
	return sum, true
}

// leastHeatShare is the share of the two enthalpies below which their difference is rounding and no heat.
const leastHeatShare = 1e-9

func (t *task) heats(s *solver, r *Result) {
	rt := thermo.GasConstant() * t.kelvin / 1000
	for j := range s.species {
		r.ProductKilojoules += s.moles(j) * t.reducedEnthalpy[j] * rt * t.scale
	}
	feedRT := thermo.GasConstant() * t.feedKelvin / 1000
	for i, form := range t.feedForms {
		if form != nil {
			_, enthalpy, _ := form.Reduced(t.feedKelvin)
			r.FeedKilojoules += t.fed[i].Moles * enthalpy * feedRT
		}
	}
	r.HeatKilojoules = r.ProductKilojoules - r.FeedKilojoules
	if math.Abs(r.HeatKilojoules) < leastHeatShare*math.Max(math.Abs(r.ProductKilojoules), math.Abs(r.FeedKilojoules)) {
		r.HeatKilojoules = 0
	}
}

// Assumptions that hold for every mixture.
var always = []string{
	"ideal gas and pure solids and liquids at equilibrium; time is left out",
	"only tabled species: no methane, no ammonia, no sulfur vapour but S2 and S8, no atoms and radicals",
}

func (t *task) assumptions(s *solver, r *Result) []string {
	list := append(make([]string, 0, 6), always...)
	for i, form := range t.feedForms {
		if form != nil && form.PhaseAtKelvin(t.feedKelvin) != thermo.Gas {
			list = append(list, fmt.Sprintf("%s is fed as a %s", t.fed[i].Formula, form.PhaseAtKelvin(t.feedKelvin)))
		}
	}
	if s.noGas {
		list = append(list, "no gas: the vapours do not reach the pressure, all is solid or liquid")
	}
	if r.CarbonActivity != nil && *r.CarbonActivity > 1 {
		list = append(list, "carbon is above saturation: soot would form, but graphite is not considered")
	}
	if t.waterCondenses(s) {
		list = append(list, "below its dew point: water would condense, but is held as a gas")
	}
	return list
}

// waterCondenses tells whether the steam is above saturation.
func (t *task) waterCondenses(s *solver) bool {
	if s.noGas || !slices.ContainsFunc(t.chosen[:s.species], func(at int) bool { return species().candidates[at].formula == "H2O" }) {
		return false
	}
	ln, ok := t.lnActivity(s, "H2O")
	if !ok {
		return false
	}
	liquid, _, inRange := liquidWater().Reduced(t.kelvin)
	steam, _, _ := species().candidates[species().index("H2O")].form.Reduced(t.kelvin)
	return inRange && ln+steam > liquid
}
