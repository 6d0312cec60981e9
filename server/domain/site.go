package domain

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

// Site is all equipment of a studio as it stood at one revision. It is read as a whole and never changed in place.
type Site struct {
	Studio   Studio
	Zone     *time.Location
	Rooms    map[string]air.Room
	Circuits map[string]air.Circuit
	Supplies map[string]Supply
	Furnaces map[string]heat.Furnace
	Hours    map[string]StaffedHours // by room id
	Closures []Closure               // by start
	Vessels  map[string]Vessel
	Gear     map[string]Gear
	// FurnaceKeys are the database's keys of the furnaces.
	FurnaceKeys map[string]int64
}

// NewSite puts stored equipment together. An unknown time zone is an error.
func NewSite(studio Studio, equipment []Equipment) (*Site, error) {
	zone, err := LoadZone(studio.TimeZone)
	if err != nil {
		return nil, err
	}
	s := &Site{
		Studio: studio.WithDefaults(), Zone: zone,
		Rooms: map[string]air.Room{}, Circuits: map[string]air.Circuit{}, Supplies: map[string]Supply{},
		Furnaces: map[string]heat.Furnace{}, Hours: map[string]StaffedHours{}, FurnaceKeys: map[string]int64{},
		Vessels: map[string]Vessel{}, Gear: map[string]Gear{},
	}
	for _, e := range equipment {
		switch e.Kind {
		case KindRoom:
			s.Rooms[e.ID] = *e.Room
		case KindCircuit:
			s.Circuits[e.ID] = *e.Circuit
		case KindSupply:
			s.Supplies[e.ID] = *e.Supply
		case KindFurnace:
			s.Furnaces[e.ID] = *e.Furnace
			s.FurnaceKeys[e.ID] = e.Key
		case KindStaffedHours:
			s.Hours[e.ID] = *e.Hours
		case KindClosure:
			s.Closures = append(s.Closures, *e.Closure)
		case KindVessel:
			s.Vessels[e.ID] = *e.Vessel
		case KindGear:
			s.Gear[e.ID] = *e.Gear
		}
	}
	slices.SortFunc(s.Closures, func(a, b Closure) int { return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.ID, b.ID)) })
	return s, nil
}

// LoadZone returns an IANA time zone. "Local" and the empty name are refused, since they depend on the machine.
func LoadZone(name string) (*time.Location, error) {
	zone, err := time.LoadLocation(name)
	if err != nil || name == "" || name == "Local" {
		return nil, finding.Faults{{
			Field: "time_zone", Message: fmt.Sprintf("%q is not a time zone of the IANA database", name),
			Cure: `give one such as "Europe/Lisbon"`,
		}}
	}
	return zone, nil
}

// CircuitList returns the circuits by id, in order.
func (s *Site) CircuitList() []air.Circuit {
	list := make([]air.Circuit, 0, len(s.Circuits))
	for _, id := range slices.Sorted(maps.Keys(s.Circuits)) {
		list = append(list, s.Circuits[id])
	}
	return list
}

// WithoutClosures is the same site with nothing out of use.
func (s *Site) WithoutClosures() *Site {
	open := *s
	open.Closures = nil
	return &open
}

// Needs lists the equipment without which a furnace cannot be fired: itself, its room, its supply and its circuit.
func (s *Site) Needs(furnace heat.Furnace) map[EquipmentKind]string {
	needs := map[EquipmentKind]string{KindFurnace: furnace.ID, KindRoom: furnace.Room}
	if furnace.Supply != "" {
		needs[KindSupply] = furnace.Supply
	}
	if circuit, _, found := strings.Cut(furnace.Branch, "/"); found {
		needs[KindCircuit] = circuit
	}
	return needs
}

// ClosuresOver returns the closures of anything that the furnace needs which overlap [start, end), by start. A room that is only
// closed to people is none.
func (s *Site) ClosuresOver(furnace heat.Furnace, start, end time.Time) []Closure {
	needs := s.Needs(furnace)
	var hit []Closure
	for _, c := range s.Closures {
		if !c.Unoccupied && needs[c.SubjectKind] == c.SubjectID && c.Start.Before(end) && start.Before(c.End) {
			hit = append(hit, c)
		}
	}
	return hit
}

// SignedOff returns when nobody is in a room within a span, by start.
func (s *Site) SignedOff(room string, span Window) []Window {
	var signed []Window
	for _, c := range s.Closures {
		if c.Unoccupied && c.SubjectID == room && c.Window().Overlaps(span) {
			signed = append(signed, c.Window())
		}
	}
	return signed
}

// RoomIDs returns the ids of the rooms, in order.
func (s *Site) RoomIDs() []string { return slices.Sorted(maps.Keys(s.Rooms)) }

// Check returns every reference that leads nowhere and every contradiction between resources.
func (s *Site) Check() finding.Faults {
	var faults finding.Faults
	missing := func(field, kind, id string) {
		faults = append(faults, finding.Fault{
			Field: field, Message: fmt.Sprintf("there is no %s %q in the studio", kind, id),
			Cure: fmt.Sprintf("add it, or name one that stands: %s", s.have(kind)),
		})
	}
	for _, id := range slices.Sorted(maps.Keys(s.Rooms)) {
		for i, t := range s.Rooms[id].Transfers {
			if _, ok := s.Rooms[t.ToRoom]; !ok {
				missing(fmt.Sprintf("rooms[%s].transfers[%d].to_room", id, i), "room", t.ToRoom)
			}
		}
	}
	for _, id := range slices.Sorted(maps.Keys(s.Circuits)) {
		for i, b := range s.Circuits[id].Branches {
			if _, ok := s.Rooms[b.Room]; !ok {
				missing(fmt.Sprintf("extraction_circuits[%s].branches[%d].room", id, i), "room", b.Room)
			}
		}
	}
	for _, id := range slices.Sorted(maps.Keys(s.Furnaces)) {
		s.checkFurnace(s.Furnaces[id], missing)
	}
	for _, id := range slices.Sorted(maps.Keys(s.Hours)) {
		if _, ok := s.Rooms[id]; !ok {
			missing(fmt.Sprintf("staffed_hours[%s].name", id), "room", id)
		}
	}
	for _, c := range s.Closures {
		if !s.stands(c.SubjectKind, c.SubjectID) {
			missing(fmt.Sprintf("closures[%s].subject", c.ID), strings.TrimSuffix(string(c.SubjectKind), "s"), c.SubjectID)
		}
	}
	return faults
}

func (s *Site) checkFurnace(f heat.Furnace, missing func(field, kind, id string)) {
	if _, ok := s.Rooms[f.Room]; !ok {
		missing(fmt.Sprintf("furnaces[%s].room", f.ID), "room", f.Room)
	}
	if _, ok := s.Supplies[f.Supply]; !ok && f.Supply != "" {
		missing(fmt.Sprintf("furnaces[%s].supply", f.ID), "supply", f.Supply)
	}
	if f.Branch == "" {
		return
	}
	circuit, branch, _ := strings.Cut(f.Branch, "/")
	found := slices.ContainsFunc(s.Circuits[circuit].Branches, func(b air.Branch) bool { return b.ID == branch })
	if !found {
		missing(fmt.Sprintf("furnaces[%s].branch", f.ID), "branch", f.Branch)
	}
}

func (s *Site) stands(kind EquipmentKind, id string) bool {
	var ok bool
	switch kind {
	case KindRoom:
		_, ok = s.Rooms[id]
	case KindCircuit:
		_, ok = s.Circuits[id]
	case KindSupply:
		_, ok = s.Supplies[id]
	case KindFurnace:
		_, ok = s.Furnaces[id]
	}
	return ok
}

func (s *Site) have(kind string) string {
	var ids []string
	switch kind {
	case "room":
		ids = slices.Sorted(maps.Keys(s.Rooms))
	case "supply":
		ids = slices.Sorted(maps.Keys(s.Supplies))
	case "furnace":
		ids = slices.Sorted(maps.Keys(s.Furnaces))
	case "branch":
		for _, c := range s.CircuitList() {
			for _, b := range c.Branches {
				ids = append(ids, c.ID+"/"+b.ID)
			}
		}
	default:
		ids = slices.Sorted(maps.Keys(s.Circuits))
	}
	if len(ids) == 0 {
		return "none yet"
	}
	return strings.Join(ids, ", ")
}
