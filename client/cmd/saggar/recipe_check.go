package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"saggar/chem/finding"
	"saggar/client/api"
	"saggar/client/file"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

// recipeQuestion is what recipe check is asked.
type recipeQuestion struct {
	file          string
	recipe        string // which one of a file with several
	offline       bool
	studioFiles   []string
	materialFiles []string
	onDate        string
	startStage    string
	lotFile       string
	scale         scaleFlags
	chart         chartFlags
}

func (s *shell) recipeCheckCommand() *cobra.Command {
	q := recipeQuestion{scale: newScaleFlags()}
	command := &cobra.Command{
		Use:     "check FILE",
		Example: "  saggar recipe check recipe.yaml",
		Short:   "Check a recipe on a studio's equipment: findings, weights, balance, off-gas, times, air",
		Long: "Check a recipe on a studio's equipment: findings, what to weigh out, every element's balance, off-gas, times and\n" +
			"the room's air. Nothing is stored or booked, and nobody else is taken to be there.\n\n" +
			"FILE holds one recipe, or a list under recipes: of which --recipe names one; - reads standard input. The\n" +
			"studio's materials and equipment come from the server, or with --offline from files.\n" +
			"With --lot-file it starts from an intermediate at --start-stage: a YAML file with the lot's id, mass_grams as weighed\n" +
			"today, made_on, and its phases, oxides or material. The stages before are left out.\n" +
			"Exit code 3 when a finding blocks.",
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			q.file = args[0]
			if err := cmp.Or(q.fits(), q.chart.fits(s.format)); err != nil {
				return badInput(err)
			}
			return s.checkRecipe(c.Context(), q)
		},
	}
	flags := command.Flags()
	flags.StringVar(&q.recipe, "recipe", "", "id of the recipe, when FILE holds several")
	flags.BoolVar(&q.offline, "offline", false, "reckon here, without a server")
	flags.StringArrayVar(&q.studioFiles, "studio-file", nil, "with --offline: YAML file of the studio; may be repeated")
	flags.StringArrayVar(&q.materialFiles, "material-file", nil, "with --offline: YAML file of materials; may be repeated")
	flags.StringVar(&q.onDate, "on-date", "", "with --offline: day on which tests must be fresh, YYYY-MM-DD (default today)")
	flags.StringVar(&q.startStage, "start-stage", "", "id of the stage at which it starts from the lot (default the first)")
	flags.StringVar(&q.lotFile, "lot-file", "", "YAML file of the lot that it starts from; the scale is then the whole lot unless given")
	q.scale.flags(command)
	q.chart.flags(flags)
	return command
}

// fits refuses flags that contradict each other.
func (q recipeQuestion) fits() error {
	switch {
	case q.offline && len(q.studioFiles) == 0:
		return errors.New("--offline: no equipment to check on: name the studio's file with --studio-file")
	case !q.offline && (len(q.studioFiles) > 0 || len(q.materialFiles) > 0 || q.onDate != ""):
		return errors.New("--studio-file, --material-file and --on-date: only with --offline; the server has its own")
	case q.startStage != "" && q.lotFile == "":
		return errors.New("--start-stage: name the lot that it starts from with --lot-file")
	case q.lotFile == "-":
		return errors.New("--lot-file: give a file; standard input is for the recipe")
	case slices.Contains(q.studioFiles, "-") || slices.Contains(q.materialFiles, "-"):
		return errors.New("--studio-file and --material-file: give files; standard input is for the recipe")
	}
	return nil
}

// checkRecipe answers from the server or from files; both give the same message.
func (s *shell) checkRecipe(ctx context.Context, q recipeQuestion) error {
	check := s.checkOnServer
	if q.offline {
		check = s.checkOffline
	}
	response, from, err := check(ctx, q)
	if err != nil {
		return err
	}
	answer := newRecipeCheck(response, from)
	if err := s.print(answer, func() []render.Grid { return answer.grids(s.format) }); err != nil {
		return err
	}
	if err := s.draw(q.chart, answer.charts); err != nil {
		return err
	}
	if slices.ContainsFunc(answer.Findings, func(f recipeFinding) bool { return f.Severity == finding.Block }) {
		return errRefused
	}
	return nil
}

func (s *shell) checkOnServer(ctx context.Context, q recipeQuestion) (*saggarv1.CheckRecipeResponse, source, error) {
	var response *saggarv1.CheckRecipeResponse
	var from source
	err := s.inStudio(ctx, func(connection *api.Connection, parent string) (err error) {
		var request *saggarv1.CheckRecipeRequest
		if request, from, err = s.readRequest(q, s.studio); err != nil {
			return badInput(err)
		}
		request.Parent = parent
		response, err = connection.Recipes.CheckRecipe(ctx, request)
		return from.serverFaults("recipe", err)
	})
	return response, from, err
}

// readRequest reads what is asked from the files of the recipe and of the lot.
func (s *shell) readRequest(q recipeQuestion, studio string) (*saggarv1.CheckRecipeRequest, source, error) {
	recipe, from, err := s.readRecipe(q, studio)
	if err != nil || q.lotFile == "" {
		return &saggarv1.CheckRecipeRequest{Recipe: recipe, Scale: q.scale.message()}, from, err
	}
	request := &saggarv1.CheckRecipeRequest{
		Recipe: recipe, Scale: q.scale.message(), StartStage: q.startStage, FromLot: &saggarv1.Lot{},
	}
	lines, err := file.Read(q.lotFile, request.GetFromLot(), file.Options{Studio: studio})
	from.lot = &source{name: q.lotFile, lines: lines}
	return request, from, err
}

// readRecipe reads the recipe asked about from a file with one or with several.
func (s *shell) readRecipe(q recipeQuestion, studio string) (*saggarv1.Recipe, source, error) {
	name, data, err := s.read(q.file)
	if err != nil {
		return nil, source{}, err
	}
	options := file.Options{Studio: studio}
	if !hasKey(data, "recipes") {
		recipe := &saggarv1.Recipe{}
		lines, err := file.Decode(name, data, recipe, options)
		if err == nil && q.recipe != "" && convert.ID(recipe.GetName()) != q.recipe {
			err = fmt.Errorf("--recipe %s: %s holds only the recipe %s", q.recipe, name, convert.ID(recipe.GetName()))
		}
		return recipe, source{name: name, lines: lines}, err
	}
	contents := &saggarv1.StudioFile{}
	lines, err := file.Decode(name, data, contents, options)
	if err != nil {
		return nil, source{}, err
	}
	index, err := chooseRecipe(contents.GetRecipes(), q.recipe)
	if err != nil {
		return nil, source{}, fmt.Errorf("%s: %w", name, err)
	}
	return contents.GetRecipes()[index], source{name: name, lines: lines, path: fmt.Sprintf("recipes[%d].", index)}, nil
}

// chooseRecipe finds a recipe by id, or the only one when none is named.
func chooseRecipe(recipes []*saggarv1.Recipe, id string) (int, error) {
	if id == "" && len(recipes) == 1 {
		return 0, nil
	}
	var ids []string
	for i, recipe := range recipes {
		if convert.ID(recipe.GetName()) == id {
			return i, nil
		}
		ids = append(ids, convert.ID(recipe.GetName()))
	}
	return 0, fmt.Errorf("--recipe %q: name one of: %s", id, strings.Join(ids, ", "))
}
