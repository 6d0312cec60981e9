package main

import (
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"saggar/client/api"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

func (s *shell) materialCommand() *cobra.Command {
	list := &cobra.Command{
		Use: "list", Short: "List the newest version of each material", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				all, err := pages(func(token string) (proto.Message, string, error) {
					page, err := connection.Materials.ListMaterials(c.Context(), &saggarv1.ListMaterialsRequest{Parent: parent, PageToken: token})
					return page, page.GetNextPageToken(), err
				})
				if err != nil {
					return err
				}
				return s.print(all, func() []render.Grid {
					return []render.Grid{materialGrid(all.(*saggarv1.ListMaterialsResponse).GetMaterials()...)}
				})
			})
		},
	}
	show := &cobra.Command{
		Use:     "show ID",
		Example: "  saggar material show kaolin",
		Short:   "Show the newest version of a material, or with ID/versions/N another", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, _ string) error {
				m, err := connection.Materials.GetMaterial(c.Context(), &saggarv1.GetMaterialRequest{
					Name: convert.Name(s.studio, "materials", args[0]),
				})
				if err != nil {
					return err
				}
				return s.print(m, func() []render.Grid { return []render.Grid{materialGrid(m)} })
			})
		},
	}
	add := &cobra.Command{
		Use:     "add FILE",
		Example: "  saggar material add kaolin.yaml",
		Short:   "Store a new version of a material; the newest is returned when nothing differs", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, _ string) error {
				m := &saggarv1.Material{}
				from, err := s.decode(args[0], m, nil)
				if err != nil {
					return badInput(err)
				}
				stored, err := connection.Materials.CreateMaterialVersion(c.Context(), &saggarv1.CreateMaterialVersionRequest{Material: m})
				if err != nil {
					return from.serverFaults("material", err)
				}
				return s.print(stored, func() []render.Grid { return []render.Grid{materialGrid(stored)} })
			})
		},
	}
	return group("material", "Materials: what is weighed out", list, show, add, s.libraryCommand(), s.substituteCommand())
}

func materialGrid(list ...*saggarv1.Material) render.Grid {
	grid := render.Grid{Columns: []string{"material", "version", "title", "moisture", "consists of", "hazards"}}
	for _, m := range list {
		var parts, hazards []string
		for _, p := range m.GetPhases() {
			parts = append(parts, render.Number(100*p.GetMassFraction())+" % "+p.GetFormula())
		}
		for _, o := range m.GetOxides() {
			parts = append(parts, render.Number(100*o.GetMassFraction())+" % "+o.GetFormula())
		}
		for _, p := range m.GetParts() {
			parts = append(parts, render.Number(100*p.GetMassFraction())+" % "+p.GetMaterial())
		}
		if loss := m.GetLossOnIgnitionFraction(); loss > 0 {
			parts = append(parts, render.Number(100*loss)+" % loss on ignition")
		}
		for _, h := range m.GetHazards() {
			hazards = append(hazards, words(h))
		}
		grid.Rows = append(grid.Rows, []string{
			shortName(m.GetName()), count(m.GetVersion()), m.GetTitle(), render.Number(m.GetMoistureFraction()),
			strings.Join(parts, ", "), strings.Join(hazards, ", "),
		})
	}
	return grid
}

func (s *shell) recipeCommand() *cobra.Command {
	list := &cobra.Command{
		Use: "list", Short: "List the newest version of each recipe", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				all, err := pages(func(token string) (proto.Message, string, error) {
					page, err := connection.Recipes.ListRecipes(c.Context(), &saggarv1.ListRecipesRequest{Parent: parent, PageToken: token})
					return page, page.GetNextPageToken(), err
				})
				if err != nil {
					return err
				}
				return s.print(all, func() []render.Grid {
					return []render.Grid{recipeGrid(all.(*saggarv1.ListRecipesResponse).GetRecipes()...)}
				})
			})
		},
	}
	show := &cobra.Command{
		Use:     "show ID",
		Example: "  saggar recipe show bisque",
		Short:   "Show the newest version of a recipe, or with ID/versions/N another", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, _ string) error {
				r, err := connection.Recipes.GetRecipe(c.Context(), &saggarv1.GetRecipeRequest{Name: convert.Name(s.studio, "recipes", args[0])})
				if err != nil {
					return err
				}
				return s.print(r, func() []render.Grid { return []render.Grid{recipeGrid(r), stageGrid(r)} })
			})
		},
	}
	add := &cobra.Command{
		Use:     "add FILE",
		Example: "  saggar recipe add bisque.yaml",
		Short:   "Store a new version of a recipe; the newest is returned when nothing differs", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, _ string) error {
				r := &saggarv1.Recipe{}
				from, err := s.decode(args[0], r, nil)
				if err != nil {
					return badInput(err)
				}
				stored, err := connection.Recipes.CreateRecipeVersion(c.Context(), &saggarv1.CreateRecipeVersionRequest{Recipe: r})
				if err != nil {
					return from.serverFaults("recipe", err)
				}
				return s.print(stored, func() []render.Grid { return []render.Grid{recipeGrid(stored)} })
			})
		},
	}
	return group("recipe", "Recipes: what is put in and done to it", list, show, add, s.recipeCheckCommand(), s.recipeLotCommand())
}

func recipeGrid(list ...*saggarv1.Recipe) render.Grid {
	grid := render.Grid{Columns: []string{"recipe", "version", "title", "stages"}}
	for _, r := range list {
		var stages []string
		for _, stage := range r.GetStages() {
			stages = append(stages, stage.GetId())
		}
		grid.Rows = append(grid.Rows, []string{
			shortName(r.GetName()), count(r.GetVersion()), r.GetTitle(), strings.Join(stages, ", "),
		})
	}
	return grid
}

func stageGrid(r *saggarv1.Recipe) render.Grid {
	grid := render.Grid{Columns: []string{"stage", "kind", "what is put in", "program", "atmosphere", "product"}}
	for _, stage := range r.GetStages() {
		grid.Rows = append(grid.Rows, []string{
			stage.GetId(), words(stage.GetKind()), additionWords(stage), programWords(stage),
			render.Enum(stage.GetAtmosphere()), stage.GetProduct(),
		})
	}
	return grid
}

func additionWords(stage *saggarv1.Stage) string {
	var parts []string
	for _, a := range stage.GetAdditions() {
		amount := render.Number(a.GetMassGrams()) + " g "
		if a.GetFractionOfIntermediate() > 0 {
			amount = render.Number(100*a.GetFractionOfIntermediate()) + " % of it as "
		}
		parts = append(parts, amount+a.GetMaterial())
	}
	if stage.GetWareGrams() > 0 {
		parts = append(parts, render.Number(stage.GetWareGrams()/1000)+" kg ware")
	}
	return strings.Join(parts, ", ")
}

func programWords(stage *saggarv1.Stage) string {
	if stage.GetProgram() == nil {
		return strconv.Itoa(int(stage.GetBenchMinutes())) + " min at the bench"
	}
	var parts []string
	for _, segment := range stage.GetProgram().GetSegments() {
		text := "to " + render.Number(segment.GetToCelsius()) + " C"
		if rate := segment.GetRateCelsiusPerHour(); rate > 0 {
			text += " at " + render.Number(rate) + " C/h"
		}
		if hold := segment.GetHoldMinutes(); hold > 0 {
			text += ", hold " + render.Number(hold) + " min"
		}
		parts = append(parts, text)
	}
	return strings.Join(parts, "; ")
}

// words is the name of a value as a table shows it.
func words(value protoreflect.Enum) string { return strings.ReplaceAll(render.Enum(value), "_", " ") }
