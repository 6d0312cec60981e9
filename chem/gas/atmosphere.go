package gas

import (
	"fmt"
	"math"
	"strings"
	"sync"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/chem/thermo"
)

// Mark is an oxygen pressure at which two forms of something are both stable.
type Mark struct {
	// Name says what stands beside what, the oxidised form first.
	Name           string
	Log10OxygenBar float64
	// DecadesAbove is how far the atmosphere's oxygen pressure is above the mark; below zero for less oxygen.
	DecadesAbove float64
	// Stable is the form that the atmosphere leaves, or BothStable.
	Stable string
}

// BothStable is of a mark that the atmosphere lies on.
const BothStable = "both, at equilibrium"

// onMarkDecades is how close to a mark, in decades of the oxygen pressure, only rounding tells the two sides apart.
const onMarkDecades = 1e-9

// Atmosphere is an oxygen pressure at a temperature, judged.
type Atmosphere struct {
	Celsius        float64
	PressureBar    float64
	Log10OxygenBar float64
	// OxygenPotentialKilojoulesPerMole is RT ln p(O2).
	OxygenPotentialKilojoulesPerMole float64
	// Reducing tells that the gas holds more to burn than its oxygen could; judged from the oxygen pressure alone, that
	// there is less oxygen than pure carbon dioxide keeps up by falling apart.
	Reducing bool
	// Verdict says what that rests on, in one sentence.
	Verdict string
	// CarbonStable tells that graphite does not burn away.
	CarbonStable bool
	// Marks are the neutral point, carbon, and the buffers of metals that have figures at the temperature.
	Marks       []Mark
	Assumptions []string
	Caution     string
}

// buffer is a reaction of a metal's forms that sets free one mole of O2.
type buffer struct {
	name              string
	oxidised, reduced string
	reaction          *thermo.Reaction
}

var buffers = sync.OnceValue(func() []buffer {
	return []buffer{
		{"CuO and Cu2O", "CuO", "Cu2O", mustReaction(map[string]float64{"CuO": -4, "Cu2O": 2, "O2": 1})},
		{"Cu2O and Cu", "Cu2O", "Cu", mustReaction(map[string]float64{"Cu2O": -2, "Cu": 4, "O2": 1})},
		{"Fe2O3 and Fe3O4", "Fe2O3", "Fe3O4", mustReaction(map[string]float64{"Fe2O3": -6, "Fe3O4": 4, "O2": 1})},
	}
})

// The reactions of carbon and oxygen that marks rest on.
var (
	dissociation = sync.OnceValue(func() *thermo.Reaction {
		return mustReaction(map[string]float64{"CO2": -1, "CO": 1, "O2": 0.5})
	})
	toCarbonDioxide = sync.OnceValue(func() *thermo.Reaction {
		return mustReaction(map[string]float64{"C": -1, "O2": -1, "CO2": 1})
	})
	toCarbonMonoxide = sync.OnceValue(func() *thermo.Reaction {
		return mustReaction(map[string]float64{"C": -1, "O2": -0.5, "CO": 1})
	})
)

func mustReaction(coefficients map[string]float64) *thermo.Reaction {
	r, err := thermo.NewReaction(coefficients)
	if err != nil {
		panic("bug: " + err.Error())
	}
	return r
}

// Bounds of the logarithm of an oxygen pressure; what lies beyond is no furnace's.
const (
	minLog10Oxygen = -150.0
	maxLog10Oxygen = 3.0
)

// Judge says whether an atmosphere is reducing at a temperature in C, from its oxygen pressure in bar as a common
// logarithm and the total pressure in bar: against the neutral point of pure carbon dioxide, against graphite beside carbon
// monoxide and dioxide at the total pressure, and against copper and iron oxides. It returns finding.Faults at "celsius",
// "pressure_bar" or "log10_oxygen_bar".
func Judge(celsius, pressureBar, log10OxygenBar float64) (Atmosphere, error) {
	faults := checkPlace(celsius, pressureBar)
	if !(log10OxygenBar >= minLog10Oxygen && log10OxygenBar <= maxLog10Oxygen) {
		faults.Add("log10_oxygen_bar", fmt.Sprintf("%g is no oxygen pressure of a furnace", log10OxygenBar),
			fmt.Sprintf("give %g to %g", minLog10Oxygen, maxLog10Oxygen))
	}
	if err := faults.Err(); err != nil {
		return Atmosphere{}, err
	}
	rt := thermo.GasConstant() * thermo.Kelvin(celsius) / 1000
	a := Atmosphere{
		Celsius: celsius, PressureBar: pressureBar, Log10OxygenBar: log10OxygenBar,
		OxygenPotentialKilojoulesPerMole: rt * log10OxygenBar * math.Ln10, Caution: chem.Caution,
		Assumptions: []string{
			"neutral point: carbon dioxide alone at the total pressure, falling apart by itself",
			"carbon: graphite beside carbon monoxide and dioxide at the total pressure; a thinner gas holds less oxygen over it",
			"FeO is not tabled, so iron is judged by Fe2O3 and Fe3O4 only",
			"metals and oxides are pure: what molten copper dissolves is left out",
		},
	}
	a.mark("CO2 and CO, neutral point", neutral(celsius, pressureBar), "more O2 than CO", "more CO than O2")
	a.mark("CO and C", overCarbon(celsius, pressureBar), "CO", "C")
	a.Reducing, a.CarbonStable = a.Marks[0].DecadesAbove < 0, a.Marks[1].DecadesAbove <= 0
	for _, b := range buffers() {
		state, err := b.reaction.AtCelsius(celsius)
		if err != nil {
			a.Assumptions = append(a.Assumptions, b.name+": left out, no figures at this temperature")
			continue
		}
		a.mark(b.name, state.Log10K(), b.oxidised, b.reduced)
	}
	a.say("more oxygen than pure carbon dioxide keeps up by falling apart",
		"less oxygen than pure carbon dioxide keeps up by falling apart")
	return a, nil
}

// say puts the verdict into words, with what the atmosphere does to the oxides that it is held against.
func (a *Atmosphere) say(oxidising, reducing string) {
	a.Verdict = oxidising
	if a.Reducing {
		a.Verdict = reducing
	}
	var taken, left, even []string
	for _, m := range a.Marks[carbonMarks:] {
		oxide, _, _ := strings.Cut(m.Name, " and ")
		switch {
		case m.Stable == BothStable:
			even = append(even, m.Name)
		case m.DecadesAbove < 0:
			taken = append(taken, oxide)
		default:
			left = append(left, oxide)
		}
	}
	if len(taken) > 0 {
		a.Verdict += ", takes oxygen from " + strings.Join(taken, " and ")
	}
	switch len(left) {
	case 0:
	case 1:
		a.Verdict += ", leaves " + left[0] + " as it is"
	default:
		a.Verdict += ", leaves " + strings.Join(left, " and ") + " as they are"
	}
	if len(even) > 0 {
		a.Verdict += ", is at equilibrium with " + strings.Join(even, " and with ")
	}
	if a.CarbonStable {
		a.Verdict += ", does not burn carbon away"
	}
}

// carbonMarks is how many marks stand before those of the metals.
const carbonMarks = 2

// Atmosphere judges the mixture. It is reducing when its gases take more oxygen to burn to CO2, H2O and SO2 than they hold,
// and carbon is stable in it by its own activity. It returns finding.Faults at "feed" for a mixture that leaves the oxygen
// pressure open.
func (r Result) Atmosphere() (Atmosphere, error) {
	if r.Log10OxygenBar == nil {
		return Atmosphere{}, finding.Faults{{
			Field: "feed", Message: "leaves the oxygen pressure open", Cure: "give a feed with oxygen in it, such as CO2 or H2O",
		}}
	}
	a, err := Judge(r.Celsius, r.PressureBar, *r.Log10OxygenBar)
	if err != nil {
		return a, err
	}
	a.Reducing = r.wantsOxygen()
	a.CarbonStable = r.CarbonActivity != nil && *r.CarbonActivity >= 1
	a.say("holds no more to burn than its oxygen can burn", "holds more to burn than its oxygen can burn")
	return a, nil
}

// demandTolerance is what rounding leaves of the oxygen demand of a gas that wants none, in O2 for a mole of gas.
const demandTolerance = 1e-12

// wantsOxygen sums the O2 that each gas takes to burn; one that holds more than it needs counts below zero.
func (r Result) wantsOxygen() bool {
	sum := 0.0
	for _, a := range r.Species {
		if a.Phase == GasPhase {
			sum += a.MoleFraction * species().candidates[species().index(a.Species)].oxygenDemand
		}
	}
	return sum > demandTolerance
}

func (a *Atmosphere) mark(name string, log10OxygenBar float64, oxidised, reduced string) {
	m := Mark{Name: name, Log10OxygenBar: log10OxygenBar, DecadesAbove: a.Log10OxygenBar - log10OxygenBar, Stable: oxidised}
	switch {
	case math.Abs(m.DecadesAbove) <= onMarkDecades:
		m.DecadesAbove, m.Stable = 0, BothStable
	case m.DecadesAbove < 0:
		m.Stable = reduced
	}
	a.Marks = append(a.Marks, m)
}

// neutral is the oxygen pressure x over carbon dioxide that has fallen apart by itself, so that p(CO) = 2x:
// K = 2x sqrt(x)/(p - 3x), by bisection of the logarithm.
func neutral(celsius, pressureBar float64) float64 {
	lnK := mustLnK(dissociation(), celsius)
	low, high := -400.0, math.Log(pressureBar/3)
	for range 70 {
		middle := (low + high) / 2
		left := pressureBar - 3*math.Exp(middle)
		if left > 0 && math.Ln2+1.5*middle < lnK+math.Log(left) {
			low = middle
		} else {
			high = middle
		}
	}
	return low / math.Ln10
}

// overCarbon is the oxygen pressure y^2 over graphite: K1 y^2 + K2 y + y^2 = p for CO2, CO and O2.
func overCarbon(celsius, pressureBar float64) float64 {
	k1, k2 := math.Exp(mustLnK(toCarbonDioxide(), celsius)), math.Exp(mustLnK(toCarbonMonoxide(), celsius))
	y := 2 * pressureBar / (k2 + math.Sqrt(k2*k2+4*(k1+1)*pressureBar))
	return 2 * math.Log10(y)
}

// mustLnK is for reactions of substances that have figures at every temperature that this package takes.
func mustLnK(r *thermo.Reaction, celsius float64) float64 {
	state, err := r.AtCelsius(celsius)
	if err != nil {
		panic("bug: " + err.Error())
	}
	return state.LnK
}
