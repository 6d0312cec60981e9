package rpc

import (
	"context"

	"google.golang.org/grpc"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

type watchService struct {
	saggarv1.UnimplementedWatchServiceServer
	app *app.App
}

// WatchStudio streams a studio's changes.
func (s *watchService) WatchStudio(
	req *saggarv1.WatchStudioRequest, stream grpc.ServerStreamingServer[saggarv1.WatchStudioResponse],
) error {
	in := app.WatchInput{StudioID: studioOf(req.GetName()), After: req.AfterRevision, Filter: domain.NoticeFilter{
		Person: req.GetPerson(), Furnace: req.GetFurnace(), Department: req.GetDepartment(), Kinds: req.GetKinds(),
	}}
	allowed := func(ctx context.Context) (app.Call, error) {
		if err := requestOf(ctx).recheck(ctx); err != nil {
			return app.Call{}, err
		}
		return callOf(ctx, req), nil
	}
	return s.app.WatchStudio(stream.Context(), in, allowed, func(answer app.WatchAnswer) error {
		m := &saggarv1.WatchStudioResponse{Revision: answer.Revision}
		for _, n := range answer.Notices {
			m.Notices = append(m.Notices, noticeToProto(n))
		}
		return stream.Send(m)
	})
}

var changeActions = newEnumTable(map[saggarv1.ChangeAction]domain.ChangeAction{
	saggarv1.ChangeAction_CHANGE_ACTION_CREATED: domain.ActionCreated,
	saggarv1.ChangeAction_CHANGE_ACTION_CHANGED: domain.ActionChanged,
	saggarv1.ChangeAction_CHANGE_ACTION_REMOVED: domain.ActionRemoved,
})

func noticeToProto(n *domain.Notice) *saggarv1.Notice {
	m := &saggarv1.Notice{
		Revision: n.Revision, ChangeTime: instant(n.Time), Caller: n.Caller, Method: n.Method, Subject: n.Subject,
		Action: changeActions.toProto(n.Action), RunBefore: noticedRunToProto(n.RunBefore), RunAfter: noticedRunToProto(n.RunAfter),
	}
	if c := n.Closure; c != nil {
		m.Closure = &saggarv1.NoticedClosure{
			Subject: string(c.SubjectKind) + "/" + c.SubjectID, StartTime: instant(c.Start), EndTime: instant(c.End), Reason: c.Reason,
		}
	}
	if f := n.Firing(); f != nil {
		m.Firing = &saggarv1.NoticedFiring{
			Furnace: f.Furnace, Title: f.Title, State: loadStates.toProto(f.State), AttendedBy: f.By, StartTime: instant(f.Start),
			EndTime: instant(f.End), MovedTo: f.MovedTo,
		}
	}
	if n.TimeRequest != nil {
		m.TimeOffer = timeOfferToProto(n.TimeRequest.Offer)
	}
	return m
}

func noticedRunToProto(run *domain.RunSummary) *saggarv1.NoticedRun {
	if run == nil {
		return nil
	}
	m := &saggarv1.NoticedRun{
		Recipe: run.Recipe, Department: run.Department, Maker: run.Maker, State: runStates.toProto(run.State),
	}
	for _, l := range run.Loads {
		load := &saggarv1.NoticedLoad{
			Stage: l.Stage, State: loadStates.toProto(l.State), Furnace: l.Furnace, StartTime: instant(l.Start), EndTime: instant(l.End),
		}
		if l.Joined {
			load.JoinedFiring = l.Firing
		}
		m.Loads = append(m.Loads, load)
	}
	return m
}
