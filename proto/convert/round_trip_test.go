package convert

import (
	"reflect"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"saggar/chem/air"
	saggarv1 "saggar/proto/saggar/v1"
)

const testStudio = "marl-lane"

// populated fills every field of a message and names it as a resource of the test's studio.
func populated[M proto.Message](m M, collection string) M {
	(&populator{drawn: map[protoreflect.FullName]int{}}).fill(m.ProtoReflect())
	fields := m.ProtoReflect().Descriptor().Fields()
	if name := fields.ByName("name"); collection != "" {
		m.ProtoReflect().Set(name, protoreflect.ValueOfString(Name(testStudio, collection, "kiln-hall")))
	}
	if etag := fields.ByName("etag"); etag != nil {
		m.ProtoReflect().Clear(etag) // output only: the server makes it
	}
	return m
}

// assertSurvives converts a full message to its value and back.
func assertSurvives[M proto.Message, V any](t *testing.T, full M, from func(M) V, to func(V) M) {
	t.Helper()
	value := from(full)
	assertNothingEmpty(t, value)
	back := to(value)
	assert.True(t, proto.Equal(full, back), "lost or changed on the way\nwent in: %s\ncame out: %s",
		prototext.Format(full), prototext.Format(back))
	assert.Equal(t, value, from(back), "the value itself does not survive the way back")
}

// inStudio gives a conversion the test's studio.
func inStudio[V any, M proto.Message](to func(string, V) M) func(V) M {
	return func(value V) M { return to(testStudio, value) }
}

func TestAFullMessageSurvives(t *testing.T) {
	t.Run("room", func(t *testing.T) {
		assertSurvives(t, populated(&saggarv1.Room{}, "rooms"), RoomFromProto, inStudio(RoomToProto))
	})
	t.Run("own limit", func(t *testing.T) {
		assertSurvives(t, populated(&saggarv1.OwnLimit{}, ""),
			func(m *saggarv1.OwnLimit) air.OwnLimit { return OwnLimitsFromProto([]*saggarv1.OwnLimit{m})[0] },
			func(l air.OwnLimit) *saggarv1.OwnLimit { return OwnLimitsToProto([]air.OwnLimit{l})[0] })
	})
	t.Run("circuit", func(t *testing.T) {
		assertSurvives(t, populated(&saggarv1.ExtractionCircuit{}, "extractionCircuits"), CircuitFromProto, inStudio(CircuitToProto))
	})
	t.Run("furnace", func(t *testing.T) {
		assertSurvives(t, populated(&saggarv1.Furnace{}, "furnaces"), FurnaceFromProto, inStudio(FurnaceToProto))
	})
	t.Run("material", func(t *testing.T) {
		assertSurvives(t, populated(&saggarv1.Material{}, "materials"), MaterialFromProto, inStudio(MaterialToProto))
	})
	t.Run("lot", func(t *testing.T) {
		full := populated(&saggarv1.Lot{}, "")
		for _, kept := range []protoreflect.Name{ // of lots that a server keeps
			"name", "title", "department", "shared", "place", "safety_sheet", "low_stock_grams", "reserved_grams", "low_stock", "age_days",
			"create_time",
		} {
			full.ProtoReflect().Clear(full.ProtoReflect().Descriptor().Fields().ByName(kept))
		}
		assertSurvives(t, full, LotFromProto, LotToProto)
	})
	t.Run("recipe", func(t *testing.T) {
		assertSurvives(t, populated(&saggarv1.Recipe{}, "recipes"), RecipeFromProto, inStudio(RecipeToProto))
	})
	t.Run("program", func(t *testing.T) {
		assertSurvives(t, populated(&saggarv1.HeatProgram{}, ""), ProgramFromProto, ProgramToProto)
	})
	t.Run("scale", func(t *testing.T) {
		assertSurvives(t, populated(&saggarv1.Scale{}, ""), ScaleFromProto, ScaleToProto)
	})
	t.Run("finding", func(t *testing.T) {
		assertSurvives(t, populated(&saggarv1.Finding{}, ""), FindingFromProto, FindingToProto)
	})
}

func TestAFieldThatIsLostIsSeen(t *testing.T) {
	full := populated(&saggarv1.Scale{}, "")
	fields := full.ProtoReflect().Descriptor().Fields()
	for i := range fields.Len() {
		maimed := proto.CloneOf(full)
		maimed.ProtoReflect().Clear(fields.Get(i))
		empty := 0
		walk(reflect.ValueOf(ScaleFromProto(maimed)), "scale", func(string) { empty++ })
		assert.Equal(t, 1, empty, "clearing %s should leave one field of the value empty", fields.Get(i).Name())
	}
}

func TestNothingStaysNothing(t *testing.T) {
	assert.Nil(t, ProgramFromProto(nil))
	assert.Nil(t, ProgramToProto(nil))
	assert.Nil(t, ScaleToProto(ScaleFromProto(nil)), "the recipe's own masses are no scale")
	assert.Nil(t, StartFromProto(&saggarv1.CheckRecipeRequest{StartStage: "fire"}), "a stage alone starts from nothing")
	start := StartFromProto(&saggarv1.CheckRecipeRequest{StartStage: "fire", FromLot: &saggarv1.Lot{Id: "lot"}})
	assert.Equal(t, []string{"fire", "lot"}, []string{start.Stage, start.Lot.ID})
	findings := FindingsToProto(nil)
	require.NotNil(t, findings, "an empty list is a list")
	assert.Empty(t, findings)
}

func TestNames(t *testing.T) {
	assert.Equal(t, "studios/marl-lane/rooms/kiln-hall", Name("marl-lane", "rooms", "kiln-hall"))
	for name, id := range map[string]string{
		"studios/marl-lane/rooms/kiln-hall": "kiln-hall", "studios/marl-lane": "marl-lane", "kiln-hall": "kiln-hall", "": "", "studios/": "",
	} {
		assert.Equal(t, id, ID(name), "id of %q", name)
	}
}
