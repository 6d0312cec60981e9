package domain

import (
	"slices"
	"strings"
)

// Hold is a vessel, some of a set, or a piece of gear that a stage of a run has for a time.
type Hold struct {
	Kind   EquipmentKind `json:"kind"` // KindVessel or KindGear
	ID     string        `json:"id"`
	Count  int           `json:"count"`
	Stage  string        `json:"stage"`
	Window Window        `json:"window"`
	// Alone: there is one, and nobody else can have it at the same time.
	Alone bool `json:"alone,omitempty"`
	// Mark is what was written on a vessel when it was booked.
	Mark string `json:"mark,omitempty"`
	// Named: somebody asked for this one; it was not picked.
	Named bool `json:"named,omitempty"`
	// Leaves is what a vessel's wall takes up.
	Leaves []string `json:"leaves,omitempty"`
}

// Subject names what is held within its studio, for example "vessels/c3".
func (h Hold) Subject() string { return string(h.Kind) + "/" + h.ID }

// BookedHold is a hold of a run that stands.
type BookedHold struct {
	Hold
	Key        int64 // the database's, in the order of booking
	RunKey     int64
	RunID      string
	Department string
}

// StandingHolds are the holds of the stages that are still to be done, or were.
func (r Run) StandingHolds() []Hold {
	return slices.DeleteFunc(slices.Clone(r.Inputs.Holds), func(h Hold) bool {
		return !slices.ContainsFunc(r.Loads, func(l Load) bool { return l.Stage == h.Stage && l.State.Occupies() })
	})
}

// VesselsOf are the vessels of a stage; with named only those that somebody asked for.
func (r Run) VesselsOf(stage string, named bool) []VesselUse {
	var uses []VesselUse
	for _, h := range r.Inputs.Holds {
		if h.Kind == KindVessel && h.Stage == stage && (h.Named || !named) {
			uses = append(uses, VesselUse{Vessel: h.ID, Count: h.Count, Mark: h.Mark})
		}
	}
	return uses
}

// GearOf are the ids of the gear that is worn at a stage, each once.
func (r Run) GearOf(stage string) []string {
	var ids []string
	for _, h := range r.Inputs.Holds {
		if h.Kind == KindGear && h.Stage == stage {
			ids = append(ids, h.ID)
		}
	}
	slices.SortFunc(ids, strings.Compare)
	return slices.Compact(ids)
}
