package app

import (
	"context"

	"saggar/chem"
	"saggar/server/domain"
	"saggar/server/store"
)

// GetMaterial returns a version of a material; 0 means the newest. Errors: domain.ErrNotFound.
func (a *App) GetMaterial(ctx context.Context, studioID, id string, version int) (chem.Material, error) {
	var material chem.Material
	err := a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		material, err = tx.Material(ctx, studio.Key, id, version)
		return err
	})
	return material, err
}

// ListMaterials lists the newest version of each material by id.
func (a *App) ListMaterials(ctx context.Context, studioID string, page Page) ([]chem.Material, error) {
	var list []chem.Material
	err := a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		list, err = tx.ListMaterials(ctx, studio.Key, page.After, page.Limit)
		return err
	})
	return list, err
}

// CreateMaterialVersion stores a new version, or returns the newest when nothing differs. Errors: finding.Faults, for a
// mixture also of a part that does not stand, or that holds it.
func (a *App) CreateMaterialVersion(ctx context.Context, call Call, studioID string, m chem.Material) (chem.Material, error) {
	if err := m.Validate().Err(); err != nil {
		return chem.Material{}, err
	}
	var stored chem.Material
	err := a.changeCatalog(ctx, call, studioID, m.ID, func(ctx context.Context, load *studioLoad) (err error) {
		if err := load.material(ctx, m); err != nil {
			return err
		}
		if m.IsMixture() {
			if err := load.mixturesStand(ctx); err != nil {
				return err
			}
		}
		stored, err = load.tx.Material(ctx, load.studio.Key, m.ID, 0)
		return err
	})
	return stored, err
}

// GetRecipe returns a version of a recipe; 0 means the newest. Errors: domain.ErrNotFound.
func (a *App) GetRecipe(ctx context.Context, studioID, id string, version int) (chem.Recipe, error) {
	var recipe chem.Recipe
	err := a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		recipe, err = tx.Recipe(ctx, studio.Key, id, version)
		return err
	})
	return recipe, err
}

// ListRecipes lists the newest version of each recipe by id.
func (a *App) ListRecipes(ctx context.Context, studioID string, page Page) ([]chem.Recipe, error) {
	var list []chem.Recipe
	err := a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		list, err = tx.ListRecipes(ctx, studio.Key, page.After, page.Limit)
		return err
	})
	return list, err
}

// CreateRecipeVersion stores a new version, or returns the newest when nothing differs. Errors: finding.Faults, also for
// a material or furnace that does not stand.
func (a *App) CreateRecipeVersion(ctx context.Context, call Call, studioID string, r chem.Recipe) (chem.Recipe, error) {
	var stored chem.Recipe
	err := a.changeCatalog(ctx, call, studioID, r.ID, func(ctx context.Context, load *studioLoad) (err error) {
		if err := a.checkStoredRecipe(ctx, load.tx, load.studio.Key, r); err != nil {
			return err
		}
		if err := load.recipe(ctx, r); err != nil {
			return err
		}
		stored, err = load.tx.Recipe(ctx, load.studio.Key, r.ID, 0)
		return err
	})
	return stored, err
}

// changeCatalog stores one version under the studio's lock.
func (a *App) changeCatalog(ctx context.Context, call Call, studioID, id string,
	keep func(ctx context.Context, load *studioLoad) error,
) error {
	do := func(ctx context.Context, tx *store.Tx, studio domain.Studio) ([]string, error) {
		load := &studioLoad{app: a, call: call, tx: tx, studio: studio}
		if err := keep(ctx, load); err != nil {
			return nil, err
		}
		return []string{id}, tx.UpdateStudio(ctx, load.studio)
	}
	again := func(context.Context, *store.Tx, domain.Studio, []string) error { return nil }
	return a.change(ctx, scope{call: call, studioID: studioID}, do, again)
}
