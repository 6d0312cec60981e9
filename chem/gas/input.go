package gas

import (
	"fmt"
	"math"
	"strings"

	"saggar/chem/finding"
	"saggar/chem/thermo"
)

// Bounds and defaults of the input.
const (
	// MinCelsius is where the ranges of the tables begin.
	MinCelsius = 25.0
	// MaxCelsius is where atoms and radicals, which the tables do not have, are no longer few.
	MaxCelsius = 2000.0
	// MinPressureBar and MaxPressureBar bound the total pressure: below, a furnace holds no such vacuum; above, no gas is
	// anywhere near ideal.
	MinPressureBar = 1e-6
	MaxPressureBar = 1000.0
	// DefaultFeedCelsius is the temperature of the feed where none is given.
	DefaultFeedCelsius = 25.0
	// mostMoles bounds what is fed, and leastMoles what one species of it may be.
	mostMoles  = 1e12
	leastMoles = 1e-30
)

// Amount is some moles of one species.
type Amount struct {
	// Formula may end in (g), (l) or (s); without it the feed is taken in the phase that is stable at its temperature.
	Formula string
	// Moles is above zero.
	Moles float64
}

// Input is what a mixture is made of and where it is to come to equilibrium.
type Input struct {
	Celsius     float64
	PressureBar float64
	Feed        []Amount
	// FeedCelsius is the temperature of the feed; nil is 25 C.
	FeedCelsius *float64
	// Species are those that the mixture may hold, C and S being the solid or liquid; empty takes every one that the
	// elements of the feed can make.
	Species []string
}

// task is an input that was looked up and checked.
type task struct {
	kelvin, feedKelvin, pressureBar float64
	problem                         problem
	scale                           float64 // moles of feed in one unit of the problem
	elements                        int
	element                         [maxElements]int // of the species table
	chosen                          [maxSpecies]int  // of the species table, for each species of the problem
	reducedEnthalpy                 [maxSpecies]float64
	fed                             [maxSpecies]Amount
	feedForms                       [maxSpecies]*thermo.Substance
}

// checkPlace checks temperature and pressure.
func checkPlace(celsius, pressureBar float64) finding.Faults {
	var faults finding.Faults
	if !(celsius >= MinCelsius && celsius <= MaxCelsius) {
		faults.Add("celsius", fmt.Sprintf("%g is outside the range of the tables", celsius),
			fmt.Sprintf("give %g to %g", MinCelsius, MaxCelsius))
	}
	if !(pressureBar >= MinPressureBar && pressureBar <= MaxPressureBar) {
		faults.Add("pressure_bar", fmt.Sprintf("%g is no pressure of an ideal gas in a furnace", pressureBar),
			fmt.Sprintf("give %g to %g", MinPressureBar, MaxPressureBar))
	}
	return faults
}

// prepare checks an input and sets the problem up.
func prepare(in Input) (*task, error) {
	faults := checkPlace(in.Celsius, in.PressureBar)
	t := &task{kelvin: thermo.Kelvin(in.Celsius), pressureBar: in.PressureBar, feedKelvin: thermo.Kelvin(DefaultFeedCelsius)}
	if in.FeedCelsius != nil {
		t.feedKelvin = thermo.Kelvin(*in.FeedCelsius)
	}
	fed, elements := t.readFeed(in.Feed, &faults)
	chosen := chooseSpecies(in.Species, elements, &faults)
	if len(faults) > 0 {
		return nil, faults
	}
	t.setUp(fed, elements, chosen)
	t.rescale()
	if err := t.feedable(in, elements); err != nil {
		return nil, err
	}
	return t, nil
}

// readFeed finds the species of the feed; elements has a bit for each element of it.
func (t *task) readFeed(feed []Amount, faults *finding.Faults) (fed [maxSpecies]int, elements uint) {
	if len(feed) == 0 {
		faults.Add("feed", "is empty", "give species and moles such as CO2=1,C=1")
	}
	seen, count := uint(0), 0
	for i, a := range feed {
		if !(a.Moles >= leastMoles && a.Moles <= mostMoles) {
			faults.Add(feedField(i, "moles"), fmt.Sprintf("%g mol of %s is no amount", a.Moles, a.Formula),
				"give a number above zero, or leave the species out")
		}
		at, unknown := species().find(a.Formula)
		if unknown != nil {
			faults.AddUnder(feedField(i, "formula"), unknown)
			continue
		}
		if seen&(1<<at) != 0 {
			faults.Add(feedField(i, "formula"), a.Formula+" is given twice", "give each species once, with all its moles")
			continue
		}
		seen |= 1 << at
		form, err := thermo.FindStable(a.Formula, t.feedKelvin)
		if err != nil {
			faults.Add("feed_celsius", a.Formula+" has no figures at the temperature of the feed", celsiusCure(err, a.Formula))
			continue
		}
		fed[count], t.feedForms[count], t.fed[count] = at, form, a
		count++
		elements |= species().candidates[at].elements
	}
	return fed, elements
}

func feedField(index int, part string) string { return fmt.Sprintf("feed[%d].%s", index, part) }

// celsiusCure says where a species of the feed has figures, as the fault of the lookup does, in degrees Celsius.
func celsiusCure(err error, formula string) string {
	form, other := thermo.FindStable(formula, thermo.Kelvin(DefaultFeedCelsius))
	if other != nil {
		return finding.FaultsOf(err)[0].Cure + " kelvin"
	}
	low, high := form.RangeKelvin()
	return fmt.Sprintf("give %.6g to %.6g", thermo.Celsius(low), thermo.Celsius(high))
}

// chooseSpecies answers those that are asked for, or all that the elements can make, as places in the species table.
func chooseSpecies(asked []string, elements uint, faults *finding.Faults) []int {
	t := species()
	chosen := make([]int, 0, maxSpecies)
	if len(asked) == 0 {
		for i := range t.candidates {
			if t.candidates[i].elements&^elements == 0 {
				chosen = append(chosen, i)
			}
		}
		return chosen
	}
	seen := uint(0)
	for i, name := range asked {
		at, unknown := t.find(name)
		switch {
		case unknown != nil:
			faults.AddUnder(fmt.Sprintf("species[%d]", i), unknown)
		case seen&(1<<at) != 0:
			faults.Add(fmt.Sprintf("species[%d]", i), name+" is given twice", "give each species once")
		case t.candidates[at].elements&^elements == 0:
			chosen = append(chosen, at)
		}
		if unknown == nil {
			seen |= 1 << at
		}
	}
	return chosen
}

// setUp fills the problem.
func (t *task) setUp(fed [maxSpecies]int, elements uint, chosen []int) {
	table := species()
	for e := range table.elements {
		if elements&(1<<e) != 0 {
			t.element[t.elements] = e
			t.elements++
		}
	}
	p := &t.problem
	p.species = len(chosen)
	lnPressure := math.Log(t.pressureBar)
	for j, at := range chosen {
		c := &table.candidates[at]
		t.chosen[j], p.gas[j], p.columns[j] = at, c.isGas, t.column(c.atoms)
		p.potential[j], t.reducedEnthalpy[j], _ = c.form.Reduced(t.kelvin)
		if c.isGas {
			p.potential[j] += lnPressure
		}
	}
	for i := range t.fed {
		if t.feedForms[i] != nil {
			t.feed(table.candidates[fed[i]].atoms, t.fed[i].Moles)
		}
	}
}

// column keeps the elements of the problem.
func (t *task) column(of atoms) (kept atoms) {
	for k := range t.elements {
		kept[k] = of[t.element[k]]
	}
	return kept
}

func (t *task) feed(of atoms, moles float64) {
	p := &t.problem
	p.columns[p.species+p.feeds], p.moles[p.feeds] = t.column(of), moles
	p.feeds++
}

// rescale divides by a power of two, which rounds nothing: feeds that cancel still do.
func (t *task) rescale() {
	p := &t.problem
	sum := 0.0
	for f := range p.feeds {
		sum += p.moles[f]
	}
	_, exponent := math.Frexp(sum)
	t.scale = math.Ldexp(1, exponent)
	for f := range p.feeds {
		p.moles[f] /= t.scale
	}
}

// feedable checks that each element of the feed has a species to go to.
func (t *task) feedable(in Input, elements uint) error {
	gases, held := false, uint(0)
	for j := range t.problem.species {
		c := &species().candidates[t.chosen[j]]
		gases = gases || c.isGas
		held |= c.elements
	}
	var missing []string
	for e, symbol := range species().elements {
		if elements&^held&(1<<e) != 0 {
			missing = append(missing, symbol)
		}
	}
	switch {
	case len(missing) > 0:
		return finding.Faults{{
			Field: "species", Message: "none of them holds the feed's " + strings.Join(missing, ", "),
			Cure: "add species that do, or leave the list out",
		}}
	case !gases && len(in.Species) > 0:
		return finding.Faults{{Field: "species", Message: "holds no gas of the feed's elements", Cure: "add a gas, or leave the list out"}}
	case !gases:
		return finding.Faults{{
			Field: "feed", Message: "makes no gas that is tabled", Cure: "add a gas, such as O2, or N2 which stays as it is",
		}}
	}
	return nil
}
