package render_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/structpb"
	"google.golang.org/protobuf/types/known/timestamppb"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"saggar/client/file"
	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

var update = flag.Bool("update", false, "write the golden files anew")

// golden compares a text with testdata/name, or writes it there.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "run the test with -update to make it")
	assert.Equal(t, string(want), got)
}

func written(t *testing.T, f render.Format, value any, grids ...render.Grid) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, render.Write(&out, f, value, func() []render.Grid { return grids }))
	return out.String()
}

// booked is an answer with every kind of value: nested lists, enums of both cases, times, texts that YAML would read as
// something else, and what is unset.
func booked() *saggarv1.PlanRunsResponse {
	at := func(minute int) *timestamppb.Timestamp {
		return timestamppb.New(time.Date(2027, 3, 1, 8, minute, 0, 0, time.FixedZone("", 3600)))
	}
	return &saggarv1.PlanRunsResponse{
		Status: saggarv1.PlanStatus_PLAN_STATUS_FEASIBLE, Revision: 7, EndTime: at(40), Caution: "A <planning> estimate & no more: \"ask\"",
		Runs: []*saggarv1.Run{{
			Name: "studios/east/runs/blue", Title: "2027-03-01", Department: "true", State: saggarv1.RunState_RUN_STATE_UNDER_WAY,
			Scale: &saggarv1.Scale{ProductGrams: 120.5, CrucibleFillFraction: 1e-7},
			StageWindows: []*saggarv1.StageWindow{{Stage: "08:00", Phases: []*saggarv1.PhaseWindow{
				{Kind: saggarv1.PhaseKind_PHASE_KIND_FIRE, StartTime: at(0), EndTime: at(40)},
			}}},
			Loads: []*saggarv1.Load{{State: saggarv1.LoadState_LOAD_STATE_CONFIRMED}},
		}},
		Findings: []*saggarv1.Finding{{
			Severity: saggarv1.Severity_SEVERITY_BLOCK, Code: "AIR_CEILING", Message: "two\nlines: # no comment", Cure: "- 0x10",
			Figures: []*saggarv1.Figure{{Name: "peak", Value: 123456789, Unit: "ppm"}},
		}},
	}
}

func TestMessagesAsJSONAndYAML(t *testing.T) {
	golden(t, "plan.json", written(t, render.JSON, booked()))
	golden(t, "plan.yaml", written(t, render.YAML, booked()))
}

func TestJSONAndYAMLAreTheSameValue(t *testing.T) {
	var fromJSON, fromYAML any
	require.NoError(t, json.Unmarshal([]byte(written(t, render.JSON, booked())), &fromJSON))
	require.NoError(t, yaml.Unmarshal([]byte(written(t, render.YAML, booked())), &fromYAML))
	again, err := json.Marshal(fromYAML)
	require.NoError(t, err)
	want, err := json.Marshal(fromJSON)
	require.NoError(t, err)
	assert.JSONEq(t, string(want), string(again))
}

func TestWhatIsWrittenCanBeReadBack(t *testing.T) {
	read, err := file.ReadStudio([]string{"../../deploy/demo/studio.yaml", "../../deploy/demo/materials.yaml", "../../deploy/demo/recipes.yaml"}, file.Options{})
	require.NoError(t, err)
	for _, m := range []proto.Message{booked(), read.Contents, &saggarv1.SpeciesAir{}, &saggarv1.SpeciesAir{ReentryMinute: proto.Float64(0)}} {
		for _, f := range []render.Format{render.JSON, render.YAML} {
			again := m.ProtoReflect().New().Interface()
			_, err := file.Decode("x", []byte(written(t, f, m)), again, file.Options{Studio: "marl-lane"})
			require.NoError(t, err)
			assert.True(t, proto.Equal(m, again), "%s: %v", f, again)
		}
	}
}

func TestEnum(t *testing.T) {
	assert.Equal(t, "BLOCK", render.Enum(saggarv1.Severity_SEVERITY_BLOCK))
	assert.Equal(t, "UNDER_FIRE", render.Enum(saggarv1.LoadState_LOAD_STATE_UNDER_FIRE))
	assert.Equal(t, "UNDER_WAY", render.Enum(saggarv1.RunState_RUN_STATE_UNDER_WAY))
	assert.Equal(t, "STEWARD", render.Enum(saggarv1.Role_ROLE_STEWARD))
	assert.Equal(t, "in_reach", render.Enum(saggarv1.Watch_WATCH_IN_REACH))
	assert.Equal(t, "burn_out", render.Enum(saggarv1.StageKind_STAGE_KIND_BURN_OUT))
	assert.Equal(t, "monday", render.Enum(saggarv1.Weekday_WEEKDAY_MONDAY))
	assert.Equal(t, "cautious", render.Enum(saggarv1.OffGasCase_OFF_GAS_CASE_CAUTIOUS))
	assert.Empty(t, render.Enum(saggarv1.Severity_SEVERITY_UNSPECIFIED))
	assert.Equal(t, "99", render.Enum(saggarv1.Severity(99)), "a value that a newer server knows")
	assert.Equal(t, "NULL_VALUE", render.Enum(structpb.NullValue_NULL_VALUE), "an enum without an unset value")
}

// enumValue is a value of any enum.
type enumValue struct {
	protoreflect.EnumValueDescriptor
}

func (v enumValue) Descriptor() protoreflect.EnumDescriptor {
	return v.Parent().(protoreflect.EnumDescriptor)
}
func (v enumValue) Type() protoreflect.EnumType { return nil }

func TestEveryEnumValueCanBeReadBack(t *testing.T) {
	files := saggarv1.File_saggar_v1_studio_proto.Imports()
	tried := 0
	for i := range files.Len() {
		enums := files.Get(i).Enums()
		for n := range enums.Len() {
			values := enums.Get(n).Values()
			for k := 1; k < values.Len(); k++ {
				value := values.Get(k)
				shown := render.Enum(enumValue{value})
				number, err := file.EnumNumber(enums.Get(n), shown)
				require.NoError(t, err)
				assert.Equal(t, value.Number(), number, shown)
				tried++
			}
		}
	}
	assert.Greater(t, tried, 20)
}

func TestPlainStructs(t *testing.T) {
	type share struct {
		Element  string  `json:"element"`
		Fraction float64 `json:"fraction"`
	}
	type answer struct {
		Formula string  `json:"formula"`
		Molar   float64 `json:"molar_mass_grams"`
		Shares  []share `json:"shares"`
		Note    *string `json:"note"`
		Big     int64   `json:"big"`
	}
	value := answer{Formula: "Na8Al6Si6O24S4 <1>", Molar: 997.1, Shares: []share{{"Na", 0.184}, {"O", 0.385}}, Big: 1<<62 + 1}
	golden(t, "struct.json", written(t, render.JSON, value))
	golden(t, "struct.yaml", written(t, render.YAML, &value))
	assert.Equal(t, "[]\n", written(t, render.JSON, []answer{}))
	assert.Equal(t, "null\n", written(t, render.JSON, nil))
}

func TestListsOfMessages(t *testing.T) {
	list := []*saggarv1.PlanReason{{Stage: "fire", Code: "AIR"}, {Code: "STEP", Message: "on"}}
	golden(t, "list.json", written(t, render.JSON, list))
	golden(t, "list.yaml", written(t, render.YAML, list))
}

func TestWholeNumbersAndBytes(t *testing.T) {
	assert.Equal(t, "{\n  \"value\": -9223372036854775808\n}\n", written(t, render.JSON, wrapperspb.Int64(math.MinInt64)))
	assert.Equal(t, "value: 18446744073709551615\n", written(t, render.YAML, wrapperspb.UInt64(math.MaxUint64)))
	assert.Equal(t, "value: 0.1\n", written(t, render.YAML, wrapperspb.Float(0.1)))
	assert.Equal(t, "value: aGVhdA==\n", written(t, render.YAML, wrapperspb.Bytes([]byte("heat"))))
	assert.Equal(t, "null\n", written(t, render.JSON, (*saggarv1.Run)(nil)))
	mask := &saggarv1.UpdateStudioRequest{UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"title"}}}
	assert.Contains(t, written(t, render.YAML, mask), "update_mask:\n  - title\n", "as files write it")
}

func TestNotFiniteIsAnErrorAndWritesNothing(t *testing.T) {
	for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		for _, value := range []any{
			&saggarv1.Finding{Figures: []*saggarv1.Figure{{}, {Value: x}}}, []*saggarv1.Figure{{Value: x}}, struct{ X float64 }{x},
			wrapperspb.Float(float32(x)),
		} {
			for _, f := range []render.Format{render.JSON, render.YAML} {
				var out bytes.Buffer
				require.ErrorContains(t, render.Write(&out, f, value, nil), "cannot show ")
				assert.Zero(t, out.Len())
			}
		}
	}
	err := render.Write(&bytes.Buffer{}, render.JSON, &saggarv1.Finding{Figures: []*saggarv1.Figure{{}, {Value: math.NaN()}}}, nil)
	require.EqualError(t, err, "cannot show figures[1].value: it is not a finite number")
}

func TestWhatCannotBeShown(t *testing.T) {
	for want, value := range map[string]any{
		"cannot show fields: it is a map":        &structpb.Struct{},
		"cannot show create_time: ":              &saggarv1.Run{CreateTime: &timestamppb.Timestamp{Seconds: 1 << 60}},
		"cannot show the answer: json: unsuppor": func() {},
	} {
		require.ErrorContains(t, render.Write(&bytes.Buffer{}, render.YAML, value, nil), want)
	}
	require.ErrorContains(t, render.Write(&bytes.Buffer{}, "xml", nil, nil), `output format "xml" is not known`)
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("disk full") }

func TestWriteReportsTheWriter(t *testing.T) {
	for _, f := range []render.Format{render.JSON, render.YAML, render.Table, render.CSV} {
		require.EqualError(t, render.Write(full{}, f, booked(), func() []render.Grid { return []render.Grid{{Columns: []string{"a"}}} }), "disk full")
	}
}

func TestParseFormat(t *testing.T) {
	for _, f := range []render.Format{render.Table, render.JSON, render.YAML, render.CSV} {
		got, err := render.ParseFormat(string(f))
		require.NoError(t, err)
		assert.Equal(t, f, got)
	}
	_, err := render.ParseFormat("xml")
	require.EqualError(t, err, `output format "xml" is not known: give table, json, yaml or csv`)
}

func TestGridsAreMadeOnlyWhenTheyAreShown(t *testing.T) {
	for _, f := range []render.Format{render.JSON, render.YAML} {
		require.NoError(t, render.Write(&bytes.Buffer{}, f, booked(), func() []render.Grid {
			t.Error("made for " + string(f))
			return nil
		}))
	}
	assert.Empty(t, written(t, render.Table, nil))
	require.NoError(t, render.Write(&bytes.Buffer{}, render.CSV, nil, nil))
}
