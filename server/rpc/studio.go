package rpc

import (
	"context"

	"saggar/chem/finding"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

type studioService struct {
	saggarv1.UnimplementedStudioServiceServer
	app   *app.App
	rules *fieldRules
}

// LoadStudio creates or replaces everything in the request, all or nothing.
func (s *studioService) LoadStudio(ctx context.Context, req *saggarv1.LoadStudioRequest) (*saggarv1.LoadStudioResponse, error) {
	input, faults := loadInput(req)
	if err := faults.Err(); err != nil {
		return nil, err
	}
	result, err := s.app.LoadStudio(ctx, callOf(ctx, req), input)
	if err != nil {
		return nil, underContents("contents", req.GetContents(), err)
	}
	return &saggarv1.LoadStudioResponse{
		Studio: studioToProto(result.Studio), CreatedCount: int32(result.CreatedCount),
		UpdatedCount: int32(result.UpdatedCount), UnchangedCount: int32(result.UnchangedCount),
	}, nil
}

// GetStudio returns one studio.
func (s *studioService) GetStudio(ctx context.Context, req *saggarv1.GetStudioRequest) (*saggarv1.Studio, error) {
	studio, err := s.app.GetStudio(ctx, studioOf(req.GetName()))
	if err != nil {
		return nil, err
	}
	return studioToProto(studio), nil
}

// ListStudios lists studios by name.
func (s *studioService) ListStudios(ctx context.Context, req *saggarv1.ListStudiosRequest) (*saggarv1.ListStudiosResponse, error) {
	after, err := pagePosition(ctx, req)
	if err != nil {
		return nil, err
	}
	found, err := s.app.ListStudios(ctx, requestOf(ctx).who, app.Page{After: after, Limit: pageSize(req) + 1})
	if err != nil {
		return nil, err
	}
	page, next := cutPage(ctx, req, found, studioToProto, func(s domain.Studio) string { return s.ID })
	return &saggarv1.ListStudiosResponse{Studios: page, NextPageToken: next}, nil
}

// UpdateStudio changes a studio's own fields.
func (s *studioService) UpdateStudio(ctx context.Context, req *saggarv1.UpdateStudioRequest) (*saggarv1.Studio, error) {
	const field = "studio"
	given := req.GetStudio()
	if given.GetName() == "" {
		return nil, finding.Faults{{Field: field + ".name", Message: "is missing", Cure: "give studios/{studio}"}}
	}
	present, err := s.app.GetStudio(ctx, studioOf(given.GetName()))
	if err != nil {
		return nil, err
	}
	merged, err := merge(studioToProto(present), given, req.GetUpdateMask())
	if err != nil {
		return nil, err
	}
	if faults := s.rules.contract(merged); faults != nil {
		return nil, underField(field, present.ID, faults)
	}
	expect := revisionOf(given.GetEtag())
	if expect == 0 {
		expect = present.OwnRevision
	}
	changed, err := s.app.UpdateStudio(ctx, callOf(ctx, req), studioFromProto(merged.(*saggarv1.Studio)), expect)
	if err != nil {
		return nil, underField(field, present.ID, err)
	}
	return studioToProto(changed), nil
}

// loadInput converts what is to be loaded; faults carry paths into the request.
func loadInput(req *saggarv1.LoadStudioRequest) (app.LoadStudioInput, finding.Faults) {
	id, contents := studioOf(req.GetName()), req.GetContents()
	input := app.LoadStudioInput{StudioID: id}
	var faults finding.Faults
	if studio := contents.GetStudio(); studio != nil {
		if studio.GetName() != req.GetName() {
			faults.Add("contents.studio.name", studio.GetName()+" is another studio than "+req.GetName(), "name the same one")
		}
		converted := studioFromProto(studio)
		input.Studio = &converted
	}
	l := loader{studio: id, input: &input, faults: &faults}
	loadEquipment(l, "rooms", contents.GetRooms(), roomKind)
	loadEquipment(l, "extraction_circuits", contents.GetExtractionCircuits(), circuitKind)
	loadEquipment(l, "supplies", contents.GetSupplies(), supplyKind)
	loadEquipment(l, "furnaces", contents.GetFurnaces(), furnaceKind)
	loadEquipment(l, "staffed_hours", contents.GetStaffedHours(), hoursKind)
	loadEquipment(l, "closures", contents.GetClosures(), closureKind)
	loadEquipment(l, "vessels", contents.GetVessels(), vesselKind)
	loadEquipment(l, "gear", contents.GetGear(), gearKind)
	input.Materials = loadVersioned(l, "materials", contents.GetMaterials(), convert.MaterialFromProto)
	input.Recipes = loadVersioned(l, "recipes", contents.GetRecipes(), convert.RecipeFromProto)
	loadRules(l, "allotments", contents.GetAllotments(), allotments)
	loadRules(l, "taught_hours", contents.GetTaughtHours(), taughtHours)
	loadRules(l, "booking_limits", contents.GetBookingLimits(), bookingLimits)
	// Last, since they name allotments.
	loadRules(l, "clearance_rules", contents.GetClearanceRules(), clearanceRules)
	return input, faults
}

// loader gathers what a load is made of.
type loader struct {
	studio string
	input  *app.LoadStudioInput
	faults *finding.Faults
}

func loadEquipment[M resource](l loader, list string, messages []M, kind equipmentKind[M]) {
	for i, m := range messages {
		path := listPath("contents."+list, i)
		if _, faults := within(l.studio, path+".name", m.GetName()); faults != nil {
			*l.faults = append(*l.faults, faults...)
			continue
		}
		equipment, faults := kind.fromProto(m)
		l.faults.AddUnder(path, faults)
		l.input.Equipment = append(l.input.Equipment, equipment)
	}
}

func loadVersioned[M named, T any](l loader, list string, messages []M, fromProto func(M) T) []T {
	converted := make([]T, 0, len(messages))
	for i, m := range messages {
		_, faults := within(l.studio, listPath("contents."+list, i)+".name", m.GetName())
		*l.faults = append(*l.faults, faults...)
		converted = append(converted, fromProto(m))
	}
	return converted
}
