package rpc

import (
	"context"
	"fmt"
	"strings"

	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/chem/finding"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

// GetVessel returns one vessel or set.
func (s *equipmentService) GetVessel(ctx context.Context, req *saggarv1.GetVesselRequest) (*saggarv1.MarkedVessel, error) {
	return getEquipment(ctx, s, vesselKind, req.GetName())
}

// ListVessels lists vessels by name.
func (s *equipmentService) ListVessels(ctx context.Context, req *saggarv1.ListVesselsRequest) (*saggarv1.ListVesselsResponse, error) {
	page, next, err := listEquipment(ctx, s, vesselKind, req)
	if err != nil {
		return nil, err
	}
	return &saggarv1.ListVesselsResponse{Vessels: page, NextPageToken: next}, nil
}

// UpdateVessel changes a vessel, or creates it with allow_missing.
func (s *equipmentService) UpdateVessel(ctx context.Context, req *saggarv1.UpdateVesselRequest) (*saggarv1.MarkedVessel, error) {
	return updateEquipment(ctx, s, vesselKind, req, req.GetVessel())
}

// DeleteVessel deletes a vessel that no run ever had.
func (s *equipmentService) DeleteVessel(ctx context.Context, req *saggarv1.DeleteVesselRequest) (*emptypb.Empty, error) {
	return deleteEquipment(ctx, s, domain.KindVessel, req)
}

// GetGear returns one piece of gear.
func (s *equipmentService) GetGear(ctx context.Context, req *saggarv1.GetGearRequest) (*saggarv1.Gear, error) {
	return getEquipment(ctx, s, gearKind, req.GetName())
}

// ListGear lists gear by name.
func (s *equipmentService) ListGear(ctx context.Context, req *saggarv1.ListGearRequest) (*saggarv1.ListGearResponse, error) {
	page, next, err := listEquipment(ctx, s, gearKind, req)
	if err != nil {
		return nil, err
	}
	return &saggarv1.ListGearResponse{Gear: page, NextPageToken: next}, nil
}

// UpdateGear changes gear, or creates it with allow_missing.
func (s *equipmentService) UpdateGear(ctx context.Context, req *saggarv1.UpdateGearRequest) (*saggarv1.Gear, error) {
	return updateEquipment(ctx, s, gearKind, req, req.GetGear())
}

// DeleteGear deletes gear that no run ever had.
func (s *equipmentService) DeleteGear(ctx context.Context, req *saggarv1.DeleteGearRequest) (*emptypb.Empty, error) {
	return deleteEquipment(ctx, s, domain.KindGear, req)
}

// ListHolds lists which runs have what, by start.
func (s *equipmentService) ListHolds(ctx context.Context, req *saggarv1.ListHoldsRequest) (*saggarv1.ListHoldsResponse, error) {
	kind, id, _ := strings.Cut(req.GetSubject(), "/")
	query := app.HoldsQuery{Kind: domain.EquipmentKind(kind), ID: id, Limit: pageSize(req) + 1}
	if req.GetStartTime() != nil {
		query.EndsAfter = req.GetStartTime().AsTime()
	}
	var err error
	if query.AfterStart, query.AfterKey, err = firingPosition(ctx, req); err != nil {
		return nil, err
	}
	studio := studioOf(req.GetParent())
	found, err := s.app.ListHolds(ctx, studio, query)
	if err != nil {
		return nil, err
	}
	page, next := cutPage(ctx, req, found, func(h domain.BookedHold) *saggarv1.Hold { return holdToProto(studio, h) },
		func(h domain.BookedHold) string { return fmt.Sprintf("%d %d", h.Window.Start.Unix(), h.Key) })
	return &saggarv1.ListHoldsResponse{Holds: page, NextPageToken: next}, nil
}

var (
	vesselKind = equipmentKind[*saggarv1.MarkedVessel]{
		kind: domain.KindVessel, field: "vessel", empty: func() *saggarv1.MarkedVessel { return new(saggarv1.MarkedVessel) },
		toProto: func(studio string, e domain.Equipment) *saggarv1.MarkedVessel {
			m := vesselToProto(*e.Vessel)
			m.Name, m.Etag = equipmentName(studio, e), etagOf(e.Revision)
			return m
		},
		fromProto: func(m *saggarv1.MarkedVessel) (domain.Equipment, finding.Faults) {
			vessel := vesselFromProto(m)
			return domain.Equipment{Kind: domain.KindVessel, ID: vessel.ID, Vessel: &vessel}, nil
		},
	}
	gearKind = equipmentKind[*saggarv1.Gear]{
		kind: domain.KindGear, field: "gear", empty: func() *saggarv1.Gear { return new(saggarv1.Gear) },
		toProto: func(studio string, e domain.Equipment) *saggarv1.Gear {
			m := gearToProto(*e.Gear)
			m.Name, m.Etag = equipmentName(studio, e), etagOf(e.Revision)
			return m
		},
		fromProto: func(m *saggarv1.Gear) (domain.Equipment, finding.Faults) {
			gear := gearFromProto(m)
			return domain.Equipment{Kind: domain.KindGear, ID: gear.ID, Gear: &gear}, nil
		},
	}
)

func vesselToProto(v domain.Vessel) *saggarv1.MarkedVessel {
	return &saggarv1.MarkedVessel{
		Title: v.Title, Mark: v.Mark, Kind: convert.VesselKindToProto(v.Kind), Count: int32(v.Items()), VolumeLiters: v.VolumeLiters,
		MassGrams: v.MassGrams, Material: v.Material, TopCelsius: v.TopCelsius, Lid: convert.LidToProto(v.Lid),
		DiameterMillimeters: v.DiameterMillimeters, HeightMillimeters: v.HeightMillimeters, InspectedOn: v.InspectedOn,
		InspectionDays: int32(v.InspectionDays), Department: v.Department, Shared: v.Shared, Held: v.Held, HeldTime: instant(v.HeldTime),
		OutOfUse: v.OutOfUse, NowHeld: v.NowHeld,
	}
}

func vesselFromProto(m *saggarv1.MarkedVessel) domain.Vessel {
	v := domain.Vessel{
		ID: convert.ID(m.GetName()), Title: m.GetTitle(), Mark: m.GetMark(), Kind: convert.VesselKindFromProto(m.GetKind()),
		Count: max(int(m.GetCount()), 1), VolumeLiters: m.GetVolumeLiters(), MassGrams: m.GetMassGrams(), Material: m.GetMaterial(),
		TopCelsius: m.GetTopCelsius(), DiameterMillimeters: m.GetDiameterMillimeters(), HeightMillimeters: m.GetHeightMillimeters(),
		InspectedOn: m.GetInspectedOn(), InspectionDays: int(m.GetInspectionDays()), Department: m.GetDepartment(), Shared: m.GetShared(),
		Held: m.GetHeld(), OutOfUse: m.GetOutOfUse(),
	}
	if m.GetLid() != saggarv1.Lid_LID_UNSPECIFIED {
		v.Lid = convert.LidFromProto(m.GetLid())
	}
	if m.GetHeldTime() != nil {
		v.HeldTime = m.GetHeldTime().AsTime()
	}
	return v
}

func gearToProto(g domain.Gear) *saggarv1.Gear {
	return &saggarv1.Gear{
		Title: g.Title, Kind: gearKinds.toProto(g.Kind), RespiratorClass: g.Class, Count: int32(g.Items()), FittedTo: g.FittedTo,
		CartridgeGases: g.CartridgeGases, CartridgeHours: g.CartridgeHours, UsedHours: g.UsedHours, UsedTime: instant(g.UsedTime),
		InstalledOn: g.InstalledOn, OutOfUse: g.OutOfUse, SpentHours: g.SpentHours, BookedHours: g.BookedHours,
	}
}

func gearFromProto(m *saggarv1.Gear) domain.Gear {
	g := domain.Gear{
		ID: convert.ID(m.GetName()), Title: m.GetTitle(), Kind: gearKinds.fromProto(m.GetKind()), Class: m.GetRespiratorClass(),
		Count: max(int(m.GetCount()), 1), FittedTo: m.GetFittedTo(), CartridgeGases: m.GetCartridgeGases(),
		CartridgeHours: m.GetCartridgeHours(), UsedHours: m.GetUsedHours(), InstalledOn: m.GetInstalledOn(), OutOfUse: m.GetOutOfUse(),
	}
	if m.GetUsedTime() != nil {
		g.UsedTime = m.GetUsedTime().AsTime()
	}
	return g
}

func holdToProto(studio string, h domain.BookedHold) *saggarv1.Hold {
	return &saggarv1.Hold{
		Subject: h.Subject(), Count: int32(h.Count), Run: convert.Name(studio, kindRuns, h.RunID), Stage: h.Stage,
		StartTime: timestamppb.New(h.Window.Start), EndTime: timestamppb.New(h.Window.End), Leaves: h.Leaves,
	}
}

func vesselUsesFromProto(messages []*saggarv1.VesselUse) []domain.VesselUse {
	var uses []domain.VesselUse
	for _, m := range messages {
		uses = append(uses, domain.VesselUse{Vessel: m.GetVessel(), Count: max(int(m.GetCount()), 1)})
	}
	return uses
}

func vesselUsesToProto(uses []domain.VesselUse) []*saggarv1.VesselUse {
	var messages []*saggarv1.VesselUse
	for _, use := range uses {
		messages = append(messages, &saggarv1.VesselUse{Vessel: use.Vessel, Count: int32(use.Items()), Mark: use.Mark})
	}
	return messages
}
