package rpc

import (
	"time"

	"google.golang.org/grpc"

	"saggar/chem/finding"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

// defaultPlanDays is how far a plan looks when nobody says.
const defaultPlanDays = 28

// PlanRuns streams windows for runs that get better; the last answer stands.
func (s *runService) PlanRuns(req *saggarv1.PlanRunsRequest, stream grpc.ServerStreamingServer[saggarv1.PlanRunsResponse]) error {
	input, err := s.planInput(req)
	if err != nil {
		return err
	}
	caller := requestOf(stream.Context()).caller
	input.Maker, input.Role = caller.ID, caller.Role
	return s.app.PlanRuns(stream.Context(), input, func(answer app.PlanAnswer) error {
		message := planAnswerToProto(input.StudioID, answer)
		message.Limits = req.GetLimits()
		return stream.Send(message)
	})
}

// planInput fills in what the request leaves open: from now on, for four weeks.
func (s *runService) planInput(req *saggarv1.PlanRunsRequest) (app.PlanInput, error) {
	studio := studioOf(req.GetParent())
	in := app.PlanInput{
		StudioID: studio, Wish: planWishes.fromProto(req.GetWish()), SearchTime: req.GetSearchLimit().AsDuration(),
		Alternatives: int(req.GetAlternativeCount()),
	}
	runs, faults := runRequests(studio, req.GetRuns())
	in.Runs = runs
	in.Window = domain.Window{Start: ceilMinute(s.now().UTC())}
	if req.GetStartTime() != nil {
		in.Window.Start = req.GetStartTime().AsTime()
		wholeMinute(&faults, "start_time", in.Window.Start)
	}
	in.Window.End = in.Window.Start.AddDate(0, 0, defaultPlanDays)
	if in.Wish == app.WishLeastChange {
		in.Window.End = lastEnd(in.Runs, in.Window.Start).AddDate(0, 0, defaultPlanDays)
	}
	if req.GetEndTime() != nil {
		in.Window.End = req.GetEndTime().AsTime()
		wholeMinute(&faults, "end_time", in.Window.End)
	}
	faults = append(faults, finding.FaultsOf(checkWindow(in.Window))...)
	for _, m := range req.GetLimits() {
		in.Limits = append(in.Limits, planLimitsFromProto(m))
	}
	return in, faults.Err()
}

// lastEnd is when the last of the windows given ends, as far as it lies after a start and not beyond what may be asked.
func lastEnd(runs []app.RunRequest, start time.Time) time.Time {
	last := start
	for _, run := range runs {
		for _, window := range run.Windows {
			if end := window.Window().End; end.After(last) && end.Sub(start) < (mostWindowDays-defaultPlanDays)*24*time.Hour {
				last = end
			}
		}
	}
	return last
}

func planLimitsFromProto(m *saggarv1.PlanLimits) domain.PlanLimits {
	limits := domain.PlanLimits{
		Attendance:           weeklyFromProto(m.GetAttendance()),
		HeatOnlyWhileStaffed: m.GetHeatOnlyWhileStaffed(), AvoidFurnaces: m.GetAvoidFurnaces(),
	}
	if m.GetStartTime() != nil {
		limits.Start = m.GetStartTime().AsTime()
	}
	if m.GetEndTime() != nil {
		limits.End = m.GetEndTime().AsTime()
	}
	return limits
}

// planLimitsToProto is nil where nothing is limited.
func planLimitsToProto(l domain.PlanLimits) *saggarv1.PlanLimits {
	if !l.Any() {
		return nil
	}
	return &saggarv1.PlanLimits{
		Attendance: weeklyToProto(l.Attendance), HeatOnlyWhileStaffed: l.HeatOnlyWhileStaffed, AvoidFurnaces: l.AvoidFurnaces,
		StartTime: instant(l.Start), EndTime: instant(l.End),
	}
}

// ReplanRuns streams what closures and overruns hit, and windows that change the least; the last answer stands.
func (s *runService) ReplanRuns(req *saggarv1.ReplanRunsRequest, stream grpc.ServerStreamingServer[saggarv1.ReplanRunsResponse]) error {
	studio := studioOf(req.GetParent())
	in := app.ReplanInput{StudioID: studio, SearchTime: req.GetSearchLimit().AsDuration()}
	overruns, faults := overrunsFromProto(studio, req.GetOverruns())
	in.Overruns = overruns
	for i, text := range req.GetMayMove() {
		name, fault := within(studio, listPath("may_move", i), text)
		faults = append(faults, fault...)
		in.MayMove = append(in.MayMove, name.id)
	}
	if req.GetEndTime() != nil {
		in.End = req.GetEndTime().AsTime()
		wholeMinute(&faults, "end_time", in.End)
		window := domain.Window{Start: s.now().UTC().Truncate(time.Minute), End: in.End}
		faults = append(faults, finding.FaultsOf(checkWindow(window))...)
	}
	if err := faults.Err(); err != nil {
		return err
	}
	call := callOf(stream.Context(), req)
	return s.app.ReplanRuns(stream.Context(), call, in, func(answer app.ReplanAnswer) error {
		return stream.Send(replanAnswerToProto(studio, answer))
	})
}
