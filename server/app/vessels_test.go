package app_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/app"
	"saggar/server/domain"
)

// pot is a crucible in which the charge of potRecipe stands well.
func pot(id string) domain.Vessel {
	return domain.Vessel{ID: id, Mark: strings.ToUpper(id), Kind: chem.Crucible, Count: 1, VolumeLiters: 1, TopCelsius: 1200, InspectedOn: "2027-01-11"}
}

// potRecipe fires 400 g of goethite, 0.4 l of it, in a crucible.
func potRecipe() chem.Recipe {
	r := redRecipe()
	r.ID = "potted"
	r.Stages[0].Vessel.Kind, r.Stages[0].TampedDensityGramsPerMilliliter = chem.Crucible, 1
	return r
}

// stock puts equipment and recipes into the test studio, whose panel then carries all furnaces at once.
func (b bench) stock(t testing.TB, recipes []chem.Recipe, vessels ...domain.Vessel) {
	t.Helper()
	load := app.LoadStudioInput{StudioID: "test", Recipes: recipes, Equipment: []domain.Equipment{
		{Kind: domain.KindSupply, ID: "panel", Supply: &domain.Supply{ID: "panel", LimitKilowatts: 100}},
	}}
	for _, v := range vessels {
		load.Equipment = append(load.Equipment, domain.Equipment{Kind: domain.KindVessel, ID: v.ID, Vessel: &v})
	}
	_, err := b.LoadStudio(b.ctx, call("LoadStudio"), load)
	require.NoError(t, err)
}

// potted is a bench with potRecipe and vessels, and the windows of a run of it on a furnace.
func potted(t testing.TB, vessels ...domain.Vessel) (bench, app.RunRequest) {
	t.Helper()
	b := newBench(t)
	b.stock(t, []chem.Recipe{potRecipe()})
	run := b.plan(t, request("potted", 1), monday).Run
	require.Len(t, run.Windows, 1)
	run.Windows[0].Furnace, run.RecipeVersion = "muffle-a", 0
	b.stock(t, nil, vessels...)
	return b, run
}

// in is a request with vessels named for its first stage.
func in(run app.RunRequest, uses ...domain.VesselUse) app.RunRequest {
	run.Windows = slices.Clone(run.Windows)
	run.Windows[0].Vessels = uses
	return run
}

// on is a request on another furnace, later by some time.
func on(run app.RunRequest, furnace string, later time.Duration) app.RunRequest {
	vessels := run.Windows[0].Vessels
	run.Windows = shifted(run.Windows, later)
	run.Windows[0].Furnace, run.Windows[0].Vessels = furnace, vessels
	return run
}

func use(id string) domain.VesselUse { return domain.VesselUse{Vessel: id, Count: 1} }

// checkTaken returns what is said about vessels and gear of runs that would be booked together, and the vessels of each.
func (b bench) checkTaken(t testing.TB, runs ...app.RunRequest) ([]finding.Finding, [][]domain.VesselUse) {
	t.Helper()
	result, err := b.BookRun(b.ctx, app.Call{Caller: steward, Method: "CheckRun", ValidateOnly: true}, app.BookRunInput{StudioID: "test", Runs: runs})
	require.NoError(t, err)
	var uses [][]domain.VesselUse
	for _, r := range result.Runs {
		uses = append(uses, r.VesselsOf(r.Loads[0].Stage, false))
	}
	return slices.DeleteFunc(result.Findings, func(f finding.Finding) bool {
		for _, prefix := range []string{"VESSEL", "GEAR", "CARTRIDGE"} {
			if strings.HasPrefix(f.Code, prefix) {
				return false
			}
		}
		return true
	}), uses
}

// take books runs as they are.
func (b bench) take(t testing.TB, runs ...app.RunRequest) []domain.Run {
	t.Helper()
	booked, err := b.tryTake(runs...)
	require.NoError(t, err)
	return booked
}

func (b bench) tryTake(runs ...app.RunRequest) ([]domain.Run, error) {
	result, err := b.BookRun(b.ctx, call("BookRun"), app.BookRunInput{StudioID: "test", Runs: runs})
	return result.Runs, err
}

func said(findings []finding.Finding) []string {
	var list []string
	for _, f := range findings {
		list = append(list, string(f.Severity)+" "+f.Code+" "+f.About)
	}
	return list
}

func TestTheSmallestVesselThatIsFreeAndFitsIsPicked(t *testing.T) {
	t.Parallel()
	large, small, tiny := pot("large"), pot("small"), pot("tiny")
	large.VolumeLiters, small.VolumeLiters, tiny.VolumeLiters = 4, 0.7, 0.3
	b, run := potted(t, large, small, tiny)
	found, uses := b.checkTaken(t, run, on(run, "muffle-b", 0), on(run, "kiln", 0))
	assert.Equal(t, [][]domain.VesselUse{{{Vessel: "small", Count: 1, Mark: "SMALL"}}, {{Vessel: "large", Count: 1, Mark: "LARGE"}}, nil}, uses)
	assert.Equal(t, []string{"BLOCK VESSEL_MISSING crucible", "NOTE VESSEL_PICKED small", "NOTE VESSEL_PICKED large"}, said(found))
	assert.Equal(t, "runs[2].stage_windows[0].vessels", found[0].Field)
	assert.Contains(t, found[0].Message, "another run of this request has 1 until")
	assert.Contains(t, found[0].Message, "tiny (marked TINY), of which there are 1")

	booked := b.take(t, run)[0]
	assert.Equal(t, []domain.Hold{{
		Kind: domain.KindVessel, ID: "small", Count: 1, Stage: "calcine", Alone: true, Mark: "SMALL", Leaves: []string{"iron"},
		Window: domain.Window{
			Start: run.Windows[0].Charged().Add(-20 * time.Minute), End: run.Windows[0].Drawn().Add(30 * time.Minute),
		},
	}}, booked.StandingHolds(), "from packing, as long as charging takes, until it is cleaned, 30 min after the draw")
	holds, err := b.ListHolds(b.ctx, "test", app.HoldsQuery{Kind: domain.KindVessel, ID: "small"})
	require.NoError(t, err)
	require.Len(t, holds, 1)
	assert.Equal(t, booked.ID, holds[0].RunID)
	_, err = b.ListHolds(b.ctx, "test", app.HoldsQuery{Kind: domain.KindVessel, ID: "none"})
	require.ErrorIs(t, err, domain.ErrNotFound)
}

func TestSeveralVesselsHoldWhatOneDoesNot(t *testing.T) {
	t.Parallel()
	set, other := pot("set"), pot("other")
	set.Count, set.VolumeLiters, other.VolumeLiters = 3, 0.12, 0.5
	b, run := potted(t, set, other)
	_, uses := b.checkTaken(t, run)
	assert.Equal(t, [][]domain.VesselUse{{{Vessel: "other", Count: 1, Mark: "OTHER"}, {Vessel: "set", Count: 1, Mark: "SET"}}}, uses,
		"0.4 l at two thirds: 0.333 l in the one, the rest in one of 0.08 l")
	run.Scale = chem.Scale{CrucibleCount: 4, CrucibleMilliliters: 150, CrucibleFillFraction: 2.0 / 3}
	_, uses = b.checkTaken(t, run)
	assert.Equal(t, 4, uses[0][0].Count+uses[0][1].Count, "the scale asks for four")
}

func TestWithoutRecordsNothingIsHeldAgainstARun(t *testing.T) {
	t.Parallel()
	b, run := potted(t)
	found, uses := b.checkTaken(t, run)
	assert.Equal(t, []string{"NOTE VESSEL_MISSING crucible"}, said(found))
	assert.Equal(t, [][]domain.VesselUse{nil}, uses)
}

func TestWhatIsHeldAgainstAVessel(t *testing.T) {
	t.Parallel()
	charge := 0.4 // l, as potRecipe
	for name, c := range map[string]struct {
		vessel  func(*domain.Vessel)
		recipe  func(*chem.Stage)
		furnace func(*heat.Furnace)
		want    []string
	}{
		"nothing":                        {want: nil},
		"as hot as it takes":             {vessel: func(v *domain.Vessel) { v.TopCelsius = 700 }, want: nil},
		"a degree too hot":               {vessel: func(v *domain.Vessel) { v.TopCelsius = 699 }, want: []string{"BLOCK VESSEL_TOO_HOT one"}},
		"within the furnace's tolerance": {vessel: func(v *domain.Vessel) { v.TopCelsius = 705 }, furnace: func(f *heat.Furnace) { f.ToleranceCelsius = 6 }, want: []string{"NOTE VESSEL_NEAR_TOP one"}},
		"two thirds full":                {vessel: func(v *domain.Vessel) { v.VolumeLiters = 1.5 * charge }, want: nil},
		"fuller than two thirds":         {vessel: func(v *domain.Vessel) { v.VolumeLiters = 1.49 * charge }, want: []string{"WARN VESSEL_TOO_SMALL one"}},
		"full to the rim":                {vessel: func(v *domain.Vessel) { v.VolumeLiters = charge }, want: []string{"WARN VESSEL_TOO_SMALL one"}},
		"more than it holds":             {vessel: func(v *domain.Vessel) { v.VolumeLiters = 0.99 * charge }, want: []string{"BLOCK VESSEL_TOO_SMALL one"}},
		"no volume recorded":             {vessel: func(v *domain.Vessel) { v.VolumeLiters = 0 }, want: nil},
		"inspection counts on the day":   {vessel: func(v *domain.Vessel) { v.InspectedOn, v.InspectionDays = "2027-02-01", 28 }, want: nil},
		"inspection due the day before":  {vessel: func(v *domain.Vessel) { v.InspectedOn, v.InspectionDays = "2027-02-01", 27 }, want: []string{"WARN VESSEL_INSPECTION_DUE one"}},
		"never inspected":                {vessel: func(v *domain.Vessel) { v.InspectedOn = "" }, want: []string{"WARN VESSEL_INSPECTION_DUE one"}},
		"inspected a year ago":           {vessel: func(v *domain.Vessel) { v.InspectedOn = "2026-02-28" }, want: []string{"WARN VESSEL_INSPECTION_DUE one"}},
		"inspected a year ago less one":  {vessel: func(v *domain.Vessel) { v.InspectedOn = "2026-03-01" }, want: nil},
		"another department's":           {vessel: func(v *domain.Vessel) { v.Department = "glass" }, want: []string{"BLOCK VESSEL_OF_OTHERS one"}},
		"another's, shared":              {vessel: func(v *domain.Vessel) { v.Department, v.Shared = "glass", true }, want: nil},
		"out of use":                     {vessel: func(v *domain.Vessel) { v.OutOfUse = true }, want: []string{"BLOCK VESSEL_OUT_OF_USE one"}},
		"of another kind":                {vessel: func(v *domain.Vessel) { v.Kind = chem.Saggar }, want: []string{"BLOCK VESSEL_OTHER_KIND one"}},
		"a tight lid over steam":         {vessel: func(v *domain.Vessel) { v.Lid = chem.SealedLid }, want: []string{"BLOCK SEALED_OVER_GAS one"}},
		"a loose lid":                    {vessel: func(v *domain.Vessel) { v.Lid = chem.LooseLid }, want: nil},
		"no lid where one is asked for":  {vessel: func(v *domain.Vessel) { v.Lid = chem.OpenLid }, recipe: func(s *chem.Stage) { s.Lid = chem.LooseLid }, want: []string{"BLOCK VESSEL_LID_MISSING one"}},
		"a lid where one is asked for":   {vessel: func(v *domain.Vessel) { v.Lid = chem.LooseLid }, recipe: func(s *chem.Stage) { s.Lid = chem.LooseLid }, want: nil},
		"as wide as the chamber": {vessel: func(v *domain.Vessel) { v.DiameterMillimeters = 200 }, furnace: func(f *heat.Furnace) {
			f.ChamberWidthMillimeters, f.ChamberDepthMillimeters = 200, 250
		}, want: nil},
		"wider than the chamber": {vessel: func(v *domain.Vessel) { v.DiameterMillimeters = 201 }, furnace: func(f *heat.Furnace) {
			f.ChamberWidthMillimeters, f.ChamberDepthMillimeters = 200, 250
		}, want: []string{"BLOCK VESSELS_DO_NOT_FIT one"}},
		"higher than the chamber": {vessel: func(v *domain.Vessel) { v.DiameterMillimeters, v.HeightMillimeters = 100, 181 }, furnace: func(f *heat.Furnace) {
			f.ChamberWidthMillimeters, f.ChamberDepthMillimeters, f.ChamberHeightMillimeters = 200, 250, 180
		}, want: []string{"BLOCK VESSELS_DO_NOT_FIT one"}},
		"as much as the chamber": {vessel: func(v *domain.Vessel) { v.VolumeLiters = 12 }, want: nil},
		"more than the chamber":  {vessel: func(v *domain.Vessel) { v.VolumeLiters = 12.1 }, want: []string{"BLOCK VESSELS_DO_NOT_FIT one"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			one, recipe, furnace := pot("one"), potRecipe(), testFurnace("muffle-a")
			if c.vessel != nil {
				c.vessel(&one)
			}
			b, run := potted(t, one)
			if c.recipe != nil {
				c.recipe(&recipe.Stages[0])
			}
			if c.furnace != nil {
				c.furnace(&furnace)
			}
			_, err := b.LoadStudio(b.ctx, call("LoadStudio"), app.LoadStudioInput{
				StudioID: "test", Recipes: []chem.Recipe{recipe}, Equipment: []domain.Equipment{{Kind: domain.KindFurnace, ID: furnace.ID, Furnace: &furnace}},
			})
			require.NoError(t, err)
			result, err := b.BookRun(b.ctx, app.Call{Caller: steward, Method: "CheckRun", ValidateOnly: true},
				app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{in(run, use("one"))}})
			require.NoError(t, err)
			mine := slices.DeleteFunc(result.Findings, func(f finding.Finding) bool { return f.About != "one" })
			assert.Equal(t, c.want, said(mine))
			for _, f := range mine {
				assert.Equal(t, "runs[0].stage_windows[0].vessels", f.Field)
				assert.NotEmpty(t, f.Cure)
			}
		})
	}
}

func TestVesselsStandInRowsAndSaggarsInLayers(t *testing.T) {
	t.Parallel()
	pots, boxes := pot("pots"), pot("boxes")
	pots.Count, boxes.Count, boxes.Kind = 100, 100, chem.Saggar
	pots.DiameterMillimeters, pots.HeightMillimeters, boxes.DiameterMillimeters, boxes.HeightMillimeters = 100, 100, 100, 100
	b, run := potted(t, pots, boxes)
	recipe, furnace := potRecipe(), testFurnace("muffle-a")
	recipe.Stages[0].Vessel.Kind = ""
	furnace.ChamberWidthMillimeters, furnace.ChamberDepthMillimeters, furnace.ChamberHeightMillimeters = 399, 300, 350
	_, err := b.LoadStudio(b.ctx, call("LoadStudio"), app.LoadStudioInput{
		StudioID: "test", Recipes: []chem.Recipe{recipe}, Equipment: []domain.Equipment{{Kind: domain.KindFurnace, ID: furnace.ID, Furnace: &furnace}},
	})
	require.NoError(t, err)
	for _, c := range []struct {
		uses []domain.VesselUse
		fit  bool
	}{
		{[]domain.VesselUse{{Vessel: "pots", Count: 9}}, true}, {[]domain.VesselUse{{Vessel: "pots", Count: 10}}, false},
		{[]domain.VesselUse{{Vessel: "boxes", Count: 27}}, true}, {[]domain.VesselUse{{Vessel: "boxes", Count: 28}}, false},
		{[]domain.VesselUse{{Vessel: "pots", Count: 3}, {Vessel: "boxes", Count: 18}}, true},
		{[]domain.VesselUse{{Vessel: "pots", Count: 4}, {Vessel: "boxes", Count: 18}}, false},
	} {
		found, _ := b.checkTaken(t, in(run, c.uses...))
		assert.Equal(t, c.fit, len(found) == 0, "%v: %v", c.uses, said(found))
	}
	found, _ := b.checkTaken(t, in(run, domain.VesselUse{Vessel: "pots", Count: 101}))
	assert.Contains(t, said(found), "BLOCK VESSEL_TOO_FEW pots")
}

func TestAVesselIsHadByOneAtATime(t *testing.T) {
	t.Parallel()
	b, run := potted(t, pot("one"), pot("two"))
	first := b.take(t, in(run, use("one")))[0]
	held := first.StandingHolds()[0].Window
	found, _ := b.checkTaken(t, on(in(run, use("one")), "muffle-b", held.End.Sub(held.Start)-time.Minute))
	require.Equal(t, []string{"BLOCK VESSEL_BUSY one"}, said(found))
	assert.Contains(t, found[0].Message, "run "+first.ID+" has 1 until ")
	assert.Contains(t, found[0].Cure, "free then are two")
	assert.Equal(t, finding.Figure{Name: "free", Value: 0, Unit: "1"}, found[0].Figures[1])

	_, err := b.tryTake(on(in(run, use("one")), "muffle-b", held.End.Sub(held.Start)-time.Minute))
	require.Contains(t, blockedCodes(t, err), "VESSEL_BUSY")
	found, _ = b.checkTaken(t, on(in(run, use("one")), "muffle-b", held.End.Sub(held.Start)))
	assert.Empty(t, found, "once it is cleaned")

	_, err = b.tryTake(in(run, domain.VesselUse{Vessel: "none"}))
	require.Equal(t, "runs[0].stage_windows[0].vessels[0].vessel", finding.FaultsOf(err)[0].Field)
	_, err = b.tryTake(in(run, use("one"), use("one")))
	require.Equal(t, "runs[0].stage_windows[0].vessels[1].vessel", finding.FaultsOf(err)[0].Field)
}

func blockedCodes(t *testing.T, err error) []string {
	t.Helper()
	var refusal *domain.Refusal
	require.ErrorAs(t, err, &refusal)
	var list []string
	for _, f := range refusal.Findings {
		if f.Severity == finding.Block {
			list = append(list, f.Code)
		}
	}
	return list
}

func TestASetIsSharedUpToItsCount(t *testing.T) {
	t.Parallel()
	set := pot("set")
	set.Count = 5
	b, run := potted(t, set)
	b.take(t, in(run, domain.VesselUse{Vessel: "set", Count: 3}))
	found, _ := b.checkTaken(t, on(in(run, domain.VesselUse{Vessel: "set", Count: 2}), "muffle-b", 0))
	assert.Empty(t, found)
	found, _ = b.checkTaken(t, on(in(run, domain.VesselUse{Vessel: "set", Count: 3}), "muffle-b", 0))
	assert.Equal(t, []string{"BLOCK VESSEL_BUSY set"}, said(found))
	_, uses := b.checkTaken(t, on(run, "muffle-b", 0), on(run, "kiln", 0))
	assert.Equal(t, [][]domain.VesselUse{{{Vessel: "set", Count: 1, Mark: "SET"}}, {{Vessel: "set", Count: 1, Mark: "SET"}}}, uses)
}

func TestCallingOffMovingAndExpiringFreeVessels(t *testing.T) {
	t.Parallel()
	b, run := potted(t, pot("one"))
	busy := func(b bench) bool {
		found, _ := b.checkTaken(t, on(in(run, use("one")), "muffle-b", 0))
		return len(found) > 0
	}
	booked := b.take(t, in(run, use("one")))[0]
	assert.True(t, busy(b))
	moved, err := b.MoveRuns(b.ctx, call("MoveRuns"), app.MoveRunsInput{StudioID: "test", Moves: []app.RunMove{{
		RunID: booked.ID, Windows: shifted(run.Windows, 48*time.Hour),
	}}})
	require.NoError(t, err)
	assert.Equal(t, []domain.VesselUse{{Vessel: "one", Count: 1, Mark: "ONE"}}, moved.Runs[0].VesselsOf("calcine", true), "what was named stays named")
	assert.False(t, busy(b), "it is taken two days later now")
	found, _ := b.checkTaken(t, on(in(run, use("one")), "muffle-b", 48*time.Hour))
	assert.Equal(t, []string{"BLOCK VESSEL_BUSY one"}, said(found))
	_, err = b.MoveRuns(b.ctx, call("MoveRuns"), app.MoveRunsInput{StudioID: "test", Moves: []app.RunMove{{
		RunID: booked.ID, Windows: shifted(run.Windows, 49*time.Hour),
	}}})
	require.NoError(t, err, "a run is not in its own way")
	_, err = b.CancelRun(b.ctx, call("CancelRun"), app.CancelRunInput{StudioID: "test", RunID: booked.ID})
	require.NoError(t, err)
	found, _ = b.checkTaken(t, on(in(run, use("one")), "muffle-b", 48*time.Hour))
	assert.Empty(t, found)

	b.rule(t, domain.ClearanceRule{ID: "first", Title: "First", FirstRun: true, Role: domain.RoleTechnician})
	waiting := b.take(t, in(run, use("one")))[0]
	require.Equal(t, domain.RunTentative, waiting.State())
	assert.True(t, busy(b))
	later := b.at(waiting.HoldExpireTime())
	assert.False(t, busy(later), "it waited too long, though nobody has written it down yet")
	_, err = later.tryTake(on(in(run, use("one")), "muffle-b", 0))
	require.NoError(t, err)
}

// sulfured is a recipe whose charge leaves sulfur in its crucible.
func sulfured() chem.Recipe {
	r := potRecipe()
	r.ID = "sulfured"
	r.Stages[0].Additions = []chem.Addition{{Material: "goethite", MassGrams: 400}, {Material: "sulfur", MassGrams: 1}}
	return r
}

func TestWhatAVesselHeldDecidesWhatItMayHoldNext(t *testing.T) {
	t.Parallel()
	clean := potRecipe()
	clean.Stages[0].Additions[0].Material = "kaolin" // no colour
	clean.Stages[0].Product = ""
	one, two := pot("one"), pot("two")
	two.OutOfUse = true
	b, ironRun := potted(t)
	clean.ID = "clean"
	b.stock(t, []chem.Recipe{clean, sulfured()})
	planned := map[string]app.RunRequest{"clean": b.plan(t, request("clean", 1), monday).Run, "sulfured": b.plan(t, request("sulfured", 1), monday).Run}
	b.stock(t, nil, one, two)
	of := func(recipe string, days int) app.RunRequest {
		return on(in(planned[recipe], use("one")), "muffle-a", time.Duration(days)*24*time.Hour)
	}
	b.take(t, on(in(ironRun, use("one")), "muffle-a", 72*time.Hour))
	found, _ := b.checkTaken(t, of("clean", 7))
	require.Equal(t, []string{"BLOCK VESSEL_HELD one"}, said(found))
	assert.Contains(t, found[0].Message, "1 of it would carry iron between this charge and that of run potted-")
	assert.Contains(t, found[0].Cure, "vessel clean")
	found, _ = b.checkTaken(t, of("clean", 0))
	assert.Empty(t, found, "before the iron")
	for days, held := range map[int][]string{0: nil, 4: {"iron"}} {
		shown, err := b.at(monday.AddDate(0, 0, days)).ListEquipment(b.ctx, "test", domain.KindVessel, app.Page{Limit: 10})
		require.NoError(t, err)
		assert.Equal(t, held, shown[0].Vessel.NowHeld, "after %d days", days)
	}
	found, _ = b.checkTaken(t, of("sulfured", 7))
	assert.Empty(t, found, "iron upon iron")
	found, _ = b.checkTaken(t, of("sulfured", 0))
	assert.Equal(t, []string{"BLOCK VESSEL_HELD one"}, said(found), "who has it later must not find sulfur in it")

	one.Held, one.HeldTime = []string{"lead"}, monday.AddDate(0, 0, 5)
	_, err := b.LoadStudio(b.ctx, call("LoadStudio"), app.LoadStudioInput{
		StudioID: "test", Equipment: []domain.Equipment{{Kind: domain.KindVessel, ID: "one", Vessel: &one}},
	})
	assert.Equal(t, "vessels[one].held_time", finding.FaultsOf(err)[0].Field, "nobody records what is to come")
	later := b.at(one.HeldTime)
	later.stock(t, nil, one)
	found, _ = b.checkTaken(t, of("clean", 7))
	assert.Equal(t, []string{"BLOCK VESSEL_HELD one"}, said(found))
	assert.Contains(t, found[0].Message, "its wall holds lead, which the charge does not")
	one.Held = nil
	later.stock(t, nil, one)
	found, _ = b.checkTaken(t, of("clean", 7))
	assert.Empty(t, found, "it has been cleaned since")
	one.HeldTime = monday.AddDate(0, 0, 2)
	later.stock(t, nil, one)
	found, _ = b.checkTaken(t, of("clean", 7))
	assert.Equal(t, []string{"BLOCK VESSEL_HELD one"}, said(found), "it was cleaned before the iron")
}

func TestARunKeepsItsVesselFromStageToStage(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	recipe := blueRecipe()
	for _, i := range []int{2, 3} {
		recipe.Stages[i].Vessel.Kind = chem.Crucible
	}
	one, other := pot("one"), pot("other")
	other.VolumeLiters = 2
	b.stock(t, []chem.Recipe{recipe}, one, other)
	answer := b.plan(t, request("blue", 0.2), monday)
	require.NotEmpty(t, answer.Run.Windows)
	booked, err := b.book(answer, "")
	require.NoError(t, err)
	holds := slices.DeleteFunc(booked.Runs[0].StandingHolds(), func(h domain.Hold) bool { return h.Kind != domain.KindVessel })
	require.Len(t, holds, 2)
	assert.Equal(t, holds[0].ID, holds[1].ID)
	assert.Equal(t, holds[0].Window.End, holds[1].Window.Start, "one hold through")
	assert.Equal(t, answer.Run.Windows[1].Window().Start, holds[0].Window.Start, "from packing")
	assert.Equal(t, []string{"sulfur"}, holds[0].Leaves)
}

func TestAPlanGoesRoundWhatVesselsAreTaken(t *testing.T) {
	t.Parallel()
	b, run := potted(t, pot("one"))
	taken := b.take(t, in(run, use("one")))[0].StandingHolds()[0].Window
	answer := b.plan(t, request("potted", 1), monday)
	require.Equal(t, app.PlanFeasible, answer.Status, "%v", answer.Blames)
	assert.False(t, finding.Blocks(answer.Findings), "%v", said(answer.Findings))
	packed := answer.Run.Windows[0].Charged().Add(-20 * time.Minute)
	assert.WithinRange(t, packed, taken.End, taken.End.Add(4*time.Minute), "packed as soon as it is clean, on the grid")
	assert.Equal(t, "VESSEL", answer.Reasons[0].Code)

	together, err := b.planInput(app.PlanInput{
		StudioID: "test", Runs: []app.RunRequest{request("potted", 1), request("potted", 1), request("potted", 1)}, Maker: steward.ID,
		Window: domain.Window{Start: monday, End: monday.AddDate(0, 0, 28)}, SearchTime: 2 * time.Second,
	})
	require.NoError(t, err)
	require.Len(t, together.Runs, 3)
	assert.False(t, finding.Blocks(together.Findings), "%v", said(together.Findings))
	b.take(t, together.Runs...)
}

func TestAPlanWithoutAnyVesselSaysSo(t *testing.T) {
	t.Parallel()
	one := pot("one")
	one.TopCelsius = 600
	b, _ := potted(t, one)
	answer := b.plan(t, request("potted", 1), monday)
	assert.Equal(t, app.PlanInfeasible, answer.Status)
	assert.Contains(t, said(answer.Findings), "BLOCK VESSEL_MISSING crucible")
}

func TestAVesselStaysInAFiringThatOverran(t *testing.T) {
	t.Parallel()
	b, run := potted(t, pot("one"), pot("two"))
	first := b.take(t, in(run, use("one")))[0]
	held := first.StandingHolds()[0].Window
	next := b.take(t, on(in(run, use("one")), "muffle-b", 24*time.Hour))[0]
	during := b.at(held.End.Add(-time.Hour))
	overrun := func(by time.Duration, acknowledged ...string) (app.BookRunResult, error) {
		return during.MoveRuns(b.ctx, call("MoveRuns"), app.MoveRunsInput{StudioID: "test", Acknowledged: acknowledged, Overruns: []app.Overrun{{
			FiringID: first.Loads[0].Firing.ID, End: first.Loads[0].Window.End.Add(by),
		}}})
	}
	longer := next.StandingHolds()[0].Window.Start.Sub(held.End)
	_, err := overrun(longer + time.Minute)
	var refusal *domain.Refusal
	require.ErrorAs(t, err, &refusal)
	assert.Equal(t, []string{"VESSEL_OVERRAN"}, refusal.Unacknowledged)
	assert.Contains(t, refusal.Findings[0].Message, "run "+next.ID+" has 1 until")
	moved, err := overrun(longer+time.Minute, "VESSEL_OVERRAN")
	require.NoError(t, err)
	assert.Equal(t, held.End.Add(longer), moved.Runs[0].StandingHolds()[0].Window.End, "no longer than nobody else has it")

	_, err = b.CancelRun(b.ctx, call("CancelRun"), app.CancelRunInput{StudioID: "test", RunID: next.ID})
	require.NoError(t, err)
	first = moved.Runs[0]
	moved, err = overrun(2 * time.Hour)
	require.NoError(t, err)
	assert.Equal(t, first.Loads[0].Window.End.Add(2*time.Hour).Add(30*time.Minute), moved.Runs[0].StandingHolds()[0].Window.End)
	found, _ := during.checkTaken(t, on(in(run, use("one")), "muffle-b", 24*time.Hour))
	assert.Equal(t, []string{"BLOCK VESSEL_BUSY one"}, said(found))
}

func TestNobodyHasAVesselBetweenTheStagesOfItsCharge(t *testing.T) {
	t.Parallel()
	recipe := potRecipe()
	recipe.ID = "thrice"
	for _, id := range []string{"second", "third"} {
		again := recipe.Stages[0]
		again.ID, again.Kind, again.Additions, again.Product = id, chem.Sinter, nil, ""
		recipe.Lags = append(recipe.Lags, chem.Lag{FromStage: recipe.Stages[len(recipe.Stages)-1].ID, ToStage: id, MinMinutes: 2 * 24 * 60})
		recipe.Stages = append(recipe.Stages, again)
	}
	b, run := potted(t, pot("one"))
	b.stock(t, []chem.Recipe{recipe})
	answer := b.plan(t, request("thrice", 1), monday)
	require.Len(t, answer.Run.Windows, 3, "%v", answer.Blames)
	booked, err := b.book(answer, "")
	require.NoError(t, err)
	holds := booked.Runs[0].StandingHolds()
	require.Len(t, holds, 3)
	for i := range 2 {
		assert.Equal(t, "one", holds[i+1].ID)
		assert.Equal(t, holds[i].Window.End, holds[i+1].Window.Start)
	}
	between := answer.Run.Windows[0].Drawn().Add(24 * time.Hour).Truncate(24 * time.Hour).Add(8 * time.Hour)
	asked := on(in(run, use("one")), "kiln", between.Sub(run.Windows[0].Window().Start))
	found, _ := b.checkTaken(t, asked)
	assert.Equal(t, []string{"BLOCK VESSEL_BUSY one"}, said(found))

	_, err = b.CancelRun(b.ctx, call("CancelRun"), app.CancelRunInput{StudioID: "test", RunID: booked.Runs[0].ID})
	require.NoError(t, err)
	_, err = b.tryTake(asked)
	require.NoError(t, err)
	found, uses := b.checkTaken(t, answer.Run)
	assert.Contains(t, said(found), "NOTE VESSEL_PICKED one", "the first stage comes before the other")
	assert.NotEmpty(t, uses[0])
	assert.Contains(t, said(found), "BLOCK VESSEL_MISSING crucible", "the charge cannot stay in it, nor is there another")
}
