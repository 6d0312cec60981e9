package rpc

import (
	"saggar/chem/finding"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

// The kinds of equipment. The name and the etag are set here alike for all.
var (
	roomKind = equipmentKind[*saggarv1.Room]{
		kind: domain.KindRoom, field: "room", empty: func() *saggarv1.Room { return new(saggarv1.Room) },
		toProto: func(studio string, e domain.Equipment) *saggarv1.Room {
			m := convert.RoomToProto(studio, *e.Room)
			m.Etag = etagOf(e.Revision)
			return m
		},
		fromProto: func(m *saggarv1.Room) (domain.Equipment, finding.Faults) {
			room := convert.RoomFromProto(m)
			return domain.Equipment{Kind: domain.KindRoom, ID: room.ID, Room: &room}, nil
		},
	}
	circuitKind = equipmentKind[*saggarv1.ExtractionCircuit]{
		kind: domain.KindCircuit, field: "extraction_circuit",
		empty: func() *saggarv1.ExtractionCircuit { return new(saggarv1.ExtractionCircuit) },
		toProto: func(studio string, e domain.Equipment) *saggarv1.ExtractionCircuit {
			m := convert.CircuitToProto(studio, *e.Circuit)
			m.Etag = etagOf(e.Revision)
			return m
		},
		fromProto: func(m *saggarv1.ExtractionCircuit) (domain.Equipment, finding.Faults) {
			circuit := convert.CircuitFromProto(m)
			return domain.Equipment{Kind: domain.KindCircuit, ID: circuit.ID, Circuit: &circuit}, nil
		},
	}
	supplyKind = equipmentKind[*saggarv1.Supply]{
		kind: domain.KindSupply, field: "supply", empty: func() *saggarv1.Supply { return new(saggarv1.Supply) },
		toProto: func(studio string, e domain.Equipment) *saggarv1.Supply {
			m := supplyToProto(*e.Supply)
			m.Name, m.Etag = equipmentName(studio, e), etagOf(e.Revision)
			return m
		},
		fromProto: func(m *saggarv1.Supply) (domain.Equipment, finding.Faults) {
			supply := supplyFromProto(m)
			return domain.Equipment{Kind: domain.KindSupply, ID: supply.ID, Supply: &supply}, nil
		},
	}
	furnaceKind = equipmentKind[*saggarv1.Furnace]{
		kind: domain.KindFurnace, field: "furnace", empty: func() *saggarv1.Furnace { return new(saggarv1.Furnace) },
		toProto: func(studio string, e domain.Equipment) *saggarv1.Furnace {
			m := convert.FurnaceToProto(studio, *e.Furnace)
			m.Etag = etagOf(e.Revision)
			return m
		},
		fromProto: func(m *saggarv1.Furnace) (domain.Equipment, finding.Faults) {
			furnace := convert.FurnaceFromProto(m)
			return domain.Equipment{Kind: domain.KindFurnace, ID: furnace.ID, Furnace: &furnace}, nil
		},
	}
	hoursKind = equipmentKind[*saggarv1.StaffedHours]{
		kind: domain.KindStaffedHours, field: "staffed_hours",
		empty: func() *saggarv1.StaffedHours { return new(saggarv1.StaffedHours) },
		toProto: func(studio string, e domain.Equipment) *saggarv1.StaffedHours {
			m := hoursToProto(*e.Hours)
			m.Name, m.Etag = equipmentName(studio, e), etagOf(e.Revision)
			return m
		},
		fromProto: func(m *saggarv1.StaffedHours) (domain.Equipment, finding.Faults) {
			hours, faults := hoursFromProto(m)
			return domain.Equipment{Kind: domain.KindStaffedHours, ID: hours.ID, Hours: &hours}, faults
		},
	}
	closureKind = equipmentKind[*saggarv1.Closure]{
		kind: domain.KindClosure, field: "closure", empty: func() *saggarv1.Closure { return new(saggarv1.Closure) },
		toProto: func(studio string, e domain.Equipment) *saggarv1.Closure {
			m := closureToProto(*e.Closure)
			m.Name, m.Etag = equipmentName(studio, e), etagOf(e.Revision)
			return m
		},
		fromProto: func(m *saggarv1.Closure) (domain.Equipment, finding.Faults) {
			closure, faults := closureFromProto(m)
			return domain.Equipment{Kind: domain.KindClosure, ID: closure.ID, Closure: &closure}, faults
		},
	}
)
