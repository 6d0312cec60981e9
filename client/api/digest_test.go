package api_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"google.golang.org/protobuf/proto"

	"saggar/client/api"
	saggarv1 "saggar/proto/saggar/v1"
)

func TestADigestTellsEachThingOnce(t *testing.T) {
	finding := func(code, about, message, cure string) *saggarv1.Finding {
		return &saggarv1.Finding{Severity: saggarv1.Severity_SEVERITY_WARN, Code: code, About: about, Message: message, Cure: cure}
	}
	given := []*saggarv1.Finding{
		finding("SLOW", "muffle-one", "slower than asked", "ask less"),
		finding("SLOW", "muffle-one", "slower than asked", "ask less"),
		finding("SLOW", "muffle-two", "slower than asked", "ask less"),
		finding("BUSY", "big-kiln", "big-kiln is taken", "another time"),
		finding("SLOW", "", "slower than the recipe", "ask less"),
		finding("NOTE", "", "for reading", ""),
		finding("NOTE", "", "also for reading", ""),
	}
	before := proto.CloneOf(given[0])
	var lines []string
	for _, f := range api.Digest(given) {
		lines = append(lines, f.GetCode()+" "+f.GetMessage()+" / "+f.GetCure())
	}
	assert.Equal(t, []string{
		"SLOW muffle-one: slower than asked / ask less",
		"SLOW muffle-two: slower than asked / as above",
		"BUSY big-kiln is taken / another time",
		"SLOW slower than the recipe / as for SLOW above",
		"NOTE for reading / ",
		"NOTE also for reading / ",
	}, lines)
	assert.True(t, proto.Equal(before, given[0]), "what was given stays as it is")
	assert.Empty(t, api.Digest(nil))
}
