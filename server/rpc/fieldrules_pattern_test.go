package rpc

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
)

// TestEveryPatternOfTheContractHasWords walks all fields: no sign of a regular expression may reach a person.
func TestEveryPatternOfTheContractHasWords(t *testing.T) {
	patterns := map[string]bool{}
	protoregistry.GlobalFiles.RangeFilesByPackage("saggar.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Messages().Len() {
			fields := file.Messages().Get(i).Fields()
			for k := range fields.Len() {
				rules, _ := proto.GetExtension(fields.Get(k).Options(), validate.E_Field).(*validate.FieldRules)
				patterns[rules.GetString().GetPattern()] = true
				patterns[rules.GetRepeated().GetItems().GetString().GetPattern()] = true
			}
		}
		return true
	})
	delete(patterns, "")
	assert.Greater(t, len(patterns), 10)
	for pattern := range patterns {
		assert.NotRegexp(t, `[\[\]{}^$?*\\()]`, patternWords(pattern), "words for %s", pattern)
	}
	assert.Equal(t, "write studios/ID/rooms/ID, where ID is 1 to 63 of a-z, 0-9 and hyphen, beginning with a letter",
		patternWords("^studios/[a-z][a-z0-9-]{0,62}/rooms/[a-z][a-z0-9-]{0,62}$"))
}
