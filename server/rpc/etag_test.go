package rpc

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

func TestAnEtagLeadsBackToItsRevision(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		revision := rapid.Int64Min(1).Draw(t, "revision")
		if got := revisionOf(etagOf(revision)); got != revision {
			t.Fatalf("%d came back as %d", revision, got)
		}
	})
}

func TestWhatIsNoEtagMatchesNothing(t *testing.T) {
	assert.Zero(t, revisionOf(""), "no etag means any")
	for _, etag := range []string{"1", "r", "r-5", "r0", "R1", "r01", "rÄ", "r1 ", `"r1"`, "rzzzzzzzzzzzzzzzz"} {
		assert.EqualValues(t, noRevision, revisionOf(etag), etag)
	}
}
