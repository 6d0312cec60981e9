package app_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/app"
	"saggar/server/domain"
)

// fired is the test studio with a blue run booked, and the moment at which SO2 is at its peak in the bay.
type fired struct {
	bench
	planned planned
	peak    time.Time
	ppm     float64
}

func newFired(t *testing.T) *fired {
	t.Helper()
	f := &fired{bench: newBench(t)}
	f.planned = f.plan(t, request("blue", 1), monday)
	booked, err := f.book(f.planned, "")
	require.NoError(t, err)
	risk, err := f.GetRiskAssessment(f.ctx, "test", booked.Runs[0].ID)
	require.NoError(t, err)
	for i, stage := range risk.Assessment.Stages {
		if stage.Air == nil {
			continue
		}
		for _, s := range stage.Air.Species {
			if s.Species == "SO2" && s.PeakPPM > f.ppm {
				f.ppm, f.peak = s.PeakPPM, booked.Runs[0].Loads[i].Window.Start.Add(time.Duration(s.PeakMinute*float64(time.Minute)))
			}
		}
	}
	require.Positive(t, f.ppm)
	f.bench = f.at(f.peak.Add(time.Hour))
	return f
}

func (f *fired) note(ppm float64, at time.Time) (domain.Reading, error) {
	return f.CreateReading(f.ctx, as("mia", domain.RoleMaker, "CreateReading"), "test", domain.Reading{
		Room: "bay", Species: "SO2", PPM: ppm, ReadTime: at, Instrument: "pump and tube", CalibratedOn: "2027-01-11", UncertaintyFraction: 0.1,
	})
}

func TestAReadingStandsBesideWhatTheBookedFiringsForecast(t *testing.T) {
	t.Parallel()
	f := newFired(t)
	read, err := f.note(f.ppm, f.peak)
	require.NoError(t, err)
	assert.InEpsilon(t, f.ppm, read.CautiousPPM, 1e-6, "the peak that the check of the room gives")
	require.NotNil(t, read.LikelyPPM)
	assert.LessOrEqual(t, *read.LikelyPPM, read.CautiousPPM*(1+1e-9))
	assert.Empty(t, read.Findings)
	assert.False(t, read.Unexplained)
	assert.NotEmpty(t, read.Assumptions)
	found, err := f.GetReading(f.ctx, "test", read.ID())
	require.NoError(t, err)
	assert.Equal(t, read.CautiousPPM, found.CautiousPPM)
	assert.Equal(t, "mia", found.Reader)

	later, err := f.note(0.01, monday.Add(-time.Minute))
	require.NoError(t, err)
	assert.Zero(t, later.CautiousPPM, "nothing was fired before")
	assert.True(t, later.Unexplained)
	hall, err := f.CreateReading(f.ctx, call("CreateReading"), "test", domain.Reading{Room: "hall", Species: "SO2", ReadTime: f.peak, Instrument: "x"})
	require.NoError(t, err)
	assert.Zero(t, hall.CautiousPPM, "it is in another room")
	assert.Equal(t, []string{"READING_UNCALIBRATED"}, refusedBy(hall.Findings))
	list, err := f.ListReadings(f.ctx, app.ReadingsQuery{StudioID: "test", Room: "bay", Limit: 10})
	require.NoError(t, err)
	require.Len(t, list, 2)
	assert.Equal(t, later.ID(), list[0].ID(), "the last noted first")
}

func TestAReadingBesideAnOpenFurnaceCountsWhatSpills(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	hot := redRecipe() // chalk into a furnace at 900 C, which gives its carbon dioxide off at once
	hot.ID = "quick"
	hot.Stages[0].Additions[0].Material, hot.Stages[0].Product, hot.Stages[0].ChargeAtCelsius = "chalk", "", 900
	hot.Stages[0].Program.Segments[0] = heat.Segment{ToCelsius: 950, HoldMinutes: 60}
	_, err := b.LoadStudio(b.ctx, call("LoadStudio"), app.LoadStudioInput{
		StudioID: "test", Recipes: []chem.Recipe{hot},
		Materials: []chem.Material{{ID: "chalk", Phases: []chem.Phase{{Formula: "CaCO3", MassFraction: 1}}}},
	})
	require.NoError(t, err)
	booked, err := b.book(b.plan(t, request("quick", 1), monday), "")
	require.NoError(t, err)
	firing := booked.Runs[0].Firings()[0]
	require.NotEmpty(t, firing.Releases)
	spilled := false
	for _, p := range firing.Phases {
		if !p.Kind.DoorOpen() || p.Window.Minutes() == 0 {
			continue
		}
		at := p.Window.Start.Add(2 * time.Minute)
		reading := domain.Reading{Room: "bay", Species: "CO2", ReadTime: at, Instrument: "x"}
		room, err := b.at(at.Add(time.Hour)).CreateReading(b.ctx, call("CreateReading"), "test", reading)
		require.NoError(t, err)
		assert.Greater(t, room.CautiousPPM, 400.0, "outdoor air holds some")
		reading.Furnace = firing.Furnace
		beside, err := b.at(at.Add(time.Hour)).CreateReading(b.ctx, call("CreateReading"), "test", reading)
		require.NoError(t, err)
		spilled = spilled || beside.CautiousPPM > room.CautiousPPM
	}
	assert.True(t, spilled, "nothing spills in this test, so it shows nothing")
}

func TestAnUnexplainedReadingWarnsBookingsUntilItIsClosed(t *testing.T) {
	t.Parallel()
	f := newFired(t)
	clean, sour := f.plan(t, request("red", 1), f.peak.AddDate(0, 0, 7)), f.plan(t, request("blue", 1), f.peak.AddDate(0, 0, 7))
	read, err := f.note(2*f.ppm, f.peak)
	require.NoError(t, err)
	require.True(t, hasCode(read.Findings, air.CodeReadingAboveForecast), "%v", read.Findings)
	require.True(t, read.Unexplained)
	checked := func(run app.RunRequest) []finding.Finding {
		c := call("CheckRun")
		c.ValidateOnly = true
		result, err := f.BookRun(f.ctx, c, app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{run}})
		require.NoError(t, err)
		return ofCode(result.Findings, "READING_UNEXPLAINED")
	}
	warned := checked(sour.Run)
	require.NotEmpty(t, warned)
	assert.Equal(t, finding.Warn, warned[0].Severity)
	assert.Contains(t, warned[0].Message, read.ID())
	assert.Empty(t, checked(clean.Run), "only steam comes off")
	_, err = f.BookRun(f.ctx, call("BookRun"), app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{sour.Run}, Acknowledged: codes(sour)})
	var refusal *domain.Refusal
	require.ErrorAs(t, err, &refusal)
	assert.Equal(t, []string{"READING_UNEXPLAINED"}, refusal.Unacknowledged)
	booked, err := f.BookRun(f.ctx, call("BookRun"), app.BookRunInput{
		StudioID: "test", Runs: []app.RunRequest{postponed(sour.Run, 48*time.Hour)}, Acknowledged: append(codes(sour), refusal.Unacknowledged...),
	})
	require.NoError(t, err)
	onRecord := func() bool {
		risk, err := f.GetRiskAssessment(f.ctx, "test", booked.Runs[0].ID)
		require.NoError(t, err)
		return hasCode(risk.Assessment.Findings, "READING_UNEXPLAINED")
	}
	assert.True(t, onRecord(), "the assessment that is signed says it too")

	first := sour.Run.Windows[2].Window().Start // of the reduction in the pot, which gives gas off
	last := f.peak.Add(30 * 24 * time.Hour).Sub(first).Truncate(24 * time.Hour)
	assert.NotEmpty(t, checked(postponed(sour.Run, last)), "within thirty days")
	assert.Empty(t, checked(postponed(sour.Run, last+72*time.Hour)), "all of it after them")

	_, err = f.CloseReading(f.ctx, call("CloseReading"), app.ReadingEnd{StudioID: "test", ID: read.ID(), Reason: "x", ExpectRevision: 1})
	assert.ErrorIs(t, err, domain.ErrChangedMeanwhile)
	closed, err := f.CloseReading(f.ctx, call("CloseReading"), app.ReadingEnd{StudioID: "test", ID: read.ID(), Reason: "the damper was shut"})
	require.NoError(t, err)
	assert.Equal(t, []string{"steward", "the damper was shut"}, []string{closed.ClosedBy, closed.CloseReason})
	assert.Empty(t, checked(sour.Run))
	assert.False(t, onRecord())
	_, err = f.CloseReading(f.ctx, call("CloseReading"), app.ReadingEnd{StudioID: "test", ID: read.ID(), Reason: "x"})
	assert.ErrorIs(t, err, domain.ErrWrongState)
	_, err = f.CloseReading(f.ctx, call("CloseReading"), app.ReadingEnd{StudioID: "test", ID: "m999999", Reason: "x"})
	assert.ErrorIs(t, err, domain.ErrNotFound)
}

func TestAReadingAboveALimitSaysToLeave(t *testing.T) {
	t.Parallel()
	f := newFired(t)
	read, err := f.note(5.5, f.peak)
	require.NoError(t, err)
	require.NotEmpty(t, read.Findings)
	assert.Equal(t, air.CodeReadingAboveLimit, read.Findings[0].Code, "the worst first")
	assert.Equal(t, finding.Block, read.Findings[0].Severity)
	assert.Contains(t, read.Findings[0].Cure, "leave the room")
	assert.NotEmpty(t, read.Findings[0].Source)
}

func TestReadingsThatAreNone(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	good := domain.Reading{Room: "bay", Species: "SO2", ReadTime: monday.Add(-time.Hour), Instrument: "x"}
	for field, change := range map[string]func(r *domain.Reading){
		"room":          func(r *domain.Reading) { r.Room = "none" },
		"furnace":       func(r *domain.Reading) { r.Furnace = "dust-hood" },
		"species":       func(r *domain.Reading) { r.Species = "?" },
		"read_time":     func(r *domain.Reading) { r.ReadTime = monday },
		"calibrated_on": func(r *domain.Reading) { r.CalibratedOn = "2027-13-01" },
	} {
		bad := good
		change(&bad)
		_, err := b.CreateReading(b.ctx, call("CreateReading"), "test", bad)
		faults := finding.FaultsOf(err)
		if assert.Len(t, faults, 1, "%s: %v", field, err) {
			assert.Equal(t, field, faults[0].Field)
			assert.NotEmpty(t, faults[0].Cure)
		}
	}
	old := good
	old.ReadTime = monday.AddDate(0, -2, 0)
	_, err := b.CreateReading(b.ctx, call("CreateReading"), "test", old)
	assert.Equal(t, "read_time", finding.FaultsOf(err)[0].Field)
	list, err := b.ListReadings(b.ctx, app.ReadingsQuery{StudioID: "test"})
	require.NoError(t, err)
	assert.Empty(t, list, "nothing is stored")
}

func TestWhoLooksAfterTheRoomIsWrittenToAboutAReading(t *testing.T) {
	t.Parallel()
	m := newMailed(t)
	m.person(t, domain.Person{ID: "tom", Role: domain.RoleTechnician}, domain.MailAtOnce)
	_, err := m.CreateReading(m.ctx, as("mia", domain.RoleMaker, "CreateReading"), "test", domain.Reading{
		Room: "bay", Species: "SO2", PPM: 7, ReadTime: m.clock, Instrument: "pump",
	})
	require.NoError(t, err)
	m.clock = m.clock.Add(2 * time.Minute)
	_, err = m.server().DeliverMail(m.ctx)
	require.NoError(t, err)
	letters := m.office.to("tom@example.edu")
	require.Len(t, letters, 1)
	assert.Contains(t, letters[0], "mia noted 7 ppm of SO2 in bay")
	assert.Contains(t, letters[0], "leave the room")
}
