package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"saggar/chem"
	"saggar/chem/reaction"
	"saggar/client/render"
)

// weighedConversion is what a charge weighed before and after a firing shows.
type weighedConversion struct {
	Reaction             string   `json:"reaction"`
	Equation             string   `json:"equation"`
	Conversion           float64  `json:"conversion"`
	Uncertainty          float64  `json:"uncertainty"` // expanded, k = 2
	LossGrams            float64  `json:"loss_grams"`
	TheoreticalLossGrams float64  `json:"theoretical_loss_grams"`
	Assumptions          []string `json:"assumptions"`
	Caution              string   `json:"caution"`
}

// weighingFlags are what the verb is asked.
type weighingFlags struct {
	reaction                                                string
	before, after, moistBefore, moistAfter, purity, reading *numberFlag
}

func (s *shell) weighingCommand() *cobra.Command {
	asked := weighingFlags{
		before: aboveZero(1e7), after: between(0, 1e7, 0), moistBefore: between(0, 0.99, 0), moistAfter: between(0, 0.99, 0),
		purity: between(0.001, 1, 1), reading: between(1e-6, 1e5, 0.1),
	}
	command := &cobra.Command{
		Use:     "weighing --reaction NAME --before-grams G --after-grams G",
		Example: "  saggar heat weighing --reaction kaolinite --before-grams 71 --after-grams 61.3 --moisture-before 0.01",
		Short:   "How far a charge was converted, from its weight before and after the firing", Args: cobra.NoArgs,
		Long: "How far a charge was converted, from its weight before and after the firing: its loss over what it would lose if all of " +
			"it reacted, both of the dry charge and without the vessel. --purity is the share of the dry charge that reacts at all.",
		RunE: func(*cobra.Command, []string) error { return s.weigh(asked) },
	}
	flags := command.Flags()
	flags.StringVar(&asked.reaction, "reaction", "", "name of the reaction, as 'saggar heat reactions' lists it")
	flags.Var(asked.before, "before-grams", "mass of the charge as it went in, without the vessel")
	flags.Var(asked.after, "after-grams", "mass as it came out, without the vessel")
	flags.Var(asked.moistBefore, "moisture-before", "free water by mass as it went in, a fraction")
	flags.Var(asked.moistAfter, "moisture-after", "free water by mass as it came out, a fraction")
	flags.Var(asked.purity, "purity", "share of the dry charge that reacts, a fraction")
	flags.Var(asked.reading, "readability-grams", "last digit of the balance")
	for _, name := range []string{"reaction", "before-grams", "after-grams"} {
		cobra.CheckErr(command.MarkFlagRequired(name))
	}
	return command
}

func (s *shell) weigh(asked weighingFlags) error {
	r, known := reaction.Named(asked.reaction)
	if !known {
		return badInput(fmt.Errorf("--reaction: there is no reaction %q; 'saggar heat reactions' lists all", asked.reaction))
	}
	if r.LossFraction() <= 0 {
		return badInput(fmt.Errorf("--reaction: %s loses no mass, so its weight shows nothing; name one that gives off a gas", r.Name))
	}
	measured, err := reaction.Weighing{
		BeforeGrams: asked.before.value, AfterGrams: asked.after.value, MoistureFractionBefore: asked.moistBefore.value,
		MoistureFractionAfter: asked.moistAfter.value, TheoreticalLossFraction: asked.purity.value * r.LossFraction(),
		ReadabilityGrams: asked.reading.value,
	}.Measure()
	if err != nil {
		return badInput(source{}.located(err))
	}
	answer := weighedConversion{
		Reaction: r.Name, Equation: r.Equation, Conversion: measured.Conversion, Uncertainty: measured.Uncertainty,
		LossGrams: measured.LossGrams, TheoreticalLossGrams: measured.TheoreticalLossGrams, Assumptions: measured.Assumptions,
		Caution: chem.Caution,
	}
	return s.print(answer, func() []render.Grid { return weighingGrids(answer) })
}

func weighingGrids(a weighedConversion) []render.Grid {
	grid := render.Grid{
		Title:   strings.ToUpper(a.Reaction[:1]) + a.Reaction[1:] + ": " + a.Equation,
		Columns: []string{"converted %", "plus or minus %", "loss g", "loss if all reacted g"},
		Rows: [][]string{{
			render.Number(100 * a.Conversion), render.Number(100 * a.Uncertainty), render.Number(a.LossGrams),
			render.Number(a.TheoreticalLossGrams),
		}},
	}
	return append([]render.Grid{grid}, notes(a.Assumptions, a.Caution)...)
}
