package gas

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"saggar/chem"
	"saggar/chem/data"
	"saggar/chem/finding"
	"saggar/chem/thermo"
)

// StarvedCharge is what a charge without air offers as gas: moles of atoms.
type StarvedCharge struct {
	Celsius float64
	// PressureBar is 1 atm where it is 0.
	PressureBar   float64
	CarbonMoles   float64
	SulfurMoles   float64
	HydrogenMoles float64
	OxygenMoles   float64
	NitrogenMoles float64
}

// Share is one way in which an element leaves, or stays.
type Share struct {
	Species string
	// Phase is as in SpeciesAmount.
	Phase string
	// Moles of the species.
	Moles float64
	// Fraction of the element's atoms that are in it, 0 to 1.
	Fraction float64
}

// StarvedGas is how the sulfur and carbon of a starved charge leave, if they have the time to come to equilibrium.
type StarvedGas struct {
	// Sulfur and Carbon list every tabled species of the element, the one with the largest share first; a solid or liquid
	// is what stays in the charge.
	Sulfur []Share
	Carbon []Share
	// Mixture is the whole of it; its enthalpies are left at zero, since what the atoms come from is not known.
	Mixture     Result
	Assumptions []string
	Caution     string
}

// AirStarved finds the equilibrium of what a charge offers as gas while no air reaches it: how much of its sulfur leaves as
// COS, CS2, H2S, S2, S8 or SO2, and of its carbon as CO or CO2. It returns finding.Faults at "celsius", "pressure_bar" and
// the moles that cannot be used.
func AirStarved(charge StarvedCharge) (StarvedGas, error) {
	if charge.PressureBar == 0 {
		charge.PressureBar = data.ThermoConstant("standard atmosphere")
	}
	faults := checkPlace(charge.Celsius, charge.PressureBar)
	t := &task{kelvin: thermo.Kelvin(charge.Celsius), pressureBar: charge.PressureBar}
	elements := charge.check(&faults)
	if len(faults) > 0 {
		return StarvedGas{}, faults
	}
	t.setUp([maxSpecies]int{}, elements, chooseSpecies(nil, elements, &faults))
	for _, offered := range charge.offers() {
		if offered.moles > 0 {
			var one atoms
			one[slices.Index(species().elements, offered.symbol)] = 1
			t.feed(one, offered.moles)
		}
	}
	t.rescale()
	s, err := t.solved()
	if err != nil {
		return StarvedGas{}, err
	}
	mixture := t.mixture(s)
	mixture.Celsius, mixture.PressureBar = charge.Celsius, charge.PressureBar
	return StarvedGas{
		Sulfur: shares(mixture.Species, "S", charge.SulfurMoles), Carbon: shares(mixture.Species, "C", charge.CarbonMoles),
		Mixture: mixture, Caution: chem.Caution, Assumptions: append([]string{
			"no air reaches the charge, and all that it offers as gas meets at one temperature; what comes off hot and burns in " +
				"the chamber's air leaves as SO2 and CO2",
		}, mixture.Assumptions...),
	}, nil
}

// offer is one element of a charge.
type offer struct {
	field, symbol string
	moles         float64
}

func (c StarvedCharge) offers() [5]offer {
	return [5]offer{
		{"carbon_moles", "C", c.CarbonMoles}, {"sulfur_moles", "S", c.SulfurMoles}, {"hydrogen_moles", "H", c.HydrogenMoles},
		{"oxygen_moles", "O", c.OxygenMoles}, {"nitrogen_moles", "N", c.NitrogenMoles},
	}
}

// check answers the elements that are offered, a bit for each.
func (c StarvedCharge) check(faults *finding.Faults) (elements uint) {
	for _, o := range c.offers() {
		if o.moles != 0 && !(o.moles >= leastMoles && o.moles <= mostMoles) {
			faults.Add(o.field, fmt.Sprintf("%g is no amount", o.moles), "give moles of atoms of at least 0")
		}
		if o.moles > 0 {
			elements |= 1 << slices.Index(species().elements, o.symbol)
		}
	}
	carbonAlone := uint(1) << slices.Index(species().elements, "C")
	if len(*faults) > 0 {
		return elements
	}
	switch elements {
	case 0:
		faults.Add("carbon_moles", "nothing is offered as gas", "give moles of at least one element")
	case carbonAlone:
		faults.Add("oxygen_moles", "carbon alone makes no gas that is tabled", "give the oxygen, hydrogen, sulfur or nitrogen beside it")
	}
	return elements
}

// shares lists the species that hold an element, by falling share.
func shares(mixture []SpeciesAmount, symbol string, moles float64) []Share {
	element := slices.Index(species().elements, symbol)
	list := []Share{}
	for _, a := range mixture {
		atoms := species().candidates[species().index(a.Species)].atoms[element]
		if atoms > 0 && moles > 0 {
			list = append(list, Share{a.Species, a.Phase, a.Moles, math.Min(a.Moles*atoms/moles, 1)})
		}
	}
	slices.SortStableFunc(list, func(a, b Share) int { return cmp.Compare(b.Fraction, a.Fraction) })
	return list
}
