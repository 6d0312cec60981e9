package domain_test

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/server/domain"
)

var change = domain.Change{
	Revision: 7, Time: time.Date(2026, 3, 2, 8, 0, 0, 123456789, time.UTC), Caller: "ada", KeyID: "k1", Address: "192.0.2.1",
	CallID: "c1", RequestID: "r1", Method: "UpdateRoom", Subject: "rooms/bay",
	Before: json.RawMessage(`{"b": 1, "a": [1.50, -0]}`), After: map[string]any{"a": []any{1.5, 0.0}, "b": 2},
}

// TestALinkIsWhatItsCommentSays reckons it anew from the comment.
func TestALinkIsWhatItsCommentSays(t *testing.T) {
	former := [32]byte{1, 2, 3}
	var text strings.Builder
	number := func(n int64) {
		for shift := 56; shift >= 0; shift -= 8 {
			text.WriteByte(byte(n >> shift))
		}
	}
	write := func(s string) { number(int64(len(s))); text.WriteString(s) }
	write("saggar trace 1")
	write("north")
	write(string(former[:]))
	number(7)
	number(1772438400123456)
	for _, s := range []string{"ada", "k1", "192.0.2.1", "c1", "r1", "UpdateRoom", "rooms/bay", `{"a":[1.5,0],"b":1}`, `{"a":[1.5,0],"b":2}`} {
		write(s)
	}
	link, err := change.Link("north", former)
	require.NoError(t, err)
	assert.Equal(t, sha256.Sum256([]byte(text.String())), link)
}

func TestALinkHoldsEveryField(t *testing.T) {
	original, err := change.Link("north", [32]byte{})
	require.NoError(t, err)
	changes := map[string]func(c *domain.Change){
		"revision": func(c *domain.Change) { c.Revision++ }, "time": func(c *domain.Change) { c.Time = c.Time.Add(time.Microsecond) },
		"caller": func(c *domain.Change) { c.Caller = "eve" }, "key": func(c *domain.Change) { c.KeyID = "" },
		"address": func(c *domain.Change) { c.Address = "192.0.2.2" }, "call": func(c *domain.Change) { c.CallID = "" },
		"request": func(c *domain.Change) { c.RequestID = "" }, "method": func(c *domain.Change) { c.Method = "" },
		"subject": func(c *domain.Change) { c.Subject = "rooms/bay2" }, "before": func(c *domain.Change) { c.Before = nil },
		"after": func(c *domain.Change) { c.After = map[string]any{} },
		"shift": func(c *domain.Change) { c.Caller, c.KeyID = "adak", "1" },
	}
	for name, alter := range changes {
		c := change
		alter(&c)
		link, err := c.Link("north", [32]byte{})
		require.NoError(t, err)
		assert.NotEqual(t, original, link, name)
	}
	link, err := change.Link("south", [32]byte{})
	require.NoError(t, err)
	assert.NotEqual(t, original, link, "studio")
	_, err = domain.Change{After: math.Inf(1)}.Link("north", [32]byte{})
	assert.Error(t, err)
}

func TestCanonicalJSONIsItsOwn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := map[string]any{
			rapid.String().Draw(t, "key"): rapid.Float64().Draw(t, "x"), "n": rapid.Int64().Draw(t, "n"),
			"list": rapid.SliceOf(rapid.String()).Draw(t, "list"), "zero": math.Copysign(0, -1),
		}
		once, err := domain.CanonicalJSON(value)
		require.NoError(t, err)
		twice, err := domain.CanonicalJSON(json.RawMessage(once))
		require.NoError(t, err)
		assert.Equal(t, string(once), string(twice))
		assert.NotContains(t, string(once), "-0,", fmt.Sprint(value))
	})
	for _, nothing := range []any{nil, (*domain.Supply)(nil), json.RawMessage("null")} {
		text, err := domain.CanonicalJSON(nothing)
		require.NoError(t, err)
		assert.Empty(t, text)
	}
}
