package store

import (
	"context"
	"time"

	"saggar/chem"
	"saggar/server/store/queries"
)

// Recipe returns a version of a recipe, 0 for the newest, or domain.ErrNotFound.
func (t *Tx) Recipe(ctx context.Context, studioKey int64, id string, version int) (chem.Recipe, error) {
	var body []byte
	var err error
	if version == 0 {
		body, err = t.q.NewestRecipe(ctx, queries.NewestRecipeParams{StudioKey: studioKey, RecipeID: id})
	} else {
		body, err = t.q.GetRecipe(ctx, queries.GetRecipeParams{
			StudioKey: studioKey, RecipeID: id, Version: int32(version),
		})
	}
	if err != nil {
		return chem.Recipe{}, named(err, "recipes", versionOf(id, version))
	}
	return toRecipe(body)
}

// ListRecipes returns the newest version of each recipe with an id after the given one, by id, at most limit; 0: all.
func (t *Tx) ListRecipes(ctx context.Context, studioKey int64, after string, limit int) ([]chem.Recipe, error) {
	bodies, err := t.q.ListRecipes(ctx, queries.ListRecipesParams{
		StudioKey: studioKey, AfterID: after, MaxRows: int64(limit),
	})
	if err != nil {
		return nil, err
	}
	return decodeAll(bodies, toRecipe)
}

// InsertRecipe stores a new version of a recipe. Errors: domain.ErrAlreadyExists when the version stands,
// domain.ErrNotFound when there is no such studio.
func (t *Tx) InsertRecipe(ctx context.Context, studioKey int64, r chem.Recipe, now time.Time) error {
	body, err := encode("recipe "+r.ID, r)
	if err != nil {
		return err
	}
	return taken(t.q.InsertRecipe(ctx, queries.InsertRecipeParams{
		StudioKey: studioKey, RecipeID: r.ID, Version: int32(r.Version), Body: body, CreateTime: now,
	}), "recipes", r.ID)
}

func toRecipe(body []byte) (chem.Recipe, error) { return decode[chem.Recipe]("recipe", body) }
