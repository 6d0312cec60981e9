package rpc

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/timestamppb"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

// pigmentStudio is an invented studio: a bay with two crucible furnaces under a measured hood, a hall with a dust hood.
func pigmentStudio() *saggarv1.StudioFile {
	return &saggarv1.StudioFile{
		Studio: &saggarv1.Studio{Name: north, Title: "North", TimeZone: "UTC", StepMinutes: 5},
		Rooms: []*saggarv1.Room{
			{
				Name: north + "/rooms/bay", Title: "Bay", VolumeCubicMeters: 180, MakeUpCubicMetersPerSecond: 1.2, CrewCount: 2,
				Detectors: []*saggarv1.Detector{{Species: "CO", TestedOn: "2026-02-20"}, {Species: "SO2", TestedOn: "2026-02-20"}},
			},
			{Name: north + "/rooms/hall", Title: "Hall", VolumeCubicMeters: 300, MakeUpCubicMetersPerSecond: 1, CrewCount: 2},
		},
		ExtractionCircuits: []*saggarv1.ExtractionCircuit{{
			Name:     north + "/extractionCircuits/fan",
			Branches: []*saggarv1.Branch{{Id: "hood", Room: "bay", CubicMetersPerSecond: 0.9, MeasuredOn: "2025-10-06"}},
		}},
		Supplies:     []*saggarv1.Supply{{Name: north + "/supplies/panel", LimitKilowatts: 12}},
		Furnaces:     []*saggarv1.Furnace{crucibleFurnace("pot"), crucibleFurnace("muffle"), dustHood()},
		StaffedHours: []*saggarv1.StaffedHours{everyDay("bay"), everyDay("hall")},
		Materials: []*saggarv1.Material{
			{Name: north + "/materials/goethite", Phases: []*saggarv1.Phase{{Formula: "FeO(OH)", MassFraction: 1}}},
			{Name: north + "/materials/sulfur", Phases: []*saggarv1.Phase{{Formula: "S", MassFraction: 1}}},
		},
		Recipes: []*saggarv1.Recipe{redRecipe()},
	}
}

func dustHood() *saggarv1.Furnace {
	return &saggarv1.Furnace{Name: north + "/furnaces/dust-hood", Room: "hall", Source: saggarv1.HeatSource_HEAT_SOURCE_BENCH}
}

func crucibleFurnace(id string) *saggarv1.Furnace {
	return &saggarv1.Furnace{
		Name: north + "/furnaces/" + id, Title: id, Room: "bay", Supply: "panel", Branch: "fan/hood",
		Source: saggarv1.HeatSource_HEAT_SOURCE_ELECTRIC, NetKilowatts: 4, InputKilowatts: 5, TopCelsius: 1100, ChamberLiters: 12,
		Atmospheres: []saggarv1.Atmosphere{saggarv1.Atmosphere_ATMOSPHERE_OXIDISING, saggarv1.Atmosphere_ATMOSPHERE_REDUCING},
		HeatingTimes: []*saggarv1.Timing{
			{FromCelsius: 20, ToCelsius: 400, Minutes: 32}, {FromCelsius: 400, ToCelsius: 750, Minutes: 44},
			{FromCelsius: 750, ToCelsius: 1000, Minutes: 58},
		},
		CoolingTimes: []*saggarv1.Timing{
			{FromCelsius: 1000, ToCelsius: 500, Minutes: 120}, {FromCelsius: 500, ToCelsius: 200, Minutes: 165},
		},
		Control: saggarv1.Control_CONTROL_PROGRAMMED, ThermocoupleType: "K", OverTemperatureCutOut: true,
		Capture:      &saggarv1.Capture{ClosedFraction: 0.95, DoorOpenFraction: 0.7, Method: "tracer", MeasuredOn: "2025-10-06"},
		FanInterlock: &saggarv1.FanInterlock{Kind: saggarv1.FanInterlockKind_FAN_INTERLOCK_KIND_FLOW_SWITCH, TestedOn: "2025-10-06"},
	}
}

func everyDay(room string) *saggarv1.StaffedHours {
	return &saggarv1.StaffedHours{
		Name: north + "/staffedHours/" + room,
		Weekly: []*saggarv1.WeeklyHours{{
			Days: []saggarv1.Weekday{1, 2, 3, 4, 5, 6, 7}, Opens: "07:00", Closes: "23:00",
		}},
	}
}

// redRecipe weighs goethite under the hood and drives its water off.
func redRecipe() *saggarv1.Recipe {
	return &saggarv1.Recipe{Name: north + "/recipes/red", Title: "Red", Stages: []*saggarv1.Stage{
		{
			Id: "weigh", Kind: saggarv1.StageKind_STAGE_KIND_WEIGH, BenchMinutes: 30, Furnaces: []string{"dust-hood"},
			Additions: []*saggarv1.Addition{{Material: "goethite", MassGrams: 400}},
		},
		{
			Id: "calcine", Kind: saggarv1.StageKind_STAGE_KIND_CALCINE, Product: "Fe2O3", MaxWaitMinutes: 1440,
			Program:    &saggarv1.HeatProgram{Segments: []*saggarv1.Segment{{ToCelsius: 700, RateCelsiusPerHour: 250, HoldMinutes: 60}}},
			Atmosphere: saggarv1.Atmosphere_ATMOSPHERE_OXIDISING,
		},
	}}
}

func redRun() *saggarv1.Run {
	return &saggarv1.Run{Recipe: north + "/recipes/red", Department: "pigments", Scale: &saggarv1.Scale{Factor: 1}}
}

// plan returns the last answer for a run, from an hour after Monday's clock on, so that it has not begun, for four weeks.
func (s *served) plan(t *testing.T, run *saggarv1.Run) *saggarv1.PlanRunsResponse {
	t.Helper()
	stream, err := saggarv1.NewRunServiceClient(s.connection).PlanRuns(s.as(t, domain.RoleMaker), &saggarv1.PlanRunsRequest{
		Parent: north, Runs: []*saggarv1.Run{run}, StartTime: timestamppb.New(monday.Add(time.Hour)), EndTime: timestamppb.New(monday.Add(28 * 24 * time.Hour)),
	})
	require.NoError(t, err)
	var last *saggarv1.PlanRunsResponse
	for {
		answer, err := stream.Recv()
		if err != nil {
			require.NotNil(t, last, "no answer: %v", err)
			return last
		}
		last = answer
	}
}

// codesOf are what must be acknowledged to book.
func codesOf(findings []*saggarv1.Finding) []string {
	var codes []string
	for _, f := range findings {
		if f.GetSeverity() == saggarv1.Severity_SEVERITY_WARN {
			codes = append(codes, f.GetCode())
		}
	}
	return codes
}

// book books what was planned, as the maker.
func (s *served) book(t *testing.T, planned *saggarv1.PlanRunsResponse) *saggarv1.Run {
	t.Helper()
	answer, err := saggarv1.NewRunServiceClient(s.connection).BookRun(s.as(t, domain.RoleMaker), bookRequest(planned))
	require.NoError(t, err)
	require.Len(t, answer.GetRuns(), 1)
	return answer.GetRuns()[0]
}

func bookRequest(planned *saggarv1.PlanRunsResponse) *saggarv1.BookRunRequest {
	return &saggarv1.BookRunRequest{
		Parent: north, Runs: planned.GetRuns(), AcknowledgedFindingCodes: codesOf(planned.GetFindings()), Revision: planned.GetRevision(),
	}
}
