package data

import (
	"slices"
	"strings"
	"sync"
)

// ReactionKind says what a row of the table applies to, and thereby who may use it: the first four are rules that
// decide what leaves a charge, the last two tell of heat, rate and range only.
type ReactionKind string

const (
	// OfPhase rules apply to a phase with the rule's composition, however its formula is written.
	OfPhase ReactionKind = "phase"
	// OfElement rules apply to the element named in phases that have no rule of their own.
	OfElement ReactionKind = "element"
	// OfFreeWater is the drying of a moist charge.
	OfFreeWater ReactionKind = "free_water"
	// OfWare rules apply to the impurities of ordinary ware.
	OfWare ReactionKind = "ware"
	// BetweenReactants is a reaction of several reactants, the air's oxygen among them. Which of them a charge holds
	// together, and whether air reaches it, no balance of single phases knows.
	BetweenReactants ReactionKind = "reaction"
	// Transition is melting or boiling at one temperature: nothing breaks down.
	Transition ReactionKind = "transition"
)

// Yield is moles of a compound for each formula unit that breaks down.
type Yield struct {
	Formula string
	Moles   float64
}

// Kinetics is the rate of a reaction, d(alpha)/dt = A exp(-E/RT) f(alpha), as its source measured it. An empty Model
// means that none is tabled.
type Kinetics struct {
	// Model is the source's f(alpha) by its usual short name, such as "F1" or "A2".
	Model                       string
	ActivationKilojoulesPerMole float64
	FrequencyPerSecond          float64
	LowCelsius, HighCelsius     float64 // where the source measured it
	Read                        Read
	Source                      string
	// OneBarCelsius is where the reaction's one gas comes to 1 bar over its solids, by the tables of chem/thermo; below it a bed
	// full of that gas is held back, whatever a rate measured in moving gas says. 0: several gases, or a substance not tabled.
	OneBarCelsius float64
}

// Enthalpy is what a formula unit takes up when it reacts at 25 C, negative where it gives heat. An empty Read means that
// none is tabled.
type Enthalpy struct {
	KilojoulesPerMole float64
	Read              Read
	Source            string
}

// Reaction says what a compound becomes between two temperatures, how fast, and what heat that takes. In a rule only oxygen
// may differ between the compound and its yields, and hydrogen for the acid gases: the air of the furnace makes up for
// them. Between reactants nothing differs.
type Reaction struct {
	Kind    ReactionKind
	Name    string
	Formula string
	// Reactants are all that go in for one formula unit; only a reaction between several has them.
	Reactants []Yield
	Gases     []Yield
	Solids    []Yield
	// Nothing reacts below LowCelsius and everything has at HighCelsius; a transition has one temperature.
	LowCelsius, HighCelsius float64
	Read                    Read
	Source                  string
	Kinetics                Kinetics
	Enthalpy                Enthalpy
}

// Decides reports a rule that says what leaves a charge.
func (r Reaction) Decides() bool { return r.Kind != BetweenReactants && r.Kind != Transition }

// SimpleOxide is the oxide that an element is stated as when nothing else is known of it.
type SimpleOxide struct {
	Element string
	Formula string
	Read    Read
	Source  string
}

var (
	reactions    = sync.OnceValue(func() []Reaction { return mustRead("reactions.csv", toReaction) })
	simpleOxides = sync.OnceValue(func() []SimpleOxide { return mustRead("oxides.csv", toSimpleOxide) })
)

// Reactions returns every row in the table's order. The yields' slices are shared: do not write to them.
func Reactions() []Reaction { return slices.Clone(reactions()) }

// SimpleOxides returns the oxides in the order of the elements.
func SimpleOxides() []SimpleOxide { return slices.Clone(simpleOxides()) }

func toReaction(r *row) Reaction {
	return Reaction{
		Kind:        ReactionKind(r.text("kind")),
		Name:        r.text("name"),
		Formula:     r.text("formula"),
		Reactants:   r.yields("reactants"),
		Gases:       r.yields("gases"),
		Solids:      r.yields("solids"),
		LowCelsius:  r.number("low_c"),
		HighCelsius: r.number("high_c"),
		Read:        Read(r.text("read")),
		Source:      r.text("source"),
		Kinetics: Kinetics{
			Model:                       r.text("model"),
			ActivationKilojoulesPerMole: r.number("ea_kj_mol"),
			FrequencyPerSecond:          r.number("a_per_s"),
			LowCelsius:                  r.number("kinetics_low_c"),
			HighCelsius:                 r.number("kinetics_high_c"),
			Read:                        Read(r.text("kinetics_read")),
			Source:                      r.text("kinetics_source"),
			OneBarCelsius:               r.number("one_bar_c"),
		},
		Enthalpy: Enthalpy{
			KilojoulesPerMole: r.number("enthalpy_kj_mol"),
			Read:              Read(r.text("enthalpy_read")),
			Source:            r.text("enthalpy_source"),
		},
	}
}

func toSimpleOxide(r *row) SimpleOxide {
	return SimpleOxide{
		Element: r.text("element"),
		Formula: r.text("formula"),
		Read:    Read(r.text("read")),
		Source:  r.text("source"),
	}
}

// yields reads "H2O:2;CO2:1".
func (r *row) yields(column string) []Yield {
	var list []Yield
	for part := range strings.SplitSeq(r.text(column), ";") {
		if part == "" {
			continue
		}
		formula, moles, _ := strings.Cut(part, ":")
		list = append(list, Yield{formula, r.positive(column, moles)})
	}
	return list
}
