package main

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/client/file"
	"saggar/client/render"
	"saggar/proto/convert"
)

// substituteQuestion is what material substitute is asked.
type substituteQuestion struct {
	recipe        recipeQuestion
	materialFiles []string
	tolerance     *numberFlag
	chem.SubstituteQuestion
}

func (s *shell) substituteCommand() *cobra.Command {
	q := substituteQuestion{tolerance: aboveZero(1), recipe: recipeQuestion{scale: newScaleFlags()}}
	q.tolerance.value = chem.DefaultSubstituteTolerance
	command := &cobra.Command{
		Use:     "substitute FILE",
		Example: "  saggar material substitute recipe.yaml --replace soda-ash --with sodium-bicarbonate",
		Short:   "Work out amounts of other materials that keep a recipe's elements",
		Long: "Work out amounts of other materials in place of one, so that each stage keeps the moles of its elements: the amounts,\n" +
			"none negative, with the least squares of the relative differences. Hydrogen, carbon, nitrogen and oxygen leave as gas\n" +
			"and count only when --count names them. A material of --with that the stage adds already is reckoned anew.\n\n" +
			"FILE holds one recipe, or a list under recipes: of which --recipe names one; - reads standard input. Materials come\n" +
			"from the files of --material-file, and where none names one from 'saggar material library'. No server is asked.\n" +
			"Exit code 3 when an element is off by more than the tolerance.",
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			q.recipe.file, q.Tolerance = args[0], q.tolerance.value
			return s.substitute(c.Context(), q)
		},
	}
	flags := command.Flags()
	flags.StringVar(&q.recipe.recipe, "recipe", "", "id of the recipe, when FILE holds several")
	flags.StringVar(&q.Replace, "replace", "", "id of the material that is not at hand")
	flags.StringSliceVar(&q.With, "with", nil, "ids of the materials that are, with commas between")
	flags.StringSliceVar(&q.Count, "count", nil, "elements that count although they leave as gas, such as C")
	flags.StringSliceVar(&q.Ignore, "ignore", nil, "elements that do not count, such as Fe,Ti")
	flags.Var(q.tolerance, "tolerance", "how far each element may be off, as a share of what it was")
	flags.StringArrayVar(&q.materialFiles, "material-file", nil, "YAML file of materials; may be repeated")
	for _, name := range []string{"replace", "with"} {
		if err := command.MarkFlagRequired(name); err != nil {
			panic("bug: " + err.Error())
		}
	}
	return command
}

func (s *shell) substitute(_ context.Context, q substituteQuestion) error {
	if slices.Contains(q.materialFiles, "-") {
		return badInput(errors.New("--material-file: give files; standard input is for the recipe"))
	}
	known, err := s.readMaterials(q.materialFiles, s.studio)
	if err != nil {
		return badInput(err)
	}
	typical := map[string]bool{} // of the library, not of a file
	for _, material := range chem.Library() {
		if _, own := known.materials[material.ID]; !own {
			known.materials[material.ID], typical[material.ID] = material, true
		}
	}
	if err := known.mixtures(); err != nil {
		return badInput(err)
	}
	message, from, err := s.readRecipe(q.recipe, s.studio)
	if err != nil {
		return badInput(err)
	}
	answer, err := chem.Substitute(convert.RecipeFromProto(message), known.materials, q.SubstituteQuestion)
	if err != nil {
		return badInput(substituteFaults(err, from))
	}
	var taken []string
	for _, amount := range answer.Amounts {
		if typical[amount.Material] {
			taken = append(taken, amount.Material)
		}
	}
	if typical[q.Replace] {
		taken = append(taken, q.Replace)
	}
	if len(taken) > 0 {
		slices.Sort(taken)
		answer.Assumptions = append(answer.Assumptions, fmt.Sprintf("Typical analyses of 'saggar material library', which the lot at hand "+
			"may differ from: %s.", strings.Join(slices.Compact(taken), ", ")))
	}
	if err := s.print(answer, func() []render.Grid { return substituteGrids(answer) }); err != nil {
		return err
	}
	if !answer.Met {
		return errRefused
	}
	return nil
}

// substituteFaults gives faults the flag, or the file and line, that they come from.
func substituteFaults(err error, from source) error {
	var named []error
	for _, fault := range ofMaterials(finding.FaultsOf(err),
		"name one of 'saggar material library', or give the file that has it with --material-file") {
		flag, _, _ := strings.Cut(fault.Field, "[")
		if slices.Contains([]string{"replace", "with", "count", "ignore", "tolerance"}, flag) {
			named = append(named, &file.Error{Field: "--" + flag, Problem: fault.Message, Cure: fault.Cure})
			continue
		}
		named = append(named, from.located(finding.Faults{fault}))
	}
	if len(named) == 0 {
		return err
	}
	return errors.Join(named...)
}

func substituteGrids(answer chem.Substitution) []render.Grid {
	amounts := render.Grid{Title: "Weigh out instead", Columns: []string{"stage", "material", "g"}}
	for _, amount := range answer.Amounts {
		amounts.Rows = append(amounts.Rows, []string{amount.Stage, amount.Material, render.Number(amount.MassGrams)})
	}
	residual := render.Grid{Title: "Elements", Columns: []string{"stage", "element", "mol wanted", "mol got", "% off"}}
	for _, row := range answer.Residual {
		residual.Rows = append(residual.Rows, []string{
			row.Stage, row.Element, render.Number(row.TargetMoles), render.Number(row.GotMoles), percentOff(row.Relative),
		})
	}
	findings := recipeCheck{Findings: each(convert.FindingsToProto(answer.Findings), source{}.finding)}.findingGrid()
	return slices.Concat([]render.Grid{amounts, residual, findings}, notes(answer.Assumptions, answer.Caution))
}

// percentOff writes a relative difference in per cent, rounding as none.
func percentOff(relative float64) string {
	if text := fmt.Sprintf("%.2f", 100*relative); text != "-0.00" {
		return text
	}
	return "0.00"
}

func sortedKeys[V any](of map[string]V) []string { return slices.Sorted(maps.Keys(of)) }
