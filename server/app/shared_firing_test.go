package app_test

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/app"
	"saggar/server/domain"
)

// Callers of the shared studio: two makers of two departments and a technician.
var (
	ada  = domain.Caller{ID: "ada", Role: domain.RoleMaker}
	ben  = domain.Caller{ID: "ben", Role: domain.RoleMaker}
	tove = domain.Caller{ID: "tove", Role: domain.RoleTechnician}
)

func by(caller domain.Caller, method string) app.Call {
	return app.Call{Caller: caller, Method: method, OwnOnly: caller.Role < domain.RoleTechnician, RequestID: uuid.NewString()}
}

// newSharedBench is the test studio with recipes of ware: pots for bisque, pots whose clay brings sulfur, and a calcine.
func newSharedBench(t testing.TB) bench {
	t.Helper()
	b := newBench(t)
	_, err := b.LoadStudio(b.ctx, call("LoadStudio"), app.LoadStudioInput{
		StudioID: "test", Recipes: []chem.Recipe{
			wareRecipe("pots", bisque()), wareRecipe("glazed", bisque(), func(s *chem.Stage) { s.Kind = chem.Glaze }),
			wareRecipe("dirty", bisque(), func(s *chem.Stage) {
				s.Kind, s.WareGrams = chem.Calcine, 0
				s.Additions = []chem.Addition{{Material: "kaolin", MassGrams: 200}, {Material: "sulfur", MassGrams: 5}}
			}),
			wareRecipe("brimstone", bisque(), func(s *chem.Stage) {
				s.Kind, s.WareGrams = chem.Calcine, 0
				s.Additions = []chem.Addition{{Material: "kaolin", MassGrams: 50}, {Material: "sulfur", MassGrams: 50}}
			}),
			wareRecipe("sooty", bisque(), func(s *chem.Stage) {
				s.Kind, s.WareGrams = chem.Calcine, 0
				s.Additions = []chem.Addition{{Material: "kaolin", MassGrams: 200}, {Material: "charcoal", MassGrams: 20}}
			}),
			wareRecipe("quick", heat.Program{Segments: []heat.Segment{{ToCelsius: 950, RateCelsiusPerHour: 90, HoldMinutes: 15}}}),
			wareRecipe("long", heat.Program{Segments: []heat.Segment{{ToCelsius: 950, RateCelsiusPerHour: 150, HoldMinutes: 60}}}),
			wareRecipe("hotter", heat.Program{Segments: []heat.Segment{{ToCelsius: 1000, RateCelsiusPerHour: 150, HoldMinutes: 15}}}),
			wareRecipe("stepped", heat.Program{Segments: []heat.Segment{{ToCelsius: 600, RateCelsiusPerHour: 150}, {ToCelsius: 950, RateCelsiusPerHour: 150, HoldMinutes: 15}}}),
			wareRecipe("airless", bisque(), func(s *chem.Stage) { s.Atmosphere = heat.Reducing }),
			wareRecipe("hot", bisque(), func(s *chem.Stage) { s.ChargeAtCelsius = 400 }),
			wareRecipe("cold", bisque(), func(s *chem.Stage) { s.OpenBelowCelsius = 60 }),
		},
	})
	require.NoError(t, err)
	return b
}

func bisque() heat.Program {
	return heat.Program{Segments: []heat.Segment{{ToCelsius: 950, RateCelsiusPerHour: 150, HoldMinutes: 15}}}
}

// wareRecipe is one firing of 500 g of ware.
func wareRecipe(id string, program heat.Program, changes ...func(*chem.Stage)) chem.Recipe {
	stage := chem.Stage{ID: "fire", Kind: chem.Bisque, Program: &program, Atmosphere: heat.Oxidising, WareGrams: 500, MaxWaitMinutes: 2880}
	for _, change := range changes {
		change(&stage)
	}
	return chem.Recipe{ID: id, Title: id, Stages: []chem.Stage{stage}}
}

// open opens a firing for others on the kiln on Monday morning: 8 l and 4 kg.
func (b bench) open(t testing.TB, changes ...func(*app.BookFiringInput)) domain.Firing {
	t.Helper()
	result, err := b.BookFiring(b.ctx, by(tove, "BookFiring"), opening(changes...))
	require.NoError(t, err)
	return result.Firing
}

func opening(changes ...func(*app.BookFiringInput)) app.BookFiringInput {
	in := app.BookFiringInput{
		StudioID: "test", Furnace: "kiln", Title: "Bisque", Program: bisque(), Atmosphere: heat.Oxidising, Start: monday.Add(time.Hour),
		Offer: app.OfferInput{Liters: 8, Grams: 4000}, Acknowledged: []string{"DETECTOR_MISSING"},
	}
	for _, change := range changes {
		change(&in)
	}
	return in
}

// joining asks for a run of one stage that rides in a firing.
func joining(recipe string, liters float64, firing domain.Firing) app.RunRequest {
	r := request(recipe, 1)
	r.Windows = []domain.StageWindow{{Stage: "fire", JoinFiring: firing.ID, LoadLiters: liters}}
	return r
}

func (b bench) join(caller domain.Caller, requests ...app.RunRequest) (app.BookRunResult, error) {
	return b.BookRun(b.ctx, by(caller, "BookRun"), app.BookRunInput{StudioID: "test", Runs: requests})
}

func (b bench) firing(t testing.TB, id string) domain.Firing {
	t.Helper()
	f, err := b.GetFiring(b.ctx, "test", id)
	require.NoError(t, err)
	return f
}

func (b bench) mustJoin(t testing.TB, caller domain.Caller, requests ...app.RunRequest) domain.Run {
	t.Helper()
	booked, err := b.join(caller, requests...)
	require.NoError(t, err)
	return booked.Runs[0]
}

// blocked are the codes that refuse, each once.
func blocked(t testing.TB, err error) []string {
	t.Helper()
	var refusal *domain.Refusal
	require.ErrorAs(t, err, &refusal)
	var list []string
	for _, f := range refusal.Findings {
		if f.Severity == finding.Block && !slices.Contains(list, f.Code) {
			list = append(list, f.Code)
			assert.NotEmpty(t, f.Cure, f.Code)
		}
	}
	return list
}

func TestOthersJoinAFiringThatIsOpen(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	opened := b.open(t)
	require.NotNil(t, opened.Offer)
	assert.Equal(t, "tove", opened.AttendedBy)
	assert.NotEmpty(t, opened.Releases, "what is offered counts as ordinary ware from the start")
	assert.Empty(t, opened.RunID)

	one := b.mustJoin(t, ada, joining("pots", 3, opened))
	load := one.Loads[0]
	assert.True(t, load.Joined)
	assert.Equal(t, opened.ID, load.Firing.ID)
	assert.Equal(t, opened.Window, load.Window)
	assert.Equal(t, "tove", load.Firing.AttendedBy, "one person answers for all of it")
	two := b.mustJoin(t, ben, joining("pots", 4, opened))

	stands := b.firing(t, opened.ID)
	assert.Equal(t, opened.Phases, stands.Phases, "nobody who joins changes its window")
	require.Len(t, stands.Riders, 2)
	assert.Equal(t, []string{one.ID, two.ID}, []string{stands.Riders[0].RunID, stands.Riders[1].RunID})
	assert.InDelta(t, 1, stands.FreeLiters(), 1e-9)
	assert.InDelta(t, 3000, stands.FreeGrams(), 1)
	assert.InDeltaMapValues(t, gramsOf(opened), gramsOf(stands), 1, "ordinary ware gives off what it was counted for")

	listed, err := b.ListFirings(b.ctx, "test", app.FiringsQuery{
		Window: domain.Window{Start: monday, End: monday.AddDate(0, 0, 7)}, Limit: 10,
	})
	require.NoError(t, err)
	assert.Len(t, listed, 1, "it is one firing, however many ride in it")
}

// gramsOf is what comes off a firing by species.
func gramsOf(f domain.Firing) map[string]float64 {
	grams := map[string]float64{}
	for _, r := range f.Releases {
		grams[r.Species] += (r.EndMinute - r.StartMinute) * r.GramsPerMinute
	}
	return grams
}

func TestWhatMayNotJoin(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	opened := b.open(t, func(in *app.BookFiringInput) { in.Offer.Departments = []string{"ceramics", "glass"} })
	for name, c := range map[string]struct {
		request app.RunRequest
		codes   []string
	}{
		"too much room":        {joining("pots", 8.001, opened), []string{domain.CodeJoinNoRoom}},
		"too much mass":        {scaled(joining("pots", 8, opened), 9), []string{domain.CodeJoinTooHeavy}},
		"hotter":               {joining("hotter", 1, opened), []string{heat.CodeJoinProgram}},
		"held longer":          {joining("long", 1, opened), []string{heat.CodeJoinProgram}},
		"slower":               {joining("quick", 1, opened), []string{heat.CodeJoinProgram}},
		"more segments":        {joining("stepped", 1, opened), []string{heat.CodeJoinProgram}},
		"opened colder":        {joining("cold", 1, opened), []string{heat.CodeJoinProgram}},
		"another atmosphere":   {joining("airless", 1, opened), []string{heat.CodeJoinAtmosphere}},
		"charged hot":          {joining("hot", 1, opened), []string{heat.CodeJoinHot}},
		"sulfur beside ware":   {joining("dirty", 1, opened), []string{domain.CodeJoinContaminates}},
		"soot beside ware":     {joining("sooty", 1, opened), []string{domain.CodeJoinContaminates}},
		"of another workplace": {forDepartment(joining("pots", 1, opened), "physics"), []string{domain.CodeJoinDepartment}},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := b.join(ada, c.request)
			assert.Subset(t, blocked(t, err), c.codes)
			checked, err := b.BookRun(b.ctx, app.Call{Caller: ada, Method: "CheckRun", ValidateOnly: true},
				app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{c.request}})
			require.NoError(t, err)
			assert.True(t, finding.Blocks(checked.Findings))
		})
	}
	assert.Empty(t, b.firing(t, opened.ID).Riders, "nothing is half done")
}

func scaled(r app.RunRequest, factor float64) app.RunRequest {
	r.Scale.Factor = factor
	return r
}

func forDepartment(r app.RunRequest, department string) app.RunRequest {
	r.Department = department
	return r
}

func TestAFiringForManyTakesLongerToCharge(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	opened := b.open(t, func(in *app.BookFiringInput) { in.ChargeMinutes, in.DrawMinutes = 55, 35 })
	assert.Equal(t, 55, opened.Phases[0].Window.Minutes())
	assert.Equal(t, 35, opened.Phases[len(opened.Phases)-1].Window.Minutes())
	b.mustJoin(t, ada, joining("pots", 1, opened))
}

func TestTheLastLiterAndGramMayBeTaken(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	opened := b.open(t)
	b.mustJoin(t, ada, joining("pots", 8, opened))
	_, err := b.join(ben, joining("pots", 0.001, opened))
	assert.Equal(t, []string{domain.CodeJoinNoRoom}, blocked(t, err))
	other := b.open(t, func(in *app.BookFiringInput) { in.Furnace, in.Offer.Grams = "muffle-a", 1000 })
	b.mustJoin(t, ada, scaled(joining("pots", 1, other), 2))
	_, err = b.join(ben, scaled(joining("pots", 1, other), 0.001))
	assert.Equal(t, []string{domain.CodeJoinTooHeavy}, blocked(t, err))
}

func TestWhoJoinsSaysHowMuchRoomItTakes(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	opened := b.open(t)
	_, err := b.join(ada, joining("pots", 0, opened))
	require.Len(t, finding.FaultsOf(err), 1)
	assert.Equal(t, "runs[0].stage_windows[0].load_liters", finding.FaultsOf(err)[0].Field)
	for field, change := range map[string]func(*domain.StageWindow){
		"furnace":     func(w *domain.StageWindow) { w.Furnace = "pot" },
		"attended_by": func(w *domain.StageWindow) { w.AttendedBy = "ada" },
		"join_firing": func(w *domain.StageWindow) { w.JoinFiring = "f999" },
		"phases": func(w *domain.StageWindow) {
			w.Phases = shifted([]domain.StageWindow{{Phases: opened.PhaseWindows()}}, time.Hour)[0].Phases
		},
	} {
		r := joining("pots", 1, opened)
		change(&r.Windows[0])
		_, err := b.join(ada, r)
		require.Len(t, finding.FaultsOf(err), 1, "%s: %v", field, err)
		assert.Equal(t, "runs[0].stage_windows[0]."+field, finding.FaultsOf(err)[0].Field)
	}
	r := joining("pots", 1, opened)
	r.Windows[0].Furnace, r.Windows[0].AttendedBy, r.Windows[0].Phases = "kiln", "tove", opened.PhaseWindows()
	b.mustJoin(t, ada, r)
}

func TestJoiningEndsInTime(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	opened := b.open(t, func(in *app.BookFiringInput) { in.Offer.Until = monday })
	_, err := b.at(monday).join(ada, joining("pots", 1, opened))
	assert.Equal(t, []string{domain.CodeJoinTooLate}, blocked(t, err))
	b.at(monday.Add(-time.Minute)).mustJoin(t, ada, joining("pots", 1, opened))
	planned := b.plan(t, request("red", 1), monday)
	booked, err := b.book(planned, "")
	require.NoError(t, err)
	_, err = b.join(ada, joining("pots", 1, *booked.Runs[0].Loads[0].Firing))
	assert.Equal(t, []string{domain.CodeJoinNotShared}, blocked(t, err))
}

func TestWhoLeavesLeavesTheOthersWhole(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	opened := b.open(t)
	one, two := b.mustJoin(t, ada, joining("pots", 3, opened)), b.mustJoin(t, ben, joining("pots", 4, opened))
	_, err := b.CancelRun(b.ctx, by(ada, "CancelRun"), app.CancelRunInput{StudioID: "test", RunID: one.ID})
	require.NoError(t, err)
	stands := b.firing(t, opened.ID)
	assert.Equal(t, domain.LoadConfirmed, stands.State)
	require.Len(t, stands.Riders, 1)
	assert.InDelta(t, 4, stands.FreeLiters(), 1e-9)

	alone := b.plan(t, request("pots", 1), monday.AddDate(0, 0, 1))
	moved, err := b.MoveRuns(b.ctx, by(ben, "MoveRuns"), app.MoveRunsInput{
		StudioID: "test", Moves: []app.RunMove{{RunID: two.ID, Windows: alone.Run.Windows}}, Acknowledged: codes(alone),
	})
	require.NoError(t, err)
	assert.False(t, moved.Runs[0].Loads[0].Joined)
	assert.Equal(t, "ben", moved.Runs[0].Loads[0].Firing.AttendedBy)
	stands = b.firing(t, opened.ID)
	assert.Equal(t, domain.LoadConfirmed, stands.State, "a firing that was opened for others stands without any")
	assert.Empty(t, stands.Riders)

	back, err := b.MoveRuns(b.ctx, by(ben, "MoveRuns"), app.MoveRunsInput{
		StudioID: "test", Moves: []app.RunMove{{RunID: two.ID, Windows: joining("pots", 4, opened).Windows}},
	})
	require.NoError(t, err)
	assert.Equal(t, opened.ID, back.Runs[0].Loads[0].Firing.ID)
	assert.Equal(t, domain.LoadCancelled, b.firing(t, moved.Runs[0].Loads[0].Firing.ID).State)

	stays, err := b.MoveRuns(b.ctx, by(ben, "MoveRuns"), app.MoveRunsInput{
		StudioID: "test", Moves: []app.RunMove{{RunID: two.ID, Windows: joining("pots", 4, opened).Windows}},
	})
	require.NoError(t, err)
	assert.Equal(t, back.Runs[0].Loads[0].Firing.ID, stays.Runs[0].Loads[0].Firing.ID)
	assert.Len(t, b.firing(t, opened.ID).Riders, 1, "asked to stay where it is, it stays")
}

func TestATechnicianCallsAFiringOffAndItsLoadsWait(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	opened := b.open(t)
	run := b.mustJoin(t, ada, joining("pots", 3, opened))
	c := by(tove, "CancelFiring")
	off, err := b.CancelFiring(b.ctx, c, app.CancelFiringInput{StudioID: "test", FiringID: opened.ID})
	require.NoError(t, err)
	assert.Equal(t, domain.LoadCancelled, off.State)
	again, err := b.CancelFiring(b.ctx, c, app.CancelFiringInput{StudioID: "test", FiringID: opened.ID})
	require.NoError(t, err, "a repeat is answered")
	assert.Equal(t, off.ID, again.ID)
	_, err = b.CancelFiring(b.ctx, by(tove, "CancelFiring"), app.CancelFiringInput{StudioID: "test", FiringID: opened.ID})
	require.ErrorIs(t, err, domain.ErrWrongState)

	waits, err := b.GetRun(b.ctx, "test", run.ID)
	require.NoError(t, err)
	assert.Equal(t, domain.RunUnplaced, waits.State())
	_, err = b.join(ben, joining("pots", 1, opened))
	assert.Equal(t, []string{domain.CodeJoinNotStanding}, blocked(t, err))

	late := b.at(monday.AddDate(0, 0, 3)) // its window is over, and it still waits
	alone := late.plan(t, request("pots", 1), monday.AddDate(0, 0, 4))
	moved, err := late.MoveRuns(b.ctx, by(ada, "MoveRuns"), app.MoveRunsInput{
		StudioID: "test", Moves: []app.RunMove{{RunID: run.ID, Windows: alone.Run.Windows}}, Acknowledged: codes(alone),
	})
	require.NoError(t, err)
	assert.Equal(t, domain.RunConfirmed, moved.Runs[0].State())
}

func TestAMakerSharesTheirFiring(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	host := b.ownFiring(t, ada, "pots")
	f := host.Loads[0].Firing
	share := app.UpdateFiringInput{StudioID: "test", FiringID: f.ID, SetOffer: true, Offer: &app.OfferInput{Liters: 6, Grams: 2000}}
	_, err := b.UpdateFiring(b.ctx, by(ben, "UpdateFiring"), share)
	require.ErrorIs(t, err, domain.ErrForbidden)
	c := by(ada, "UpdateFiring")
	shared, err := b.UpdateFiring(b.ctx, c, share)
	agreed(t, err)
	assert.Equal(t, f.Window, shared.Firing.Window)
	assert.Equal(t, f.ID, shared.Firing.ID)
	repeated, err := b.UpdateFiring(b.ctx, c, share)
	require.NoError(t, err)
	assert.Equal(t, shared.Firing.Revision, repeated.Firing.Revision)

	_, err = b.join(ben, joining("dirty", 1, shared.Firing))
	assert.Contains(t, blocked(t, err), domain.CodeJoinContaminates)
	joiner := b.mustJoin(t, ben, joining("pots", 6, shared.Firing))
	stands := b.firing(t, f.ID)
	require.Len(t, stands.Riders, 2)
	assert.False(t, stands.Riders[0].Joined, "the host's own load comes first")

	withdraw := app.UpdateFiringInput{StudioID: "test", FiringID: f.ID, SetOffer: true}
	_, err = b.UpdateFiring(b.ctx, by(ada, "UpdateFiring"), withdraw)
	require.ErrorIs(t, err, domain.ErrWrongState, "others have joined")
	_, err = b.CancelRun(b.ctx, by(ada, "CancelRun"), app.CancelRunInput{StudioID: "test", RunID: host.ID})
	require.ErrorIs(t, err, domain.ErrWrongState, "she attends it for the others")
	assert.ErrorContains(t, err, "attends firing")
	_, err = b.UpdateFiring(b.ctx, by(ada, "UpdateFiring"), app.UpdateFiringInput{StudioID: "test", FiringID: f.ID, AttendedBy: "nobody"})
	require.Len(t, finding.FaultsOf(err), 1)
	_, err = b.UpdateFiring(b.ctx, by(tove, "UpdateFiring"), app.UpdateFiringInput{StudioID: "test", FiringID: f.ID, AttendedBy: "tove"})
	require.NoError(t, err)
	_, err = b.CancelRun(b.ctx, by(ada, "CancelRun"), app.CancelRunInput{StudioID: "test", RunID: host.ID})
	require.NoError(t, err)
	stands = b.firing(t, f.ID)
	assert.Equal(t, domain.LoadConfirmed, stands.State)
	assert.Equal(t, "tove", stands.AttendedBy)
	assert.Empty(t, stands.RunID)
	assert.Len(t, stands.Riders, 1)
	stays, err := b.GetRun(b.ctx, "test", joiner.ID)
	require.NoError(t, err)
	assert.Equal(t, domain.RunConfirmed, stays.State())

	_, err = b.CancelRun(b.ctx, by(ben, "CancelRun"), app.CancelRunInput{StudioID: "test", RunID: joiner.ID})
	require.NoError(t, err)
	assert.Equal(t, domain.LoadCancelled, b.firing(t, f.ID).State, "with the last load it is off, and its furnace free")
}

// ownFiring books a run of one stage into a firing of its own on Monday.
func (b bench) ownFiring(t testing.TB, caller domain.Caller, recipe string) domain.Run {
	t.Helper()
	answer := b.plan(t, request(recipe, 1), monday.Add(time.Hour))
	require.NotEmpty(t, answer.Run.Windows)
	booked, err := b.BookRun(b.ctx, by(caller, "BookRun"), app.BookRunInput{
		StudioID: "test", Runs: []app.RunRequest{answer.Run}, Acknowledged: codes(answer),
	})
	require.NoError(t, err)
	return booked.Runs[0]
}

func TestWhatIsSharedIsTakenBackWhileNobodyHasJoined(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	host := b.ownFiring(t, ada, "pots")
	f := host.Loads[0].Firing
	before := b.firing(t, f.ID)
	_, err := b.UpdateFiring(b.ctx, by(ada, "UpdateFiring"), app.UpdateFiringInput{
		StudioID: "test", FiringID: f.ID, SetOffer: true, Offer: &app.OfferInput{Liters: 6, Grams: 2000},
	})
	agreed(t, err)
	shared := b.firing(t, f.ID)
	assert.Greater(t, gramsOf(shared)["SO2"], gramsOf(before)["SO2"])
	taken, err := b.UpdateFiring(b.ctx, by(ada, "UpdateFiring"), app.UpdateFiringInput{StudioID: "test", FiringID: f.ID, SetOffer: true})
	require.NoError(t, err)
	assert.Nil(t, taken.Firing.Offer)
	assert.InDeltaMapValues(t, gramsOf(before), gramsOf(b.firing(t, f.ID)), 1e-6)
}

func TestNoMoreIsOfferedThanTheWindowCarries(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	host := b.ownFiring(t, ada, "pots")
	f := host.Loads[0].Firing
	offer := func(liters, grams float64) error {
		_, err := b.UpdateFiring(b.ctx, by(ada, "UpdateFiring"), app.UpdateFiringInput{
			StudioID: "test", FiringID: f.ID, SetOffer: true, Offer: &app.OfferInput{Liters: liters, Grams: grams},
			Acknowledged: []string{heat.CodeChargeTooHeavy},
		})
		return err
	}
	err := offer(6, 900000)
	var refusal *domain.Refusal
	require.ErrorAs(t, err, &refusal)
	most := 0.0
	for _, found := range refusal.Findings {
		for _, figure := range found.Figures {
			if found.Code == "OFFER_TOO_HEAVY" && figure.Name == "most" {
				most = figure.Value
			}
		}
	}
	require.Positive(t, most, "%v", refusal.Findings)
	require.Error(t, offer(6, most+1))
	require.NoError(t, offer(6, most))
	faults := finding.FaultsOf(offer(12.5, 100))
	require.Len(t, faults, 1)
	assert.Equal(t, "firing.offer.liters", faults[0].Field)
}

func TestSulfurAndWareAreKeptApartBothWays(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	host := b.ownFiring(t, ada, "dirty")
	f := host.Loads[0].Firing
	_, err := b.UpdateFiring(b.ctx, by(ada, "UpdateFiring"), app.UpdateFiringInput{
		StudioID: "test", FiringID: f.ID, SetOffer: true, Offer: &app.OfferInput{Liters: 6, Grams: 2000},
	})
	agreed(t, err)
	shared := b.firing(t, f.ID)
	_, err = b.join(ben, joining("glazed", 1, shared))
	assert.Contains(t, blocked(t, err), domain.CodeJoinContaminates)
	b.mustJoin(t, ben, joining("dirty", 1, shared))
}

func TestTheSumOfAllLoadsIsWhatTheAirCarries(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	var alone planned
	factor := 0.0
	for more := 0.5; more < 12; more += 0.5 { // the largest that the air carries alone
		answer, err := b.tryPlan(request("brimstone", more), monday.Add(time.Hour))
		require.NoError(t, err)
		if finding.Blocks(answer.Findings) || len(answer.Run.Windows) == 0 {
			break
		}
		alone, factor = answer, more
	}
	require.Positive(t, factor)
	booked, err := b.BookRun(b.ctx, by(ada, "BookRun"), app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{alone.Run}, Acknowledged: codes(alone)})
	require.NoError(t, err)
	f := booked.Runs[0].Loads[0].Firing
	_, err = b.UpdateFiring(b.ctx, by(ada, "UpdateFiring"), app.UpdateFiringInput{
		StudioID: "test", FiringID: f.ID, SetOffer: true, Offer: &app.OfferInput{Liters: 10, Grams: 1000}, Acknowledged: codes(alone),
	})
	agreed(t, err)
	_, err = b.join(ben, scaled(joining("brimstone", 4, b.firing(t, f.ID)), factor/2))
	found := blocked(t, err)
	assert.True(t, slices.ContainsFunc(found, func(code string) bool { return strings.HasPrefix(code, "AIR_") }), "%v at %v", found, factor)
	assert.Len(t, b.firing(t, f.ID).Riders, 1)
}

func TestAJoinIsRepeatedWithoutJoiningTwice(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	c := by(tove, "BookFiring")
	c.BodySHA256 = sha256.Sum256([]byte("one"))
	first, err := b.BookFiring(b.ctx, c, opening())
	require.NoError(t, err)
	second, err := b.BookFiring(b.ctx, c, opening())
	require.NoError(t, err)
	assert.Equal(t, first.Firing.ID, second.Firing.ID)
	c = by(ada, "BookRun")
	in := app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{joining("pots", 3, first.Firing)}}
	one, err := b.BookRun(b.ctx, c, in)
	require.NoError(t, err)
	two, err := b.BookRun(b.ctx, c, in)
	require.NoError(t, err)
	assert.Equal(t, one.Runs[0].ID, two.Runs[0].ID)
	assert.Len(t, b.firing(t, first.Firing.ID).Riders, 1)
}

func TestSeveralJoinTogetherOrNobodyDoes(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	opened := b.open(t)
	_, err := b.join(ada, joining("pots", 5, opened), joining("pots", 4, opened))
	assert.Equal(t, []string{domain.CodeJoinNoRoom}, blocked(t, err))
	assert.Empty(t, b.firing(t, opened.ID).Riders)
	_, err = b.join(ada, joining("pots", 4, opened), joining("pots", 4, opened))
	require.NoError(t, err)
	assert.Len(t, b.firing(t, opened.ID).Riders, 2)
}

func TestFiringsForOthersAreCheckedLikeAnyOther(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	b.open(t)
	_, err := b.BookFiring(b.ctx, by(tove, "BookFiring"), opening())
	assert.Equal(t, []string{"FURNACE_BUSY"}, blocked(t, err))
	_, err = b.BookFiring(b.ctx, by(tove, "BookFiring"), opening(func(in *app.BookFiringInput) { in.Start = monday.Add(18 * time.Hour) }))
	assert.Contains(t, blocked(t, err), "STAFFED_HOURS")
	for field, change := range map[string]func(*app.BookFiringInput){
		"furnace":                               func(in *app.BookFiringInput) { in.Furnace = "none" },
		"start_time":                            func(in *app.BookFiringInput) { in.Start = monday.AddDate(0, 0, -1) },
		"offer.liters":                          func(in *app.BookFiringInput) { in.Offer.Liters = 12.1 },
		"offer.grams":                           func(in *app.BookFiringInput) { in.Offer.Grams = 0 },
		"offer.join_until_time":                 func(in *app.BookFiringInput) { in.Offer.Until = in.Start.Add(time.Minute) },
		"attended_by":                           func(in *app.BookFiringInput) { in.AttendedBy = "nobody" },
		"heat_program.segments[0].hold_minutes": func(in *app.BookFiringInput) { in.Program.Segments[0].HoldMinutes = -1 },
	} {
		in := opening(func(in *app.BookFiringInput) { in.Furnace = "muffle-a" }, change)
		_, err := b.BookFiring(b.ctx, by(tove, "BookFiring"), in)
		faults := finding.FaultsOf(err)
		if assert.NotEmpty(t, faults, "%s: %v", field, err) {
			assert.Equal(t, field, faults[0].Field)
		}
	}
	_, err = b.BookFiring(b.ctx, by(tove, "BookFiring"), opening(func(in *app.BookFiringInput) {
		in.Furnace, in.Program.Segments[0].ToCelsius = "muffle-a", 1300
	}))
	assert.NotEmpty(t, blocked(t, err))
}

// TestManyCallersForTheLastLiters lets 24 callers at a firing that has room for three of them.
func TestManyCallersForTheLastLiters(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	opened := b.open(t, func(in *app.BookFiringInput) { in.Offer.Liters, in.Offer.Grams = 6, 5000 })
	const callers = 24
	type told struct {
		run string
		err error
	}
	answers := make(chan told, callers)
	for i := range callers {
		go func() {
			caller := domain.Caller{ID: fmt.Sprintf("maker-%d", i), Role: domain.RoleMaker}
			booked, err := b.join(caller, joining("pots", 2, opened))
			if err != nil {
				answers <- told{err: err}
				return
			}
			answers <- told{run: booked.Runs[0].ID}
		}()
	}
	var joined []string
	for range callers {
		answer := <-answers
		if answer.err == nil {
			joined = append(joined, answer.run)
			continue
		}
		if !errors.Is(answer.err, domain.ErrChangedMeanwhile) {
			assert.Equal(t, []string{domain.CodeJoinNoRoom}, blocked(t, answer.err))
		}
	}
	stands := b.firing(t, opened.ID)
	var riding []string
	for _, r := range stands.Riders {
		riding = append(riding, r.RunID)
	}
	assert.ElementsMatch(t, joined, riding, "who was told yes rides, and nobody else")
	assert.Len(t, riding, 3)
	assert.InDelta(t, 0, stands.FreeLiters(), 1e-9)
}

// agreed fails with every finding of a refusal.
func agreed(t testing.TB, err error) {
	t.Helper()
	var refusal *domain.Refusal
	if errors.As(err, &refusal) {
		require.Fail(t, "refused", "%+v", refusal.Findings)
	}
	require.NoError(t, err)
}

// withoutAttendant leaves out who attends, which is the firing's to say.
func withoutAttendant(windows []domain.StageWindow) []domain.StageWindow {
	for i := range windows {
		windows[i].AttendedBy = ""
	}
	return windows
}

func TestAPlanGoesAroundWhatRidesInSharedFirings(t *testing.T) {
	t.Parallel()
	b := newSharedBench(t)
	twice := wareRecipe("twice", bisque())
	twice.Stages[0].ID = "fire"
	glaze := twice.Stages[0]
	glaze.ID, glaze.Kind = "glaze", chem.Glaze
	twice.Stages = append(twice.Stages, glaze)
	twice.Stages = append([]chem.Stage{{ID: "trim", Kind: chem.Pack, BenchMinutes: 60}}, twice.Stages...)
	_, err := b.LoadStudio(b.ctx, call("LoadStudio"), app.LoadStudioInput{StudioID: "test", Recipes: []chem.Recipe{twice}})
	require.NoError(t, err)
	opened := b.open(t, func(in *app.BookFiringInput) { in.Start = monday.AddDate(0, 0, 2) })
	r := request("twice", 1)
	r.Windows = []domain.StageWindow{{Stage: "fire", JoinFiring: opened.ID, LoadLiters: 2}}
	answer := b.plan(t, r, monday)
	require.Len(t, answer.Run.Windows, 3, "%+v", answer.Findings)
	assert.Equal(t, opened.ID, answer.Run.Windows[1].JoinFiring)
	assert.Equal(t, opened.Window, answer.Run.Windows[1].Window())
	assert.False(t, answer.Run.Windows[0].Drawn().After(opened.Window.Start))
	assert.False(t, answer.Run.Windows[2].Window().Start.Before(answer.Run.Windows[1].Drawn()))
	booked, err := b.book(answer, "")
	require.NoError(t, err)
	assert.True(t, booked.Runs[0].Loads[1].Joined)
	_, err = b.UpdateFiring(b.ctx, by(steward, "UpdateFiring"), app.UpdateFiringInput{StudioID: "test", FiringID: opened.ID, AttendedBy: steward.ID})
	require.NoError(t, err)
	windows := slices.Clone(answer.Run.Windows)
	windows[2] = shifted(windows[2:], 24*time.Hour)[0]
	moved, err := b.MoveRuns(b.ctx, by(steward, "MoveRuns"), app.MoveRunsInput{
		StudioID: "test", Moves: []app.RunMove{{RunID: booked.Runs[0].ID, Windows: withoutAttendant(windows)}}, Acknowledged: codes(answer),
	})
	require.NoError(t, err)
	assert.Equal(t, opened.ID, moved.Runs[0].Loads[1].Firing.ID, "what rides stays aboard when another stage moves")
	assert.Equal(t, steward.ID, b.firing(t, opened.ID).AttendedBy)
	assert.Len(t, b.firing(t, opened.ID).Riders, 1)

	whole := request("pots", 1)
	whole.Windows = []domain.StageWindow{{Stage: "fire", JoinFiring: opened.ID, LoadLiters: 2}}
	answer = b.plan(t, whole, monday)
	require.Equal(t, app.PlanOptimal, answer.Status)
	_, err = b.book(answer, "")
	require.NoError(t, err)
	assert.Len(t, b.firing(t, opened.ID).Riders, 2)
	within := func(window domain.Window) finding.Faults {
		_, err := b.planInput(app.PlanInput{StudioID: "test", Runs: []app.RunRequest{whole}, Maker: steward.ID, Window: window})
		return finding.FaultsOf(err)
	}
	for _, window := range []domain.Window{
		{Start: opened.Window.Start.Add(time.Minute), End: opened.Window.End}, {Start: monday, End: opened.Window.End.Add(-time.Minute)},
	} {
		faults := within(window)
		require.Len(t, faults, 1, "it rides outside of when the run may be")
		assert.Equal(t, "runs[0].stage_windows[0].join_firing", faults[0].Field)
	}
	assert.Empty(t, within(domain.Window{Start: monday, End: opened.Window.End}))
	whole.Windows[0].JoinFiring = "f999"
	_, err = b.tryPlan(whole, monday)
	require.Len(t, finding.FaultsOf(err), 1)
	assert.Equal(t, "runs[0].stage_windows[0].join_firing", finding.FaultsOf(err)[0].Field)
}
