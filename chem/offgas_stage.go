package chem

import (
	"cmp"
	"slices"

	"saggar/chem/data"
	"saggar/chem/heat"
)

// OffGas is gas of one species that one source sets free in one stage, in one of the two cases.
type OffGas struct {
	Case    Case    `json:"case"`
	Species string  `json:"species"` // formula as in the limits table, such as "SO2"
	Moles   float64 `json:"moles"`
	// MassGrams includes the oxygen and hydrogen that the gas takes from the air.
	MassGrams float64 `json:"mass_grams"`
	// The gas comes off between these temperatures of the charge.
	LowCelsius  float64 `json:"low_celsius"`
	HighCelsius float64 `json:"high_celsius"`
	Origin      string  `json:"origin"` // what gives it off
	// FedHot marks gas of what is fed into the hot furnace, not of what was charged.
	FedHot bool      `json:"fed_hot"`
	Read   data.Read `json:"read"`   // how far the range can be trusted
	Source string    `json:"source"` // of the range
}

// offGas turns events into gases: carbon to CO or CO2 by the atmosphere, part of the sulfur to acid mist, and the same
// gas from the same source joined.
func (f *firing) offGas(practice Practice) []OffGas {
	monoxide := f.monoxide(practice)
	list := make([]OffGas, 0, len(f.events))
	for _, e := range f.events {
		switch e.species {
		case "CO2":
			share := monoxide.carbonateShare
			if e.burns {
				share = monoxide.burntShare
			}
			list = f.collect(list, e, "CO", share)
			list = f.collect(list, e, "CO2", 1-share)
		case "SO2":
			list = f.collect(list, e, "H2SO4", practice.AcidMistFraction)
			list = f.collect(list, e, "SO2", 1-practice.AcidMistFraction)
		default:
			list = f.collect(list, e, e.species, 1)
		}
	}
	slices.SortStableFunc(list, func(a, b OffGas) int {
		return cmp.Or(cmp.Compare(a.Species, b.Species), cmp.Compare(a.LowCelsius, b.LowCelsius),
			cmp.Compare(a.Origin, b.Origin))
	})
	return list
}

// splitFed divides gases into what comes without the feed and the rest, marked as fed hot; the sum stays.
func splitFed(whole, before []OffGas) []OffGas {
	var fed []OffGas
	for i, gas := range whole {
		at := slices.IndexFunc(before, gas.sameSource)
		unfed := 0.0
		if at >= 0 {
			unfed = min(1, before[at].Moles/gas.Moles)
		}
		late := gas
		late.FedHot, late.Moles, late.MassGrams = true, gas.Moles*(1-unfed), gas.MassGrams*(1-unfed)
		if late.Moles > gas.Moles*negligible {
			fed = append(fed, late)
		}
		whole[i].Moles, whole[i].MassGrams = gas.Moles*unfed, gas.MassGrams*unfed
	}
	kept := slices.DeleteFunc(whole, func(g OffGas) bool { return g.Moles <= 0 })
	return append(kept, fed...)
}

// sameSource reports gas of the same species from the same source over the same range.
func (g OffGas) sameSource(other OffGas) bool {
	return g.Species == other.Species && g.Origin == other.Origin && g.LowCelsius == other.LowCelsius &&
		g.HighCelsius == other.HighCelsius
}

func (f *firing) collect(list []OffGas, e event, species string, share float64) []OffGas {
	moles := e.moles * share
	if moles <= 0 {
		return list
	}
	gas := OffGas{
		Case: f.which, Species: species, Moles: moles, MassGrams: moles * gasMass(species), LowCelsius: e.low,
		HighCelsius: e.rule.HighCelsius, Origin: e.rule.Name, Read: e.rule.Read, Source: e.rule.Source,
	}
	at := slices.IndexFunc(list, gas.sameSource)
	if at < 0 {
		return append(list, gas)
	}
	list[at].Moles += gas.Moles
	list[at].MassGrams += gas.MassGrams
	return list
}

// gasMass is the molar mass of a gas, g/mol.
func gasMass(species string) float64 { return rules().gases[species] }

// monoxideShares says how much of each kind of carbon leaves as CO.
type monoxideShares struct{ burntShare, carbonateShare float64 }

// monoxide is the rule for carbon: in reduction CO = C + min(C, carbonate C); in oxidation CO2, with a share of CO in the
// cautious case; a neutral stage counts as reducing in the cautious case and as oxidising in the likely one.
func (f *firing) monoxide(practice Practice) monoxideShares {
	reduces := f.atmosphere == heat.Reducing || (f.atmosphere == heat.Neutral && f.which == Cautious)
	if !reduces {
		if f.which == Likely {
			return monoxideShares{}
		}
		return monoxideShares{burntShare: practice.OxidisingCarbonMonoxideFraction}
	}
	burnt, carbonate := 0.0, 0.0
	for _, e := range f.events {
		switch {
		case e.species != "CO2":
		case e.burns:
			burnt += e.moles
		default:
			carbonate += e.moles
		}
	}
	if carbonate == 0 {
		return monoxideShares{burntShare: 1}
	}
	return monoxideShares{burntShare: 1, carbonateShare: min(burnt, carbonate) / carbonate}
}

// fromCharge counts the atoms of the charge that left as gas, without ware, oxygen and what the air gave.
func (f *firing) fromCharge() Moles {
	gone := Moles{}
	for _, e := range f.events {
		if e.ware {
			continue
		}
		switch e.species {
		case "H2O":
			gone["H"] += 2 * e.moles
		case "CO2":
			gone["C"] += e.moles
		case "SO2":
			gone["S"] += e.moles
		case "NO2":
			gone["N"] += e.moles
		case "HF":
			gone["F"] += e.moles
		case "HCl":
			gone["Cl"] += e.moles
		}
	}
	return gone
}
