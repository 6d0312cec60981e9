package app_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/app"
	"saggar/server/domain"
)

// bookAttended books a run of one maker that somebody else attends.
func (m *mailed) bookAttended(t *testing.T, maker, attendant string) domain.Run {
	t.Helper()
	answer := m.plan(t, request("red", 1), m.clock.Add(time.Hour))
	answer.Run.Windows[0].AttendedBy = attendant
	booked, err := m.BookRun(m.ctx, as(maker, domain.RoleMaker, "BookRun"), app.BookRunInput{
		StudioID: "test", Runs: []app.RunRequest{answer.Run}, Acknowledged: codes(answer),
	})
	require.NoError(t, err)
	return booked.Runs[0]
}

// TestWhoAttendsIsToldAndHasItInTheirCalendar: of what is booked, moved from them, closed and called off.
func TestWhoAttendsIsToldAndHasItInTheirCalendar(t *testing.T) {
	t.Parallel()
	m := newMailed(t)
	for _, id := range []string{"ada", "mira", "nils"} {
		m.person(t, domain.Person{ID: id, Role: domain.RoleMaker}, domain.MailAtOnce)
	}
	run := m.bookAttended(t, "ada", "mira")
	m.later(2 * time.Minute)
	m.deliver(t)
	mira := func() []string { return m.office.to("mira@example.edu") }
	require.Len(t, mira(), 1)
	assert.Contains(t, mira()[0], "ada booked the run of ada "+run.ID)
	assert.Contains(t, mira()[0], ", attended by you")

	server := m.server()
	server.ServeFeeds("https://calendar.example.edu")
	for id, want := range map[string]int{"mira": 1, "ada": 1, "nils": 0} {
		address, _, err := server.CreateFeed(m.ctx, as(id, domain.RoleMaker, "CreateFeed"), "test", domain.Feed{Subject: "people/" + id})
		require.NoError(t, err)
		contents, err := server.ReadFeed(m.ctx, address[len("https://calendar.example.edu/feeds/"):len(address)-len(".ics")])
		require.NoError(t, err)
		require.Len(t, contents.Appointments, want, id)
		if want > 0 {
			assert.Equal(t, "mira", contents.Appointments[0].AttendedBy)
		}
	}

	load := run.Loads[0]
	m.close(t, domain.KindFurnace, load.Firing.Furnace, domain.Window{Start: load.Window.End.Add(-time.Minute), End: load.Window.End.Add(time.Hour)})
	m.later(2 * time.Minute)
	m.deliver(t)
	require.Len(t, mira(), 2)
	assert.Contains(t, mira()[1], "It hits the run "+run.ID+" of ada, which you attend: calcine")

	_, err := m.MoveRuns(m.ctx, as("ada", domain.RoleMaker, "MoveRuns"), app.MoveRunsInput{StudioID: "test", Acknowledged: []string{"WATCH_RAISED"}, Moves: []app.RunMove{{
		RunID: run.ID, Windows: func() []domain.StageWindow {
			windows := shifted([]domain.StageWindow{load.StageWindow()}, 24*time.Hour)
			windows[0].AttendedBy = "nils"
			return windows
		}(),
	}}})
	require.NoError(t, err)
	m.later(2 * time.Minute)
	m.deliver(t)
	require.Len(t, mira(), 3)
	assert.Contains(t, mira()[2], "attended by nils instead of you")
	require.Len(t, m.office.to("nils@example.edu"), 1)
}

// TestWhoAttendsFiringsStays: neither removed nor made a viewer, and a viewer is never named.
func TestWhoAttendsFiringsStays(t *testing.T) {
	t.Parallel()
	m := newMailed(t)
	for _, id := range []string{"ada", "mira"} {
		m.person(t, domain.Person{ID: id, Role: domain.RoleMaker}, domain.MailNone)
	}
	m.person(t, domain.Person{ID: "vic", Role: domain.RoleViewer}, domain.MailNone)
	answer := m.plan(t, request("red", 1), monday)
	answer.Run.Windows[0].AttendedBy = "vic"
	_, err := m.BookRun(m.ctx, as("ada", domain.RoleMaker, "BookRun"), app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{answer.Run}})
	require.ErrorContains(t, err, "runs[0].stage_windows[0].attended_by: vic is a viewer")

	run := m.bookAttended(t, "ada", "mira")
	err = m.DeletePerson(m.ctx, call("DeletePerson"), "test", "mira", 0)
	require.ErrorIs(t, err, domain.ErrWrongState)
	assert.ErrorContains(t, err, run.ID+"/calcine")
	assert.ErrorContains(t, err, "--attended-by")
	_, err = m.UpdatePerson(m.ctx, call("UpdatePerson"), "test", domain.Person{ID: "mira", Role: domain.RoleViewer}, allowMissing)
	require.ErrorIs(t, err, domain.ErrWrongState)
	require.NoError(t, m.DeletePerson(m.ctx, call("DeletePerson"), "test", "ada", 0), "whose run somebody else attends")
	m.clock = run.Loads[0].Window.End
	require.NoError(t, m.DeletePerson(m.ctx, call("DeletePerson"), "test", "mira", 0), "it is over")
}

// TestWhoMayClearIsToldThatARunWaits: once, and its maker how it was decided.
func TestWhoMayClearIsToldThatARunWaits(t *testing.T) {
	t.Parallel()
	m := newMailed(t)
	m.person(t, domain.Person{ID: "ada", Role: domain.RoleMaker}, domain.MailAtOnce)
	m.person(t, domain.Person{ID: "ben", Role: domain.RoleViewer}, domain.MailAtOnce)
	m.person(t, domain.Person{ID: "eve", Role: domain.RoleViewer}, domain.MailAtOnce)
	m.rule(t, domain.ClearanceRule{ID: "any", FirstRun: true, People: []string{"ben"}})
	run := m.bookAs(t, "ada")
	require.Equal(t, domain.RunTentative, run.State())
	m.later(2 * time.Minute)
	m.deliver(t)
	ben := m.office.to("ben@example.edu")
	require.Len(t, ben, 1)
	assert.Contains(t, ben[0], "It waits for a clearance that you may give: saggar run waiting --mine")
	assert.Empty(t, m.office.to("eve@example.edu"), "who may not clear it")
	_, err := m.ClearRun(m.ctx, as("ben", domain.RoleViewer, "ClearRun"), app.RunDecision{StudioID: "test", RunID: run.ID, Note: "come and ask"})
	require.NoError(t, err)
	m.later(2 * time.Minute)
	m.deliver(t)
	ada := m.office.to("ada@example.edu")
	require.Len(t, ada, 1)
	assert.Contains(t, ada[0], "ben cleared your run "+run.ID)
	assert.Contains(t, ada[0], "any: come and ask")
	assert.Len(t, m.office.to("ben@example.edu"), 1, "not told again, nor of his own doing")

	other := m.bookAs(t, "eve")
	_, err = m.RefuseRun(m.ctx, as("ben", domain.RoleViewer, "RefuseRun"), app.RunDecision{StudioID: "test", RunID: other.ID})
	require.NoError(t, err)
	m.later(2 * time.Minute)
	m.deliver(t)
	eve := m.office.to("eve@example.edu")
	require.Len(t, eve, 1)
	assert.Contains(t, eve[0], "ben refused your run "+other.ID)
}

// TestAPlanIsForWhoeverAttends: who is named stands in its windows, and hours in which the maker can be there do not bind them.
func TestAPlanIsForWhoeverAttends(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.staff(t, domain.Person{ID: "mira", Role: domain.RoleMaker})
	run := request("red", 1)
	run.Windows = []domain.StageWindow{{Stage: "calcine", AttendedBy: "mira"}}
	run.Limits.Attendance = []domain.WeeklyHours{{Days: []time.Weekday{0}, OpensMinute: 8 * 60, ClosesMinute: 20 * 60}}
	answer := b.plan(t, run, monday)
	require.Equal(t, app.PlanOptimal, answer.Status, "%v", answer.Blames)
	assert.Equal(t, "mira", answer.Run.Windows[0].AttendedBy)
	assert.Equal(t, time.Monday, answer.Run.Windows[0].Window().Start.Weekday())
	assert.Nil(t, findingOf(answer.Findings, "OWN_LIMITS"))
	run.Windows[0].AttendedBy = ""
	assert.Equal(t, time.Sunday, b.plan(t, run, monday).Run.Windows[0].Window().Start.Weekday(), "the maker comes on Sundays")
	run.Windows[0].AttendedBy = "nobody"
	_, err := b.tryPlan(run, monday)
	require.ErrorContains(t, err, "runs[0].stage_windows[0].attended_by")
}
