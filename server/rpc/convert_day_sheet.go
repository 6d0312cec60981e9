package rpc

import (
	"cmp"
	"math"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

func daySheetToProto(s *domain.DaySheet) *saggarv1.DaySheet {
	m := &saggarv1.DaySheet{
		Name: studioName(s.StudioID) + "/daySheets/" + s.Date, Title: s.Title, TimeZone: s.Zone.String(), Room: s.Room,
		StartTime: timestamppb.New(s.Day.Start), EndTime: timestamppb.New(s.Day.End), AsOfTime: timestamppb.New(s.AsOf),
		Revision: int32(s.Revision), Closed: s.Closed, Assumptions: s.Assumptions, Caution: convert.Caution,
	}
	for _, task := range s.Tasks() {
		m.Tasks = append(m.Tasks, dayTaskToProto(task))
	}
	for i := range s.Jobs {
		m.Jobs = append(m.Jobs, dayJobToProto(s.StudioID, &s.Jobs[i]))
	}
	for _, check := range s.Due {
		m.DueChecks = append(m.DueChecks, dueCheckToProto(check))
	}
	for _, room := range s.Rooms {
		m.Rooms = append(m.Rooms, dayRoomToProto(room))
	}
	return m
}

func dayTaskToProto(t domain.DayTask) *saggarv1.DayTask {
	return &saggarv1.DayTask{
		StartTime: timestamppb.New(t.Phase.Window.Start), EndTime: timestamppb.New(t.Phase.Window.End),
		Kind: convert.PhaseKindToProto(t.Phase.Kind), Job: t.Job.Mark, Room: t.Job.Furnace.Room, Furnace: t.Job.Furnace.ID,
		Title: t.Job.Run.Title, Stage: t.Job.Load.Stage, Watch: convert.WatchToProto(t.Phase.Watch),
		PeopleCount: int32(t.Phase.PeopleCount),
	}
}

func spanToProto(w domain.Window) *saggarv1.TimeSpan {
	return &saggarv1.TimeSpan{StartTime: timestamppb.New(w.Start), EndTime: timestamppb.New(w.End)}
}

func dayJobToProto(studio string, j *domain.DayJob) *saggarv1.DayJob {
	m := &saggarv1.DayJob{
		Mark: j.Mark, Title: j.Run.Title, Stage: j.Load.Stage,
		StageTitle: j.Stage.Title, Department: j.Run.Department, Maker: j.Run.Maker, State: loadStates.toProto(j.Load.State),
		Furnace: j.Furnace.ID, FurnaceTitle: j.Furnace.Title, Room: j.Furnace.Room,
		StartTime: timestamppb.New(j.Load.Window.Start), EndTime: timestamppb.New(j.Load.Window.End),
		WeighOut: convert.WeighedToProto(j.WeighOut), MassInGrams: j.MassInGrams, MassOutGrams: j.MassOutGrams,
		StopSteps: j.Furnace.StopSteps, Findings: convert.FindingsToProto(j.Findings), Missing: j.Missing,
		Vessels: vesselUsesToProto(j.Vessels), GearWorn: j.GearWorn,
	}
	if j.Run.ID != "" {
		m.Run = convert.Name(studio, kindRuns, j.Run.ID)
	}
	for _, phase := range j.Phases() {
		m.Phases = append(m.Phases, dayTaskToProto(domain.DayTask{Job: j, Phase: phase}))
	}
	if firing := j.Load.Firing; firing != nil {
		m.Firing, m.AttendedBy = convert.Name(studio, kindFirings, firing.ID), cmp.Or(firing.AttendedBy, j.Run.Maker)
		m.Beside = firing.Beside(j.Run.ID)
		m.TopCelsius, m.Atmosphere = firing.TopCelsius, convert.AtmosphereToProto(firing.Atmosphere)
	}
	if j.Stage.Program != nil {
		m.Program, m.Control, m.Lid = convert.ProgramToProto(j.Stage.Program), convert.ControlToProto(j.Furnace.Control),
			convert.LidToProto(j.Stage.Lid)
		m.DamperPosition, m.ChargeAtCelsius, m.OpenBelowCelsius = j.DamperPosition, j.Stage.ChargeAtCelsius, j.OpenBelowCelsius()
	}
	for _, h := range j.Unattended {
		m.UnattendedHeat = append(m.UnattendedHeat, &saggarv1.UnattendedHeat{
			StartTime: timestamppb.New(h.Window.Start), EndTime: timestamppb.New(h.Window.End), Watch: convert.WatchToProto(h.Watch),
		})
	}
	if w, owed := j.Clearing(); owed {
		m.Clearing = spanToProto(w)
	}
	if j.Next != nil {
		m.NextStage, m.NextTime = j.Next.Stage, timestamppb.New(j.Next.Window.Start)
	}
	addDayAir(m, j)
	return m
}

// addDayAir adds what comes off and what follows from it. Minutes count from the start of the job.
func addDayAir(m *saggarv1.DayJob, j *domain.DayJob) {
	if j.Air == nil {
		return
	}
	at := func(wholeMinute float64) *timestamppb.Timestamp {
		return timestamppb.New(j.Load.Window.Start.Add(time.Duration(wholeMinute) * time.Minute))
	}
	m.GivesOffGas = true
	m.Near = convert.NearSpeciesToProto(j.Air.Near.Species)
	if j.Air.ReentryMinute != nil {
		m.ReentryTime = at(math.Ceil(*j.Air.ReentryMinute))
	}
	if len(j.Air.Failure.Limits) > 0 {
		m.FanFailureTime = at(math.Floor(j.Air.Failure.AtMinute))
		m.FanFailure = convert.PassedLimitsToProto(j.Air.Failure.Limits)
	}
}

func dayRoomToProto(r domain.DayRoom) *saggarv1.DayRoom {
	m := &saggarv1.DayRoom{
		Room: r.Room.ID, Title: r.Room.Title, CrewCount: int32(r.Room.CrewCount), NeededCount: int32(r.NeededCount),
		FlowCubicMetersPerSecond: r.FlowCubicMetersPerSecond, EmergencyContact: r.Room.EmergencyContact, Missing: r.Missing,
	}
	for _, w := range r.Staffed {
		m.Staffed = append(m.Staffed, spanToProto(w))
	}
	for _, d := range r.Detectors {
		m.Detectors = append(m.Detectors, &saggarv1.DayDetector{
			Species: d.Species, TestedOn: d.TestedOn, DueOn: d.DueOn, Overdue: d.Overdue,
		})
	}
	return m
}
