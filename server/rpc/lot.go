package rpc

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"saggar/chem/finding"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

type lotService struct {
	saggarv1.UnimplementedLotServiceServer
	app   *app.App
	rules *fieldRules
}

// CreateLot puts a lot down.
func (s *lotService) CreateLot(ctx context.Context, req *saggarv1.CreateLotRequest) (*saggarv1.Lot, error) {
	studio := studioOf(req.GetParent())
	if req.GetLot().GetName() != "" {
		if _, faults := within(studio, "lot.name", req.GetLot().GetName()); faults != nil {
			return nil, faults
		}
	}
	created, err := s.app.CreateLot(ctx, callOf(ctx, req), studio, lotFromProto(req.GetLot()))
	if err != nil {
		return nil, mapFields(err, func(path string) string { return under("lot", path) })
	}
	return lotToProto(studio, created), nil
}

// GetLot returns one.
func (s *lotService) GetLot(ctx context.Context, req *saggarv1.GetLotRequest) (*saggarv1.Lot, error) {
	name, err := parseName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	found, err := s.app.GetLot(ctx, name.studio, name.id)
	if err != nil {
		return nil, err
	}
	return lotToProto(name.studio, found), nil
}

// ListLots lists lots by name.
func (s *lotService) ListLots(ctx context.Context, req *saggarv1.ListLotsRequest) (*saggarv1.ListLotsResponse, error) {
	after, err := pagePosition(ctx, req)
	if err != nil {
		return nil, err
	}
	studio := studioOf(req.GetParent())
	found, err := s.app.ListLots(ctx, studio, app.LotsQuery{
		Department: req.GetDepartment(), Material: req.GetMaterial(), FromRun: req.GetFromRun(), LowStock: req.GetLowStock(),
		ShowEmpty: req.GetShowEmpty(), Page: app.Page{After: after, Limit: pageSize(req) + 1},
	})
	if err != nil {
		return nil, err
	}
	page, next := cutPage(ctx, req, found, func(l app.SeenLot) *saggarv1.Lot { return lotToProto(studio, l) },
		func(l app.SeenLot) string { return l.ID })
	return &saggarv1.ListLotsResponse{Lots: page, NextPageToken: next}, nil
}

// UpdateLot changes what is said of a lot.
func (s *lotService) UpdateLot(ctx context.Context, req *saggarv1.UpdateLotRequest) (*saggarv1.Lot, error) {
	given := req.GetLot()
	name, err := parseName("lot.name", given.GetName())
	if err != nil {
		return nil, err
	}
	present, err := s.GetLot(ctx, &saggarv1.GetLotRequest{Name: given.GetName()})
	if err != nil {
		return nil, err
	}
	merged, err := merge(present, given, req.GetUpdateMask())
	if err != nil {
		return nil, err
	}
	if err := s.rules.contract(merged).Err(); err != nil {
		return nil, underField("lot", name.id, err)
	}
	expect := revisionOf(given.GetEtag())
	if expect == 0 {
		expect = revisionOf(present.GetEtag())
	}
	changed, err := s.app.UpdateLot(ctx, callOf(ctx, req), name.studio, lotFromProto(merged.(*saggarv1.Lot)), expect)
	if err != nil {
		return nil, mapFields(err, func(path string) string { return under("lot", path) })
	}
	return lotToProto(name.studio, changed), nil
}

// massRequest is a request to change a lot's mass.
type massRequest interface {
	named
	GetMassGrams() float64
	GetReason() string
	GetEtag() string
}

// lotMass is what a request asks of which lot.
func lotMass(req massRequest) (app.LotMass, error) {
	name, err := parseName("name", req.GetName())
	return app.LotMass{
		StudioID: name.studio, LotID: name.id, Grams: req.GetMassGrams(), Reason: req.GetReason(), ExpectRevision: revisionOf(req.GetEtag()),
	}, err
}

// TakeLot takes some.
func (s *lotService) TakeLot(ctx context.Context, req *saggarv1.TakeLotRequest) (*saggarv1.Lot, error) {
	asked, err := lotMass(req)
	if err != nil {
		return nil, err
	}
	run, stage, err := loadNamed(asked.StudioID, req.GetLoad())
	if err != nil {
		return nil, err
	}
	return s.changed(asked, func() (app.SeenLot, error) { return s.app.TakeLot(ctx, callOf(ctx, req), asked, run, stage) })
}

// loadNamed reads the name of a load of the studio; empty names none.
func loadNamed(studio, name string) (run, stage string, err error) {
	if name == "" {
		return "", "", nil
	}
	parts := strings.Split(name, "/") // of the form that the field rules let pass
	if parts[1] != studio {
		return "", "", finding.Faults{{
			Field: "load", Message: fmt.Sprintf("%s belongs to another studio than %s", name, studioName(studio)),
			Cure: "name resources of one studio in one request",
		}}
	}
	return parts[3], parts[5], nil
}

// ReturnLot puts some back.
func (s *lotService) ReturnLot(ctx context.Context, req *saggarv1.ReturnLotRequest) (*saggarv1.Lot, error) {
	asked, err := lotMass(req)
	if err != nil {
		return nil, err
	}
	return s.changed(asked, func() (app.SeenLot, error) { return s.app.ReturnLot(ctx, callOf(ctx, req), asked) })
}

// WeighLot notes what is at hand.
func (s *lotService) WeighLot(ctx context.Context, req *saggarv1.WeighLotRequest) (*saggarv1.Lot, error) {
	asked, err := lotMass(req)
	if err != nil {
		return nil, err
	}
	found := app.Weighing{MoistureFraction: req.MoistureFraction, DriedOn: req.GetDriedOn()}
	return s.changed(asked, func() (app.SeenLot, error) { return s.app.WeighLot(ctx, callOf(ctx, req), asked, found) })
}

func (s *lotService) changed(asked app.LotMass, change func() (app.SeenLot, error)) (*saggarv1.Lot, error) {
	lot, err := change()
	if err != nil {
		return nil, err
	}
	return lotToProto(asked.StudioID, lot), nil
}

// ListLotEntries lists what happened to lots, newest first.
func (s *lotService) ListLotEntries(ctx context.Context, req *saggarv1.ListLotEntriesRequest) (*saggarv1.ListLotEntriesResponse, error) {
	position, err := pagePosition(ctx, req)
	if err != nil {
		return nil, err
	}
	query := app.LotEntriesQuery{Lot: req.GetLot(), Limit: pageSize(req) + 1}
	if position != "" {
		revision, key, _ := strings.Cut(position, "-")
		var errs [2]error
		query.BeforeRevision, errs[0] = strconv.ParseInt(revision, 36, 64)
		query.BeforeKey, errs[1] = strconv.ParseInt(key, 36, 64)
		if errs[0] != nil || errs[1] != nil {
			return nil, badToken()
		}
	}
	studio := studioOf(req.GetParent())
	found, err := s.app.ListLotEntries(ctx, studio, query)
	if err != nil {
		return nil, err
	}
	page, next := cutPage(ctx, req, found, func(e domain.LotEntry) *saggarv1.LotEntry { return lotEntryToProto(studio, e) },
		func(e domain.LotEntry) string {
			return strconv.FormatInt(e.Revision, 36) + "-" + strconv.FormatInt(e.LotKey, 36)
		})
	return &saggarv1.ListLotEntriesResponse{LotEntries: page, NextPageToken: next}, nil
}
