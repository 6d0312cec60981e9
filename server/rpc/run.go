package rpc

import (
	"context"
	"strconv"
	"strings"
	"time"

	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

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

// MoveRun moves all stages that have not begun.
func (s *runService) MoveRun(ctx context.Context, req *saggarv1.MoveRunRequest) (*saggarv1.Run, error) {
	name, err := parseName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	windows, faults := stageWindowsFromProto(name.studio, req.GetStageWindows())
	if err := faults.Err(); err != nil {
		return nil, err
	}
	moved, err := s.app.MoveRuns(ctx, callOf(ctx, req), app.MoveRunsInput{
		StudioID: name.studio, Acknowledged: req.GetAcknowledgedFindingCodes(),
		Moves: []app.RunMove{{RunID: name.id, Windows: windows, ExpectRevision: revisionOf(req.GetEtag())}},
	})
	if err != nil {
		// The operation speaks of moves; the request holds only one run's windows.
		return nil, mapFields(err, func(path string) string { return strings.TrimPrefix(path, "moves[0].") })
	}
	return runToProto(name.studio, moved.Runs[0]), nil
}

// MoveRuns moves several runs, all or none, and records what overran.
func (s *runService) MoveRuns(ctx context.Context, req *saggarv1.MoveRunsRequest) (*saggarv1.MoveRunsResponse, error) {
	studio := studioOf(req.GetParent())
	in := app.MoveRunsInput{StudioID: studio, Acknowledged: req.GetAcknowledgedFindingCodes(), Revision: int64(req.GetRevision())}
	moves, faults := movesFromProto(studio, req.GetMoves())
	overruns, more := overrunsFromProto(studio, req.GetOverruns())
	faults = append(faults, more...)
	firings, more := firingMovesFromProto(studio, req.GetFirings())
	faults = append(faults, more...)
	if len(moves)+len(overruns)+len(firings) == 0 {
		faults.Add("moves", "there is nothing to move", "give moves as a new plan returns them, or what overran")
	}
	if err := faults.Err(); err != nil {
		return nil, err
	}
	in.Moves, in.Overruns, in.Firings = moves, overruns, firings
	call := callOf(ctx, req)
	result, err := s.app.MoveRuns(ctx, call, in)
	if err != nil {
		return nil, err
	}
	answer := &saggarv1.MoveRunsResponse{
		Findings: convert.FindingsToProto(result.Findings), Revision: int32(result.Revision), Caution: convert.Caution,
	}
	for _, run := range result.Runs {
		answer.Runs = append(answer.Runs, runToProto(studio, run))
	}
	return answer, nil
}

// CancelRun calls a run off.
func (s *runService) CancelRun(ctx context.Context, req *saggarv1.CancelRunRequest) (*saggarv1.Run, error) {
	name, err := parseName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	run, err := s.app.CancelRun(ctx, callOf(ctx, req), app.CancelRunInput{
		StudioID: name.studio, RunID: name.id, ExpectRevision: revisionOf(req.GetEtag()), NeverCharged: req.GetNeverCharged(),
	})
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
