// Package finding holds the one result type of every validation: what is wrong or worth knowing, how sure the refusal
// is, the figures behind it and what would cure it. It knows no chemistry and no booking; whoever finds fills it in.
package finding

import (
	"cmp"
	"slices"
)

// Severity says what a finding does to a booking.
type Severity string

const (
	// Block refuses the booking.
	Block Severity = "BLOCK"
	// Warn lets the booking pass only when its code is acknowledged.
	Warn Severity = "WARN"
	// Note is for reading only.
	Note Severity = "NOTE"
)

// Figure is one number behind a finding, with its unit in the field's usual notation ("ppm", "m3/s", "C", "min").
type Figure struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
}

// Finding is one result of validation.
type Finding struct {
	Severity Severity `json:"severity"`
	// Code is stable and machine-readable, SCREAMING_SNAKE_CASE, for example "AIR_SHORT_TERM_LIMIT".
	Code string `json:"code"`
	// Field is the path of the input at fault, for example "stages[1].program.segments[0].to_celsius"; empty when the
	// finding is about no single input.
	Field string `json:"field,omitempty"`
	// About names the thing that the finding concerns, for example a furnace's or room's identifier.
	About string `json:"about,omitempty"`
	// Message states the rule, the value and the limit in one sentence.
	Message string   `json:"message"`
	Figures []Figure `json:"figures,omitempty"`
	// Cure says what would be enough; a BLOCK always has one.
	Cure string `json:"cure,omitempty"`
	// Source is where the limit or rule was published, or "common practice, no source".
	Source string `json:"source,omitempty"`
}

// Blocks reports whether any of the findings refuses.
func Blocks(findings []Finding) bool {
	return slices.ContainsFunc(findings, func(f Finding) bool { return f.Severity == Block })
}

// SortWorstFirst orders findings by severity, then code, field and subject, in place and stably.
func SortWorstFirst(findings []Finding) {
	slices.SortStableFunc(findings, func(a, b Finding) int {
		return cmp.Or(cmp.Compare(a.Severity.rank(), b.Severity.rank()), cmp.Compare(a.Code, b.Code),
			cmp.Compare(a.Field, b.Field), cmp.Compare(a.About, b.About))
	})
}

func (s Severity) rank() int {
	switch s {
	case Block:
		return 0
	case Warn:
		return 1
	default:
		return 2
	}
}
