package finding

import (
	"errors"
	"fmt"
	"strings"
)

// Fault is one input that cannot be used as it stands: the path of the field, what is wrong and what would be right.
type Fault struct {
	// Field is the path in the input, for example "stages[1].program.segments[0].to_celsius".
	Field   string `json:"field"`
	Message string `json:"message"`
	Cure    string `json:"cure,omitempty"`
}

// Faults collects every fault of an input, so that all can be mended at once. As an error it lists them all.
type Faults []Fault

// Add notes a fault at a field; an empty cure means that the message says what would be right.
func (f *Faults) Add(field, message, cure string) {
	*f = append(*f, Fault{Field: field, Message: message, Cure: cure})
}

// AddUnder notes the faults of a part under the path of that part.
func (f *Faults) AddUnder(path string, faults Faults) {
	for _, fault := range faults {
		fault.Field = join(path, fault.Field)
		*f = append(*f, fault)
	}
}

// Err returns the faults as an error, or nil when there are none.
func (f Faults) Err() error {
	if len(f) == 0 {
		return nil
	}
	return f
}

// Error lists the faults, one after the other.
func (f Faults) Error() string {
	parts := make([]string, 0, len(f))
	for _, fault := range f {
		parts = append(parts, fault.String())
	}
	return strings.Join(parts, "; ")
}

// String is "field: message (cure)".
func (f Fault) String() string {
	text := f.Message
	if f.Field != "" {
		text = f.Field + ": " + text
	}
	if f.Cure != "" {
		text = fmt.Sprintf("%s (%s)", text, f.Cure)
	}
	return text
}

// Findings turns faults into blocking findings with the given code, for answers that carry findings only.
func (f Faults) Findings(code string) []Finding {
	findings := make([]Finding, 0, len(f))
	for _, fault := range f {
		cure := fault.Cure
		if cure == "" {
			cure = "correct the field"
		}
		findings = append(findings, Finding{
			Severity: Block, Code: code, Field: fault.Field, Message: fault.Message, Cure: cure,
		})
	}
	return findings
}

// FaultsOf returns the faults that an error carries, or nil.
func FaultsOf(err error) Faults {
	var faults Faults
	if errors.As(err, &faults) {
		return faults
	}
	return nil
}

func join(path, field string) string {
	switch {
	case path == "":
		return field
	case field == "":
		return path
	case strings.HasPrefix(field, "["):
		return path + field
	default:
		return path + "." + field
	}
}
