package main

import (
	"context"
	"encoding/json"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"saggar/chem"
	"saggar/client/api"
	"saggar/client/file"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

const demo = "../../../deploy/demo/"

// offlineDemo checks a demo recipe without a server.
func offlineDemo(t *testing.T, recipe []string, flags ...string) (recipeCheck, ran) {
	t.Helper()
	args := append([]string{"recipe", "check"}, recipe...)
	args = append(args, "--offline", "--studio-file", demo+"studio.yaml", "--material-file", demo+"materials.yaml",
		"--on-date", "2027-02-27")
	r := at(t, "", append(append(args, flags...), "--output", "json")...)
	require.Contains(t, []int{api.ExitOK, api.ExitRefused}, r.code, r.errOut)
	return readCheck(t, r.out), r
}

func readCheck(t *testing.T, text string) recipeCheck {
	t.Helper()
	var answer recipeCheck
	require.NoError(t, json.Unmarshal([]byte(text), &answer))
	return answer
}

// demoRecipes are the command line's words for every recipe of the demo.
func demoRecipes(t *testing.T) map[string][]string {
	t.Helper()
	recipes := map[string][]string{"sodalite-blue": {demo + "sodalite-blue.yaml"}}
	contents := &saggarv1.StudioFile{}
	_, err := file.Read(demo+"recipes.yaml", contents, file.Options{})
	require.NoError(t, err)
	for _, recipe := range contents.GetRecipes() {
		id := convert.ID(recipe.GetName())
		recipes[id] = []string{demo + "recipes.yaml", "--recipe", id}
	}
	return recipes
}

func TestEveryDemoRecipeIsCheckedOffline(t *testing.T) {
	for id, recipe := range demoRecipes(t) {
		answer, _ := offlineDemo(t, recipe)
		assert.Equal(t, chem.Caution, answer.Caution, id)
		assert.NotEmpty(t, answer.Assumptions, id)
		assert.NotEmpty(t, answer.Stages, id)
		for _, b := range answer.Balance {
			assert.InDelta(t, b.InMoles, b.ProductMoles+b.OffGasMoles+b.LeftOverMoles, 1e-9*max(b.InMoles, 1), "%s %+v", id, b)
		}
		type row struct{ stage, when, species string }
		seen := map[row]bool{}
		for _, gas := range answer.OffGas {
			at := row{gas.Stage, string(gas.Case), gas.Species}
			assert.False(t, seen[at], "%s has two rows for %v", id, at)
			seen[at] = true
		}
		for _, f := range answer.Findings {
			if strings.HasPrefix(f.Field, "stages") {
				assert.Positive(t, f.Line, "%s: %s at %s", id, f.Code, f.Field)
			}
		}
	}
}

func TestTheScaleMultipliesWhatIsWeighedOut(t *testing.T) {
	recipe := demoRecipes(t)["sodalite-blue"]
	own, _ := offlineDemo(t, recipe)
	doubled, _ := offlineDemo(t, recipe, "--factor", "2")
	wanted, _ := offlineDemo(t, recipe, "--product-grams", plain(2*own.IdealProductGrams))
	for i, w := range own.WeighOut {
		assert.InEpsilon(t, 2*w.MassGrams, doubled.WeighOut[i].MassGrams, 1e-9)
		assert.InEpsilon(t, 2*w.MassGrams, wanted.WeighOut[i].MassGrams, 1e-9)
	}
	filled, _ := offlineDemo(t, recipe, "--crucibles", "2", "--crucible-milliliters", "300")
	assert.InEpsilon(t, own.WeighOut[0].MassGrams/own.WeighOut[1].MassGrams,
		filled.WeighOut[0].MassGrams/filled.WeighOut[1].MassGrams, 1e-9)
}

// A finding of a recipe inside a list stands on the list's line, not on that of a lone recipe.
func TestLinesAreThoseOfTheFileThatWasRead(t *testing.T) {
	alone, err := os.ReadFile("testdata/oxidise.yaml")
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "list.yaml")
	body := "  - " + strings.ReplaceAll(strings.TrimSpace(string(alone)), "\n", "\n    ")
	require.NoError(t, os.WriteFile(path, []byte("recipes:\n  - name: other\n    stages: []\n"+body+"\n"), 0o600))
	args := []string{
		"--offline", "--studio-file", "testdata/studio.yaml", "--material-file", "testdata/sulfur.yaml", "--on-date", "2027-02-27",
		"--output", "json",
	}
	lines := func(words ...string) (list []int) {
		r := at(t, "", append(append([]string{"recipe", "check"}, words...), args...)...)
		var answer recipeCheck
		require.NoError(t, json.Unmarshal([]byte(r.out), &answer), r.errOut)
		for _, f := range answer.Findings {
			if f.Line > 0 {
				list = append(list, f.Line)
			}
		}
		return list
	}
	own, listed := lines("testdata/oxidise.yaml"), lines(path, "--recipe", "oxidise")
	require.NotEmpty(t, own)
	require.Len(t, listed, len(own))
	for i := range own {
		assert.Equal(t, own[i]+3, listed[i])
	}
}

// checker is a server that answers every check the same way.
type checker struct {
	saggarv1.UnimplementedRecipeServiceServer
	t        *testing.T
	response *saggarv1.CheckRecipeResponse
	err      error
	request  *saggarv1.CheckRecipeRequest // the last
}

func (c *checker) CheckRecipe(ctx context.Context, request *saggarv1.CheckRecipeRequest) (*saggarv1.CheckRecipeResponse, error) {
	md, _ := metadata.FromIncomingContext(ctx)
	assert.Equal(c.t, []string{"Bearer secret"}, md.Get("authorization"))
	assert.Equal(c.t, "studios/bench", request.GetParent())
	assert.Equal(c.t, "studios/bench/recipes/oxidise", request.GetRecipe().GetName())
	assert.InDelta(c.t, 2, request.GetScale().GetFactor(), 0)
	c.request = request
	return c.response, c.err
}

// onServer checks the recipe of testdata against a server.
func (c *checker) onServer(path string, flags ...string) ran {
	c.t.Helper()
	socket := filepath.Join(c.t.TempDir(), "s")
	listener, err := net.Listen("unix", socket)
	require.NoError(c.t, err)
	server := grpc.NewServer()
	saggarv1.RegisterRecipeServiceServer(server, c)
	go func() { _ = server.Serve(listener) }()
	defer server.Stop()
	key := filepath.Join(c.t.TempDir(), "key")
	require.NoError(c.t, os.WriteFile(key, []byte("secret\n"), 0o600))
	args := []string{
		"recipe", "check", path, "--studio", "bench", "--server", "unix:" + socket, "--key-file", key, "--factor", "2", "--output", "json",
	}
	return at(c.t, "", append(args, flags...)...)
}

func TestAServersAnswerIsShownAsTheOneOffline(t *testing.T) {
	q := recipeQuestion{
		file: "testdata/oxidise.yaml", studioFiles: []string{"testdata/studio.yaml"}, materialFiles: []string{"testdata/sulfur.yaml"},
		onDate: "2027-02-27", scale: newScaleFlags(),
	}
	require.NoError(t, q.scale.factor.Set("2"))
	response, _, err := (&shell{}).checkOffline(t.Context(), q)
	require.NoError(t, err)
	served := (&checker{t: t, response: response}).onServer(q.file)
	offline := at(t, "", "recipe", "check", q.file, "--offline", "--studio-file", "testdata/studio.yaml", "--material-file",
		"testdata/sulfur.yaml", "--on-date", q.onDate, "--factor", "2", "--output", "json")
	assert.Equal(t, offline, served)
	assert.Equal(t, api.ExitRefused, served.code)
}

// errBadLot is a server's refusal of a lot.
func errBadLot(t *testing.T) error {
	t.Helper()
	invalid, err := status.New(codes.InvalidArgument, "invalid").WithDetails(&errdetails.BadRequest{
		FieldViolations: []*errdetails.BadRequest_FieldViolation{
			{Field: "from_lot.mass_grams", Description: "too little: weigh it"},
			{Field: "start_stage", Description: "no such stage: use another"},
		},
	})
	require.NoError(t, err)
	return invalid.Err()
}

func TestAServersFaultsAreNamedWithTheLineOfTheFile(t *testing.T) {
	invalid, err := status.New(codes.InvalidArgument, "invalid").WithDetails(&errdetails.BadRequest{
		FieldViolations: []*errdetails.BadRequest_FieldViolation{
			{Field: "recipe.stages[0].additions[0].material", Description: "there is no material sulfur: add it"},
			{Field: "scale.factor", Description: "too much: give less"},
		},
	})
	require.NoError(t, err)
	r := (&checker{t: t, err: invalid.Err()}).onServer("testdata/oxidise.yaml")
	assert.Equal(t, api.ExitBadInput, r.code)
	assert.Contains(t, r.errOut, "testdata/oxidise.yaml:6: stages[0].additions[0].material: there is no material sulfur: add it")
	assert.Contains(t, r.errOut, "--factor: too much: give less")
	for code, exit := range map[codes.Code]int{
		codes.PermissionDenied: api.ExitNoRight, codes.NotFound: api.ExitBadInput, codes.InvalidArgument: api.ExitBadInput,
	} {
		r := (&checker{t: t, err: status.Error(code, "no such luck")}).onServer("testdata/oxidise.yaml")
		assert.Equal(t, exit, r.code, code)
		assert.Contains(t, r.errOut, "no such luck")
	}
}
