package domain

import "saggar/chem/finding"

// RuleKind names a kind of rule that a studio holds bookings to, as in resource names.
type RuleKind string

// KindClearanceRule is when a run needs somebody's yes.
const KindClearanceRule RuleKind = "clearanceRules"

// BookingRule is one stored rule. Exactly one of the pointers is set, as Kind says.
type BookingRule struct {
	Kind      RuleKind
	ID        string
	Revision  int64 // at which it last changed; the etag
	Clearance *ClearanceRule
}

// NewRule returns an empty BookingRule of a kind with its pointer set, for decoding into, or false for an unknown kind.
func NewRule(kind RuleKind) (BookingRule, bool) {
	r := BookingRule{Kind: kind}
	switch kind {
	case KindClearanceRule:
		r.Clearance = new(ClearanceRule)
	default:
		return r, false
	}
	return r, true
}

// Name returns the rule's name within its studio, for example "clearanceRules/much-so2".
func (r BookingRule) Name() string { return string(r.Kind) + "/" + r.ID }

// Body returns the one rule that is set, or nil.
func (r BookingRule) Body() any {
	switch r.Kind {
	case KindClearanceRule:
		return r.Clearance
	default:
		return nil
	}
}

// Check returns what is wrong with the rule by itself, with paths relative to it.
func (r BookingRule) Check() finding.Faults {
	switch r.Kind {
	case KindClearanceRule:
		return r.Clearance.Check()
	default:
		return nil
	}
}

// RuleReferences are what a rule names of its studio, by the field that names it.
type RuleReferences struct {
	Furnaces, People           []string
	FurnacesField, PeopleField string
}

// References are the furnaces and people that the rule names.
func (r BookingRule) References() RuleReferences {
	switch r.Kind {
	case KindClearanceRule:
		return RuleReferences{
			Furnaces: r.Clearance.Furnaces, FurnacesField: "furnaces", People: r.Clearance.People, PeopleField: "clearing_people",
		}
	default:
		return RuleReferences{}
	}
}
