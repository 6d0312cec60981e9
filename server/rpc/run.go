package rpc

import (
	"context"
	"strconv"
	"strings"
	"time"

	"google.golang.org/grpc"

	"saggar/chem/finding"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

// defaultPlanDays is how far a plan looks when nobody says.
const defaultPlanDays = 28

type runService struct {
	saggarv1.UnimplementedRunServiceServer
	app *app.App
	now func() time.Time
}

// BookRun books one or several runs, all or none.
func (s *runService) BookRun(ctx context.Context, req *saggarv1.BookRunRequest) (*saggarv1.BookRunResponse, error) {
	return s.book(ctx, callOf(ctx, req), req)
}

// CheckRun goes the way of BookRun and stores nothing.
func (s *runService) CheckRun(ctx context.Context, req *saggarv1.CheckRunRequest) (*saggarv1.BookRunResponse, error) {
	call := callOf(ctx, req)
	call.ValidateOnly = true
	return s.book(ctx, call, &saggarv1.BookRunRequest{Parent: req.GetParent(), Runs: req.GetRuns()})
}

func (s *runService) book(ctx context.Context, call app.Call, req *saggarv1.BookRunRequest) (*saggarv1.BookRunResponse, error) {
	studio := studioOf(req.GetParent())
	runs, faults := runRequests(studio, req.GetRuns())
	if err := faults.Err(); err != nil {
		return nil, err
	}
	result, err := s.app.BookRun(ctx, call, app.BookRunInput{
		StudioID: studio, Runs: runs, Acknowledged: req.GetAcknowledgedFindingCodes(), Revision: int64(req.GetRevision()),
	})
	if err != nil {
		return nil, err
	}
	answer := &saggarv1.BookRunResponse{
		Findings: convert.FindingsToProto(result.Findings), Revision: int32(result.Revision), Assumptions: result.Assumptions,
		Caution: convert.Caution, PersonDays: personDaysToProto(studio, result.Days),
	}
	for _, run := range result.Runs {
		m := runToProto(studio, run)
		if call.ValidateOnly {
			withoutState(m)
		}
		answer.Runs = append(answer.Runs, m)
	}
	if call.ValidateOnly {
		for _, assessment := range result.Assessments {
			answer.Assessments = append(answer.Assessments, convert.AssessmentToProto(assessment))
		}
	}
	return answer, nil
}

// MoveRun moves all stages that are not charged yet.
func (s *runService) MoveRun(ctx context.Context, req *saggarv1.MoveRunRequest) (*saggarv1.Run, error) {
	name, err := parseName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	windows, faults := stageWindowsFromProto(req.GetStageWindows())
	if err := faults.Err(); err != nil {
		return nil, err
	}
	moved, _, err := s.app.MoveRun(ctx, callOf(ctx, req), app.MoveRunInput{
		StudioID: name.studio, RunID: name.id, Windows: windows, ExpectRevision: revisionOf(req.GetEtag()),
		Acknowledged: req.GetAcknowledgedFindingCodes(),
	})
	if err != nil {
		// The operation speaks of the run; the request holds only its windows.
		return nil, mapFields(err, func(path string) string { return strings.TrimPrefix(path, "run.") })
	}
	return runToProto(name.studio, moved), nil
}

// CancelRun calls a run off.
func (s *runService) CancelRun(ctx context.Context, req *saggarv1.CancelRunRequest) (*saggarv1.Run, error) {
	name, err := parseName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	run, err := s.app.CancelRun(ctx, callOf(ctx, req), name.studio, name.id, revisionOf(req.GetEtag()))
	if err != nil {
		return nil, err
	}
	return runToProto(name.studio, run), nil
}

// GetRun returns one run.
func (s *runService) GetRun(ctx context.Context, req *saggarv1.GetRunRequest) (*saggarv1.Run, error) {
	name, err := parseName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	run, err := s.app.GetRun(ctx, name.studio, name.id)
	if err != nil {
		return nil, err
	}
	return runToProto(name.studio, run), nil
}

// ListRuns lists runs, newest first.
func (s *runService) ListRuns(ctx context.Context, req *saggarv1.ListRunsRequest) (*saggarv1.ListRunsResponse, error) {
	before, err := keyPosition(ctx, req)
	if err != nil {
		return nil, err
	}
	studio := studioOf(req.GetParent())
	found, err := s.app.ListRuns(ctx, studio, req.GetDepartment(), before, pageSize(req)+1)
	if err != nil {
		return nil, err
	}
	page, next := cutPage(ctx, req, found, func(r domain.Run) *saggarv1.Run { return runToProto(studio, r) },
		func(r domain.Run) string { return strconv.FormatInt(r.Key, 36) })
	return &saggarv1.ListRunsResponse{Runs: page, NextPageToken: next}, nil
}

// keyPosition reads the key in a page token; 0 is the start.
func keyPosition(ctx context.Context, req listRequest) (int64, error) {
	position, err := pagePosition(ctx, req)
	if err != nil || position == "" {
		return 0, err
	}
	key, err := strconv.ParseInt(position, 36, 64)
	if err != nil {
		return 0, badToken()
	}
	return key, nil
}

// PlanRuns streams windows for a run that get better; the last answer stands.
func (s *runService) PlanRuns(req *saggarv1.PlanRunsRequest, stream grpc.ServerStreamingServer[saggarv1.PlanRunsResponse]) error {
	input, err := s.planInput(req)
	if err != nil {
		return err
	}
	input.Maker = requestOf(stream.Context()).caller.ID
	return s.app.PlanRuns(stream.Context(), input, func(answer app.PlanAnswer) error {
		return stream.Send(planAnswerToProto(input.StudioID, answer))
	})
}

// planInput fills in what the request leaves open: from now on, for four weeks.
func (s *runService) planInput(req *saggarv1.PlanRunsRequest) (app.PlanInput, error) {
	studio := studioOf(req.GetParent())
	run, faults := runRequest(studio, listPath("runs", 0), req.GetRuns()[0], false)
	window := domain.Window{Start: ceilMinute(s.now().UTC())}
	if req.GetStartTime() != nil {
		window.Start = req.GetStartTime().AsTime()
		wholeMinute(&faults, "start_time", window.Start)
	}
	window.End = window.Start.AddDate(0, 0, defaultPlanDays)
	if req.GetEndTime() != nil {
		window.End = req.GetEndTime().AsTime()
		wholeMinute(&faults, "end_time", window.End)
	}
	faults = append(faults, finding.FaultsOf(checkWindow(window))...)
	return app.PlanInput{StudioID: studio, Run: run, Window: window}, faults.Err()
}
