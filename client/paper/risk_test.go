package paper

import (
	"io"
	"testing"

	"github.com/stretchr/testify/assert"

	saggarv1 "saggar/proto/saggar/v1"
)

// riskAssessment is an invented run of one stage under reduction.
func riskAssessment(title string) *saggarv1.RiskAssessment {
	day := daySheet(title)
	reach := saggarv1.Watch_WATCH_IN_REACH
	return &saggarv1.RiskAssessment{
		Name: "studios/test/runs/blue-one/riskAssessment", Title: title, TimeZone: "Europe/Lisbon",
		AsOfTime: instant("2027-03-01T18:00:00Z"), Revision: 7,
		Run: &saggarv1.Run{
			Name: "studios/test/runs/blue-one", Title: title, Recipe: "studios/test/recipes/blue/versions/3", Department: "conservation",
			Maker: title, State: saggarv1.RunState_RUN_STATE_CONFIRMED, CreateTime: instant("2027-02-27T09:00:00Z"),
			StageWindows: []*saggarv1.StageWindow{{Stage: "reduce", Furnace: "pot", Phases: []*saggarv1.PhaseWindow{
				{Kind: saggarv1.PhaseKind_PHASE_KIND_CHARGE, StartTime: instant("2027-03-02T10:00:00Z"), EndTime: instant("2027-03-02T10:20:00Z")},
				{Kind: saggarv1.PhaseKind_PHASE_KIND_FIRE, StartTime: instant("2027-03-02T10:20:00Z"), EndTime: instant("2027-03-03T01:00:00Z")},
			}}},
		},
		Recipe: &saggarv1.Recipe{Name: "studios/test/recipes/blue", Version: 3, Title: title, Stages: []*saggarv1.Stage{{
			Id: "reduce", Title: title, Atmosphere: saggarv1.Atmosphere_ATMOSPHERE_REDUCING, Program: day.GetJobs()[0].GetProgram(),
		}}},
		Assessment: &saggarv1.CheckRecipeResponse{
			Findings: day.GetJobs()[0].GetFindings(), WeighOut: day.GetJobs()[0].GetWeighOut(), Assumptions: []string{title}, Caution: caution,
			OffGas: []*saggarv1.OffGasLine{
				{Stage: "reduce", Case: saggarv1.OffGasCase_OFF_GAS_CASE_CAUTIOUS, Species: "SO2", MassGrams: 58.14},
				{Stage: "reduce", Case: saggarv1.OffGasCase_OFF_GAS_CASE_LIKELY, Species: "SO2", MassGrams: 36.26},
			},
			Stages: []*saggarv1.StageTimes{{Stage: "reduce", Furnace: "pot", Phases: []*saggarv1.PhaseTime{
				{Phase: saggarv1.PhaseKind_PHASE_KIND_FIRE, DurationMinutes: 880, Watch: reach},
			}}},
			Air: []*saggarv1.RoomAir{{Stage: "reduce", Room: "bay", Species: []*saggarv1.SpeciesAir{
				{Species: "SO2", PeakPpm: 1.24, PeakMinute: 122, Limits: []*saggarv1.LimitRatio{
					{Authority: "NIOSH", Kind: "TWA", AveragingMinutes: 600, LimitPpm: 2, Ratio: 0.1, Severity: saggarv1.Severity_SEVERITY_BLOCK, Source: "far"},
					{Authority: "NIOSH", Kind: "STEL", AveragingMinutes: 15, LimitPpm: 5, Ratio: 0.245, Severity: saggarv1.Severity_SEVERITY_BLOCK, Source: "near"},
					{Authority: "EU", Kind: "STEL", AveragingMinutes: 15, LimitPpm: 1, Ratio: 1.226, Severity: saggarv1.Severity_SEVERITY_WARN, Source: title},
				}},
				{Species: "XX", PeakPpm: 4, PeakMinute: 5},
			}}},
			Near:        []*saggarv1.NearAir{{Stage: "reduce", Furnace: "pot", Species: day.GetJobs()[0].GetNear()}},
			FanFailures: []*saggarv1.FanFailure{{Stage: "reduce", Room: "bay", FailureMinute: 106.7, Passed: day.GetJobs()[0].GetFanFailure()}},
		},
		Furnaces: []*saggarv1.Furnace{{
			Name: "studios/test/furnaces/pot", Branch: "fan/hood", NetKilowatts: 4, OverTemperatureCutOut: true, StopSteps: []string{title},
			Capture: &saggarv1.Capture{ClosedFraction: 0.95, DoorOpenFraction: 0.7, Method: "tracer", MeasuredOn: "2026-10-06"},
		}, {Name: "studios/test/furnaces/second", NetKilowatts: 4}},
		Rooms: []*saggarv1.Room{{Name: "studios/test/rooms/bay", Title: title, VolumeCubicMeters: 180, MixingFactor: 3, CrewCount: 2}},
		ExtractionCircuits: []*saggarv1.ExtractionCircuit{{Name: "studios/test/extractionCircuits/fan", Branches: []*saggarv1.Branch{
			{Id: "hood", Room: "bay", CubicMetersPerSecond: 0.6, MeasuredOn: "2026-10-06", Method: title, DamperPosition: title},
			{Id: "other", Room: "bay", CubicMetersPerSecond: 0.2},
		}}},
		Watches: day.GetRooms(),
		Acknowledgements: []*saggarv1.Acknowledgement{
			{Code: "AIR_SHORT_TERM_LIMIT", Caller: "tess", AcknowledgeTime: instant("2027-02-27T09:00:00Z"), Stands: true}, {Code: "OLD_ONE"},
		},
		OpenFindingCodes: []string{"HEAT_OPENED_REDUCING"}, Missing: []string{title},
	}
}

func TestTheRiskAssessmentAsAPage(t *testing.T) {
	t.Parallel()
	got := page(t, func(w io.Writer) error { return Risk(w, riskAssessment("Sodalite blue")) })
	golden(t, "risk.html.golden", got)
	_, text, _ := wellFormed(t, got)
	for _, said := range []string{
		"Tue 2 Mar 12:02", "Tue 2 Mar 11:46", "1.226", "no limit is known", "58.14", "36.26", "near", "2026-10-06, by tracer",
		"never: counts as nothing", "No stop steps are recorded", "no longer found", "the trace does not say",
		"accepted by nobody: HEAT_OPENED_REDUCING", "TEST IT FIRST", "Answers for the room", "250 C/h to 750 C, hold 4 h",
	} {
		assert.Contains(t, text, said)
	}
	assert.NotContains(t, text, "far", "of each severity the nearest limit only")
}

func TestARiskAssessmentKeepsHostileTextsAsTexts(t *testing.T) {
	t.Parallel()
	selfContained(t, page(t, func(w io.Writer) error { return Risk(w, riskAssessment(hostile)) }))
}

func TestARiskAssessmentOfNothingIsAPageToo(t *testing.T) {
	t.Parallel()
	got := page(t, func(w io.Writer) error {
		return Risk(w, &saggarv1.RiskAssessment{TimeZone: "UTC", Assessment: &saggarv1.CheckRecipeResponse{
			Caution: caution, Stages: []*saggarv1.StageTimes{{Stage: "lost"}}, Air: []*saggarv1.RoomAir{{Stage: "lost", Species: []*saggarv1.SpeciesAir{{Species: "SO2"}}}},
		}})
	})
	_, text, _ := wellFormed(t, got)
	assert.Contains(t, text, "None was accepted.")
	assert.Contains(t, text, "Nothing that has a limit comes off.")
}
