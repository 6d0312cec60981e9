package rpc

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/chem/finding"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
)

func planAnswerToProto(studio string, a app.PlanAnswer) *saggarv1.PlanRunsResponse {
	m := &saggarv1.PlanRunsResponse{
		Status: planStatuses.toProto(a.Status), Reasons: planReasons(a.Reasons),
		Blames: planReasons(a.Blames), BlamesMinimal: a.BlamesMinimal, Findings: convert.FindingsToProto(a.Findings),
		Revision: int32(a.Revision), EndTime: instant(a.End), Caution: convert.Caution, Assumptions: a.Assumptions,
		Progress: progressToProto(a.Progress), VisitDays: int32(a.VisitDays), EnergyKilowattHours: a.KilowattHours,
		MovesStanding: a.Moving,
	}
	for _, run := range a.Runs {
		m.Runs = append(m.Runs, requestToProto(studio, run))
	}
	for _, other := range a.Alternatives {
		m.Alternatives = append(m.Alternatives, &saggarv1.PlanAlternative{
			Run: requestToProto(studio, other.Run), Summary: other.Summary, EndTime: instant(other.End),
			VisitDays: int32(other.VisitDays), EnergyKilowattHours: other.KilowattHours, Findings: convert.FindingsToProto(other.Findings),
		})
	}
	return m
}

// requestToProto is a run as BookRun takes it.
func requestToProto(studio string, r app.RunRequest) *saggarv1.Run {
	m := &saggarv1.Run{
		Title: r.Title, Recipe: recipeName(studio, r.RecipeID, r.RecipeVersion), Scale: convert.ScaleToProto(r.Scale), Department: r.Department,
		StartStage: r.StartStage, FromLot: lotName(studio, r.FromLot), LotDraws: requestedDrawsToProto(studio, r.Draws),
		Limits: planLimitsToProto(r.Limits),
	}
	if r.ID != "" {
		m.Name = convert.Name(studio, kindRuns, r.ID)
	}
	for _, window := range r.Windows {
		m.StageWindows = append(m.StageWindows, stageWindowToProto(studio, window))
	}
	return m
}

func progressToProto(p app.PlanProgress) *saggarv1.PlanProgress {
	m := &saggarv1.PlanProgress{
		Elapsed: durationpb.New(p.Elapsed.Truncate(time.Millisecond)), WaitingCount: int32(p.WaitingFor), AirRoundCount: int32(p.AirRounds),
	}
	for _, o := range p.Objectives {
		m.Objectives = append(m.Objectives, &saggarv1.PlanObjective{
			Code: o.Code, Unit: o.Unit, Value: o.Value, Bound: o.Bound, GapFraction: o.Gap,
		})
	}
	return m
}

func planReasons(reasons []app.PlanReason) []*saggarv1.PlanReason {
	var messages []*saggarv1.PlanReason
	for _, r := range reasons {
		messages = append(messages, &saggarv1.PlanReason{
			RunIndex: int32(r.Run), RunLabel: r.Label, Stage: r.Stage, Code: r.Code, About: r.About, Message: r.Message,
		})
	}
	return messages
}

func movesFromProto(studio string, moves []*saggarv1.RunMove) ([]app.RunMove, finding.Faults) {
	var faults finding.Faults
	var all []app.RunMove
	for i, m := range moves {
		name, fault := within(studio, listPath("moves", i)+".name", m.GetName())
		faults = append(faults, fault...)
		windows, fault := stageWindowsFromProto(studio, m.GetStageWindows())
		faults.AddUnder(listPath("moves", i), fault)
		all = append(all, app.RunMove{RunID: name.id, Windows: windows, ExpectRevision: revisionOf(m.GetEtag())})
	}
	return all, faults
}

func firingMovesFromProto(studio string, moves []*saggarv1.FiringMove) ([]app.FiringMove, finding.Faults) {
	var faults finding.Faults
	var all []app.FiringMove
	for i, m := range moves {
		path := listPath("firings", i)
		name, fault := within(studio, path+".name", m.GetName())
		faults = append(faults, fault...)
		start := m.GetStartTime().AsTime()
		wholeMinute(&faults, path+".start_time", start)
		all = append(all, app.FiringMove{FiringID: name.id, Start: start, ExpectRevision: revisionOf(m.GetEtag())})
	}
	return all, faults
}

func overrunsFromProto(studio string, overruns []*saggarv1.Overrun) ([]app.Overrun, finding.Faults) {
	var faults finding.Faults
	var all []app.Overrun
	for i, m := range overruns {
		name, fault := within(studio, listPath("overruns", i)+".firing", m.GetFiring())
		faults = append(faults, fault...)
		end := m.GetEndTime().AsTime()
		wholeMinute(&faults, fmt.Sprintf("overruns[%d].end_time", i), end)
		all = append(all, app.Overrun{FiringID: name.id, End: end})
	}
	return all, faults
}

func replanAnswerToProto(studio string, a app.ReplanAnswer) *saggarv1.ReplanRunsResponse {
	m := &saggarv1.ReplanRunsResponse{
		Status: planStatuses.toProto(a.Status), Blames: planReasons(a.Blames), BlamesMinimal: a.BlamesMinimal,
		Findings: convert.FindingsToProto(a.Findings), Revision: int32(a.Revision), Caution: convert.Caution,
		Progress: progressToProto(a.Progress),
	}
	for _, hit := range a.Hits {
		m.Hits = append(m.Hits, &saggarv1.RunHit{
			Name: convert.Name(studio, kindRuns, hit.Run.ID), Title: hit.Run.Title, Maker: hit.Run.Maker, Department: hit.Run.Department,
			Stages: hit.Stages, Causes: hit.Causes, NotMoved: hit.NotMoved,
		})
	}
	for i, move := range a.Moves {
		message := &saggarv1.RunMove{Name: convert.Name(studio, kindRuns, move.RunID), Etag: etagOf(move.ExpectRevision)}
		for _, window := range move.Windows {
			message.StageWindows = append(message.StageWindows, stageWindowToProto(studio, window))
		}
		m.Moves = append(m.Moves, message)
		m.Standing = append(m.Standing, runToProto(studio, a.Standing[i]))
	}
	for _, o := range a.Overruns {
		m.Overruns = append(m.Overruns, &saggarv1.Overrun{
			Firing: convert.Name(studio, kindFirings, o.FiringID), EndTime: timestamppb.New(o.End),
		})
	}
	return m
}
