package rpc

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

func TestARecipeIsCheckedFromALot(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	client := saggarv1.NewRecipeServiceClient(s.connection)
	request := func() *saggarv1.CheckRecipeRequest {
		recipe := redRecipe()
		return &saggarv1.CheckRecipeRequest{
			Parent: north, Recipe: recipe, StartStage: recipe.GetStages()[1].GetId(), FromLot: &saggarv1.Lot{
				Id: "ochre-2", MassGrams: 80, MadeOn: "2026-02-20", Phases: []*saggarv1.Phase{{Formula: "FeO(OH)", MassFraction: 1}},
			},
		}
	}
	answer, err := client.CheckRecipe(s.as(t, domain.RoleViewer), request())
	require.NoError(t, err)
	require.Len(t, answer.GetStages(), 1, "the stages before are left out")
	assert.Equal(t, "lots/ochre-2", answer.GetWeighOut()[0].GetMaterial())
	assert.InDelta(t, 80, answer.GetWeighOut()[0].GetMassGrams(), 1e-9)
	for field, spoil := range map[string]func(*saggarv1.CheckRecipeRequest){
		"from_lot":                   func(r *saggarv1.CheckRecipeRequest) { r.FromLot = nil },
		"start_stage":                func(r *saggarv1.CheckRecipeRequest) { r.StartStage = "polish" },
		"from_lot.mass_grams":        func(r *saggarv1.CheckRecipeRequest) { r.FromLot.MassGrams = 0 },
		"from_lot.made_on":           func(r *saggarv1.CheckRecipeRequest) { r.FromLot.MadeOn = "2099-01-01" },
		"from_lot.phases[0].formula": func(r *saggarv1.CheckRecipeRequest) { r.FromLot.Phases[0].Formula = "Xx" },
		"from_lot.material":          func(r *saggarv1.CheckRecipeRequest) { r.FromLot.Material = "gold" },
		"from_lot.moisture_fraction": func(r *saggarv1.CheckRecipeRequest) { r.FromLot.MoistureFraction = proto.Float64(1) },
	} {
		wrong := request()
		spoil(wrong)
		_, err := client.CheckRecipe(s.as(t, domain.RoleViewer), wrong)
		assert.Equal(t, codes.InvalidArgument, status.Code(err), field)
		assert.Equal(t, []string{field}, fieldsOf(err))
	}
}

func TestAMixtureGoesThroughTheServer(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	client := saggarv1.NewMaterialServiceClient(s.connection)
	mixed := &saggarv1.Material{Name: north + "/materials/blend", Parts: []*saggarv1.MixturePart{{Material: "goethite", MassFraction: 1}}}
	stored, err := client.CreateMaterialVersion(s.steward(t), &saggarv1.CreateMaterialVersionRequest{Material: mixed})
	require.NoError(t, err)
	assert.True(t, proto.Equal(mixed.GetParts()[0], stored.GetParts()[0]))
	mixed.Parts[0].Material = "gold"
	_, err = client.CreateMaterialVersion(s.steward(t), &saggarv1.CreateMaterialVersionRequest{Material: mixed})
	assert.Equal(t, []string{"material.parts[0].material"}, fieldsOf(err))
}
