package main

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"saggar/chem/finding"
	"saggar/chem/gas"
	"saggar/client/file"
	"saggar/client/render"
)

// defaultPressureBar is 1 atm.
const defaultPressureBar = 1.01325

// gasMixture is a gas at equilibrium. What the feed's elements leave open is null.
type gasMixture struct {
	Celsius                          float64      `json:"celsius"`
	PressureBar                      float64      `json:"pressure_bar"`
	Species                          []gasSpecies `json:"species"`
	GasMoles                         float64      `json:"gas_moles"`
	Log10OxygenBar                   *float64     `json:"log10_oxygen_bar"`
	OxygenPotentialKilojoulesPerMole *float64     `json:"oxygen_potential_kilojoules_per_mole"`
	CarbonMonoxidePerCarbonDioxide   *float64     `json:"carbon_monoxide_per_carbon_dioxide"`
	CarbonActivity                   *float64     `json:"carbon_activity"`
	Reducing                         *bool        `json:"reducing"`
	Verdict                          string       `json:"verdict"`
	Marks                            []gasMark    `json:"marks"`
	FeedKilojoules                   float64      `json:"feed_kilojoules"`
	ProductKilojoules                float64      `json:"product_kilojoules"`
	HeatKilojoules                   float64      `json:"heat_kilojoules"`
	Elements                         []gasElement `json:"elements"`
	Assumptions                      []string     `json:"assumptions"`
	Caution                          string       `json:"caution"`
}

// gasSpecies is one species; its mole fraction is that of the gas, of a solid or liquid its moles over those of the gas.
type gasSpecies struct {
	Species      string  `json:"species"`
	Phase        string  `json:"phase"`
	MoleFraction float64 `json:"mole_fraction"`
	Moles        float64 `json:"moles"`
}

type gasElement struct {
	Symbol        string  `json:"symbol"`
	FeedMoles     float64 `json:"feed_moles"`
	ResidualMoles float64 `json:"residual_moles"`
}

// gasMark is an oxygen pressure at which two forms stand beside each other.
type gasMark struct {
	Name           string  `json:"name"`
	Log10OxygenBar float64 `json:"log10_oxygen_bar"`
	DecadesAbove   float64 `json:"decades_above"`
	Stable         string  `json:"stable"`
}

func (s *shell) gasCommand() *cobra.Command {
	celsius := between(gas.MinCelsius, gas.MaxCelsius, 0)
	pressure := between(gas.MinPressureBar, gas.MaxPressureBar, defaultPressureBar)
	feedCelsius := between(-73, gas.MaxCelsius, gas.DefaultFeedCelsius)
	var feed string
	var considered []string
	equilibrium := &cobra.Command{
		Use:     "equilibrium --celsius T --pressure-bar P --feed FEED",
		Example: "  saggar gas equilibrium --celsius 900 --pressure-bar 1 --feed 'CO2=1,C=1'",
		Short:   "What a feed of gases, carbon and sulfur comes to at a temperature", Args: cobra.NoArgs,
		Long: "What a feed of gases, carbon and sulfur comes to at a temperature and pressure, how reducing that is, and the\n" +
			"heat that it takes, by the least Gibbs energy of an ideal gas with pure solids and liquids.\n\n" +
			"The feed is moles by species. A mole fraction is the share of the gas; of a solid or liquid it is its moles\n" +
			"over those of the gas. Solid carbon is the species C in the phase graphite; sulfur that is no gas is S in the\n" +
			"phase rhombic sulfur, monoclinic sulfur or liquid. H2O is fed in the phase that is stable at the feed's\n" +
			"temperature: write H2O(g) for steam.",
		RunE: func(*cobra.Command, []string) error {
			amounts, err := readFeed(feed)
			if err != nil {
				return badInput(err)
			}
			mixture, err := gas.Equilibrium(gas.Input{
				Celsius: celsius.value, PressureBar: pressure.value, Feed: amounts, FeedCelsius: &feedCelsius.value, Species: considered,
			})
			if err != nil {
				return badInput(gasFaults(err, amounts, considered))
			}
			answer, err := newGasMixture(mixture)
			if err != nil {
				return err
			}
			return s.print(answer, func() []render.Grid { return gasGrids(answer) })
		},
	}
	flags := equilibrium.Flags()
	flags.Var(celsius, "celsius", fmt.Sprintf("temperature in C, %g to %g", gas.MinCelsius, gas.MaxCelsius))
	flags.Var(pressure, "pressure-bar", "total pressure in bar; 1 atm unless given")
	flags.StringVar(&feed, "feed", "", "moles by species, such as 'CO2=1,C=1'")
	flags.Var(feedCelsius, "feed-celsius", "temperature of the feed in C")
	flags.StringSliceVar(&considered, "species", nil, "species that may form; all that the feed's elements can make unless given")
	cobra.CheckErr(equilibrium.MarkFlagRequired("celsius"))
	cobra.CheckErr(equilibrium.MarkFlagRequired("feed"))
	return group("gas", "Gas: what gases come to in the heat", equilibrium)
}

// maxFeedBytes bounds the text of a feed; longer is none.
const maxFeedBytes = 4096

// readFeed reads "CO2=1,C=0.5". The error names every part at fault.
func readFeed(text string) ([]gas.Amount, error) {
	if len(text) > maxFeedBytes {
		return nil, &file.Error{Field: "--feed", Problem: fmt.Sprintf("is longer than %d bytes", maxFeedBytes), Cure: feedCure}
	}
	var amounts []gas.Amount
	var faults file.Errors
	for i, part := range strings.Split(text, ",") {
		formula, number, ok := strings.Cut(part, "=")
		formula = strings.TrimSpace(formula)
		moles, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
		switch {
		case strings.TrimSpace(part) == "":
			faults = append(faults, &file.Error{Field: feedPart(i), Problem: "is empty", Cure: feedCure})
		case !ok || formula == "":
			faults = append(faults, &file.Error{Field: feedPart(i), Problem: fmt.Sprintf("%q is no FORMULA=MOLES", part), Cure: feedCure})
		case err != nil:
			faults = append(faults, &file.Error{
				Field: feedPart(i), Problem: fmt.Sprintf("%q is no number of moles", strings.TrimSpace(number)), Cure: feedCure,
			})
		default:
			amounts = append(amounts, gas.Amount{Formula: formula, Moles: moles})
		}
	}
	if len(faults) > 0 {
		return nil, faults
	}
	return amounts, nil
}

const feedCure = "give moles by species, such as 'CO2=1,C=1'"

func feedPart(index int) string { return fmt.Sprintf("--feed, part %d", index+1) }

// gasFaults gives the faults of the values the flags that they come from.
func gasFaults(err error, feed []gas.Amount, considered []string) error {
	faults := finding.FaultsOf(err)
	if faults == nil {
		return err
	}
	flags := map[string]string{
		"celsius": "--celsius", "pressure_bar": "--pressure-bar", "feed": "--feed", "feed_celsius": "--feed-celsius",
		"species": "--species",
	}
	for i := range feed {
		for _, field := range []string{"formula", "moles"} {
			flags[fmt.Sprintf("feed[%d].%s", i, field)] = feedPart(i)
		}
	}
	for i := range considered {
		flags[fmt.Sprintf("species[%d]", i)] = fmt.Sprintf("--species, part %d", i+1)
	}
	var located file.Errors
	for _, fault := range faults {
		located = append(located, &file.Error{Field: flags[fault.Field], Problem: fault.Message, Cure: fault.Cure})
	}
	return located
}

func newGasMixture(r gas.Result) (gasMixture, error) {
	answer := gasMixture{
		Celsius: r.Celsius, PressureBar: r.PressureBar, Species: []gasSpecies{}, GasMoles: r.GasMoles, Elements: []gasElement{},
		Marks: []gasMark{}, Log10OxygenBar: r.Log10OxygenBar, CarbonActivity: r.CarbonActivity,
		CarbonMonoxidePerCarbonDioxide: r.CarbonMonoxidePerCarbonDioxide, FeedKilojoules: r.FeedKilojoules,
		ProductKilojoules: r.ProductKilojoules, HeatKilojoules: r.HeatKilojoules, Assumptions: r.Assumptions, Caution: r.Caution,
	}
	for _, a := range r.Species {
		answer.Species = append(answer.Species, gasSpecies{a.Species, a.Phase, a.MoleFraction, a.Moles})
	}
	for _, e := range r.Elements {
		answer.Elements = append(answer.Elements, gasElement{e.Symbol, e.FeedMoles, e.ResidualMoles})
	}
	if r.Log10OxygenBar == nil {
		return answer, nil
	}
	judged, err := r.Atmosphere()
	if err != nil {
		return answer, err
	}
	answer.OxygenPotentialKilojoulesPerMole, answer.Reducing = &judged.OxygenPotentialKilojoulesPerMole, &judged.Reducing
	answer.Verdict = judged.Verdict
	for _, m := range judged.Marks {
		answer.Marks = append(answer.Marks, gasMark{m.Name, m.Log10OxygenBar, m.DecadesAbove, m.Stable})
	}
	answer.Assumptions = append(answer.Assumptions, judged.Assumptions...)
	return answer, nil
}

func gasGrids(a gasMixture) []render.Grid {
	species := render.Grid{
		Title:   fmt.Sprintf("At %s C and %s bar, %s mol of gas", render.Number(a.Celsius), render.Number(a.PressureBar), render.Number(a.GasMoles)),
		Columns: []string{"species", "phase", "share of the gas", "mol"},
	}
	for _, s := range a.Species {
		share := "-"
		if s.Phase == "gas" {
			share = render.Number(s.MoleFraction)
		}
		species.Rows = append(species.Rows, []string{s.Species, s.Phase, share, render.Number(s.Moles)})
	}
	grids := []render.Grid{species}
	if a.Reducing != nil {
		grids = append(grids, atmosphereGrids(a)...)
	}
	grids = append(grids, render.Grid{
		Title:   "Ratios and heat",
		Columns: []string{"CO/CO2", "carbon activity", "feed kJ", "mixture kJ", "heat to put in kJ"},
		Rows: [][]string{{
			orNone(a.CarbonMonoxidePerCarbonDioxide, "-"), orNone(a.CarbonActivity, "-"), render.Number(a.FeedKilojoules),
			render.Number(a.ProductKilojoules), render.Number(a.HeatKilojoules),
		}},
	})
	return append(grids, notes(a.Assumptions, a.Caution)...)
}

// atmosphereGrids are the verdict and the marks that it rests on.
func atmosphereGrids(a gasMixture) []render.Grid {
	verdict := render.Grid{Title: "Atmosphere: not reducing"}
	if *a.Reducing {
		verdict.Title = "Atmosphere: reducing"
	}
	for _, line := range wrap(a.Verdict, tableWidth) {
		verdict.Rows = append(verdict.Rows, []string{line})
	}
	marks := render.Grid{
		Title: fmt.Sprintf("Oxygen: log10 of the pressure in bar %s, potential %s kJ/mol",
			render.Number(*a.Log10OxygenBar), render.Number(*a.OxygenPotentialKilojoulesPerMole)),
		Columns: []string{"against", "log10 bar", "decades above", "leaves"},
	}
	for _, m := range a.Marks {
		marks.Rows = append(marks.Rows, []string{m.Name, render.Number(m.Log10OxygenBar), render.Number(m.DecadesAbove), m.Stable})
	}
	return []render.Grid{verdict, marks}
}
