package rpc

import (
	"context"
	"strconv"
	"time"

	"google.golang.org/protobuf/types/known/emptypb"

	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

type timeRequestService struct {
	saggarv1.UnimplementedTimeRequestServiceServer
	app *app.App
}

const kindTimeRequests = "timeRequests"

// CreateTimeRequest asks for time that may fall free.
func (s *timeRequestService) CreateTimeRequest(
	ctx context.Context, req *saggarv1.CreateTimeRequestRequest,
) (*saggarv1.TimeRequest, error) {
	m, studio := req.GetTimeRequest(), studioOf(req.GetParent())
	asked, err := s.app.CreateTimeRequest(ctx, callOf(ctx, req), studio, domain.TimeRequest{
		Department: m.GetDepartment(), Furnaces: m.GetFurnaces(), LeastMinutes: int(m.GetLeastMinutes()), Note: m.GetNote(),
		// Narrowed to whole minutes, so that nothing is offered that was not asked for.
		Window: domain.Window{Start: ceilMinute(m.GetStartTime().AsTime()), End: m.GetEndTime().AsTime().Truncate(time.Minute)},
	})
	if err != nil {
		return nil, underField("time_request", "", err)
	}
	return timeRequestToProto(studio, asked), nil
}

// GetTimeRequest returns one.
func (s *timeRequestService) GetTimeRequest(ctx context.Context, req *saggarv1.GetTimeRequestRequest) (*saggarv1.TimeRequest, error) {
	studio := studioIn(req.GetName())
	found, err := s.app.GetTimeRequest(ctx, callOf(ctx, req), studio, convert.ID(req.GetName()))
	if err != nil {
		return nil, err
	}
	return timeRequestToProto(studio, found), nil
}

// ListTimeRequests lists those that the caller may see.
func (s *timeRequestService) ListTimeRequests(
	ctx context.Context, req *saggarv1.ListTimeRequestsRequest,
) (*saggarv1.ListTimeRequestsResponse, error) {
	after, err := keyPosition(ctx, req)
	if err != nil {
		return nil, err
	}
	studio := studioOf(req.GetParent())
	found, err := s.app.ListTimeRequests(ctx, callOf(ctx, req), app.TimeRequestsQuery{
		StudioID: studio, AfterRevision: after, ShowEnded: req.GetShowEnded(), Limit: pageSize(req) + 1,
	})
	if err != nil {
		return nil, err
	}
	page, next := cutPage(ctx, req, found, func(r domain.TimeRequest) *saggarv1.TimeRequest { return timeRequestToProto(studio, r) },
		func(r domain.TimeRequest) string { return strconv.FormatInt(r.AskedRevision, 36) })
	return &saggarv1.ListTimeRequestsResponse{TimeRequests: page, NextPageToken: next}, nil
}

// DeleteTimeRequest withdraws one.
func (s *timeRequestService) DeleteTimeRequest(ctx context.Context, req *saggarv1.DeleteTimeRequestRequest) (*emptypb.Empty, error) {
	err := s.app.WithdrawTimeRequest(ctx, callOf(ctx, req), studioIn(req.GetName()), convert.ID(req.GetName()), revisionOf(req.GetEtag()))
	return &emptypb.Empty{}, err
}

// DeclineTimeOffer lets what one is offered go to the next.
func (s *timeRequestService) DeclineTimeOffer(ctx context.Context, req *saggarv1.DeclineTimeOfferRequest) (*saggarv1.TimeRequest, error) {
	studio := studioIn(req.GetName())
	declined, err := s.app.DeclineTimeOffer(ctx, callOf(ctx, req), studio, convert.ID(req.GetName()), revisionOf(req.GetEtag()))
	if err != nil {
		return nil, err
	}
	return timeRequestToProto(studio, declined), nil
}

var timeRequestStates = newEnumTable(map[saggarv1.TimeRequestState]domain.TimeRequestState{
	saggarv1.TimeRequestState_TIME_REQUEST_STATE_WAITING:   domain.TimeWaiting,
	saggarv1.TimeRequestState_TIME_REQUEST_STATE_OFFERED:   domain.TimeOffered,
	saggarv1.TimeRequestState_TIME_REQUEST_STATE_TAKEN:     domain.TimeTaken,
	saggarv1.TimeRequestState_TIME_REQUEST_STATE_WITHDRAWN: domain.TimeWithdrawn,
	saggarv1.TimeRequestState_TIME_REQUEST_STATE_PASSED:    domain.TimePassed,
})

func timeRequestToProto(studio string, r domain.TimeRequest) *saggarv1.TimeRequest {
	return &saggarv1.TimeRequest{
		Name: convert.Name(studio, kindTimeRequests, r.ID()), Furnaces: r.Furnaces, StartTime: instant(r.Window.Start),
		EndTime: instant(r.Window.End), LeastMinutes: int32(r.LeastMinutes), Department: r.Department, Note: r.Note, Asker: r.Asker,
		State: timeRequestStates.toProto(r.State), Offer: timeOfferToProto(r.Offer), Run: r.Run, CreateTime: instant(r.CreateTime),
		Etag: etagOf(r.Revision),
	}
}

func timeOfferToProto(o *domain.TimeOffer) *saggarv1.TimeOffer {
	if o == nil {
		return nil
	}
	return &saggarv1.TimeOffer{
		Furnace: o.Furnace, StartTime: instant(o.Window.Start), EndTime: instant(o.Window.End), ExpireTime: instant(o.ExpireTime),
	}
}
