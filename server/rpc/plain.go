package rpc

import (
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protopath"
	"google.golang.org/protobuf/reflect/protorange"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/chem/finding"
)

// Instants outside these years are slips of the finger. The database could hold them, but no lamp would burn for them.
var (
	firstInstant = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	lastInstant  = time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC)
)

const (
	// mostParts bounds the items of all lists within one request. Four megabytes can hold millions of empty ones, of which
	// each would be held against the contract and complained about.
	mostParts = 50_000
	// mostFaults is more than anybody mends at once.
	mostFaults = 200
)

// plainFaults returns what no field may hold: numbers that are none, text with control characters or characters that turn
// the reading direction around, instants outside the years 2000 to 2099. A request of too many parts is one fault, and
// whole is then false: it is better not looked at any further.
func plainFaults(m proto.Message) (faults finding.Faults, whole bool) {
	parts := 0
	// The walk itself cannot fail, since the function ends it only by terminating it.
	_ = protorange.Range(m.ProtoReflect(), func(at protopath.Values) error {
		value := at.Index(-1).Value
		if at.Index(-1).Step.Kind() == protopath.ListIndexStep {
			parts++
		}
		if parts > mostParts {
			faults = finding.Faults{{
				Field: fieldPath(at.Path[:2]), Message: fmt.Sprintf("the request has lists of more than %d items in all", mostParts),
				Cure: "send it in several requests",
			}}
			return protorange.Terminate
		}
		if message, cure := plainFault(value); message != "" {
			faults.Add(fieldPath(at.Path), message, cure)
		}
		if len(faults) >= mostFaults {
			return protorange.Terminate
		}
		return nil
	})
	return faults, parts <= mostParts
}

func plainFault(value protoreflect.Value) (message, cure string) {
	switch v := value.Interface().(type) {
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Sprintf("%v is not a finite number", v), "give a finite number"
		}
	case string:
		if i := strings.IndexFunc(v, isHidden); i >= 0 {
			return fmt.Sprintf("holds %+q, which cannot be seen or turns the reading direction around", []rune(v[i:])[0]),
				"leave it out"
		}
	case protoreflect.Message:
		if instant, ok := v.Interface().(*timestamppb.Timestamp); ok {
			return instantFault(instant)
		}
	}
	return "", ""
}

func instantFault(instant *timestamppb.Timestamp) (message, cure string) {
	if !instant.IsValid() {
		return "is not an instant", "give seconds of the years 1 to 9999 and nanoseconds of 0 to 999999999"
	}
	if t := instant.AsTime(); t.Before(firstInstant) || !t.Before(lastInstant) {
		return t.Format(time.RFC3339) + " lies outside the years 2000 to 2099", "give the year that is meant"
	}
	return "", ""
}

// isHidden tells control characters, line and paragraph separators, and the embeddings, overrides, isolates and marks of the
// Unicode Bidirectional Algorithm (Unicode Standard Annex 9, sections 2.1 to 2.6), by which a text shows other than it reads.
func isHidden(r rune) bool {
	return unicode.In(r, unicode.Cc, unicode.Bidi_Control, unicode.Zl, unicode.Zp)
}

// fieldPath writes a path like `contents.furnaces[2].top_celsius`.
func fieldPath(path protopath.Path) string {
	var text strings.Builder
	for _, step := range path {
		switch step.Kind() {
		case protopath.FieldAccessStep:
			if text.Len() > 0 {
				text.WriteByte('.')
			}
			text.WriteString(string(step.FieldDescriptor().Name()))
		case protopath.ListIndexStep:
			fmt.Fprintf(&text, "[%d]", step.ListIndex())
		case protopath.MapIndexStep:
			fmt.Fprintf(&text, "[%v]", step.MapIndex().Interface())
		}
	}
	return text.String()
}
