package rpc

import (
	"context"
	"errors"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"saggar/chem/finding"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

type equipmentService struct {
	saggarv1.UnimplementedEquipmentServiceServer
	app   *app.App
	rules *fieldRules
}

// resource is a message that is an equipment resource.
type resource interface {
	named
	GetEtag() string
}

// equipmentKind is what one kind of equipment differs by from the others.
type equipmentKind[M resource] struct {
	kind      domain.EquipmentKind
	field     string // in the request of its Update method
	empty     func() M
	toProto   func(studio string, e domain.Equipment) M
	fromProto func(m M) (domain.Equipment, finding.Faults)
}

// updateRequest is the request of an Update method.
type updateRequest interface {
	proto.Message
	GetUpdateMask() *fieldmaskpb.FieldMask
	GetAllowMissing() bool
}

func getEquipment[M resource](ctx context.Context, s *equipmentService, kind equipmentKind[M], name string) (M, error) {
	var none M
	parsed, err := parseName("name", name)
	if err != nil {
		return none, err
	}
	found, err := s.app.GetEquipment(ctx, parsed.studio, kind.kind, parsed.id)
	if err != nil {
		return none, err
	}
	return kind.toProto(parsed.studio, found), nil
}

func listEquipment[M resource](ctx context.Context, s *equipmentService, kind equipmentKind[M], req parentListRequest) ([]M, string, error) {
	after, err := pagePosition(ctx, req)
	if err != nil {
		return nil, "", err
	}
	studio := studioOf(req.GetParent())
	found, err := s.app.ListEquipment(ctx, studio, kind.kind, app.Page{After: after, Limit: pageSize(req) + 1})
	if err != nil {
		return nil, "", err
	}
	page, next := cutPage(ctx, req, found, func(e domain.Equipment) M { return kind.toProto(studio, e) },
		func(e domain.Equipment) string { return e.ID })
	return page, next, nil
}

// updateEquipment merges what is given into what stands and saves it, if nobody changed it in between.
func updateEquipment[M resource](ctx context.Context, s *equipmentService, kind equipmentKind[M], req updateRequest, given M) (M, error) {
	var none M
	name, err := parseName(kind.field+".name", given.GetName())
	if err != nil {
		return none, err
	}
	merged, expect, err := mergeEquipment(ctx, s, kind, req, given)
	if err != nil {
		return none, err
	}
	if faults := s.rules.contract(merged); faults != nil {
		return none, underField(kind.field, name.id, faults)
	}
	equipment, faults := kind.fromProto(merged)
	if faults != nil {
		return none, underField(kind.field, name.id, faults)
	}
	changed, err := s.app.UpdateEquipment(ctx, callOf(ctx, req), app.EquipmentUpdate{
		StudioID: name.studio, Equipment: equipment, ExpectRevision: expect, AllowMissing: req.GetAllowMissing(),
	})
	if err != nil {
		return none, underField(kind.field, name.id, err)
	}
	return kind.toProto(name.studio, changed), nil
}

// mergeEquipment returns the resource as it shall be, and the revision at which it must still stand. What does not stand
// yet and may be missing is taken as it is given.
func mergeEquipment[M resource](ctx context.Context, s *equipmentService, kind equipmentKind[M], req updateRequest, given M) (M, int64, error) {
	var none M
	present, err := getEquipment(ctx, s, kind, given.GetName())
	mask, expect := req.GetUpdateMask(), revisionOf(given.GetEtag())
	switch {
	case errors.Is(err, domain.ErrNotFound) && req.GetAllowMissing():
		present, mask = kind.empty(), nil
		setName(present, given.GetName())
	case err != nil:
		return none, 0, err
	case expect == 0:
		expect = revisionOf(present.GetEtag())
	}
	merged, err := merge(present, given, mask)
	if err != nil {
		return none, 0, err
	}
	return merged.(M), expect, nil
}

func setName(m proto.Message, name string) {
	reflected := m.ProtoReflect()
	reflected.Set(reflected.Descriptor().Fields().ByName("name"), protoreflect.ValueOfString(name))
}

// GetRoom returns one room.
func (s *equipmentService) GetRoom(ctx context.Context, req *saggarv1.GetRoomRequest) (*saggarv1.Room, error) {
	return getEquipment(ctx, s, roomKind, req.GetName())
}

// ListRooms lists rooms by name.
func (s *equipmentService) ListRooms(ctx context.Context, req *saggarv1.ListRoomsRequest) (*saggarv1.ListRoomsResponse, error) {
	page, next, err := listEquipment(ctx, s, roomKind, req)
	if err != nil {
		return nil, err
	}
	return &saggarv1.ListRoomsResponse{Rooms: page, NextPageToken: next}, nil
}

// UpdateRoom changes a room, or creates it with allow_missing.
func (s *equipmentService) UpdateRoom(ctx context.Context, req *saggarv1.UpdateRoomRequest) (*saggarv1.Room, error) {
	return updateEquipment(ctx, s, roomKind, req, req.GetRoom())
}

// GetExtractionCircuit returns one extraction circuit.
func (s *equipmentService) GetExtractionCircuit(ctx context.Context, req *saggarv1.GetExtractionCircuitRequest) (*saggarv1.ExtractionCircuit, error) {
	return getEquipment(ctx, s, circuitKind, req.GetName())
}

// ListExtractionCircuits lists extraction circuits by name.
func (s *equipmentService) ListExtractionCircuits(ctx context.Context, req *saggarv1.ListExtractionCircuitsRequest) (*saggarv1.ListExtractionCircuitsResponse, error) {
	page, next, err := listEquipment(ctx, s, circuitKind, req)
	if err != nil {
		return nil, err
	}
	return &saggarv1.ListExtractionCircuitsResponse{ExtractionCircuits: page, NextPageToken: next}, nil
}

// UpdateExtractionCircuit changes an extraction circuit, or creates it with allow_missing.
func (s *equipmentService) UpdateExtractionCircuit(ctx context.Context, req *saggarv1.UpdateExtractionCircuitRequest) (*saggarv1.ExtractionCircuit, error) {
	return updateEquipment(ctx, s, circuitKind, req, req.GetExtractionCircuit())
}

// GetSupply returns one supply.
func (s *equipmentService) GetSupply(ctx context.Context, req *saggarv1.GetSupplyRequest) (*saggarv1.Supply, error) {
	return getEquipment(ctx, s, supplyKind, req.GetName())
}

// ListSupplies lists supplies by name.
func (s *equipmentService) ListSupplies(ctx context.Context, req *saggarv1.ListSuppliesRequest) (*saggarv1.ListSuppliesResponse, error) {
	page, next, err := listEquipment(ctx, s, supplyKind, req)
	if err != nil {
		return nil, err
	}
	return &saggarv1.ListSuppliesResponse{Supplies: page, NextPageToken: next}, nil
}

// UpdateSupply changes a supply, or creates it with allow_missing.
func (s *equipmentService) UpdateSupply(ctx context.Context, req *saggarv1.UpdateSupplyRequest) (*saggarv1.Supply, error) {
	return updateEquipment(ctx, s, supplyKind, req, req.GetSupply())
}

// GetFurnace returns one furnace.
func (s *equipmentService) GetFurnace(ctx context.Context, req *saggarv1.GetFurnaceRequest) (*saggarv1.Furnace, error) {
	return getEquipment(ctx, s, furnaceKind, req.GetName())
}

// ListFurnaces lists furnaces and stations by name.
func (s *equipmentService) ListFurnaces(ctx context.Context, req *saggarv1.ListFurnacesRequest) (*saggarv1.ListFurnacesResponse, error) {
	page, next, err := listEquipment(ctx, s, furnaceKind, req)
	if err != nil {
		return nil, err
	}
	return &saggarv1.ListFurnacesResponse{Furnaces: page, NextPageToken: next}, nil
}

// UpdateFurnace changes a furnace, or creates it with allow_missing.
func (s *equipmentService) UpdateFurnace(ctx context.Context, req *saggarv1.UpdateFurnaceRequest) (*saggarv1.Furnace, error) {
	return updateEquipment(ctx, s, furnaceKind, req, req.GetFurnace())
}

// GetStaffedHours returns the staffed hours of a room.
func (s *equipmentService) GetStaffedHours(ctx context.Context, req *saggarv1.GetStaffedHoursRequest) (*saggarv1.StaffedHours, error) {
	return getEquipment(ctx, s, hoursKind, req.GetName())
}

// ListStaffedHours lists staffed hours by name.
func (s *equipmentService) ListStaffedHours(ctx context.Context, req *saggarv1.ListStaffedHoursRequest) (*saggarv1.ListStaffedHoursResponse, error) {
	page, next, err := listEquipment(ctx, s, hoursKind, req)
	if err != nil {
		return nil, err
	}
	return &saggarv1.ListStaffedHoursResponse{StaffedHours: page, NextPageToken: next}, nil
}

// UpdateStaffedHours changes the staffed hours of a room, or creates it with allow_missing.
func (s *equipmentService) UpdateStaffedHours(ctx context.Context, req *saggarv1.UpdateStaffedHoursRequest) (*saggarv1.StaffedHours, error) {
	return updateEquipment(ctx, s, hoursKind, req, req.GetStaffedHours())
}

// GetClosure returns one closure.
func (s *equipmentService) GetClosure(ctx context.Context, req *saggarv1.GetClosureRequest) (*saggarv1.Closure, error) {
	return getEquipment(ctx, s, closureKind, req.GetName())
}

// ListClosures lists closures by name.
func (s *equipmentService) ListClosures(ctx context.Context, req *saggarv1.ListClosuresRequest) (*saggarv1.ListClosuresResponse, error) {
	page, next, err := listEquipment(ctx, s, closureKind, req)
	if err != nil {
		return nil, err
	}
	return &saggarv1.ListClosuresResponse{Closures: page, NextPageToken: next}, nil
}

// UpdateClosure changes a closure, or creates it with allow_missing.
func (s *equipmentService) UpdateClosure(ctx context.Context, req *saggarv1.UpdateClosureRequest) (*saggarv1.Closure, error) {
	return updateEquipment(ctx, s, closureKind, req, req.GetClosure())
}

// DeleteClosure opens again what was closed.
func (s *equipmentService) DeleteClosure(ctx context.Context, req *saggarv1.DeleteClosureRequest) (*emptypb.Empty, error) {
	return deleteEquipment(ctx, s, domain.KindClosure, req)
}

func deleteEquipment(ctx context.Context, s *equipmentService, kind domain.EquipmentKind, req deleteRequest) (*emptypb.Empty, error) {
	name, err := parseName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	err = s.app.DeleteEquipment(ctx, callOf(ctx, req), app.EquipmentUpdate{
		StudioID: name.studio, Equipment: domain.Equipment{Kind: kind, ID: name.id}, ExpectRevision: revisionOf(req.GetEtag()),
	})
	if err != nil {
		return nil, err
	}
	return &emptypb.Empty{}, nil
}
