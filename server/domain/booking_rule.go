package domain

import "saggar/chem/finding"

// RuleKind names a kind of rule that a studio holds bookings to, as in resource names.
type RuleKind string

// The kinds of rules: when a run needs somebody's yes, what departments may use, whose hours come first, how far ahead who
// books.
const (
	KindClearanceRule RuleKind = "clearanceRules"
	KindAllotment     RuleKind = "allotments"
	KindTaughtHours   RuleKind = "taughtHours"
	KindBookingLimit  RuleKind = "bookingLimits"
)

// BookingRule is one stored rule. Exactly one of the pointers is set, as Kind says.
type BookingRule struct {
	Kind      RuleKind
	ID        string
	Revision  int64 // at which it last changed; the etag
	Clearance *ClearanceRule
	Allotment *Allotment
	Taught    *TaughtHours
	Limit     *BookingLimit
}

// NewRule returns an empty BookingRule of a kind with its pointer set, for decoding into, or false for an unknown kind.
func NewRule(kind RuleKind) (BookingRule, bool) {
	r := BookingRule{Kind: kind}
	switch kind {
	case KindClearanceRule:
		r.Clearance = new(ClearanceRule)
	case KindAllotment:
		r.Allotment = new(Allotment)
	case KindTaughtHours:
		r.Taught = new(TaughtHours)
	case KindBookingLimit:
		r.Limit = new(BookingLimit)
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
	case KindAllotment:
		return r.Allotment
	case KindTaughtHours:
		return r.Taught
	case KindBookingLimit:
		return r.Limit
	default:
		return nil
	}
}

// Check returns what is wrong with the rule by itself, with paths relative to it.
func (r BookingRule) Check() finding.Faults {
	switch r.Kind {
	case KindClearanceRule:
		return r.Clearance.Check()
	case KindAllotment:
		return r.Allotment.Check()
	case KindTaughtHours:
		return r.Taught.Check()
	case KindBookingLimit:
		return r.Limit.Check()
	default:
		return nil
	}
}

// RuleReferences are what a rule names of its studio; all but Furnaces may be empty.
type RuleReferences struct {
	Furnaces   []string // in the field furnaces
	People     []string // in the field clearing_people
	Allotment  string   // in the field over_allotment
	Department string   // in the field department
}

// References are the resources that the rule names.
func (r BookingRule) References() RuleReferences {
	switch r.Kind {
	case KindClearanceRule:
		return RuleReferences{Furnaces: r.Clearance.Furnaces, People: r.Clearance.People, Allotment: r.Clearance.OverAllotment}
	case KindAllotment:
		return RuleReferences{Furnaces: r.Allotment.Furnaces, Department: r.Allotment.Department}
	case KindTaughtHours:
		return RuleReferences{Furnaces: r.Taught.Furnaces, Department: r.Taught.Department}
	default:
		return RuleReferences{}
	}
}
