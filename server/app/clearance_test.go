package app_test

import (
	"context"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/server/app"
	"saggar/server/domain"
	"saggar/server/store"
)

// rule stores a clearance rule in the test studio.
func (b bench) rule(t *testing.T, rule domain.ClearanceRule) {
	t.Helper()
	require.NoError(t, b.tryRule(rule))
}

func (b bench) tryRule(rule domain.ClearanceRule) error {
	_, err := b.UpdateBookingRule(b.ctx, call("UpdateClearanceRule"), app.RuleUpdate{
		StudioID: "test", Rule: domain.BookingRule{Kind: domain.KindClearanceRule, ID: rule.ID, Clearance: &rule}, Expect: allowMissing,
	})
	return err
}

func as(id string, role domain.Role, method string) app.Call {
	return app.Call{Caller: domain.Caller{ID: id, Role: role}, Method: method}
}

// bookAs plans and books a run as somebody.
func (b bench) bookAs(t *testing.T, maker string, request app.RunRequest, from time.Time) domain.Run {
	t.Helper()
	answer := b.plan(t, request, from)
	require.NotEmpty(t, answer.Run.Windows, "%v", answer.Blames)
	booked, err := b.BookRun(b.ctx, as(maker, domain.RoleMaker, "BookRun"), app.BookRunInput{
		StudioID: "test", Runs: []app.RunRequest{answer.Run}, Acknowledged: codes(answer),
	})
	require.NoError(t, err)
	return booked.Runs[0]
}

func decision(run domain.Run, rules ...string) app.RunDecision {
	return app.RunDecision{StudioID: "test", RunID: run.ID, Rules: rules, Note: "seen"}
}

func states(run domain.Run) []domain.LoadState {
	var list []domain.LoadState
	for _, load := range run.Loads {
		list = append(list, load.State)
		if load.Firing != nil {
			list = append(list, load.Firing.State)
		}
	}
	return list
}

// hot is a recipe that is charged at 600 C, without water.
func (b bench) hot(t *testing.T) {
	t.Helper()
	hot := redRecipe()
	hot.ID = "hot"
	hot.Stages[0].Additions[0].Material = "rouge"
	hot.Stages[0].ChargeAtCelsius = 600
	hot.Stages[0].Program.Segments[0].RateCelsiusPerHour = 0
	_, err := b.LoadStudio(b.ctx, call("LoadStudio"), app.LoadStudioInput{
		StudioID:  "test",
		Materials: []chem.Material{{ID: "rouge", Phases: []chem.Phase{{Formula: "Fe2O3", MassFraction: 1}}}}, Recipes: []chem.Recipe{hot},
	})
	require.NoError(t, err)
}

// TestEachReasonAsksAndItsOppositeDoesNot books to check under one rule at a time.
func TestEachReasonAsksAndItsOppositeDoesNot(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.hot(t)
	b.staff(t, domain.Person{ID: "ada", Role: domain.RoleMaker})
	week := []time.Weekday{0, 1, 2, 3, 4, 5, 6}
	anyTime := []domain.WeeklyHours{{Days: week, OpensMinute: 0, ClosesMinute: 24 * 60}}
	blue := b.plan(t, request("blue", 1), monday)
	var most, total float64 // of SO2, from the plain releases
	checked, err := b.BookRun(b.ctx, app.Call{Caller: domain.Caller{ID: "ada"}, Method: "CheckRun", ValidateOnly: true},
		app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{blue.Run}})
	require.NoError(t, err)
	for _, firing := range checked.Runs[0].Firings() {
		var stage float64
		for minute := 0.0; minute < 3000; minute++ { // minute by minute, since releases are pieces
			var rate float64
			for _, r := range firing.Releases {
				if r.Species == "SO2" && r.StartMinute <= minute && minute < r.EndMinute {
					rate += r.GramsPerMinute
				}
			}
			most = max(most, rate)
		}
		for _, r := range firing.Releases {
			if r.Species == "SO2" {
				stage += r.GramsPerMinute * (r.EndMinute - r.StartMinute)
			}
		}
		total = max(total, stage)
	}
	require.Positive(t, most)
	for name, c := range map[string]struct {
		recipe string
		rule   domain.ClearanceRule
		asks   string
	}{
		"more gas a minute":         {"blue", domain.ClearanceRule{OffGas: &domain.OffGasAbove{Species: "SO2", GramsPerMinute: most * 0.9}}, "g/min of SO2"},
		"no more gas a minute":      {"blue", domain.ClearanceRule{OffGas: &domain.OffGasAbove{Species: "SO2", GramsPerMinute: most * 1.1}}, ""},
		"more gas in all":           {"blue", domain.ClearanceRule{OffGas: &domain.OffGasAbove{Species: "SO2", Grams: total * 0.9}}, "g in all"},
		"no more gas in all":        {"blue", domain.ClearanceRule{OffGas: &domain.OffGasAbove{Species: "SO2", Grams: total * 1.1}}, ""},
		"on another furnace":        {"blue", domain.ClearanceRule{OffGas: &domain.OffGasAbove{Species: "SO2", Grams: 0.001}, Furnaces: []string{"kiln"}}, ""},
		"charged hot":               {"hot", domain.ClearanceRule{ChargedFromCelsius: 600}, "charged at 600 C"},
		"charged less hot":          {"hot", domain.ClearanceRule{ChargedFromCelsius: 601}, ""},
		"charged cold":              {"red", domain.ClearanceRule{ChargedFromCelsius: 100}, ""},
		"a hazard of a composition": {"blue", domain.ClearanceRule{Hazards: []string{"sulfur", "explosive"}}, "it has sulfur"},
		"another hazard":            {"red", domain.ClearanceRule{Hazards: []string{"sulfur"}}, ""},
		"a finding":                 {"blue", domain.ClearanceRule{FindingCodes: codes(blue)}, "it has "},
		"another finding":           {"blue", domain.ClearanceRule{FindingCodes: []string{"NO_SUCH"}}, ""},
		"a first run":               {"red", domain.ClearanceRule{FirstRun: true}, "first run"},
		"outside the hours": {"blue", domain.ClearanceRule{OutsideHours: []domain.WeeklyHours{
			{Days: week, OpensMinute: 11 * 60, ClosesMinute: 12 * 60},
		}}, "outside the hours"},
		"within the hours": {"blue", domain.ClearanceRule{OutsideHours: anyTime}, ""},
	} {
		rule := c.rule
		rule.ID, rule.Role = "only", domain.RoleTechnician
		b.rule(t, rule)
		run := b.plan(t, request(c.recipe, 1), monday).Run
		result, err := b.BookRun(b.ctx, app.Call{Caller: domain.Caller{ID: "ada"}, Method: "CheckRun", ValidateOnly: true},
			app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{run}})
		require.NoError(t, err, name)
		waiting := result.Runs[0].Waiting()
		if c.asks == "" {
			assert.Empty(t, waiting, name)
			continue
		}
		if assert.Len(t, waiting, 1, name) {
			assert.Contains(t, waiting[0].Reason, c.asks, name)
			assert.Equal(t, domain.RunTentative, result.Runs[0].State(), name)
		}
		note := finding.Finding{}
		for _, f := range result.Findings {
			if f.Code == "CLEARANCE_NEEDED" {
				note = f
			}
		}
		assert.Equal(t, finding.Note, note.Severity, name)
		assert.Equal(t, "runs[0]", note.Field, name)
		assert.Contains(t, note.Message, "a technician or above", name)
	}
}

func TestAClearedRunIsConfirmedAndTheTraceSaysEveryStep(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.staff(t, domain.Person{ID: "ada", Role: domain.RoleMaker}, domain.Person{ID: "ben", Role: domain.RoleViewer})
	b.rule(t, domain.ClearanceRule{ID: "first", FirstRun: true, Role: domain.RoleTechnician})
	b.rule(t, domain.ClearanceRule{ID: "sulfur", Hazards: []string{"sulfur"}, People: []string{"ben"}})
	run := b.bookAs(t, "ada", request("blue", 1), monday.AddDate(0, 0, 7))
	assert.Equal(t, domain.RunTentative, run.State())
	for _, state := range states(run) {
		assert.Equal(t, domain.LoadTentative, state)
	}
	_, err := b.BookRun(b.ctx, as("eve", domain.RoleMaker, "BookRun"), app.BookRunInput{
		StudioID: "test", Runs: []app.RunRequest{again(run)}, Acknowledged: run.Acknowledged,
	})
	var refusal *domain.Refusal
	require.ErrorAs(t, err, &refusal, "what waits holds its windows")

	for name, c := range map[string]struct {
		who   app.Call
		rules []string
		says  string
	}{
		"its own maker":        {as("ada", domain.RoleSteward, "ClearRun"), nil, "nobody clears a run of their own"},
		"a maker":              {as("eve", domain.RoleMaker, "ClearRun"), nil, "first is for a technician or above; sulfur is for ben"},
		"a technician, sulfur": {as("tom", domain.RoleTechnician, "ClearRun"), []string{"sulfur"}, "it is for ben"},
		"ben, first":           {as("ben", domain.RoleViewer, "ClearRun"), []string{"first"}, "it is for a technician or above"},
	} {
		_, err := b.ClearRun(b.ctx, c.who, decision(run, c.rules...))
		assert.ErrorIs(t, err, domain.ErrForbidden, name)
		assert.ErrorContains(t, err, c.says, name)
	}
	_, err = b.ClearRun(b.ctx, as("tom", domain.RoleTechnician, "ClearRun"), decision(run, "nothing"))
	assert.ErrorIs(t, err, domain.ErrNotFound)

	old := decision(run)
	old.ExpectRevision = run.Revision - 1
	_, err = b.ClearRun(b.ctx, as("tom", domain.RoleTechnician, "ClearRun"), old)
	assert.ErrorIs(t, err, domain.ErrChangedMeanwhile)
	half, err := b.ClearRun(b.ctx, as("tom", domain.RoleTechnician, "ClearRun"), decision(run))
	require.NoError(t, err)
	assert.Equal(t, domain.RunTentative, half.State(), "ben's yes is still wanting")
	waits := b.waiting(t, as("ben", domain.RoleViewer, "ListWaitingRuns"))
	assert.Equal(t, []string{run.ID}, waits)
	assert.Empty(t, b.waiting(t, as("tom", domain.RoleTechnician, "ListWaitingRuns")), "nothing is left for tom")
	_, err = b.ClearRun(b.ctx, as("tom", domain.RoleTechnician, "ClearRun"), decision(run, "first"))
	assert.ErrorIs(t, err, domain.ErrWrongState)
	assert.ErrorContains(t, err, "decided already, by tom")
	twice := as("ben", domain.RoleViewer, "ClearRun")
	twice.RequestID = uuid.NewString()
	for range 2 {
		whole, err := b.ClearRun(b.ctx, twice, decision(run, "sulfur"))
		require.NoError(t, err)
		assert.Equal(t, domain.RunConfirmed, whole.State())
		for _, state := range states(whole) {
			assert.Equal(t, domain.LoadConfirmed, state)
		}
	}
	_, err = b.ClearRun(b.ctx, as("sue", domain.RoleSteward, "ClearRun"), decision(run))
	assert.ErrorIs(t, err, domain.ErrWrongState)
	assert.ErrorContains(t, err, "first was cleared by tom")

	stands, err := b.GetRun(b.ctx, "test", run.ID)
	require.NoError(t, err)
	require.Len(t, stands.Clearances, 2)
	assert.Equal(t, "ben", stands.Clearances[1].DecidedBy)
	assert.Equal(t, "seen", stands.Clearances[1].Note)
	assert.Equal(t, []string{"BookRun ada", "ClearRun tom", "ClearRun ben"}, b.steps(t, run))
	assert.ErrorIs(t, b.DeletePerson(b.ctx, call("DeletePerson"), "test", "ben", 0), domain.ErrWrongState, "the rule would have nobody left")
}

// again asks for the same windows.
func again(run domain.Run) app.RunRequest {
	r := app.RunRequest{RecipeID: run.RecipeID, Department: run.Department, Scale: run.Scale}
	for _, load := range run.Loads {
		window := load.StageWindow()
		window.AttendedBy = "" // by whoever books it
		r.Windows = append(r.Windows, window)
	}
	return r
}

func (b bench) waiting(t *testing.T, c app.Call) (ids []string) {
	t.Helper()
	runs, err := b.ListWaitingRuns(b.ctx, c, app.WaitingQuery{StudioID: "test", OnlyMine: true, Limit: 2})
	require.NoError(t, err)
	for _, run := range runs {
		ids = append(ids, run.ID)
	}
	return ids
}

// steps are the trace's entries about a run.
func (b bench) steps(t *testing.T, run domain.Run) (steps []string) {
	t.Helper()
	require.NoError(t, b.store.InSnapshot(b.ctx, func(ctx context.Context, tx *store.Tx) error {
		studio, err := tx.Studio(ctx, "test")
		if err != nil {
			return err
		}
		changes, err := tx.ListChanges(ctx, studio.Key, 0, math.MaxInt32)
		for _, c := range changes {
			if c.Subject == "runs/"+run.ID {
				steps = append(steps, c.Method+" "+c.Caller)
			}
		}
		return err
	}))
	return steps
}

func TestARefusedRunIsCalledOffWithTheNote(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.rule(t, domain.ClearanceRule{ID: "first", FirstRun: true, Role: domain.RoleTechnician})
	run := b.bookAs(t, "ada", request("red", 1), monday)
	refused, err := b.RefuseRun(b.ctx, as("tom", domain.RoleTechnician, "RefuseRun"), app.RunDecision{
		StudioID: "test", RunID: run.ID, Note: "not before you were shown",
	})
	require.NoError(t, err)
	assert.Equal(t, domain.RunCancelled, refused.State())
	assert.Equal(t, domain.ClearanceRefused, refused.Clearances[0].State)
	assert.Equal(t, "not before you were shown", refused.Clearances[0].Note)
	assert.Equal(t, []domain.LoadState{domain.LoadCancelled, domain.LoadCancelled}, states(refused))
	_, err = b.ClearRun(b.ctx, as("tom", domain.RoleTechnician, "ClearRun"), decision(run))
	assert.ErrorIs(t, err, domain.ErrWrongState)
	_, err = b.BookRun(b.ctx, as("eve", domain.RoleMaker, "BookRun"), app.BookRunInput{
		StudioID: "test", Runs: []app.RunRequest{again(run)}, Acknowledged: run.Acknowledged,
	})
	assert.NoError(t, err, "its windows are free")
}

func TestAHoldExpiresAtItsMinute(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.rule(t, domain.ClearanceRule{ID: "first", FirstRun: true, Role: domain.RoleTechnician, ExpiresAfterHours: 5})
	run := b.bookAs(t, "ada", request("red", 1), monday.AddDate(0, 0, 3))
	until := monday.Add(4 * time.Hour) // the clock shows an hour before monday
	require.Equal(t, until, run.HoldExpireTime())
	before, at := b.at(until.Add(-time.Minute)), b.at(until)
	stands, err := before.GetRun(b.ctx, "test", run.ID)
	require.NoError(t, err)
	assert.Equal(t, domain.RunTentative, stands.State())
	lapsed, err := at.GetRun(b.ctx, "test", run.ID)
	require.NoError(t, err)
	assert.Equal(t, []domain.LoadState{domain.LoadExpired, domain.LoadExpired}, states(lapsed), "by time, though nothing is written down yet")
	firing, err := at.GetFiring(b.ctx, "test", run.Firings()[0].ID)
	require.NoError(t, err)
	assert.Equal(t, domain.LoadExpired, firing.State)
	window := app.FiringsQuery{Window: domain.Window{Start: monday, End: monday.AddDate(0, 0, 30)}, Limit: 10}
	for clock, want := range map[*bench]int{&before: 1, &at: 0} {
		firings, err := clock.ListFirings(b.ctx, "test", window)
		require.NoError(t, err)
		assert.Len(t, firings, want)
	}
	window.ShowEnded = true
	ended, err := at.ListFirings(b.ctx, "test", window)
	require.NoError(t, err)
	require.Len(t, ended, 1)
	assert.Equal(t, domain.LoadExpired, ended[0].State)

	for name, decide := range map[string]func(context.Context, app.Call, app.RunDecision) (domain.Run, error){"clear": at.ClearRun, "refuse": at.RefuseRun} {
		_, err = decide(b.ctx, as("tom", domain.RoleTechnician, "ClearRun"), decision(run))
		assert.ErrorIs(t, err, domain.ErrWrongState, name)
		assert.ErrorContains(t, err, "waited too long", name)
	}
	_, err = at.CancelRun(b.ctx, as("ada", domain.RoleMaker, "CancelRun"), app.CancelRunInput{StudioID: "test", RunID: run.ID, ExpectRevision: 0})
	assert.ErrorIs(t, err, domain.ErrWrongState)
	assert.Empty(t, at.waiting(t, as("tom", domain.RoleTechnician, "ListWaitingRuns")))

	taken, err := at.BookRun(b.ctx, as("eve", domain.RoleSteward, "BookRun"), app.BookRunInput{
		StudioID: "test", Runs: []app.RunRequest{again(run)}, Acknowledged: run.Acknowledged,
	})
	require.NoError(t, err, "an expired hold blocks nothing, swept before or not")
	require.Len(t, taken.Runs, 1)
	assert.Equal(t, []string{"BookRun ada", "ExpireRun saggard"}, b.steps(t, run))
	count, err := at.ExpireRuns(b.ctx)
	require.NoError(t, err)
	assert.Zero(t, count, "it was written down once already")
}

func TestTheSweepWritesDownWhatLapsed(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.rule(t, domain.ClearanceRule{ID: "first", FirstRun: true, Role: domain.RoleTechnician, ExpiresAfterHours: 5})
	run := b.bookAs(t, "ada", request("red", 1), monday.AddDate(0, 0, 3))
	for _, c := range []struct {
		after time.Duration
		want  int
	}{{-time.Minute, 0}, {0, 1}, {time.Minute, 0}} {
		count, err := b.at(run.HoldExpireTime().Add(c.after)).ExpireRuns(b.ctx)
		require.NoError(t, err)
		assert.Equal(t, c.want, count)
	}
	stands, err := b.GetRun(b.ctx, "test", run.ID) // by a clock that runs behind
	require.NoError(t, err)
	assert.Equal(t, domain.RunCancelled, stands.State(), "what is written down holds for every clock")
	assert.Equal(t, []string{"BookRun ada", "ExpireRun saggard"}, b.steps(t, run))
}

func TestTooLateForTheClearanceIsRefused(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	run := b.plan(t, request("red", 1), monday)
	ahead := run.Run.Windows[0].Charged().Sub(monday.Add(-time.Hour)).Hours() // to the minute
	for wanted, fits := range map[float64]bool{ahead: false, ahead - 0.02: true} {
		b.rule(t, domain.ClearanceRule{ID: "first", FirstRun: true, Role: domain.RoleTechnician, AheadOfChargeHours: wanted})
		_, err := b.BookRun(b.ctx, as("ada", domain.RoleMaker, "BookRun"), app.BookRunInput{
			StudioID: "test", Runs: []app.RunRequest{run.Run}, Acknowledged: codes(run),
		})
		if fits {
			assert.NoError(t, err)
			continue
		}
		var refusal *domain.Refusal
		require.ErrorAs(t, err, &refusal)
		assert.Equal(t, "CLEARANCE_TOO_LATE", refusal.Findings[0].Code)
		assert.Contains(t, refusal.Findings[0].Cure, "charge it later")
	}
}

// TestAMoveAsksAgainOnlyForWhatItTouches moves a run that was cleared for its furnace, and whose hours end an hour after it.
func TestAMoveAsksAgainOnlyForWhatItTouches(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	planned := b.plan(t, request("red", 1), monday.AddDate(0, 0, 1)).Run.Windows[0]
	until := planned.Window().End.Add(time.Hour)
	day := []domain.WeeklyHours{{Days: []time.Weekday{0, 1, 2, 3, 4, 5, 6}, OpensMinute: 7 * 60, ClosesMinute: until.Hour()*60 + until.Minute()}}
	b.rule(t, domain.ClearanceRule{ID: "hours", OutsideHours: day, Role: domain.RoleTechnician})
	b.rule(t, domain.ClearanceRule{ID: "iron", FindingCodes: []string{"NO_SUCH"}, Hazards: []string{"metal_oxide"}, Role: domain.RoleTechnician})
	run := b.bookAs(t, "ada", request("red", 1), monday.AddDate(0, 0, 1))
	require.Equal(t, planned.Phases, run.Loads[0].StageWindow().Phases)
	assert.Equal(t, []string{"iron"}, waitingFor(run))
	_, err := b.ClearRun(b.ctx, as("tom", domain.RoleTechnician, "ClearRun"), decision(run))
	require.NoError(t, err)
	other := map[bool]string{true: "muffle-b", false: "muffle-a"}[planned.Furnace == "muffle-a"]
	for _, c := range []struct {
		name    string
		by      time.Duration
		furnace string
		asks    []string
	}{
		{"a shift within the hours", time.Hour, planned.Furnace, nil},
		{"to another day", 72 * time.Hour, planned.Furnace, nil},
		{"out of the hours", 90 * time.Minute, planned.Furnace, []string{"hours"}},
		{"back into them", 0, planned.Furnace, nil},
		{"another furnace", 0, other, []string{"iron"}},
		{"another furnace and out of the hours", 90 * time.Minute, other, []string{"hours", "iron"}},
	} {
		windows := shifted([]domain.StageWindow{planned}, c.by)
		windows[0].Furnace = c.furnace
		moved, err := b.MoveRuns(b.ctx, as("ada", domain.RoleMaker, "MoveRuns"), app.MoveRunsInput{
			StudioID: "test", Moves: []app.RunMove{{RunID: run.ID, Windows: windows}}, Acknowledged: run.Acknowledged,
		})
		require.NoError(t, err, c.name)
		assert.Equal(t, c.asks, waitingFor(moved.Runs[0]), c.name)
		assert.Equal(t, c.asks != nil, moved.Runs[0].State() == domain.RunTentative, c.name)
		stands, err := b.GetRun(b.ctx, "test", run.ID)
		require.NoError(t, err)
		assert.Equal(t, states(moved.Runs[0]), states(stands), c.name)
	}
}

func waitingFor(run domain.Run) (rules []string) {
	for _, c := range run.Waiting() {
		rules = append(rules, c.Rule)
	}
	slices.Sort(rules)
	return rules
}

func TestMovingDoesNotMakeARunWaitLonger(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.rule(t, domain.ClearanceRule{ID: "first", FirstRun: true, Role: domain.RoleTechnician, ExpiresAfterHours: 24})
	run := b.bookAs(t, "ada", request("red", 1), monday.AddDate(0, 0, 3))
	later := b.at(monday.Add(20 * time.Hour))
	moved, err := later.MoveRuns(b.ctx, as("ada", domain.RoleMaker, "MoveRuns"), app.MoveRunsInput{
		StudioID: "test", Moves: []app.RunMove{{RunID: run.ID, Windows: shifted(again(run).Windows, 24*time.Hour)}}, Acknowledged: run.Acknowledged,
	})
	require.NoError(t, err)
	assert.Equal(t, run.HoldExpireTime(), moved.Runs[0].HoldExpireTime())
	_, err = b.at(run.HoldExpireTime()).MoveRuns(b.ctx, as("ada", domain.RoleMaker, "MoveRuns"), app.MoveRunsInput{
		StudioID: "test", Moves: []app.RunMove{{RunID: run.ID, Windows: again(run).Windows}}, Acknowledged: run.Acknowledged,
	})
	assert.ErrorIs(t, err, domain.ErrWrongState, "what expired is not moved")
}

func TestRulesThatAreNone(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	technician := domain.RoleTechnician
	for name, c := range map[string]struct {
		rule  domain.ClearanceRule
		field string
	}{
		"unknown species":    {domain.ClearanceRule{OffGas: &domain.OffGasAbove{Species: "Xx9", Grams: 1}, Role: technician}, "off_gas.species"},
		"no species":         {domain.ClearanceRule{OffGas: &domain.OffGasAbove{Grams: 1}, Role: technician}, "off_gas.species"},
		"negative grams":     {domain.ClearanceRule{OffGas: &domain.OffGasAbove{Species: "SO2", Grams: -1}, Role: technician}, "off_gas.grams"},
		"no figure":          {domain.ClearanceRule{OffGas: &domain.OffGasAbove{Species: "SO2"}, Role: technician}, "off_gas.grams_per_minute"},
		"not a number":       {domain.ClearanceRule{ChargedFromCelsius: math.NaN(), Role: technician}, "charged_from_celsius"},
		"nobody may":         {domain.ClearanceRule{FirstRun: true}, "clearing_role"},
		"nobody who stands":  {domain.ClearanceRule{FirstRun: true, People: []string{"nobody"}}, "clearing_people[0]"},
		"no such furnace":    {domain.ClearanceRule{FirstRun: true, Role: technician, Furnaces: []string{"pot", "none"}}, "furnaces[1]"},
		"no such hazard":     {domain.ClearanceRule{Hazards: []string{"spooky"}, Role: technician}, "hazards[0]"},
		"nothing says when":  {domain.ClearanceRule{Role: technician}, ""},
		"two say when":       {domain.ClearanceRule{FirstRun: true, ChargedFromCelsius: 100, Role: technician}, ""},
		"negative wait":      {domain.ClearanceRule{FirstRun: true, Role: technician, ExpiresAfterHours: -1}, "expires_after_hours"},
		"closes before open": {domain.ClearanceRule{OutsideHours: []domain.WeeklyHours{{OpensMinute: 9, ClosesMinute: 8}}, Role: technician}, "outside_hours[0].closes"},
	} {
		rule := c.rule
		rule.ID = "bad"
		faults := finding.FaultsOf(b.tryRule(rule))
		if assert.Len(t, faults, 1, "%s: %v", name, faults) {
			assert.Equal(t, c.field, faults[0].Field, name)
			assert.NotEmpty(t, faults[0].Cure, name)
		}
	}
	list, err := b.ListBookingRules(b.ctx, "test", domain.KindClearanceRule, app.Page{Limit: 10})
	require.NoError(t, err)
	assert.Empty(t, list, "nothing of what is wrong is stored")
}

// TestWhatEndsWaitingGivesItsLotsUp lets runs that wait reserve all of a lot and end, by a no and by time.
func TestWhatEndsWaitingGivesItsLotsUp(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.keep(t, delivery("ore", "goethite", 400))
	b.rule(t, domain.ClearanceRule{ID: "first", FirstRun: true, Role: domain.RoleTechnician, ExpiresAfterHours: 5})
	planned := b.plan(t, request("red", 1), monday)
	draw := withDraws(planned.Run, app.DrawRequest{Lot: "ore"})
	book := func(b bench, days int) domain.Run {
		booked, err := b.BookRun(b.ctx, as("ada", domain.RoleMaker, "BookRun"), app.BookRunInput{
			StudioID: "test", Runs: []app.RunRequest{daysLater(draw, days)}, Acknowledged: codes(planned),
		})
		require.NoError(t, err)
		require.Equal(t, domain.RunTentative, booked.Runs[0].State())
		assert.Equal(t, []float64{400, 400}, grams(b.lot(t, "ore")))
		return booked.Runs[0]
	}
	refused := book(b, 0)
	_, err := b.RefuseRun(b.ctx, as("tom", domain.RoleTechnician, "RefuseRun"), decision(refused))
	require.NoError(t, err)
	assert.Equal(t, []float64{400, 0}, grams(b.lot(t, "ore")))
	book(b, 1)
	later := b.at(monday.Add(4 * time.Hour)) // when it has waited too long
	book(later, 2)                           // takes the lot all the same, though nothing was written down yet
}
