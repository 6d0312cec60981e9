package app_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/app"
	"saggar/server/domain"
)

// signOff signs the bay off for a time.
func (b bench) signOff(from, until time.Time) error {
	_, err := b.UpdateEquipment(b.ctx, call("UpdateClosure"), app.EquipmentUpdate{StudioID: "test", AllowMissing: true, Equipment: domain.Equipment{
		Kind: domain.KindClosure, ID: "signed", Closure: &domain.Closure{
			ID: "signed", SubjectKind: domain.KindRoom, SubjectID: "bay", Start: from, End: until, Unoccupied: true,
		},
	}})
	return err
}

func phase(w domain.StageWindow, kind heat.PhaseKind) domain.Window {
	for _, p := range w.Phases {
		if p.Kind == kind {
			return p.Window
		}
	}
	return domain.Window{}
}

func TestNobodyIsScheduledInsideARoomThatIsSignedOff(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	answer := b.plan(t, request("red", 1), monday)
	draw := phase(answer.Run.Windows[0], heat.Draw)
	require.NoError(t, b.signOff(draw.Start.Add(-time.Hour), draw.End))
	refused := findingOf(b.check(t, answer.Run).Findings, "ROOM_SIGNED_OFF")
	require.NotNil(t, refused)
	assert.Equal(t, finding.Block, refused.Severity)
	assert.Equal(t, "bay", refused.About)
	assert.Contains(t, refused.Field, "runs[0].stage_windows[0].phases[")
	assert.NotEmpty(t, refused.Cure)
	again := b.plan(t, request("red", 1), monday)
	require.NotEqual(t, app.PlanInfeasible, again.Status)
	redrawn := phase(again.Run.Windows[0], heat.Draw)
	assert.False(t, redrawn.Overlaps(domain.Window{Start: draw.Start.Add(-time.Hour), End: draw.End}))
	assert.True(t, again.Run.Windows[0].Window().Start.Before(draw.End), "it may fire on meanwhile")
	_, err := b.book(again, "")
	require.NoError(t, err)

	err = b.signOff(draw.Start.Add(-time.Hour), redrawn.End)
	require.ErrorIs(t, err, domain.ErrWrongState, "somebody draws it")
	assert.ErrorContains(t, err, "steward attends Red (run red-")
	assert.NoError(t, b.signOff(draw.Start.Add(-2*time.Hour), draw.End))
}

func TestASignOffOnWhichFiringsRestStays(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	answer := b.plan(t, request("blue", 1), monday)
	fire := phase(answer.Run.Windows[0], heat.Fire)
	require.NoError(t, b.signOff(fire.End.Add(-time.Hour), fire.End))
	booked, err := b.book(answer, "")
	require.NoError(t, err)
	reduce := booked.Runs[0].Loads[2].Firing
	require.NotEmpty(t, reduce.Releases)
	quiet := reduce.Window
	for _, p := range reduce.Phases {
		if p.Kind == heat.Cool {
			quiet = p.Window
		}
	}
	require.NoError(t, b.signOff(quiet.Start, quiet.Start.Add(time.Hour)))
	assert.ErrorIs(t, b.signOff(quiet.Start.Add(time.Minute), quiet.Start.Add(time.Hour)), domain.ErrWrongState, "shorter")
	assert.NoError(t, b.signOff(quiet.Start, quiet.Start.Add(61*time.Minute)), "longer")
	gone := app.EquipmentUpdate{StudioID: "test", Equipment: domain.Equipment{Kind: domain.KindClosure, ID: "signed"}}
	err = b.DeleteEquipment(b.ctx, call("DeleteClosure"), gone)
	require.ErrorIs(t, err, domain.ErrWrongState)
	assert.ErrorContains(t, err, "was booked on the word that nobody is in bay then")
	_, err = b.CancelRun(b.ctx, call("CancelRun"), app.CancelRunInput{StudioID: "test", RunID: booked.Runs[0].ID, ExpectRevision: 0})
	require.NoError(t, err)
	assert.NoError(t, b.DeleteEquipment(b.ctx, call("DeleteClosure"), gone))
}

func TestOnlyARoomIsSignedOff(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	_, err := b.UpdateEquipment(b.ctx, call("UpdateClosure"), app.EquipmentUpdate{StudioID: "test", AllowMissing: true, Equipment: domain.Equipment{
		Kind: domain.KindClosure, ID: "signed", Closure: &domain.Closure{
			ID: "signed", SubjectKind: domain.KindFurnace, SubjectID: "pot", Start: monday, End: monday.Add(time.Hour), Unoccupied: true,
		},
	}})
	faults := finding.FaultsOf(err)
	require.Len(t, faults, 1)
	assert.Equal(t, "unoccupied", faults[0].Field)
}

func TestWhoAttendsIsKeptAndMustStand(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	answer := b.plan(t, request("red", 1), monday)
	answer.Run.Windows[0].AttendedBy = "nobody"
	_, err := b.book(answer, "")
	faults := finding.FaultsOf(err)
	require.Len(t, faults, 1, "%v", err)
	assert.Equal(t, "runs[0].stage_windows[0].attended_by", faults[0].Field)
	_, err = b.UpdatePerson(b.ctx, call("UpdatePerson"), "test", domain.Person{ID: "mira", Role: domain.RoleMaker}, app.Expectation{AllowMissing: true})
	require.NoError(t, err)
	answer.Run.Windows[0].AttendedBy = "mira"
	booked, err := b.book(answer, "")
	require.NoError(t, err)
	stands, err := b.GetRun(b.ctx, "test", booked.Runs[0].ID)
	require.NoError(t, err)
	assert.Equal(t, []string{"steward", "mira"}, []string{stands.Maker, stands.Loads[0].Firing.AttendedBy})
	moved, err := b.moveOne(stands.ID, unattended(shifted(answer.Run.Windows, 24*time.Hour)), answer)
	require.NoError(t, err)
	assert.Equal(t, "mira", moved.Loads[0].Firing.AttendedBy, "where nobody else is named")
}

func unattended(windows []domain.StageWindow) []domain.StageWindow {
	for i := range windows {
		windows[i].AttendedBy = ""
	}
	return windows
}

func TestACheckGivesThePersonsDay(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	answer := b.plan(t, request("blue", 1), monday)
	result := b.check(t, answer.Run)
	require.NotEmpty(t, result.Days)
	for _, day := range result.Days {
		assert.Equal(t, "steward", day.Person)
		assert.NotEmpty(t, day.Stays)
	}
}
