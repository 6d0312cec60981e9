package rpc

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	saggarv1 "saggar/proto/saggar/v1"
)

func ownLimit(kind saggarv1.LimitKind, averagingMinutes, ppm float64) *saggarv1.OwnLimit {
	return &saggarv1.OwnLimit{
		Species: "SO2", Title: "house rule", Kind: kind, AveragingMinutes: averagingMinutes, LimitPpm: ppm, Source: "house rules of 2026",
	}
}

func TestAStudioKeepsTheLimitsThatItSetsForItself(t *testing.T) {
	t.Parallel()
	s := serve(t)
	contents := smallStudio()
	contents.Studio.OwnLimits = []*saggarv1.OwnLimit{
		ownLimit(saggarv1.LimitKind_LIMIT_KIND_TWA, 480, 0.25), ownLimit(saggarv1.LimitKind_LIMIT_KIND_C, 0, 3),
	}
	loaded := s.load(t, contents)
	require.Len(t, loaded.GetStudio().GetOwnLimits(), 2)
	studios := saggarv1.NewStudioServiceClient(s.connection)
	got, err := studios.GetStudio(s.steward(t), &saggarv1.GetStudioRequest{Name: north})
	require.NoError(t, err)
	assert.True(t, proto.Equal(contents.Studio.OwnLimits[1], got.GetOwnLimits()[1]))
	assert.Zero(t, s.load(t, contents).GetUpdatedCount(), "the same again changes nothing")

	got.OwnLimits = nil
	got, err = studios.UpdateStudio(s.steward(t), &saggarv1.UpdateStudioRequest{
		Studio: got, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"own_limits"}},
	})
	require.NoError(t, err)
	assert.Empty(t, got.GetOwnLimits())
}

func TestOwnLimitsThatCannotStandNameTheirField(t *testing.T) {
	t.Parallel()
	s := serve(t)
	for name, c := range map[string]struct {
		spoil func(*saggarv1.OwnLimit)
		field string
		says  string
	}{
		"looser than OSHA":  {func(o *saggarv1.OwnLimit) { o.LimitPpm = 5.5 }, "limit_ppm", "looser than OSHA's 5 ppm"},
		"at OSHA's value":   {func(o *saggarv1.OwnLimit) { o.LimitPpm = 5 }, "", ""},
		"no name":           {func(o *saggarv1.OwnLimit) { o.Title = "" }, "title", ""},
		"no source":         {func(o *saggarv1.OwnLimit) { o.Source = "" }, "source", ""},
		"no kind":           {func(o *saggarv1.OwnLimit) { o.Kind = 0 }, "kind", ""},
		"no value":          {func(o *saggarv1.OwnLimit) { o.LimitPpm = 0 }, "limit_ppm", ""},
		"no formula":        {func(o *saggarv1.OwnLimit) { o.Species = "Xx" }, "species", ""},
		"no averaging time": {func(o *saggarv1.OwnLimit) { o.AveragingMinutes = 0 }, "averaging_minutes", ""},
	} {
		t.Run(name, func(t *testing.T) {
			contents := smallStudio()
			own := ownLimit(saggarv1.LimitKind_LIMIT_KIND_TWA, 480, 0.25)
			c.spoil(own)
			contents.Studio.OwnLimits = []*saggarv1.OwnLimit{own}
			_, err := saggarv1.NewStudioServiceClient(s.connection).LoadStudio(s.steward(t),
				&saggarv1.LoadStudioRequest{Name: north, Contents: contents})
			if c.field == "" {
				require.NoError(t, err)
				return
			}
			require.Equal(t, codes.InvalidArgument, status.Code(err), "%v", err)
			assert.Equal(t, []string{"contents.studio.own_limits[0]." + c.field}, fieldsOf(err))
			_, fields, _ := detailsOf(status.Convert(err))
			assert.Contains(t, fmt.Sprint(fields), c.says)
		})
	}
}

func TestARecipeIsHeldToTheStudiosOwnLimits(t *testing.T) {
	t.Parallel()
	s := serve(t)
	contents := pigmentStudio()
	s.load(t, contents)
	named := func() bool {
		answer, err := saggarv1.NewRecipeServiceClient(s.connection).CheckRecipe(s.steward(t), &saggarv1.CheckRecipeRequest{
			Parent: north, Scale: &saggarv1.Scale{Factor: 1},
			Recipe: &saggarv1.Recipe{Name: north + "/recipes/burn", Stages: []*saggarv1.Stage{{
				Id: "oxidise", Kind: saggarv1.StageKind_STAGE_KIND_OXIDISE, Atmosphere: saggarv1.Atmosphere_ATMOSPHERE_OXIDISING,
				Additions: []*saggarv1.Addition{{Material: "sulfur", MassGrams: 5}},
				Program:   &saggarv1.HeatProgram{Segments: []*saggarv1.Segment{{ToCelsius: 600, RateCelsiusPerHour: 200}}},
			}}},
		})
		require.NoError(t, err)
		return slices.ContainsFunc(answer.GetFindings(), func(f *saggarv1.Finding) bool {
			return f.GetSeverity() == saggarv1.Severity_SEVERITY_BLOCK && f.GetCode() == "AIR_CEILING" &&
				strings.Contains(f.GetMessage(), "the limit house rule C is")
		})
	}
	require.False(t, named())
	contents.Studio.OwnLimits = []*saggarv1.OwnLimit{ownLimit(saggarv1.LimitKind_LIMIT_KIND_C, 0, 1e-4)}
	s.load(t, contents)
	assert.True(t, named())
}
