package chem

import (
	"fmt"
	"math"

	"saggar/chem/finding"
)

// Practice holds the trade's figures that no source backs. Each is a setting of the studio; DefaultPractice has what is
// commonly done. Fractions are by mole for gases, by mass for ware, each in [0, 1].
type Practice struct {
	// AcidMistFraction of the sulfur that leaves counts as sulfuric acid mist instead of sulfur dioxide.
	AcidMistFraction float64 `json:"acid_mist_fraction"`
	// OxidisingCarbonMonoxideFraction of the carbon that burns in an oxidising firing leaves as CO in the cautious case,
	// because air does not reach the middle of a load at once.
	OxidisingCarbonMonoxideFraction float64 `json:"oxidising_carbon_monoxide_fraction"`
	// What ordinary ware holds that leaves when it is fired.
	WareSulfurFraction   float64 `json:"ware_sulfur_fraction"`
	WareCarbonFraction   float64 `json:"ware_carbon_fraction"`
	WareFluorineFraction float64 `json:"ware_fluorine_fraction"`
	// MaxFillFraction is how full a crucible is packed at most.
	MaxFillFraction float64 `json:"max_fill_fraction"`
	// A batch charged hot gives off what its temperature allows within these minutes of charging.
	OpenReleaseMinutes   float64 `json:"open_release_minutes"`
	LiddedReleaseMinutes float64 `json:"lidded_release_minutes"`
	// FlueCarbonDioxideKilogramsPerKilowattHour is what a gas flame gives off by itself.
	FlueCarbonDioxideKilogramsPerKilowattHour float64 `json:"flue_carbon_dioxide_kilograms_per_kilowatt_hour"`
	// MaxIntermediateAgeDays is how old an intermediate may be before it must be dried and weighed again, where a stage does
	// not say.
	MaxIntermediateAgeDays float64 `json:"max_intermediate_age_days"`
}

// SoakMinutes of holding at or above the middle of a compound's range drive all its water or carbon dioxide out in the
// likely case, though the peak never passes the range: clay is calcined near 600 C for about 8 h (common practice, no
// source).
const SoakMinutes = 120

const (
	// FullPowerCelsiusPerHour is how fast a ramp at full power, or one down at the furnace's own rate, is taken to go while no
	// furnace is chosen: common practice, no source. A slower one converts more.
	FullPowerCelsiusPerHour = 600
	// LeastConverted is the fraction by a tabled rate from which a compound counts as breaking down below its range: common
	// practice, no source.
	LeastConverted = 0.01
)

// DefaultPractice is what is commonly done: common practice, no source.
func DefaultPractice() Practice {
	return Practice{
		AcidMistFraction:                          0.03,
		OxidisingCarbonMonoxideFraction:           0.1,
		WareSulfurFraction:                        0.001,
		WareCarbonFraction:                        0.005,
		WareFluorineFraction:                      0.0005,
		MaxFillFraction:                           2.0 / 3,
		OpenReleaseMinutes:                        5,
		LiddedReleaseMinutes:                      20,
		FlueCarbonDioxideKilogramsPerKilowattHour: 0.2,
		MaxIntermediateAgeDays:                    30,
	}
}

// Validate lists every setting that is out of its range.
func (p Practice) Validate() finding.Faults {
	var faults finding.Faults
	fractions := []struct {
		field string
		value float64
	}{
		{"acid_mist_fraction", p.AcidMistFraction},
		{"oxidising_carbon_monoxide_fraction", p.OxidisingCarbonMonoxideFraction},
		{"ware_sulfur_fraction", p.WareSulfurFraction},
		{"ware_carbon_fraction", p.WareCarbonFraction},
		{"ware_fluorine_fraction", p.WareFluorineFraction},
		{"max_fill_fraction", p.MaxFillFraction},
		{"flue_carbon_dioxide_kilograms_per_kilowatt_hour", p.FlueCarbonDioxideKilogramsPerKilowattHour},
	}
	for _, f := range fractions {
		checkRange(&faults, f.field, f.value, bounds{0, 1})
	}
	checkRange(&faults, "max_intermediate_age_days", p.MaxIntermediateAgeDays, bounds{0, maxAgeDays})
	checkRange(&faults, "open_release_minutes", p.OpenReleaseMinutes, bounds{1, maxReleaseMinutes})
	checkRange(&faults, "lidded_release_minutes", p.LiddedReleaseMinutes, bounds{1, maxReleaseMinutes})
	return faults
}

// maxReleaseMinutes bounds how slowly a hot charge may be said to give off its gas.
const maxReleaseMinutes = 24 * 60

// maxAgeDays bounds how long an intermediate may be said to keep: ten years.
const maxAgeDays = 3660

// assumptions states the practice in sentences, for every answer that rests on it.
func (p Practice) assumptions() []string {
	return []string{
		"Molar masses are the abridged standard atomic weights (CIAAW 2021).",
		"The product is ideal: it takes all it can until one element runs out; what is left over is stated as simple oxides.",
		"An addition given as a fraction is one of the dry intermediate: free water in what is weighed does not count.",
		"Oxygen that burning or oxidising needs comes from the air; oxygen that is set free goes to it.",
		"Cautious case: all sulfur leaves, except that of sulfates below their range. Likely case: the sulfur that the " +
			"ideal product does not bind leaves. Each stage starts from what the likely case retains.",
		fmt.Sprintf("In the likely case as much has left as the peak has passed of the range; water and carbon dioxide have left "+
			"whole after %d minutes of holding in the hotter half of it (common practice, no source).", SoakMinutes),
		fmt.Sprintf("Where chem/data/reactions.csv has a rate, as much has left instead as it converts: along the temperatures of "+
			"the furnace and through the bed where they are known, else along the program as asked, all of the charge as hot as "+
			"the thermocouple, full power taken as %d C/h (common practice, no source) and the cooling left out. Below where a "+
			"compound's own gas comes to 1 bar no more counts than its range says. What a named product takes is taken whole.",
			FullPowerCelsiusPerHour),
		fmt.Sprintf("Sulfur that leaves burns to SO2; %.3g %% of it counts as sulfuric acid mist (common practice, no source).",
			100*p.AcidMistFraction),
		"In reduction each mole of carbon leaves as CO and turns one mole of carbonate CO2, while there is any, into CO.",
		fmt.Sprintf("In an oxidising firing carbon burns to CO2, in the cautious case with %.3g %% as CO, since air does not "+
			"reach the middle of a load at once (common practice, no source); a neutral one counts as reducing in the "+
			"cautious case, since no air is sure to burn the CO.", 100*p.OxidisingCarbonMonoxideFraction),
		fmt.Sprintf("Ordinary ware holds %.3g %% sulfur, %.3g %% carbon and %.3g %% fluorine by mass (common practice, no source).",
			100*p.WareSulfurFraction, 100*p.WareCarbonFraction, 100*p.WareFluorineFraction),
		"Temperature ranges of what breaks down are those of chem/data/reactions.csv; those without a source are common practice.",
		"Gas of a reaction with a tabled rate comes off as the charge reacts: in the cautious case as if all of it were as hot as " +
			"the furnace, or evenly over the range where that has the higher peak, in the likely case as the bed warms through. " +
			"Other gas comes evenly while its range is passed.",
		"Metal fume is not modelled. Washing and grinding are taken to lose nothing.",
	}
}

// bounds is a closed range.
type bounds struct{ low, high float64 }

// checkRange notes a value that is no finite number within the bounds.
func checkRange(faults *finding.Faults, field string, value float64, b bounds) {
	if math.IsNaN(value) || value < b.low || value > b.high {
		faults.Add(field, fmt.Sprintf("%g is not between %g and %g", value, b.low, b.high),
			fmt.Sprintf("give a number from %g to %g", b.low, b.high))
	}
}
