package rpc

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/chem/finding"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

// runRequest converts a run as asked for, with its windows when they count. Faults carry paths below field.
func runRequest(studio, field string, m *saggarv1.Run, windowed bool) (app.RunRequest, finding.Faults) {
	var faults finding.Faults
	request := app.RunRequest{
		Title: m.GetTitle(), Scale: convert.ScaleFromProto(m.GetScale()), Department: m.GetDepartment(), StartStage: m.GetStartStage(),
	}
	recipe, fault := within(studio, field+".recipe", m.GetRecipe())
	faults = append(faults, fault...)
	request.RecipeID, request.RecipeVersion = recipe.id, recipe.version
	request.Limits = planLimitsFromProto(m.GetLimits())
	if m.GetName() != "" {
		name, fault := within(studio, field+".name", m.GetName())
		faults = append(faults, fault...)
		request.ID = name.id
	}
	if m.GetFromLot() != "" {
		name, fault := within(studio, field+".from_lot", m.GetFromLot())
		faults = append(faults, fault...)
		request.FromLot = name.id
	}
	draws, drawFaults := lotDraws(studio, m.GetLotDraws(), m.GetFromLot())
	faults.AddUnder(field, drawFaults)
	request.Draws = draws
	if windowed {
		windows, fault := stageWindowsFromProto(studio, m.GetStageWindows())
		faults.AddUnder(field, fault)
		request.Windows = windows
	}
	return request, faults
}

func runRequests(studio string, runs []*saggarv1.Run) ([]app.RunRequest, finding.Faults) {
	var faults finding.Faults
	requests := make([]app.RunRequest, 0, len(runs))
	for i, m := range runs {
		request, fault := runRequest(studio, listPath("runs", i), m, true)
		faults = append(faults, fault...)
		requests = append(requests, request)
	}
	return requests, faults
}

func stageWindowsFromProto(studio string, messages []*saggarv1.StageWindow) ([]domain.StageWindow, finding.Faults) {
	var faults finding.Faults
	windows := make([]domain.StageWindow, 0, len(messages))
	for i, m := range messages {
		window := domain.StageWindow{
			Stage: m.GetStage(), Furnace: m.GetFurnace(), AttendedBy: m.GetAttendedBy(), LoadLiters: m.GetLoadLiters(),
			Vessels: vesselUsesFromProto(m.GetVessels()),
		}
		if m.GetJoinFiring() != "" {
			name, fault := within(studio, fmt.Sprintf("stage_windows[%d].join_firing", i), m.GetJoinFiring())
			faults = append(faults, fault...)
			window.JoinFiring = name.id
		}
		for k, phase := range m.GetPhases() {
			path := fmt.Sprintf("stage_windows[%d].phases[%d]", i, k)
			start, end := phase.GetStartTime().AsTime(), phase.GetEndTime().AsTime()
			wholeMinute(&faults, path+".start_time", start)
			wholeMinute(&faults, path+".end_time", end)
			window.Phases = append(window.Phases, domain.PhaseWindow{
				Kind: convert.PhaseKindFromProto(phase.GetKind()), Window: domain.Window{Start: start, End: end},
			})
		}
		windows = append(windows, window)
	}
	return windows, faults
}

func wholeMinute(faults *finding.Faults, field string, t time.Time) {
	if t.Truncate(time.Minute).Equal(t) {
		return
	}
	faults.Add(field, t.Format(time.RFC3339Nano)+" is not a whole minute",
		"give "+t.Truncate(time.Minute).Format(time.RFC3339)+" or the minute after it")
}

func stageWindowToProto(studio string, w domain.StageWindow) *saggarv1.StageWindow {
	m := &saggarv1.StageWindow{
		Stage: w.Stage, Furnace: w.Furnace, AttendedBy: w.AttendedBy, LoadLiters: w.LoadLiters, Vessels: vesselUsesToProto(w.Vessels),
	}
	if w.JoinFiring != "" {
		m.JoinFiring = convert.Name(studio, kindFirings, w.JoinFiring)
	}
	for _, phase := range w.Phases {
		m.Phases = append(m.Phases, phaseWindowToProto(phase))
	}
	return m
}

func phaseWindowToProto(w domain.PhaseWindow) *saggarv1.PhaseWindow {
	return &saggarv1.PhaseWindow{
		Kind: convert.PhaseKindToProto(w.Kind), StartTime: timestamppb.New(w.Window.Start), EndTime: timestamppb.New(w.Window.End),
	}
}

// runToProto also takes a run that is only checked: what it has no id or revision for stays empty.
func runToProto(studio string, r domain.Run) *saggarv1.Run {
	m := &saggarv1.Run{
		Title: r.Title, Recipe: recipeName(studio, r.RecipeID, r.RecipeVersion), Scale: convert.ScaleToProto(r.Scale),
		Department: r.Department, Maker: r.Maker, State: runStates.toProto(r.State()),
		AcknowledgedFindingCodes: r.Acknowledged, CreateTime: instant(r.CreateTime), StartStage: r.StartStage,
		FromLot: lotName(studio, r.FromLot), LotDraws: lotDrawsToProto(studio, r.Draws),
		Clearances: clearancesToProto(r.Clearances), ExpireTime: instant(r.HoldExpireTime()), Limits: planLimitsToProto(r.Inputs.Limits),
	}
	if r.ID != "" {
		m.Name = convert.Name(studio, kindRuns, r.ID)
	}
	if r.Revision > 0 {
		m.Etag = etagOf(r.Revision)
	}
	for _, load := range r.Loads {
		window := stageWindowToProto(studio, load.StageWindow())
		window.Vessels, window.Gear = vesselUsesToProto(r.VesselsOf(load.Stage, false)), r.GearOf(load.Stage)
		m.StageWindows = append(m.StageWindows, window)
		m.Loads = append(m.Loads, loadToProto(studio, r.ID, load))
	}
	return m
}

// withoutState takes the states from a run that was only checked: it stands nowhere.
func withoutState(m *saggarv1.Run) {
	m.State = saggarv1.RunState_RUN_STATE_UNSPECIFIED
	for _, draw := range m.GetLotDraws() {
		draw.State = saggarv1.LotDrawState_LOT_DRAW_STATE_UNSPECIFIED
	}
	for _, load := range m.GetLoads() {
		load.State = saggarv1.LoadState_LOAD_STATE_UNSPECIFIED
	}
}

func loadToProto(studio, runID string, l domain.Load) *saggarv1.Load {
	m := &saggarv1.Load{State: loadStates.toProto(l.State)}
	if runID != "" {
		m.Name = convert.Name(studio, kindRuns, runID) + "/loads/" + l.Stage
	}
	if l.Firing != nil && l.Firing.ID != "" {
		m.Firing = convert.Name(studio, kindFirings, l.Firing.ID)
	}
	return m
}

func openingToProto(o app.Opening) *saggarv1.Opening {
	return &saggarv1.Opening{
		Furnace: o.Furnace, StartTime: timestamppb.New(o.Window.Start), EndTime: timestamppb.New(o.Window.End),
		StaffedMinutes: int32(o.StaffedMinutes),
	}
}
