package app_test

import (
	"errors"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/finding"
	"saggar/server/app"
	"saggar/server/domain"
	"saggar/server/pgtest"
	"saggar/server/store"
)

// limitBy stores a rule of any kind in the test studio.
func (b bench) limitBy(t *testing.T, rule domain.BookingRule) {
	t.Helper()
	require.NoError(t, b.tryLimit(rule))
}

func (b bench) tryLimit(rule domain.BookingRule) error {
	_, err := b.UpdateBookingRule(b.ctx, call("Update"), app.RuleUpdate{StudioID: "test", Rule: rule, Expect: allowMissing})
	return err
}

func allotment(a domain.Allotment) domain.BookingRule {
	return domain.BookingRule{Kind: domain.KindAllotment, ID: a.ID, Allotment: &a}
}

// tryBook books windows for a department as somebody, and returns the findings that refuse.
func (b bench) tryBook(c app.Call, run app.RunRequest, acknowledged []string) (domain.Run, []finding.Finding, error) {
	result, err := b.BookRun(b.ctx, c, app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{run}, Acknowledged: acknowledged})
	var refusal *domain.Refusal
	if errors.As(err, &refusal) {
		var blocks []finding.Finding
		for _, f := range refusal.Findings {
			if f.Severity == finding.Block {
				blocks = append(blocks, f)
			}
		}
		return domain.Run{}, blocks, nil
	}
	if err != nil {
		return domain.Run{}, nil, err
	}
	return result.Runs[0], nil, nil
}

func refusedBy(blocks []finding.Finding) (list []string) {
	for _, f := range blocks {
		list = append(list, f.Code)
	}
	return list
}

func postponed(run app.RunRequest, by time.Duration) app.RunRequest {
	run.Windows = shifted(run.Windows, by)
	return run
}

func TestAnAllotmentHoldsToTheHourInEachWeek(t *testing.T) {
	t.Parallel()
	for name, measure := range map[string]func(u domain.Use, a *domain.Allotment){
		"hours": func(u domain.Use, a *domain.Allotment) { a.FurnaceHours = 2 * u.FurnaceHours },
		"kWh":   func(u domain.Use, a *domain.Allotment) { a.KilowattHours = 2 * u.KilowattHours },
	} {
		b := newBench(t)
		planned := b.plan(t, request("red", 1), monday)
		probe, blocks, err := b.tryBook(as("ada", domain.RoleMaker, "BookRun"), postponed(planned.Run, 30*24*time.Hour), codes(planned))
		require.NoError(t, err)
		require.Empty(t, blocks)
		use := probe.Firings()[0].Use()
		require.Positive(t, use.KilowattHours)
		week := domain.Allotment{ID: "week", Department: "ceramics"}
		measure(use, &week)
		b.limitBy(t, allotment(week))
		var runs []domain.Run
		for _, step := range []struct {
			day  int
			fits bool
		}{{0, true}, {6, true}, {3, false}, {7, true}, {8, true}, {9, false}} {
			run, blocks, err := b.tryBook(as("ada", domain.RoleMaker, "BookRun"), postponed(planned.Run, time.Duration(step.day)*24*time.Hour), codes(planned))
			require.NoError(t, err)
			if step.fits {
				assert.Empty(t, blocks, "%s, day %d", name, step.day)
				runs = append(runs, run)
				continue
			}
			require.Equal(t, []string{"ALLOTMENT_SPENT"}, refusedBy(blocks), "%s, day %d", name, step.day)
			assert.Equal(t, "runs[0].stage_windows[0]", blocks[0].Field)
			assert.Zero(t, blocks[0].Figures[1].Value, "nothing is left")
			assert.Contains(t, blocks[0].Cure, "start it from")
		}
		other := postponed(planned.Run, 3*24*time.Hour)
		other.Department = "glass"
		_, blocks, err = b.tryBook(as("ada", domain.RoleMaker, "BookRun"), other, codes(planned))
		require.NoError(t, err)
		assert.Empty(t, blocks, "it is ceramics' allotment")
		moved, err := b.MoveRuns(b.ctx, as("ada", domain.RoleMaker, "MoveRuns"), app.MoveRunsInput{
			StudioID: "test", Moves: []app.RunMove{{RunID: runs[0].ID, Windows: shifted(planned.Run.Windows, 24*time.Hour)}}, Acknowledged: codes(planned),
		})
		require.NoError(t, err, "what moves within its week is not counted twice")
		_, err = b.CancelRun(b.ctx, as("ada", domain.RoleMaker, "CancelRun"), app.CancelRunInput{StudioID: "test", RunID: moved.Runs[0].ID, ExpectRevision: 0})
		require.NoError(t, err)
		_, blocks, err = b.tryBook(as("ada", domain.RoleMaker, "BookRun"), postponed(planned.Run, 2*24*time.Hour), codes(planned))
		require.NoError(t, err)
		assert.Empty(t, blocks, "what was called off is free again")
	}
}

func TestATermCountsBetweenItsDatesOnItsFurnaces(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	planned := b.plan(t, request("red", 1), monday)
	furnace := planned.Run.Windows[0].Furnace
	b.limitBy(t, allotment(domain.Allotment{
		ID: "term", Department: "ceramics", FurnaceHours: 0.5, FirstDate: "2027-03-02", LastDate: "2027-03-04", Furnaces: []string{furnace},
	}))
	for day, fits := range map[int]bool{0: true, 1: false, 3: false, 4: true} {
		_, blocks, err := b.tryBook(as("ada", domain.RoleMaker, "BookRun"), postponed(planned.Run, time.Duration(day)*24*time.Hour), codes(planned))
		require.NoError(t, err)
		assert.Equal(t, fits, len(blocks) == 0, "day %d", day)
	}
	elsewhere := postponed(planned.Run, 48*time.Hour)
	elsewhere.Windows[0].Furnace = map[bool]string{true: "muffle-b", false: "muffle-a"}[furnace == "muffle-a"]
	_, blocks, err := b.tryBook(as("ada", domain.RoleMaker, "BookRun"), elsewhere, codes(planned))
	require.NoError(t, err)
	assert.Empty(t, blocks, "it holds on one furnace")
}

func TestAboveAnAllotmentSomebodyMayClear(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	planned := b.plan(t, request("red", 1), monday)
	b.limitBy(t, allotment(domain.Allotment{ID: "week", Department: "ceramics", FurnaceHours: 1}))
	b.rule(t, domain.ClearanceRule{ID: "above", OverAllotment: "week", Role: domain.RoleTechnician})
	run, blocks, err := b.tryBook(as("ada", domain.RoleMaker, "BookRun"), planned.Run, codes(planned))
	require.NoError(t, err)
	require.Empty(t, blocks)
	assert.Equal(t, []string{"above"}, waitingFor(run))
	assert.Contains(t, run.Clearances[0].Reason, "above allotment week from 2027-03-01 on")
	cleared, err := b.ClearRun(b.ctx, as("tom", domain.RoleTechnician, "ClearRun"), decision(run))
	require.NoError(t, err)
	assert.Equal(t, domain.RunConfirmed, cleared.State())
	for by, asks := range map[time.Duration]bool{24 * time.Hour: false, 7 * 24 * time.Hour: true} {
		checked, err := b.MoveRuns(b.ctx, app.Call{Caller: steward, Method: "MoveRuns", ValidateOnly: true}, app.MoveRunsInput{
			StudioID: "test", Moves: []app.RunMove{{RunID: run.ID, Windows: shifted(planned.Run.Windows, by)}}, Acknowledged: codes(planned),
		})
		require.NoError(t, err)
		assert.Equal(t, asks, len(waitingFor(checked.Runs[0])) > 0, "another week asks again, another day of it does not: %v", by)
	}
	err = b.DeleteBookingRule(b.ctx, call("DeleteAllotment"), app.RuleUpdate{StudioID: "test", Rule: domain.BookingRule{Kind: domain.KindAllotment, ID: "week"}})
	assert.ErrorIs(t, err, domain.ErrWrongState, "a rule names it")
}

func TestTaughtHoursAreKeptForTheirDepartment(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	planned := b.plan(t, request("red", 1), monday.AddDate(0, 0, 1))
	run := planned.Run
	class := run.Windows[0].Window().Start // 08:00 on Tuesday
	furnace := run.Windows[0].Furnace
	taught := domain.TaughtHours{
		ID: "class", Department: "glass", Furnaces: []string{furnace}, FreeAheadHours: 12, FirstDate: "2027-03-02", LastDate: "2027-03-09",
		Weekly: []domain.WeeklyHours{{Days: []time.Weekday{time.Tuesday}, OpensMinute: class.Hour()*60 + 1, ClosesMinute: 10 * 60}},
	}
	b.limitBy(t, domain.BookingRule{Kind: domain.KindTaughtHours, ID: "class", Taught: &taught})
	glass := run
	glass.Department = "glass"
	begins := class.Add(time.Minute)
	for name, c := range map[string]struct {
		run  app.RunRequest
		role domain.Role
		now  time.Time
		fits bool
	}{
		"a maker of another department":     {run, domain.RoleMaker, monday, false},
		"the department":                    {glass, domain.RoleMaker, monday, true},
		"a technician":                      {run, domain.RoleTechnician, monday, true},
		"a minute before it is for anybody": {run, domain.RoleMaker, begins.Add(-12*time.Hour - time.Minute), false},
		"still free twelve hours before":    {run, domain.RoleMaker, begins.Add(-12 * time.Hour), true},
		"another day":                       {postponed(run, 24*time.Hour), domain.RoleMaker, monday, true},
		"its last week":                     {postponed(run, 7*24*time.Hour), domain.RoleMaker, monday, false},
		"after its last day":                {postponed(run, 14*24*time.Hour), domain.RoleMaker, monday, true},
	} {
		check := as("ada", c.role, "CheckRun")
		check.ValidateOnly = true
		result, err := b.at(c.now).BookRun(b.ctx, check, app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{c.run}})
		require.NoError(t, err, name)
		i := slices.IndexFunc(result.Findings, func(f finding.Finding) bool { return f.Code == "TAUGHT_HOURS" })
		if assert.Equal(t, c.fits, i < 0, name) && !c.fits {
			assert.Contains(t, result.Findings[i].Cure, "for anybody", name)
			assert.Contains(t, result.Findings[i].Message, furnace+" is kept for glass", name)
		}
	}
}

func TestAPlanKeepsOutOfTaughtHours(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	kept := domain.TaughtHours{ID: "class", Department: "glass", Weekly: []domain.WeeklyHours{{Days: []time.Weekday{time.Monday}, OpensMinute: 7 * 60, ClosesMinute: 24 * 60}}}
	b.limitBy(t, domain.BookingRule{Kind: domain.KindTaughtHours, ID: "class", Taught: &kept})
	for department, day := range map[string]time.Weekday{"ceramics": time.Tuesday, "glass": time.Monday} {
		asked := request("red", 1)
		asked.Department = department
		answer, err := b.planInput(app.PlanInput{
			StudioID: "test", Runs: []app.RunRequest{asked}, Maker: "ada", Role: domain.RoleMaker,
			Window: domain.Window{Start: monday, End: monday.AddDate(0, 0, 28)},
		})
		require.NoError(t, err)
		require.Equal(t, app.PlanOptimal, answer.Status, department)
		assert.Equal(t, day, answer.Run.Windows[0].Charged().Weekday(), department)
	}
}

func TestHowFarAheadAndHowMuchUnused(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	planned := b.plan(t, request("red", 1), monday)
	start, hours := planned.Run.Windows[0].Window().Start, planned.Run.Windows[0].Window().End.Sub(planned.Run.Windows[0].Window().Start).Hours()
	ahead := start.AddDate(0, 0, 3).Sub(monday.Add(-time.Hour)).Hours() / 24
	b.limitBy(t, domain.BookingRule{Kind: domain.KindBookingLimit, ID: "makers", Limit: &domain.BookingLimit{
		ID: "makers", Role: domain.RoleMaker, AheadDays: ahead, UnusedHours: 2 * hours,
	}})
	for _, c := range []struct {
		maker string
		role  domain.Role
		by    time.Duration
		codes []string
	}{
		{"ada", domain.RoleMaker, 3*24*time.Hour + time.Minute, []string{"BOOKED_TOO_FAR_AHEAD"}},
		{"ada", domain.RoleMaker, 3 * 24 * time.Hour, nil},
		{"tom", domain.RoleTechnician, 9 * 24 * time.Hour, nil},
		{"ada", domain.RoleMaker, 24 * time.Hour, nil},
		{"ada", domain.RoleMaker, 48 * time.Hour, []string{"UNUSED_HOURS"}},
		{"eve", domain.RoleMaker, 48 * time.Hour, nil},
	} {
		_, blocks, err := b.tryBook(as(c.maker, c.role, "BookRun"), postponed(planned.Run, c.by), codes(planned))
		require.NoError(t, err)
		assert.Equal(t, c.codes, refusedBy(blocks), "%s by %v", c.maker, c.by)
		for _, f := range blocks {
			assert.NotEmpty(t, f.Cure)
		}
	}
	fourDays := b.at(start.AddDate(0, 0, 1).Add(time.Minute)) // the first of ada's has begun
	_, blocks, err := fourDays.tryBook(as("ada", domain.RoleMaker, "BookRun"), postponed(planned.Run, 4*24*time.Hour), codes(planned))
	require.NoError(t, err)
	assert.Empty(t, blocks, "what is under way is used")
}

func TestLimitsThatAreNone(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	weekly := []domain.WeeklyHours{{Days: []time.Weekday{1}, OpensMinute: 60, ClosesMinute: 120}}
	for field, rule := range map[string]domain.BookingRule{
		"furnace_hours":    allotment(domain.Allotment{FurnaceHours: -1, Department: "ceramics"}),
		"kilowatt_hours":   allotment(domain.Allotment{FurnaceHours: 1, KilowattHours: -2, Department: "ceramics"}),
		"last_date":        allotment(domain.Allotment{FurnaceHours: 1, FirstDate: "2027-03-01", LastDate: "2027-02-01"}),
		"first_date":       allotment(domain.Allotment{FurnaceHours: 1, FirstDate: "2027-02-30", LastDate: "2027-03-01"}),
		"furnaces[0]":      allotment(domain.Allotment{FurnaceHours: 1, Furnaces: []string{"none"}}),
		"weekly":           {Kind: domain.KindTaughtHours, Taught: &domain.TaughtHours{}},
		"free_ahead_hours": {Kind: domain.KindTaughtHours, Taught: &domain.TaughtHours{Weekly: weekly, FreeAheadHours: -3}},
		"ahead_days":       {Kind: domain.KindBookingLimit, Limit: &domain.BookingLimit{Role: domain.RoleMaker}},
		"unused_hours":     {Kind: domain.KindBookingLimit, Limit: &domain.BookingLimit{Role: domain.RoleMaker, UnusedHours: -1}},
		"role":             {Kind: domain.KindBookingLimit, Limit: &domain.BookingLimit{AheadDays: 1}},
		"over_allotment":   {Kind: domain.KindClearanceRule, Clearance: &domain.ClearanceRule{OverAllotment: "none", Role: domain.RoleSteward}},
	} {
		rule.ID = "bad"
		faults := finding.FaultsOf(b.tryLimit(rule))
		if assert.Len(t, faults, 1, "%s: %v", field, faults) {
			assert.Equal(t, field, faults[0].Field)
			assert.NotEmpty(t, faults[0].Cure)
		}
	}
	b.staff(t)
	faults := finding.FaultsOf(b.tryLimit(allotment(domain.Allotment{ID: "x", FurnaceHours: 1, Department: "nowhere"})))
	require.Len(t, faults, 1)
	assert.Equal(t, "department", faults[0].Field)
}

// TestManyServersNeverGoAboveAnAllotment lets several servers book and call off at random and adds up from scratch.
func TestManyServersNeverGoAboveAnAllotment(t *testing.T) {
	t.Parallel()
	seed := raceSeed(t)
	connString := pgtest.New(t)
	b := benchOn(t, connString)
	planned := b.plan(t, request("red", 1), monday)
	window := planned.Run.Windows[0].Window()
	allowed := 5.5 * window.End.Sub(window.Start).Hours()
	held := 3.5 * window.End.Sub(window.Start).Hours()
	b.limitBy(t, allotment(domain.Allotment{ID: "week", Department: "ceramics", FurnaceHours: allowed}))
	b.limitBy(t, domain.BookingRule{Kind: domain.KindBookingLimit, ID: "makers", Limit: &domain.BookingLimit{ID: "makers", Role: domain.RoleMaker, UnusedHours: held}})
	var group sync.WaitGroup
	var mu sync.Mutex
	counts := map[string]int{}
	for i := range 9 {
		kept, err := store.Open(b.ctx, connString, store.Options{MaxConnections: 3})
		require.NoError(t, err)
		t.Cleanup(kept.Close)
		server := bench{app.New(kept, func() time.Time { return monday.Add(-time.Hour) }, rand.NewChaCha8([32]byte{byte(i)})), kept, b.ctx}
		group.Go(func() {
			random := rand.New(rand.NewPCG(seed, uint64(i)))
			var own []string
			for range 8 {
				maker := []string{"ada", "ben", "eve"}[random.IntN(3)]
				if len(own) > 0 && random.IntN(4) == 0 {
					_, err := server.CancelRun(b.ctx, call("CancelRun"), app.CancelRunInput{StudioID: "test", RunID: own[0], ExpectRevision: 0})
					assert.NoError(t, err)
					own = own[1:]
					continue
				}
				run := postponed(planned.Run, time.Duration(random.IntN(10))*24*time.Hour)
				run.Windows[0].Furnace = []string{"pot", "muffle-a", "muffle-b", "kiln"}[random.IntN(4)]
				booked, blocks, err := server.tryBook(as(maker, domain.RoleMaker, "BookRun"), run, codes(planned))
				if !errors.Is(err, domain.ErrChangedMeanwhile) {
					assert.NoError(t, err)
				}
				mu.Lock()
				for _, code := range refusedBy(blocks) {
					counts[code]++
				}
				mu.Unlock()
				if err == nil && len(blocks) == 0 {
					own = append(own, booked.ID)
				}
			}
		})
	}
	group.Wait()
	weeks, makers := map[int]float64{}, map[string]float64{}
	for _, f := range (&race{bench: b}).allFirings(t) {
		hours := f.Window.End.Sub(f.Window.Start).Hours()
		_, week := f.Window.Start.ISOWeek()
		weeks[week] += hours
		makers[f.Maker] += hours
	}
	t.Logf("%v %v %v, allowed %.4g, held %.4g", weeks, makers, counts, allowed, held)
	assert.NotEmpty(t, weeks)
	for week, sum := range weeks {
		assert.LessOrEqual(t, sum, allowed+1e-9, "week %d", week)
	}
	for maker, sum := range makers {
		assert.LessOrEqual(t, sum, held+1e-9, maker)
	}
	assert.Positive(t, counts["ALLOTMENT_SPENT"]+counts["UNUSED_HOURS"], "nothing was refused: it shows nothing")
}
