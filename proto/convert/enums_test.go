package convert

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// checkPairs holds a table to both sides: every value of the enum but the unset one stands once, with a word of its own.
func checkPairs[M interface {
	protoreflect.Enum
	comparable
}, V comparable](t *testing.T, table pairs[M, V]) {
	t.Helper()
	var unset M
	numbers, words := map[protoreflect.EnumNumber]bool{}, map[V]bool{}
	for _, pair := range table {
		assert.False(t, numbers[pair.message.Number()], "%v stands twice", pair.message)
		assert.False(t, words[pair.value], "%v stands twice", pair.value)
		numbers[pair.message.Number()], words[pair.value] = true, true
		assert.Equal(t, pair.message, table.toProto(table.fromProto(pair.message)))
	}
	values := unset.Descriptor().Values()
	for i := range values.Len() {
		value := values.Get(i)
		assert.True(t, value.Number() == 0 || numbers[value.Number()], "%s has no word", value.FullName())
	}
	assert.Equal(t, table[0].value, table.fromProto(unset), "unset means the first")
}

func TestEveryEnumerationIsPairedInFull(t *testing.T) {
	checkPairs(t, severities)
	checkPairs(t, atmospheres)
	checkPairs(t, coolings)
	checkPairs(t, watches)
	checkPairs(t, sources)
	checkPairs(t, controls)
	checkPairs(t, phaseKinds)
	checkPairs(t, stageKinds)
	checkPairs(t, lids)
	checkPairs(t, vesselKinds)
	checkPairs(t, hazards)
	checkPairs(t, offGasCases)
}
