package app_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/server/app"
	"saggar/server/domain"
)

func TestARunsRiskIsWhatItsBookingFoundAndWhatAStoppedFanAdds(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	plan := b.plan(t, request("blue", 1), monday)
	checking := call("CheckRun")
	checking.ValidateOnly = true
	checked, err := b.BookRun(b.ctx, checking, app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{plan.Run}})
	require.NoError(t, err)
	booked, err := b.book(plan, "")
	require.NoError(t, err)
	risk, err := b.GetRiskAssessment(b.ctx, "test", booked.Runs[0].ID)
	require.NoError(t, err)

	found := func(list []finding.Finding) []string {
		var texts []string
		for _, f := range list {
			if f.Severity != finding.Note {
				texts = append(texts, f.Code+" "+f.Message)
			}
		}
		slices.Sort(texts)
		return slices.Compact(texts)
	}
	assert.True(t, hasCode(risk.Assessment.Findings, "STOP_STEPS_MISSING"), "which is for reading")
	assert.Equal(t, found(checked.Findings), found(slices.DeleteFunc(slices.Clone(risk.Assessment.Findings), func(f finding.Finding) bool {
		return f.Code == "STOP_STEPS_MISSING"
	})))
	before, after := checked.Assessments[0], risk.Assessment
	require.Len(t, after.Stages, 4)
	for i, stage := range after.Stages {
		assert.Equal(t, before.Stages[i].Treatment.Phases, stage.Treatment.Phases, stage.Stage)
		if before.Stages[i].Air == nil {
			assert.Nil(t, stage.Air, stage.Stage)
			continue
		}
		require.NotNil(t, stage.Air, stage.Stage)
		assert.Equal(t, before.Stages[i].Air.Species, stage.Air.Species, stage.Stage)
		assert.Equal(t, before.Stages[i].Air.Near.Species, stage.Air.Near.Species, stage.Stage)
		assert.NotEmpty(t, stage.Air.Failure.Caution, "a stopped fan was looked at")
	}
	assert.Equal(t, "steward", risk.AcknowledgedBy)
	assert.False(t, risk.AcknowledgedAt.IsZero())
	assert.Equal(t, booked.Runs[0].Acknowledged, risk.Run.Acknowledged)
	require.NotEmpty(t, risk.Furnaces)
	require.Len(t, risk.Rooms, 2)
	require.Len(t, risk.Circuits, 1)
	assert.Contains(t, strings.Join(risk.Missing, "\n"), "the depth of the bed in stage reduce is not given")
}

func TestARunsRiskGrowsWithWhatOthersBook(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	first, err := b.book(b.plan(t, request("blue", 1), monday), "")
	require.NoError(t, err)
	peak := func(id string) float64 {
		risk, err := b.GetRiskAssessment(b.ctx, "test", id)
		require.NoError(t, err)
		most := 0.0
		for _, stage := range risk.Assessment.Stages {
			if stage.Air == nil {
				continue
			}
			for _, s := range stage.Air.Species {
				if s.Species == "SO2" {
					most = max(most, s.Max8HourPPM)
				}
			}
		}
		return most
	}
	alone := peak(first.Runs[0].ID)
	require.Positive(t, alone)
	_, err = b.book(b.plan(t, request("blue", 1), first.Runs[0].Loads[2].Window.Start.Add(-24*60*60*1e9)), "")
	require.NoError(t, err)
	assert.GreaterOrEqual(t, peak(first.Runs[0].ID), alone)
}

func TestTheRiskOfARunThatIsNone(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	_, err := b.GetRiskAssessment(b.ctx, "test", "none")
	assert.ErrorIs(t, err, domain.ErrNotFound)
}

func TestWhoChangedARunLastAcceptedItsWarnings(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	booked, err := b.book(b.plan(t, request("blue", 1), monday.AddDate(0, 0, 7)), "")
	require.NoError(t, err)
	moved := b.plan(t, request("blue", 1), monday.AddDate(0, 0, 14))
	other := call("MoveRuns")
	other.Caller = domain.Caller{ID: "tess", Role: domain.RoleTechnician}
	_, err = b.MoveRuns(b.ctx, other, app.MoveRunsInput{
		StudioID: "test", Moves: []app.RunMove{{RunID: booked.Runs[0].ID, Windows: moved.Run.Windows}}, Acknowledged: codes(moved),
	})
	require.NoError(t, err)
	risk, err := b.GetRiskAssessment(b.ctx, "test", booked.Runs[0].ID)
	require.NoError(t, err)
	assert.Equal(t, "tess", risk.AcknowledgedBy)
	assert.Equal(t, "steward", risk.Run.Maker)

	// The figures of the room are those of now, not those of the booking.
	wider := testEquipment()[0]
	wider.Room = &air.Room{ID: "bay", VolumeCubicMeters: 1800, MakeUpCubicMetersPerSecond: 1.2, MixingFactor: 3, CrewCount: 2,
		Detectors: wider.Room.Detectors}
	_, err = b.UpdateEquipment(b.ctx, call("UpdateRoom"), app.EquipmentUpdate{StudioID: "test", Equipment: wider})
	require.NoError(t, err)
	after, err := b.GetRiskAssessment(b.ctx, "test", booked.Runs[0].ID)
	require.NoError(t, err)
	for i, stage := range after.Assessment.Stages {
		if stage.Air != nil {
			assert.NotEqual(t, risk.Assessment.Stages[i].Air.Species, stage.Air.Species, stage.Stage)
		}
	}
}
