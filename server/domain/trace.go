package domain

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"hash"
	"time"
)

// WholeServer stands in the place of a studio's id for the trace of the server as a whole, which holds what happens to keys
// that open every studio. No studio has it.
const WholeServer = ""

// Change is one entry of the append-only log: what was changed, by whom, when, from where, before and after. Revision has no
// gaps within a studio and is in commit order.
type Change struct {
	Revision  int64
	Time      time.Time
	Caller    string
	KeyID     string // the key that was used; empty for a token
	Address   string // of the caller's machine
	CallID    string // by which the call is found in the server's log
	RequestID string
	Method    string // the RPC's name
	Subject   string // the resource's name
	Before    any    // encoded as JSON; nil when there was nothing
	After     any
	// ChainSHA256 is the stored link. Linked is false for an entry from before there was a chain.
	ChainSHA256 [32]byte
	Linked      bool
}

// TraceHead is where a studio's trace ended at some time.
type TraceHead struct {
	StudioID    string
	Revision    int64
	ChainSHA256 [32]byte
	Time        time.Time // when it was looked at
}

// linkVersion begins every link, so that a later form cannot be taken for this one.
const linkVersion = "saggar trace 1"

// Link is the SHA-256 over the link of the entry before, or zeros for the first, and everything in this one: texts with
// their length in bytes in front as 8 bytes, numbers as 8 bytes, both most significant first; in the order version, studio,
// former link, revision, microseconds since 1970, caller, key, address, call, request, method, subject, before, after.
// Before and After count in the form of CanonicalJSON, empty for nothing.
func (c Change) Link(studioID string, former [32]byte) ([32]byte, error) {
	before, err := CanonicalJSON(c.Before)
	if err != nil {
		return former, fmt.Errorf("link %s before: %w", c.Subject, err)
	}
	after, err := CanonicalJSON(c.After)
	if err != nil {
		return former, fmt.Errorf("link %s after: %w", c.Subject, err)
	}
	sum := sha256.New()
	writeText(sum, linkVersion)
	writeText(sum, studioID)
	writeText(sum, string(former[:]))
	writeNumber(sum, c.Revision)
	writeNumber(sum, c.Time.UnixMicro())
	for _, text := range []string{
		c.Caller, c.KeyID, c.Address, c.CallID, c.RequestID, c.Method, c.Subject, string(before), string(after),
	} {
		writeText(sum, text)
	}
	return [32]byte(sum.Sum(nil)), nil
}

func writeText(sum hash.Hash, text string) {
	writeNumber(sum, int64(len(text)))
	sum.Write([]byte(text)) // a hash takes everything
}

func writeNumber(sum hash.Hash, n int64) {
	var digits [8]byte
	binary.BigEndian.PutUint64(digits[:], uint64(n))
	sum.Write(digits[:])
}

// CanonicalJSON writes a value the same way before and after the database has kept it: keys in order, no spaces, numbers as
// the nearest float64. Nothing is empty.
func CanonicalJSON(value any) ([]byte, error) {
	text, err := json.Marshal(value)
	if err != nil || bytes.Equal(text, []byte("null")) {
		return nil, err
	}
	var plain any
	if err := json.Unmarshal(text, &plain); err != nil {
		return nil, err
	}
	return json.Marshal(positiveZeros(plain))
}

// positiveZeros drops the sign of zero, which the database does not keep.
func positiveZeros(value any) any {
	switch v := value.(type) {
	case float64:
		return v + 0 // minus zero and zero are zero
	case []any:
		for i := range v {
			v[i] = positiveZeros(v[i])
		}
	case map[string]any:
		for key := range v {
			v[key] = positiveZeros(v[key])
		}
	}
	return value
}
