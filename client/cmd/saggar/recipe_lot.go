package main

import (
	"github.com/spf13/cobra"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

// lotQuestion is what the lot of an intermediate is worked out from.
type lotQuestion struct {
	recipeQuestion
	after, id, madeOn string
}

func (s *shell) recipeLotCommand() *cobra.Command {
	q := lotQuestion{recipeQuestion: recipeQuestion{scale: newScaleFlags()}}
	command := &cobra.Command{
		Use:     "lot FILE --after STAGE --id ID --made-on DATE",
		Example: "  saggar recipe lot recipe.yaml --material-file materials.yaml --after calcine --id clay-3 --made-on 2027-03-01 --output yaml",
		Short:   "Describe the intermediate that a stage leaves, as a file for --lot-file",
		Long: "Describe the intermediate that a stage of a recipe leaves, by the balance's likely case along the program as asked:\n" +
			"its mass, compounds and moisture. With --output yaml it is a file for --lot-file of 'saggar recipe check'. Weigh it and\n" +
			"put its own mass into the file: the balance knows no losses. No server is asked.",
		Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			q.file = args[0]
			lot, err := s.lotOf(q)
			if err != nil {
				return badInput(err)
			}
			m := convert.LotToProto(lot)
			return s.print(m, func() []render.Grid { return lotGrids(m) })
		},
	}
	flags := command.Flags()
	flags.StringVar(&q.recipe, "recipe", "", "id of the recipe, when FILE holds several")
	flags.StringArrayVar(&q.materialFiles, "material-file", nil, "YAML file of materials; may be repeated")
	flags.StringVar(&q.after, "after", "", "id of the stage that leaves it")
	flags.StringVar(&q.id, "id", "", "id of the lot, such as what stands on its label")
	flags.StringVar(&q.madeOn, "made-on", "", "day on which it is made, YYYY-MM-DD")
	q.scale.flags(command)
	for _, name := range []string{"after", "id", "made-on"} {
		_ = command.MarkFlagRequired(name) // the flag stands just above
	}
	return command
}

// lotOf works the lot out from the files of the recipe and of its materials.
func (s *shell) lotOf(q lotQuestion) (chem.Lot, error) {
	known, err := s.readMaterials(q.materialFiles, s.studio)
	if err != nil {
		return chem.Lot{}, err
	}
	if err := known.mixtures(); err != nil {
		return chem.Lot{}, err
	}
	message, from, err := s.readRecipe(q.recipeQuestion, s.studio)
	if err != nil {
		return chem.Lot{}, err
	}
	recipe, practice := convert.RecipeFromProto(message), chem.DefaultPractice()
	if err := ofMaterials(recipe.Validate(known.materials), "give the file that has it with --material-file").Err(); err != nil {
		return chem.Lot{}, from.located(err)
	}
	factor, err := practice.ScaleFactor(recipe, known.materials, convert.ScaleFromProto(q.scale.message()))
	if err != nil {
		return chem.Lot{}, from.located(err)
	}
	balance, err := practice.Balance(recipe, known.materials, factor)
	if err != nil {
		return chem.Lot{}, from.located(err)
	}
	lot, err := balance.Intermediate(q.after, q.id, q.madeOn)
	return lot, flagFaults(err)
}

// flagFaults names the flags that a lot's faults are about.
func flagFaults(err error) error {
	faults := finding.FaultsOf(err)
	for i, f := range faults {
		if flag, known := map[string]string{"from_stage": "--after", "id": "--id", "made_on": "--made-on"}[f.Field]; known {
			faults[i].Field = flag
		}
	}
	return faults.Err()
}

func lotGrids(m *saggarv1.Lot) []render.Grid {
	grid := render.Grid{
		Title:   "Lot " + m.GetId() + " after " + m.GetFromStage() + ": " + render.Number(m.GetMassGrams()) + " g",
		Columns: []string{"compound", "fraction of the dry mass"},
	}
	for _, phase := range m.GetPhases() {
		grid.Rows = append(grid.Rows, []string{phase.GetFormula(), render.Number(phase.GetMassFraction())})
	}
	return append([]render.Grid{grid}, notes(nil, chem.Caution)...)
}
