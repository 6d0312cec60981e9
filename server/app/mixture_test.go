package app_test

import (
	"fmt"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/server/app"
	"saggar/server/domain"
)

func mixture(id string, parts ...chem.MixturePart) chem.Material {
	return chem.Material{ID: id, Parts: parts}
}

func TestARunOfAMixtureUsesTheNewestOfItsParts(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	load := func(materials ...chem.Material) {
		_, err := b.LoadStudio(b.ctx, call("LoadStudio"), app.LoadStudioInput{StudioID: "test", Materials: materials})
		require.NoError(t, err)
	}
	// The mixture stands before its part in the list: order does not matter.
	load(mixture("ochre", chem.MixturePart{Material: "goethite", MassFraction: 0.5}, chem.MixturePart{Material: "earth", MassFraction: 0.5}),
		mixture("earth", chem.MixturePart{Material: "goethite", MassFraction: 1}))
	recipe := redRecipe()
	recipe.Stages[0].Additions[0].Material = "ochre"
	check := func() float64 {
		a, err := b.CheckRecipe(b.ctx, app.CheckRecipeInput{StudioID: "test", Recipe: recipe})
		require.NoError(t, err)
		return a.Charge.Balance.IdealProductGrams
	}
	dry := check()
	assert.InDelta(t, 359.4, dry, 0.3, "400 g of goethite times 159.69 / 177.71 (atomic weights of IUPAC 2021)")
	load(chem.Material{ID: "goethite", Phases: []chem.Phase{{Formula: "FeO(OH)", MassFraction: 1}}, MoistureFraction: 0.1})
	assert.InEpsilon(t, 0.9*dry, check(), 1e-9, "the parts' newest version counts")

	_, err := b.CreateRecipeVersion(b.ctx, call("CreateRecipeVersion"), "test", recipe)
	require.NoError(t, err)
	booked, err := b.book(b.plan(t, request("red", 1), monday), uuid.NewString())
	require.NoError(t, err)
	run, err := b.GetRun(b.ctx, "test", booked.Runs[0].ID)
	require.NoError(t, err)
	assert.Equal(t, map[string]int{"ochre": 1, "earth": 1, "goethite": 2}, run.Inputs.Materials, "the versions that it was checked with")
}

func TestMixturesThatCannotStandAreNotStored(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	part := func(id string) chem.MixturePart { return chem.MixturePart{Material: id, MassFraction: 1} }
	create := func(m chem.Material) error {
		_, err := b.CreateMaterialVersion(b.ctx, call("CreateMaterialVersion"), "test", m)
		return err
	}
	fields := func(err error) (list []string) {
		for _, fault := range finding.FaultsOf(err) {
			list = append(list, fault.Field)
		}
		return list
	}
	assert.Equal(t, []string{"materials[a].parts[0].material"}, fields(create(mixture("a", part("gold")))))
	_, err := b.GetMaterial(b.ctx, "test", "a", 0)
	assert.ErrorIs(t, err, domain.ErrNotFound)
	require.NoError(t, create(mixture("a", part("kaolin"))))
	require.NoError(t, create(mixture("b", part("a"))))
	err = create(mixture("a", part("b")))
	assert.ErrorContains(t, err, "is mixed of", "a new version may not close a ring")
	for i, before := 1, "b"; i < chem.MaxMixtureDepth-1; i++ {
		id := fmt.Sprintf("c%d", i)
		require.NoError(t, create(mixture(id, part(before))))
		before = id
	}
	assert.ErrorContains(t, create(mixture("too-deep", part("c2"))), "more than 4 deep")
	_, err = b.LoadStudio(b.ctx, call("LoadStudio"), app.LoadStudioInput{StudioID: "test", Materials: []chem.Material{
		mixture("one", part("other")), mixture("other", part("one")),
	}})
	assert.NotEmpty(t, fields(err))
}

func TestARecipeIsCheckedFromALot(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	whole, err := b.CheckRecipe(b.ctx, app.CheckRecipeInput{StudioID: "test", Recipe: blueRecipe()})
	require.NoError(t, err)
	lot, err := whole.Charge.Balance.Intermediate("reduce", "green-1", "2027-02-01")
	require.NoError(t, err)
	a, err := b.CheckRecipe(b.ctx, app.CheckRecipeInput{StudioID: "test", Recipe: blueRecipe(), Start: &chem.Start{Stage: "oxidise", Lot: lot}})
	require.NoError(t, err)
	require.Len(t, a.Stages, 1)
	assert.InEpsilon(t, 0.1*lot.MassGrams, a.Charge.Balance.WeighOut()[1].MassGrams, 1e-9)

	delivery := chem.Lot{ID: "bag", Material: "ball", MassGrams: 100, MadeOn: "2027-02-01"}
	_, err = b.CheckRecipe(b.ctx, app.CheckRecipeInput{StudioID: "test", Recipe: redRecipe(), Start: &chem.Start{Lot: delivery}})
	assert.ErrorContains(t, err, "from_lot.material")
	require.NoError(t, func() error {
		_, err := b.CreateMaterialVersion(b.ctx, call("CreateMaterialVersion"), "test",
			mixture("ball", chem.MixturePart{Material: "kaolin", MassFraction: 1}))
		return err
	}())
	_, err = b.CheckRecipe(b.ctx, app.CheckRecipeInput{StudioID: "test", Recipe: redRecipe(), Start: &chem.Start{Lot: delivery}})
	require.NoError(t, err, "a delivery of a mixture")
	recipe := redRecipe()
	recipe.Stages[0].Furnaces = []string{"nowhere"}
	_, err = b.CheckRecipe(b.ctx, app.CheckRecipeInput{StudioID: "test", Recipe: recipe, Start: &chem.Start{Lot: delivery}})
	assert.ErrorContains(t, err, "stages[0].furnaces[0]")
}
