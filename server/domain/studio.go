// Package domain holds the nouns of the service, their states, their invariants and the errors that a caller can act on.
// It knows neither the wire nor the database.
package domain

import (
	"time"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/assess"
	"saggar/chem/heat"
)

// Studio is one site that shares equipment. Everything belongs to one studio.
type Studio struct {
	Key              int64 // the database's; 0 before it is stored
	ID               string
	Title            string
	TimeZone         string // IANA
	StepMinutes      int    // grid on which firings start
	ChargeMinutes    int    // default when the recipe does not say
	DrawMinutes      int
	CleanMinutes     int     // from the draw until a vessel is clean
	AcidMistFraction float64 // share of leaving sulfur that counts as acid mist
	OfferMinutes     int     // for how long time that fell free is held for whoever is offered it
	// InterlockTestMonths is for how long a test of what cuts the heat when a fan stops counts.
	InterlockTestMonths int
	// OwnLimits are limits of air that the studio sets for itself, beside the published ones.
	OwnLimits []air.OwnLimit
	// Revision counts every change in the studio. EquipmentRevision is the last one that touched equipment; OwnRevision the
	// last one that touched the studio's own fields.
	Revision          int64
	EquipmentRevision int64
	OwnRevision       int64
	// ChainSHA256 is the hash of the last entry of the trace; the store keeps it up.
	ChainSHA256 [32]byte `json:"-"`
	CreateTime  time.Time
}

// WithDefaults fills in what the studio leaves open: a grid of 5 minutes, 20 minutes to charge and to draw, 30 to clean a
// vessel, 3 % of the sulfur as acid mist, an hour to take what is offered, a year between tests of a fan interlock (common
// practice, no source).
func (s Studio) WithDefaults() Studio {
	if s.StepMinutes == 0 {
		s.StepMinutes = 5
	}
	if s.ChargeMinutes == 0 {
		s.ChargeMinutes = 20
	}
	if s.DrawMinutes == 0 {
		s.DrawMinutes = 20
	}
	if s.CleanMinutes == 0 {
		s.CleanMinutes = 30
	}
	if s.OfferMinutes == 0 {
		s.OfferMinutes = 60
	}
	if s.InterlockTestMonths == 0 {
		s.InterlockTestMonths = assess.DefaultInterlockTestMonths
	}
	if s.AcidMistFraction == 0 {
		s.AcidMistFraction = chem.DefaultPractice().AcidMistFraction
	}
	return s
}

// EquipmentKind names a kind of equipment resource, as in resource names.
type EquipmentKind string

// The kinds of equipment.
const (
	KindRoom         EquipmentKind = "rooms"
	KindCircuit      EquipmentKind = "extractionCircuits"
	KindSupply       EquipmentKind = "supplies"
	KindFurnace      EquipmentKind = "furnaces"
	KindStaffedHours EquipmentKind = "staffedHours"
	KindClosure      EquipmentKind = "closures"
	KindVessel       EquipmentKind = "vessels"
	KindGear         EquipmentKind = "gear"
)

// Supply is an electrical panel or gas line that several furnaces share.
type Supply struct {
	ID             string  `json:"id"`
	Title          string  `json:"title"`
	LimitKilowatts float64 `json:"limit_kilowatts"`
	// PricePerKilowattHour is in the studio's own currency; 0: nothing is asked.
	PricePerKilowattHour float64 `json:"price_per_kilowatt_hour,omitempty"`
}

// Closure is equipment, a room, a circuit or a supply out of use over [Start, End).
type Closure struct {
	ID          string        `json:"id"`
	SubjectKind EquipmentKind `json:"subject_kind"`
	SubjectID   string        `json:"subject_id"`
	Start       time.Time     `json:"start"`
	End         time.Time     `json:"end"`
	Reason      string        `json:"reason"`
	// Unoccupied is for rooms: closed to people and signed, while firings in it go on.
	Unoccupied bool `json:"unoccupied,omitempty"`
}

// Window is when it holds.
func (c Closure) Window() Window { return Window{c.Start, c.End} }

// Equipment is one stored equipment resource. Exactly one of the pointers is set, as Kind says.
type Equipment struct {
	Kind     EquipmentKind
	ID       string
	Key      int64 // the database's; 0 before it is stored
	Revision int64 // at which it last changed; the etag
	Room     *air.Room
	Circuit  *air.Circuit
	Supply   *Supply
	Furnace  *heat.Furnace
	Hours    *StaffedHours
	Closure  *Closure
	Vessel   *Vessel
	Gear     *Gear
}

// Body returns the one resource that is set, or nil.
func (e Equipment) Body() any {
	switch e.Kind {
	case KindRoom:
		return e.Room
	case KindCircuit:
		return e.Circuit
	case KindSupply:
		return e.Supply
	case KindFurnace:
		return e.Furnace
	case KindStaffedHours:
		return e.Hours
	case KindClosure:
		return e.Closure
	case KindVessel:
		return e.Vessel
	case KindGear:
		return e.Gear
	default:
		return nil
	}
}

// NewBody returns an empty Equipment of a kind with its pointer set, for decoding into, or false for an unknown kind.
func NewBody(kind EquipmentKind) (Equipment, bool) {
	e := Equipment{Kind: kind}
	switch kind {
	case KindRoom:
		e.Room = new(air.Room)
	case KindCircuit:
		e.Circuit = new(air.Circuit)
	case KindSupply:
		e.Supply = new(Supply)
	case KindFurnace:
		e.Furnace = new(heat.Furnace)
	case KindStaffedHours:
		e.Hours = new(StaffedHours)
	case KindClosure:
		e.Closure = new(Closure)
	case KindVessel:
		e.Vessel = new(Vessel)
	case KindGear:
		e.Gear = new(Gear)
	default:
		return e, false
	}
	return e, true
}

// Name returns the resource's name within its studio, for example "rooms/kiln-hall".
func (e Equipment) Name() string { return string(e.Kind) + "/" + e.ID }

// Described returns the studio with the own fields of another, keeping key, id, revisions and creation.
func (s Studio) Described(by Studio) Studio {
	s.Title, s.TimeZone = by.Title, by.TimeZone
	s.StepMinutes, s.ChargeMinutes, s.DrawMinutes = by.StepMinutes, by.ChargeMinutes, by.DrawMinutes
	s.CleanMinutes, s.AcidMistFraction, s.OwnLimits = by.CleanMinutes, by.AcidMistFraction, by.OwnLimits
	s.OfferMinutes, s.InterlockTestMonths = by.OfferMinutes, by.InterlockTestMonths
	return s
}
