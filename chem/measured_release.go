package chem

import (
	"fmt"
	"slices"
	"time"

	"saggar/chem/data"
	"saggar/chem/finding"
)

// MeasuredRelease is gas of one species that somebody measured coming off a stage's charge and ware, without a flame's own.
type MeasuredRelease struct {
	Species string `json:"species"` // formula as in the limits table, such as "SO2"
	// MassGrams came off in all, above 0, at the recipe's own scale.
	MassGrams  float64 `json:"mass_grams"`
	MeasuredBy string  `json:"measured_by"` // who
	MeasuredOn string  `json:"measured_on"` // ISO date
}

const (
	maxMeasuredReleases = 16
	// measuredFromCelsius is where gas begins that was measured but that the balance does not know: common practice, no source.
	measuredFromCelsius = 100.0
)

// checkMeasured checks the measured releases; bench work gives nothing off.
func (s Stage) checkMeasured() finding.Faults {
	var faults finding.Faults
	if len(s.MeasuredReleases) > maxMeasuredReleases {
		faults.Add("measured_releases", fmt.Sprintf("%d are given", len(s.MeasuredReleases)),
			fmt.Sprintf("give at most %d", maxMeasuredReleases))
		return faults
	}
	if s.Program == nil && len(s.MeasuredReleases) > 0 {
		faults.Add("measured_releases", "bench work gives nothing off", "give them at a stage with a heat program")
	}
	for i, m := range s.MeasuredReleases {
		path := fmt.Sprintf("measured_releases[%d].", i)
		if !isGas(m.Species) {
			faults.Add(path+"species", fmt.Sprintf("%q is no gas that has a limit or comes off a charge", shortened(m.Species)),
				fmt.Sprintf("give one of %q", gasesKnown()))
		}
		if slices.ContainsFunc(s.MeasuredReleases[:i], func(o MeasuredRelease) bool { return o.Species == m.Species }) {
			faults.Add(path+"species", fmt.Sprintf("%s is given twice", shortened(m.Species)), "give each gas once")
		}
		if checkMass(&faults, path+"mass_grams", m.MassGrams); m.MassGrams == 0 {
			faults.Add(path+"mass_grams", "0 g was not measured: an instrument has a least that it sees",
				"give the least that the instrument would have seen")
		}
		if m.MeasuredBy == "" {
			faults.Add(path+"measured_by", "nobody is named", "say who measured it")
		}
		CheckTitle(&faults, path+"measured_by", m.MeasuredBy)
		if _, err := time.Parse(time.DateOnly, m.MeasuredOn); err != nil {
			faults.Add(path+"measured_on", fmt.Sprintf("%q is no date", shortened(m.MeasuredOn)), "give a date such as 2026-03-31")
		}
	}
	return faults
}

// gasesKnown are the gases that rules give or authorities limit, in alphabetical order.
func gasesKnown() []string {
	var known []string
	for gas := range rules().gases {
		known = append(known, gas)
	}
	for _, limit := range data.ExposureLimits() {
		if limit.Formula != "" && limit.Fraction == "" {
			known = append(known, limit.Formula)
		}
	}
	slices.Sort(known)
	return slices.Compact(known)
}

func isGas(species string) bool { return slices.Contains(gasesKnown(), species) }

// override puts what was measured in the place of what the balance says, in both cases, and says so. What the balance knows
// of a gas keeps its times; a gas that it does not know comes off while the charge is hotter than measuredFromCelsius.
func (s Stage) override(balance *StageBalance, factor float64) []string {
	var notes []string
	for _, m := range s.MeasuredReleases {
		grams := m.MassGrams * factor
		said := map[Case]float64{}
		for _, of := range []Case{Cautious, Likely} {
			said[of] = balance.measured(m.Species, of, grams)
		}
		notes = append(notes, fmt.Sprintf("Stage %s gives off %.4g g of %s, as %s measured on %s: it stands in both cases for what the "+
			"balance says, %.4g g in the cautious and %.4g g in the likely case.", s.ID, grams, m.Species, m.MeasuredBy, m.MeasuredOn,
			said[Cautious], said[Likely]))
	}
	return notes
}

// measured sets a gas of one case to a mass, and returns what it was.
func (b *StageBalance) measured(species string, of Case, grams float64) float64 {
	said := 0.0
	for _, gas := range b.OffGas {
		if gas.Case == of && gas.Species == species {
			said += gas.MassGrams
		}
	}
	if said == 0 {
		b.OffGas = append(b.OffGas, OffGas{
			Case: of, Species: species, Moles: grams / tabled(species).MolarMass(), MassGrams: grams,
			LowCelsius: min(measuredFromCelsius, b.PeakCelsius), HighCelsius: b.PeakCelsius, Origin: "measured", Read: data.CommonPractice,
			Source: "common practice, no source; the balance does not know the gas, so it is taken to come off from 100 C to the peak",
		})
		return 0
	}
	for i, gas := range b.OffGas {
		if gas.Case == of && gas.Species == species {
			b.OffGas[i].Moles *= grams / said
			b.OffGas[i].MassGrams *= grams / said
		}
	}
	return said
}
