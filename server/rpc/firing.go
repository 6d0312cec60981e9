package rpc

import (
	"context"
	"fmt"
	"time"

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
