package convert

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"google.golang.org/protobuf/reflect/protoreflect"

	saggarv1 "saggar/proto/saggar/v1"
)

// message is a generated enum.
type message interface {
	comparable
	protoreflect.Enum
}

// assertWords holds a table to the contract: every value of the enum has one word, which is its short name, and both ways
// lead back. unset is the word that an enum which is not set, or not known yet, stands for.
func assertWords[M message, V ~string](t *testing.T, table pairs[M, V], unset V) {
	t.Helper()
	var zero M
	assert.Equal(t, unset, table.fromProto(zero), "%T that is not set", zero)
	unknown := zero.Type().New(9999).(M)
	assert.Equal(t, unset, table.fromProto(unknown), "%T that a newer contract may have", zero)
	assert.Equal(t, zero, table.toProto("no such word"), "a word that %T does not have", zero)
	values := zero.Descriptor().Values()
	for i := 1; i < values.Len(); i++ {
		value := zero.Type().New(values.Get(i).Number()).(M)
		word := table.fromProto(value)
		assert.True(t, strings.EqualFold(shortEnumName(value), string(word)), "%v has the word %q", value, word)
		assert.Equal(t, value, table.toProto(word), "%q leads back", word)
	}
}

// shortEnumName is the name of a value without what all values of its enum begin with.
func shortEnumName[M protoreflect.Enum](value M) string {
	descriptor := value.Descriptor()
	prefix := strings.TrimSuffix(string(descriptor.Values().ByNumber(0).Name()), "UNSPECIFIED")
	return strings.TrimPrefix(string(descriptor.Values().ByNumber(value.Number()).Name()), prefix)
}

func TestTheWordOfAnEnumValueIsItsShortName(t *testing.T) {
	assertWords(t, severities, "BLOCK")
	assertWords(t, atmospheres, "oxidising")
	assertWords(t, coolings, "closed")
	assertWords(t, watches, "")
	assertWords(t, sources, "")
	assertWords(t, controls, "by_hand")
	assertWords(t, interlockKinds, "")
	assertWords(t, phaseKinds, "")
	assertWords(t, stageKinds, "")
	assertWords(t, lids, "open")
	assertWords(t, vesselKinds, "")
	assertWords(t, hazards, "")
	assertWords(t, offGasCases, "cautious")
}

// TestEveryEnumOfTheConvertedMessagesHasATable fails for an enum that a converted message has and no table above.
func TestEveryEnumOfTheConvertedMessagesHasATable(t *testing.T) {
	tables := map[protoreflect.FullName]bool{}
	for _, e := range []protoreflect.Enum{
		saggarv1.Severity(0), saggarv1.Atmosphere(0), saggarv1.Cooling(0), saggarv1.Watch(0), saggarv1.HeatSource(0),
		saggarv1.Control(0), saggarv1.PhaseKind(0), saggarv1.StageKind(0), saggarv1.Lid(0), saggarv1.VesselKind(0), saggarv1.Hazard(0),
		saggarv1.OffGasCase(0), saggarv1.FanInterlockKind(0),
	} {
		tables[e.Descriptor().FullName()] = true
	}
	for _, m := range []protoreflect.ProtoMessage{
		&saggarv1.Room{}, &saggarv1.ExtractionCircuit{}, &saggarv1.Furnace{}, &saggarv1.Material{}, &saggarv1.Recipe{},
		&saggarv1.Scale{}, &saggarv1.Finding{}, &saggarv1.CheckRecipeResponse{},
	} {
		for _, name := range enumsOf(m.ProtoReflect().Descriptor()) {
			assert.True(t, tables[name], "%s is not tried by TestTheWordOfAnEnumValueIsItsShortName", name)
		}
	}
}

// enumsOf are the enums of a message and of the messages in it; none of ours holds itself.
func enumsOf(m protoreflect.MessageDescriptor) (names []protoreflect.FullName) {
	for i := range m.Fields().Len() {
		switch field := m.Fields().Get(i); field.Kind() {
		case protoreflect.EnumKind:
			names = append(names, field.Enum().FullName())
		case protoreflect.MessageKind:
			names = append(names, enumsOf(field.Message())...)
		}
	}
	return names
}
