package rpc

import (
	"context"
	"fmt"
	"time"

	"saggar/chem/finding"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

type firingService struct {
	saggarv1.UnimplementedFiringServiceServer
	app *app.App
}

// GetFiring returns one firing.
func (s *firingService) GetFiring(ctx context.Context, req *saggarv1.GetFiringRequest) (*saggarv1.Firing, error) {
	name, err := parseName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	firing, err := s.app.GetFiring(ctx, name.studio, name.id)
	if err != nil {
		return nil, err
	}
	return firingToProto(name.studio, firing), nil
}

// ListFirings lists firings that overlap a window.
func (s *firingService) ListFirings(ctx context.Context, req *saggarv1.ListFiringsRequest) (*saggarv1.ListFiringsResponse, error) {
	window, err := windowFrom(req.GetStartTime(), req.GetEndTime())
	if err != nil {
		return nil, err
	}
	query := app.FiringsQuery{
		Window: window, FurnaceIDs: req.GetFurnaces(), ShowEnded: req.GetShowEnded(), Limit: pageSize(req) + 1,
		JoinableOnly: req.GetJoinableOnly(),
	}
	if query.AfterStart, query.AfterKey, err = firingPosition(ctx, req); err != nil {
		return nil, err
	}
	studio := studioOf(req.GetParent())
	found, err := s.app.ListFirings(ctx, studio, query)
	if err != nil {
		return nil, err
	}
	page, next := cutPage(ctx, req, found, func(f domain.Firing) *saggarv1.Firing { return firingToProto(studio, f) },
		func(f domain.Firing) string { return fmt.Sprintf("%d %d", f.Window.Start.Unix(), f.Key) })
	return &saggarv1.ListFiringsResponse{Firings: page, NextPageToken: next}, nil
}

// BookFiring books a firing that is open for others.
func (s *firingService) BookFiring(ctx context.Context, req *saggarv1.BookFiringRequest) (*saggarv1.BookFiringResponse, error) {
	studio := studioOf(req.GetParent())
	var faults finding.Faults
	start := req.GetStartTime().AsTime()
	wholeMinute(&faults, "start_time", start)
	if err := faults.Err(); err != nil {
		return nil, err
	}
	result, err := s.app.BookFiring(ctx, callOf(ctx, req), app.BookFiringInput{
		StudioID: studio, Furnace: req.GetFurnace(), Title: req.GetTitle(), Program: *convert.ProgramFromProto(req.GetHeatProgram()),
		Atmosphere: convert.AtmosphereFromProto(req.GetAtmosphere()), OpenBelowCelsius: req.GetOpenBelowCelsius(), Start: start,
		ChargeMinutes: int(req.GetChargeMinutes()), DrawMinutes: int(req.GetDrawMinutes()),
		AttendedBy: req.GetAttendedBy(), Offer: offerFromProto(req.GetOffer()), Acknowledged: req.GetAcknowledgedFindingCodes(),
	})
	if err != nil {
		return nil, err
	}
	return &saggarv1.BookFiringResponse{
		Firing: firingToProto(studio, result.Firing), Findings: convert.FindingsToProto(result.Findings), Assumptions: result.Assumptions,
		Caution: convert.Caution, Revision: int32(result.Revision),
	}, nil
}

// UpdateFiring shares a firing, takes its offer back, or has somebody else attend it.
func (s *firingService) UpdateFiring(ctx context.Context, req *saggarv1.UpdateFiringRequest) (*saggarv1.Firing, error) {
	given := req.GetFiring()
	name, err := parseName("firing.name", given.GetName())
	if err != nil {
		return nil, err
	}
	in := app.UpdateFiringInput{
		StudioID: name.studio, FiringID: name.id, ExpectRevision: revisionOf(given.GetEtag()), Acknowledged: req.GetAcknowledgedFindingCodes(),
	}
	paths, err := maskPaths(given, req.GetUpdateMask())
	if err != nil {
		return nil, err
	}
	for _, path := range paths {
		switch path {
		case "offer":
			in.SetOffer = true
			if given.GetOffer() != nil {
				offer := offerFromProto(given.GetOffer())
				in.Offer = &offer
			}
		case "attended_by":
			in.AttendedBy = given.GetAttendedBy()
		case "name", "etag":
		default:
			return nil, finding.Faults{{
				Field: "update_mask", Message: fmt.Sprintf("%q of a firing is not changed", path), Cure: "name offer, attended_by or both",
			}}
		}
	}
	if !in.SetOffer && in.AttendedBy == "" {
		return nil, finding.Faults{{Field: "update_mask", Message: "nothing is to be otherwise", Cure: "name offer, attended_by or both"}}
	}
	result, err := s.app.UpdateFiring(ctx, callOf(ctx, req), in)
	if err != nil {
		return nil, err
	}
	return firingToProto(name.studio, result.Firing), nil
}

// CancelFiring calls a shared firing off as a whole.
func (s *firingService) CancelFiring(ctx context.Context, req *saggarv1.CancelFiringRequest) (*saggarv1.Firing, error) {
	name, err := parseName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	off, err := s.app.CancelFiring(ctx, callOf(ctx, req), app.CancelFiringInput{
		StudioID: name.studio, FiringID: name.id, ExpectRevision: revisionOf(req.GetEtag()),
	})
	if err != nil {
		return nil, err
	}
	return firingToProto(name.studio, off), nil
}

// firingPosition reads the start and the key in a page token; zero is the start of the list.
func firingPosition(ctx context.Context, req listRequest) (time.Time, int64, error) {
	position, err := pagePosition(ctx, req)
	if err != nil || position == "" {
		return time.Time{}, 0, err
	}
	var seconds, key int64
	if _, err := fmt.Sscanf(position, "%d %d", &seconds, &key); err != nil {
		return time.Time{}, 0, badToken()
	}
	return time.Unix(seconds, 0).UTC(), key, nil
}

// ListOpenings lists when furnaces stand free.
func (s *firingService) ListOpenings(ctx context.Context, req *saggarv1.ListOpeningsRequest) (*saggarv1.ListOpeningsResponse, error) {
	window, err := windowFrom(req.GetStartTime(), req.GetEndTime())
	if err != nil {
		return nil, err
	}
	found, err := s.app.ListOpenings(ctx, app.OpeningsQuery{
		For:      callOf(ctx, req).Caller.ID,
		StudioID: studioOf(req.GetParent()), Window: window, FurnaceIDs: req.GetFurnaces(),
		MinimumMinutes: int(req.GetMinimumMinutes()),
	})
	if err != nil {
		return nil, err
	}
	answer := &saggarv1.ListOpeningsResponse{}
	for _, opening := range found {
		answer.Openings = append(answer.Openings, openingToProto(opening))
	}
	return answer, nil
}
