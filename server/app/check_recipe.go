package app

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"saggar/chem"
	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/domain"
	"saggar/server/store"
)

// CheckRecipe works out charge, balance, off-gas, times and air of a recipe on the studio's equipment, with nobody else
// there; from a lot when start is not nil. Stores nothing. Errors: finding.Faults, those of the start under start_stage and
// from_lot; domain.ErrNotFound for the studio.
func (a *App) CheckRecipe(ctx context.Context, in CheckRecipeInput) (assess.Assessment, error) {
	ids := materialIDs(in.Recipe)
	if in.Start != nil && in.Start.Lot.Material != "" {
		ids = append(ids, in.Start.Lot.Material)
	}
	var site *domain.Site
	var materials chem.Materials
	err := a.read(ctx, in.StudioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		if site, err = readSite(ctx, tx, studio); err != nil {
			return err
		}
		materials, err = withParts(ctx, tx, studio.Key, ids)
		return err
	})
	if err != nil {
		return assess.Assessment{}, err
	}
	assessor := assessSite(site, a.now())
	if in.Start != nil {
		if err := unknownFurnaces(site, in.Recipe).Err(); err != nil {
			return assess.Assessment{}, err
		}
		return assessor.RecipeFrom(in.Recipe, materials, in.Scale, *in.Start)
	}
	if err := checkRecipeOn(site, in.Recipe, materials).Err(); err != nil {
		return assess.Assessment{}, err
	}
	return assessor.Recipe(in.Recipe, materials, in.Scale)
}

// checkStoredRecipe returns what is wrong with a recipe that is to be stored, as faults.
func (a *App) checkStoredRecipe(ctx context.Context, tx *store.Tx, studioKey int64, recipe chem.Recipe) error {
	materials, err := withParts(ctx, tx, studioKey, materialIDs(recipe))
	if err != nil {
		return err
	}
	equipment, err := tx.Equipment(ctx, studioKey)
	if err != nil {
		return err
	}
	site, err := domain.NewSite(domain.Studio{TimeZone: "UTC"}, equipment)
	if err != nil {
		return err
	}
	faults := checkRecipeOn(site, recipe, materials)
	if len(faults) == 0 {
		faults = stagesWithoutFurnace(site, recipe)
	}
	return faults.Err()
}

// stagesWithoutFurnace finds heat treatments that no furnace that may do them gets hot enough for in their atmosphere.
func stagesWithoutFurnace(site *domain.Site, recipe chem.Recipe) finding.Faults {
	var faults finding.Faults
	candidates := assess.Site{Furnaces: slices.Collect(maps.Values(site.Furnaces))}
	for i, stage := range recipe.Stages {
		if stage.Program == nil {
			continue
		}
		able := slices.ContainsFunc(candidates.Candidates(stage), func(id string) bool { return canDo(site.Furnaces[id], stage) })
		if !able {
			faults.Add(fmt.Sprintf("stages[%d].furnaces", i),
				fmt.Sprintf("no furnace that may do stage %s reaches %.0f C in a %s atmosphere", stage.ID, peakCelsius(stage), stage.Atmosphere),
				"name one that does, or lower the temperature")
		}
	}
	return faults
}

func canDo(f heat.Furnace, stage chem.Stage) bool {
	return f.Source != heat.Bench && f.TopCelsius >= peakCelsius(stage) &&
		(slices.Contains(f.Atmospheres, stage.Atmosphere) || len(f.Atmospheres) == 0 && stage.Atmosphere == heat.Oxidising)
}

func peakCelsius(stage chem.Stage) float64 {
	peak := 0.0
	for _, segment := range stage.Program.Segments {
		peak = max(peak, segment.ToCelsius)
	}
	return peak
}

// checkRecipeOn returns the faults of a recipe by itself and of what it names in the studio.
func checkRecipeOn(site *domain.Site, recipe chem.Recipe, materials chem.Materials) finding.Faults {
	return append(recipe.Validate(materials), unknownFurnaces(site, recipe)...)
}

// unknownFurnaces returns the faults of what a recipe's stages name in the studio.
func unknownFurnaces(site *domain.Site, recipe chem.Recipe) finding.Faults {
	var faults finding.Faults
	for i, stage := range recipe.Stages {
		for k, id := range stage.Furnaces {
			if _, ok := site.Furnaces[id]; !ok {
				faults.Add(fmt.Sprintf("stages[%d].furnaces[%d]", i, k), fmt.Sprintf("there is no furnace %q in the studio", id),
					"name one that stands, or none for every one that can")
			}
		}
		if len(stage.Furnaces) == 0 && stage.Program != nil && len(site.Furnaces) == 0 {
			faults.Add(fmt.Sprintf("stages[%d].furnaces", i), "the studio has no furnace", "add one first")
		}
	}
	return faults
}
