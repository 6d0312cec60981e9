package app_test

import (
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/server/app"
	"saggar/server/domain"
)

// keep puts a delivery down.
func (b bench) keep(t testing.TB, lot domain.Lot) app.SeenLot {
	t.Helper()
	kept, err := b.CreateLot(b.ctx, call("CreateLot"), "test", lot)
	require.NoError(t, err)
	return kept
}

func delivery(id, material string, grams float64) domain.Lot {
	return domain.Lot{Lot: chem.Lot{ID: id, Material: material, MassGrams: grams, MadeOn: "2027-02-20"}}
}

func (b bench) lot(t testing.TB, id string) app.SeenLot {
	t.Helper()
	lot, err := b.GetLot(b.ctx, "test", id)
	require.NoError(t, err)
	return lot
}

// grams are what is at hand of a lot and reserved.
func grams(l app.SeenLot) []float64 { return []float64{l.OnHand.Grams(), l.Reserved.Grams()} }

func withDraws(r app.RunRequest, draws ...app.DrawRequest) app.RunRequest {
	r.Draws = draws
	return r
}

func findingOf(findings []finding.Finding, code string) *finding.Finding {
	for i := range findings {
		if findings[i].Code == code {
			return &findings[i]
		}
	}
	return nil
}

func (b bench) check(t testing.TB, runs ...app.RunRequest) app.BookRunResult {
	t.Helper()
	result, err := b.BookRun(b.ctx, app.Call{Caller: steward, Method: "CheckRun", ValidateOnly: true}, app.BookRunInput{StudioID: "test", Runs: runs})
	require.NoError(t, err)
	return result
}

func TestALotOfAnotherMaterialIsWarnedOfInARun(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.keep(t, delivery("goethite-9", "goethite", 200))
	b.keep(t, delivery("kaolin-9", "kaolin", 200))
	run := b.plan(t, request("blue", 1), monday).Run
	other := findingOf(b.check(t, withDraws(run, app.DrawRequest{Lot: "goethite-9", Material: "kaolin"})).Findings, "LOT_OF_OTHER_MATERIAL")
	require.NotNil(t, other)
	assert.Equal(t, finding.Warn, other.Severity)
	assert.Equal(t, "runs[0].lot_draws[0].lot", other.Field)
	assert.Contains(t, other.Cure, "name a lot of kaolin")
	assert.Nil(t, findingOf(b.check(t, withDraws(run, app.DrawRequest{Lot: "kaolin-9"})).Findings, "LOT_OF_OTHER_MATERIAL"))
}

func TestARunReservesWhatItTakesOfALotAndGivesItUpAgain(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	clay := delivery("kaolin-3", "kaolin", 200)
	clay.LowStockGrams = 150
	b.keep(t, clay)
	answer := b.plan(t, withDraws(request("blue", 1), app.DrawRequest{Lot: "kaolin-3"}), monday)
	require.Equal(t, app.PlanOptimal, answer.Status, "%+v", answer.Blames)
	assert.Equal(t, []float64{200, 0}, grams(b.lot(t, "kaolin-3")), "a plan reserves nothing")
	booked, err := b.book(answer, "")
	require.NoError(t, err)
	assert.Equal(t, []float64{200, 71}, grams(b.lot(t, "kaolin-3")))
	assert.True(t, b.lot(t, "kaolin-3").IsLow())
	low := findingOf(booked.Findings, "LOT_LOW")
	require.NotNil(t, low, "129 g are left")
	assert.Equal(t, finding.Note, low.Severity)
	run, err := b.GetRun(b.ctx, "test", booked.Runs[0].ID)
	require.NoError(t, err)
	require.Len(t, run.Draws, 1)
	assert.Equal(t, domain.LotDraw{Stage: "calcine", Material: "kaolin", Lot: "kaolin-3", Mass: domain.MicrogramsOf(71), State: domain.DrawReserved}, run.Draws[0])

	over := b.plan(t, withDraws(request("blue", 2), app.DrawRequest{Lot: "kaolin-3", Material: "kaolin", Stage: "calcine"}), monday.AddDate(0, 0, 7))
	require.Equal(t, app.PlanInfeasible, over.Status, "142 g of 129")
	require.NotNil(t, findingOf(over.Findings, "LOT_SHORT"))
	again := answer.Run
	again.Windows = shifted(answer.Run.Windows, 14*24*time.Hour)
	_, err = b.BookRun(b.ctx, call("BookRun"), app.BookRunInput{
		StudioID: "test", Runs: []app.RunRequest{again, daysLater(again, 7)}, Acknowledged: codes(answer),
	})
	var refusal *domain.Refusal
	require.ErrorAs(t, err, &refusal, "two at once ask for more than is free")
	short := findingOf(refusal.Findings, "LOT_SHORT")
	require.NotNil(t, short, "%+v", refusal.Findings)
	assert.Equal(t, "runs[0].lot_draws[0]", short.Field)
	assert.Contains(t, short.Message, "142 g of lot kaolin-3 are asked for, and 129 g are free")
	assert.Contains(t, short.Cure, "0.9085")
	assert.Equal(t, []float64{200, 71}, grams(b.lot(t, "kaolin-3")), "nothing was reserved")

	other := b.lot(t, "kaolin-3").Lot
	other.Phases, other.Oxides = []chem.Phase{{Formula: "CaF2", MassFraction: 1}}, nil
	_, err = b.UpdateLot(b.ctx, call("UpdateLot"), "test", other, 0)
	require.ErrorIs(t, err, domain.ErrWrongState, "a run was checked with what it was said to be")

	_, err = b.CancelRun(b.ctx, call("CancelRun"), app.CancelRunInput{StudioID: "test", RunID: run.ID, ExpectRevision: 0})
	require.NoError(t, err)
	assert.Equal(t, []float64{200, 0}, grams(b.lot(t, "kaolin-3")))
	entries, err := b.ListLotEntries(b.ctx, "test", app.LotEntriesQuery{Lot: "kaolin-3"})
	require.NoError(t, err)
	var kinds []domain.LotEntryKind
	for _, e := range entries {
		kinds = append(kinds, e.Kind)
	}
	assert.Equal(t, []domain.LotEntryKind{domain.LotReleased, domain.LotReserved, domain.LotCreated}, kinds)
	assert.Equal(t, run.ID, entries[0].RunID)
}

func daysLater(r app.RunRequest, days int) app.RunRequest {
	r.Windows = shifted(r.Windows, time.Duration(days)*24*time.Hour)
	return r
}

func TestALotThatIsDrawnOnAtOnceIsNeverOverdrawn(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.keep(t, delivery("goethite-1", "goethite", 1000)) // for two of 400 g
	answer := b.plan(t, withDraws(request("red", 1), app.DrawRequest{Lot: "goethite-1"}), monday)
	var wait sync.WaitGroup
	errs := make([]error, 6)
	for i := range errs {
		wait.Go(func() {
			_, errs[i] = b.BookRun(b.ctx, call("BookRun"), app.BookRunInput{
				StudioID: "test", Runs: []app.RunRequest{daysLater(answer.Run, i)}, Acknowledged: codes(answer),
			})
		})
	}
	wait.Wait()
	booked := 0
	for _, err := range errs {
		var refusal *domain.Refusal
		switch {
		case err == nil:
			booked++
		case errors.As(err, &refusal):
			assert.NotNil(t, findingOf(refusal.Findings, "LOT_SHORT"), "%+v", refusal.Findings)
		default:
			assert.NoError(t, err)
		}
	}
	assert.Equal(t, 2, booked)
	assert.Equal(t, []float64{1000, 800}, grams(b.lot(t, "goethite-1")))
}

func TestALotsOwnMoistureAndAnalysisCount(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	damp := delivery("goethite-2", "goethite", 1000)
	moisture := 0.25
	damp.MoistureFraction = &moisture
	b.keep(t, damp)
	answer := b.plan(t, request("red", 1), monday)
	dry := b.check(t, answer.Run)
	wet := b.check(t, withDraws(answer.Run, app.DrawRequest{Lot: "goethite-2"}))
	before, after := dry.Assessments[0].Charge.Balance.Stages[0], wet.Assessments[0].Charge.Balance.Stages[0]
	assert.InDelta(t, 100, after.FreeWaterGrams-before.FreeWaterGrams, 1e-9, "a quarter of 400 g")
	assert.InDelta(t, 0.75*before.ProductGrams, after.ProductGrams, 1e-6)
	assert.Equal(t, "lots/goethite-2", after.WeighOut[0].Material)
}

func TestWhatARunMayNotTakeOfALot(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	glass := delivery("goethite-3", "goethite", 1000)
	glass.Department = "glass"
	b.keep(t, glass)
	answer := b.plan(t, request("red", 1), monday)
	asked := withDraws(answer.Run, app.DrawRequest{Lot: "goethite-3"})
	others := findingOf(b.check(t, asked).Findings, "LOT_OF_OTHERS")
	require.NotNil(t, others)
	assert.Equal(t, finding.Block, others.Severity)
	assert.Equal(t, "runs[0].lot_draws[0]", others.Field)
	assert.NotEmpty(t, others.Cure)
	shared := b.lot(t, "goethite-3")
	shared.Shared = true
	_, err := b.UpdateLot(b.ctx, call("UpdateLot"), "test", shared.Lot, shared.Revision)
	require.NoError(t, err)
	assert.Nil(t, findingOf(b.check(t, asked).Findings, "LOT_OF_OTHERS"))
	_, err = b.UpdateLot(b.ctx, call("UpdateLot"), "test", shared.Lot, shared.Revision)
	assert.ErrorIs(t, err, domain.ErrChangedMeanwhile)

	for field, r := range map[string]app.RunRequest{
		"runs[0].lot_draws[0].lot":      withDraws(answer.Run, app.DrawRequest{Lot: "none"}),
		"runs[0].lot_draws[0].material": withDraws(answer.Run, app.DrawRequest{Lot: "goethite-3", Material: "kaolin"}),
		"runs[0].lot_draws[1].material": withDraws(answer.Run, app.DrawRequest{Lot: "goethite-3"}, app.DrawRequest{Lot: "goethite-3"}),
	} {
		_, err := b.BookRun(b.ctx, call("BookRun"), app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{r}})
		faults := finding.FaultsOf(err)
		if assert.Len(t, faults, 1, "%s: %v", field, err) {
			assert.Equal(t, field, faults[0].Field)
			assert.NotEmpty(t, faults[0].Cure)
		}
	}
}

func TestTakingReturningAndWeighingALot(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.keep(t, delivery("goethite-4", "goethite", 1000))
	answer := b.plan(t, withDraws(request("red", 1), app.DrawRequest{Lot: "goethite-4"}), monday)
	booked, err := b.book(answer, "")
	require.NoError(t, err)
	of := func(g float64) app.LotMass {
		return app.LotMass{StudioID: "test", LotID: "goethite-4", Grams: g, Reason: "test"}
	}
	_, err = b.TakeLot(b.ctx, call("TakeLot"), of(601), "", "")
	require.ErrorIs(t, err, domain.ErrWrongState)
	assert.ErrorContains(t, err, "600 g of lot goethite-4 are free: 1000 g are there, of which runs have reserved 400 g")
	once := call("TakeLot")
	once.RequestID = uuid.NewString()
	for range 2 { // a repeat takes nothing more
		left, err := b.TakeLot(b.ctx, once, of(100), "", "")
		require.NoError(t, err)
		assert.Equal(t, []float64{900, 400}, grams(left))
	}
	_, err = b.WeighLot(b.ctx, call("WeighLot"), of(399), app.Weighing{})
	assert.ErrorIs(t, err, domain.ErrWrongState, "less than is reserved")
	moisture := 0.0
	weighed, err := b.WeighLot(b.ctx, call("WeighLot"), of(890), app.Weighing{MoistureFraction: &moisture, DriedOn: "2027-03-01"})
	require.NoError(t, err)
	assert.Equal(t, []float64{890, 400}, grams(weighed))
	assert.Equal(t, []any{"2027-03-01", 0.0, 0}, []any{weighed.MadeOn, *weighed.MoistureFraction, weighed.AgeDays})

	run := booked.Runs[0].ID
	_, err = b.TakeLot(b.ctx, call("TakeLot"), of(400), run, "pack")
	assert.ErrorContains(t, err, "reserves nothing")
	taken, err := b.TakeLot(b.ctx, call("TakeLot"), of(398.5), run, "calcine")
	require.NoError(t, err)
	assert.Equal(t, []float64{491.5, 0}, grams(taken), "what the run reserved is settled")
	moved, err := b.moveOne(run, shifted(answer.Run.Windows, 24*time.Hour), answer)
	require.NoError(t, err)
	require.Len(t, moved.Draws, 1)
	assert.Equal(t, domain.DrawTaken, moved.Draws[0].State)
	_, err = b.CancelRun(b.ctx, call("CancelRun"), app.CancelRunInput{StudioID: "test", RunID: run, ExpectRevision: 0})
	require.NoError(t, err)
	assert.Equal(t, []float64{491.5, 0}, grams(b.lot(t, "goethite-4")), "what was taken stays taken")
	back, err := b.ReturnLot(b.ctx, call("ReturnLot"), of(398.5))
	require.NoError(t, err)
	assert.Equal(t, []float64{890, 0}, grams(back))
	_, err = b.ReturnLot(b.ctx, call("ReturnLot"), of(100.5))
	require.ErrorContains(t, err, "mass_grams: 100.5 g are more than the 100 g that were taken of lot goethite-4 and have not come back")
	back, err = b.ReturnLot(b.ctx, call("ReturnLot"), of(100))
	require.NoError(t, err)
	assert.Equal(t, []float64{990, 0}, grams(back))
}

func TestAMovedRunReservesWhatItThenTakes(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.keep(t, delivery("goethite-5", "goethite", 400))
	answer := b.plan(t, withDraws(request("red", 1), app.DrawRequest{Lot: "goethite-5"}), monday)
	booked, err := b.book(answer, "")
	require.NoError(t, err)
	_, err = b.moveOne(booked.Runs[0].ID, shifted(answer.Run.Windows, 24*time.Hour), answer)
	require.NoError(t, err, "its own reservation is not in its way")
	assert.Equal(t, []float64{400, 400}, grams(b.lot(t, "goethite-5")))
}

func TestFaultsOfANewLot(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for field, spoil := range map[string]func(*domain.Lot){
		"mass_grams": func(l *domain.Lot) { l.MassGrams = 0 }, "material": func(l *domain.Lot) { l.Material = "gold" },
		"made_on": func(l *domain.Lot) { l.MadeOn = "2027-03-02" }, "from_run": func(l *domain.Lot) { l.FromStage = "calcine" },
		"phases": func(l *domain.Lot) { l.Material = "" }, "safety_sheet": func(l *domain.Lot) { l.SafetySheet = "drawer" },
	} {
		lot := delivery("lot", "kaolin", 5)
		spoil(&lot)
		_, err := b.CreateLot(b.ctx, call("CreateLot"), "test", lot)
		faults := finding.FaultsOf(err)
		if assert.Len(t, faults, 1, "%s: %v", field, err) {
			assert.Equal(t, field, faults[0].Field)
			assert.NotEmpty(t, faults[0].Cure)
		}
	}
	named := b.keep(t, domain.Lot{Lot: chem.Lot{Material: "kaolin", MassGrams: 5}})
	assert.Equal(t, []string{"2027-03-01", "steward"}, []string{named.MadeOn, named.Owner}, "of today and the caller's")
	assert.Contains(t, named.ID, "kaolin-")
	_, err := b.CreateLot(b.ctx, call("CreateLot"), "test", delivery(named.ID, "kaolin", 5))
	assert.ErrorIs(t, err, domain.ErrAlreadyExists)
}

// TestARunIsToldThatItsLotGotWet: its maker by letter, and whoever moves it by a finding.
func TestARunIsToldThatItsLotGotWet(t *testing.T) {
	t.Parallel()
	m := newMailed(t)
	for _, id := range []string{"ada", "ben"} {
		m.person(t, domain.Person{ID: id, Role: domain.RoleMaker}, domain.MailAtOnce)
	}
	m.keep(t, delivery("goethite-6", "goethite", 1000))
	m.keep(t, delivery("goethite-7", "goethite", 1000))
	answer := m.plan(t, withDraws(request("red", 1), app.DrawRequest{Lot: "goethite-6"}), monday)
	booked, err := m.BookRun(m.ctx, as("ada", domain.RoleMaker, "BookRun"), app.BookRunInput{
		StudioID: "test", Runs: []app.RunRequest{answer.Run}, Acknowledged: codes(answer),
	})
	require.NoError(t, err)
	run := booked.Runs[0]
	wet := 0.04
	for _, id := range []string{"goethite-6", "goethite-7"} {
		_, err = m.WeighLot(m.ctx, call("WeighLot"), app.LotMass{StudioID: "test", LotID: id, Grams: 1010, Reason: "left open"}, app.Weighing{MoistureFraction: &wet})
		require.NoError(t, err)
	}
	_, err = m.WeighLot(m.ctx, call("WeighLot"), app.LotMass{StudioID: "test", LotID: "goethite-6", Grams: 1005, Reason: "again"}, app.Weighing{MoistureFraction: &wet})
	require.NoError(t, err)
	m.later(2 * time.Minute)
	m.deliver(t)
	ada := m.office.to("ada@example.edu")
	require.Len(t, ada, 1)
	assert.Equal(t, 1, strings.Count(ada[0], "noted that lot"), "what nothing rests on, and what did not change, is not told")
	assert.Contains(t, ada[0], "steward noted that lot goethite-6 holds 4 % of free water, which was what its material is said to.")
	assert.Contains(t, ada[0], "Your run "+run.ID+" has reserved of it")
	assert.Empty(t, m.office.to("ben@example.edu"))

	move := app.MoveRunsInput{StudioID: "test", Acknowledged: codes(answer), Moves: []app.RunMove{
		{RunID: run.ID, Windows: shifted(answer.Run.Windows, 24*time.Hour)},
	}}
	_, err = m.MoveRuns(m.ctx, call("MoveRuns"), move)
	var refusal *domain.Refusal
	require.ErrorAs(t, err, &refusal)
	changed := findingOf(refusal.Findings, "LOT_CHANGED")
	require.NotNil(t, changed, "%v", refusal.Findings)
	assert.Equal(t, "moves[0].lot_draws[0]", changed.Field)
	move.Acknowledged = append(move.Acknowledged, findingCodes(refusal.Findings)...)
	moved, err := m.MoveRuns(m.ctx, call("MoveRuns"), move)
	require.NoError(t, err)
	assert.InDelta(t, wet, *moved.Runs[0].Inputs.Lots["goethite-6"].MoistureFraction, 0, "it is checked with that now")
	move.Moves[0].Windows = shifted(answer.Run.Windows, 48*time.Hour)
	move.Acknowledged = codes(answer)
	again, err := m.MoveRuns(m.ctx, call("MoveRuns"), move)
	if errors.As(err, &refusal) {
		assert.Nil(t, findingOf(refusal.Findings, "LOT_CHANGED"), "told once")
	} else {
		assert.Nil(t, findingOf(again.Findings, "LOT_CHANGED"), "told once")
	}
}
