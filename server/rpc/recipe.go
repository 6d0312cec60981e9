package rpc

import (
	"context"
	"strings"

	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
)

type recipeService struct {
	saggarv1.UnimplementedRecipeServiceServer
	app *app.App
}

// GetRecipe returns a version of a recipe.
func (s *recipeService) GetRecipe(ctx context.Context, req *saggarv1.GetRecipeRequest) (*saggarv1.Recipe, error) {
	name, err := parseName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	recipe, err := s.app.GetRecipe(ctx, name.studio, name.id, name.version)
	if err != nil {
		return nil, err
	}
	return convert.RecipeToProto(name.studio, recipe), nil
}

// ListRecipes lists the newest version of each recipe by name.
func (s *recipeService) ListRecipes(ctx context.Context, req *saggarv1.ListRecipesRequest) (*saggarv1.ListRecipesResponse, error) {
	after, err := pagePosition(ctx, req)
	if err != nil {
		return nil, err
	}
	found, err := s.app.ListRecipes(ctx, studioOf(req.GetParent()), app.Page{After: after, Limit: pageSize(req) + 1})
	if err != nil {
		return nil, err
	}
	page, next := cutVersions(ctx, req, found, convert.RecipeToProto)
	return &saggarv1.ListRecipesResponse{Recipes: page, NextPageToken: next}, nil
}

// CreateRecipeVersion stores a new version.
func (s *recipeService) CreateRecipeVersion(ctx context.Context, req *saggarv1.CreateRecipeVersionRequest) (*saggarv1.Recipe, error) {
	const field = "recipe"
	name, err := parseName(field+".name", req.GetRecipe().GetName())
	if err != nil {
		return nil, err
	}
	stored, err := s.app.CreateRecipeVersion(ctx, callOf(ctx, req), name.studio, convert.RecipeFromProto(req.GetRecipe()))
	if err != nil {
		return nil, underField(field, name.id, err)
	}
	return convert.RecipeToProto(name.studio, stored), nil
}

// CheckRecipe works out what a recipe does, and stores nothing.
func (s *recipeService) CheckRecipe(ctx context.Context, req *saggarv1.CheckRecipeRequest) (*saggarv1.CheckRecipeResponse, error) {
	studio := studioOf(req.GetParent())
	_, faults := within(studio, "recipe.name", req.GetRecipe().GetName())
	if err := faults.Err(); err != nil {
		return nil, err
	}
	if req.GetStartStage() != "" && req.GetFromLot() == nil {
		faults.Add("from_lot", "a start stage is given without the lot that it starts from", "give the lot, or leave start_stage out")
		return nil, faults
	}
	assessment, err := s.app.CheckRecipe(ctx, app.CheckRecipeInput{
		StudioID: studio, Recipe: convert.RecipeFromProto(req.GetRecipe()), Scale: convert.ScaleFromProto(req.GetScale()),
		Start: convert.StartFromProto(req),
	})
	if err != nil {
		return nil, underRecipeOrRest(err)
	}
	return convert.AssessmentToProto(assessment), nil
}

// underRecipeOrRest places the paths of an assessment, which looks at the scale and the start too.
func underRecipeOrRest(err error) error {
	return mapFields(err, func(path string) string {
		for _, field := range []string{"scale", "start_stage", "from_lot"} {
			if path == field || strings.HasPrefix(path, field+".") {
				return path
			}
		}
		return under("recipe", path)
	})
}
