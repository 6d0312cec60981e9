package app_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/server/app"
	"saggar/server/domain"
)

const (
	halfMask = "air_purifying/negative pressure/half_mask"
	fullMask = "air_purifying/negative pressure/full_facepiece"
	airLine  = "supplied_air/continuous flow/full_facepiece"
)

// fuming is a bench with a large, well aired bay, and the windows of a run of which SO2 comes off beside the open furnace while it is
// charged hot: the room carries it, who stands there needs a respirator. At 8 g a half mask is enough, at 30 g a full facepiece.
func fuming(t *testing.T, grams float64, gear ...domain.Gear) (bench, app.RunRequest) {
	t.Helper()
	b := newBench(t)
	recipe := redRecipe()
	recipe.ID = "fuming"
	stage := &recipe.Stages[0]
	stage.Additions[0].Material = "rouge"
	stage.ChargeAtCelsius = 300
	stage.MeasuredReleases = []chem.MeasuredRelease{{Species: "SO2", MassGrams: grams, MeasuredBy: "tom", MeasuredOn: "2027-01-11"}}
	load := app.LoadStudioInput{
		StudioID: "test", Recipes: []chem.Recipe{recipe},
		Materials: []chem.Material{{ID: "rouge", Phases: []chem.Phase{{Formula: "Fe2O3", MassFraction: 1}}}},
		Equipment: []domain.Equipment{
			{Kind: domain.KindRoom, ID: "bay", Room: &air.Room{
				ID: "bay", VolumeCubicMeters: 9000, MakeUpCubicMetersPerSecond: 60, MixingFactor: 1, CrewCount: 4,
				Detectors: []air.Detector{{Species: "CO", TestedOn: "2027-02-22"}, {Species: "SO2", TestedOn: "2027-02-22"}},
			}},
			{Kind: domain.KindCircuit, ID: "fan", Circuit: &air.Circuit{ID: "fan", Branches: []air.Branch{
				{ID: "hood", Room: "bay", CubicMetersPerSecond: 60, MeasuredOn: "2026-10-05"},
			}}},
			{Kind: domain.KindSupply, ID: "panel", Supply: &domain.Supply{ID: "panel", LimitKilowatts: 100}},
		},
	}
	_, err := b.LoadStudio(b.ctx, call("LoadStudio"), load)
	require.NoError(t, err)
	answer := b.plan(t, request("fuming", 1), monday)
	require.Len(t, answer.Run.Windows, 1, "%v", answer.Blames)
	answer.Run.Windows[0].Furnace = "muffle-a"
	b.wardrobe(t, gear...)
	return b, answer.Run
}

// wardrobe puts gear into the test studio.
func (b bench) wardrobe(t *testing.T, gear ...domain.Gear) {
	t.Helper()
	load := app.LoadStudioInput{StudioID: "test"}
	for _, g := range gear {
		g.Count = max(g.Count, 1)
		load.Equipment = append(load.Equipment, domain.Equipment{Kind: domain.KindGear, ID: g.ID, Gear: &g})
	}
	_, err := b.LoadStudio(b.ctx, call("LoadStudio"), load)
	require.NoError(t, err)
}

func mask(id, class string) domain.Gear {
	g := domain.Gear{ID: id, Kind: domain.Respirator, Class: class}
	if g.Filters() {
		g.CartridgeGases, g.CartridgeHours = []string{"SO2"}, 8
	}
	return g
}

// worn is what a run that was only checked would have its people wear.
func (b bench) worn(t *testing.T, run app.RunRequest) ([]string, []string) {
	t.Helper()
	result, err := b.BookRun(b.ctx, app.Call{Caller: steward, Method: "CheckRun", ValidateOnly: true}, app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{run}})
	require.NoError(t, err)
	found := slices.DeleteFunc(result.Findings, func(f finding.Finding) bool { return f.Code[:4] != "GEAR" && f.Code[:4] != "CART" })
	return said(found), result.Runs[0].GearOf("calcine")
}

func TestWhoStandsInGasWearsWhatIsEnough(t *testing.T) {
	t.Parallel()
	fitted, foreign, other := mask("fitted", fullMask), mask("foreign", fullMask), mask("other-gas", fullMask)
	fitted.FittedTo, foreign.FittedTo, other.CartridgeGases = steward.ID, "mira", []string{"HCl"}
	gone := mask("gone", fullMask)
	gone.OutOfUse = true
	goggles := domain.Gear{ID: "goggles", Kind: domain.Goggles}
	for name, c := range map[string]struct {
		grams float64
		gear  []domain.Gear
		found []string
		worn  []string
	}{
		"no gear on record":             {30, nil, []string{"NOTE GEAR_NOT_RECORDED "}, nil},
		"only gloves":                   {30, []domain.Gear{{ID: "gloves", Kind: domain.Gloves}}, []string{"BLOCK GEAR_MISSING steward"}, nil},
		"shared and enough":             {30, []domain.Gear{mask("shared", fullMask)}, nil, []string{"shared"}},
		"their own before a shared one": {30, []domain.Gear{mask("a-shared", fullMask), fitted}, nil, []string{"fitted"}},
		"somebody else's":               {30, []domain.Gear{foreign}, []string{"BLOCK GEAR_MISSING steward"}, nil},
		"for another gas":               {30, []domain.Gear{other}, []string{"BLOCK GEAR_MISSING steward"}, nil},
		"out of use":                    {30, []domain.Gear{gone}, []string{"BLOCK GEAR_MISSING steward"}, nil},
		"air that is brought along":     {30, []domain.Gear{mask("line", airLine)}, nil, []string{"line"}},
		"half a mask where more comes":  {30, []domain.Gear{mask("half", halfMask), goggles}, []string{"BLOCK GEAR_MISSING steward"}, nil},
		"half a mask with goggles":      {8, []domain.Gear{mask("half", halfMask), goggles}, nil, []string{"goggles", "half"}},
		"half a mask without":           {8, []domain.Gear{mask("half", halfMask)}, []string{"BLOCK GEAR_MISSING goggles"}, nil},
		"nothing to keep out":           {1, []domain.Gear{{ID: "gloves", Kind: domain.Gloves}}, nil, nil},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b, run := fuming(t, c.grams, c.gear...)
			found, worn := b.worn(t, run)
			assert.Equal(t, c.found, found)
			assert.Equal(t, c.worn, worn)
		})
	}
}

func TestGearIsWornWhileTheFurnaceStandsOpen(t *testing.T) {
	t.Parallel()
	b, run := fuming(t, 30, mask("shared", fullMask))
	booked, err := b.BookRun(b.ctx, call("BookRun"), app.BookRunInput{
		StudioID: "test", Runs: []app.RunRequest{run}, Acknowledged: []string{"AIR_PROTECTION_NEEDED"},
	})
	require.NoError(t, err)
	var held []domain.Window
	for _, h := range booked.Runs[0].StandingHolds() {
		held = append(held, h.Window)
	}
	var open []domain.Window
	for _, p := range run.Windows[0].Phases {
		if p.Kind.DoorOpen() && p.Window.Minutes() > 0 {
			open = append(open, p.Window)
		}
	}
	assert.Equal(t, domain.MergeWindows(open), held)

	later := func(minutes int) app.RunRequest { return on(run, "muffle-b", time.Duration(minutes)*time.Minute) }
	charging := held[0].Minutes()
	found, _ := b.worn(t, later(charging-1))
	assert.Equal(t, []string{"BLOCK GEAR_BUSY shared"}, found)
	found, worn := b.worn(t, later(charging))
	assert.Empty(t, found, "the other has just been charged")
	assert.Equal(t, []string{"shared"}, worn)
	b.wardrobe(t, mask("shared", fullMask), mask("spare", fullMask))
	found, worn = b.worn(t, later(0))
	assert.Empty(t, found)
	assert.Equal(t, []string{"spare"}, worn)

	_, err = b.CancelRun(b.ctx, call("CancelRun"), app.CancelRunInput{StudioID: "test", RunID: booked.Runs[0].ID})
	require.NoError(t, err)
	_, worn = b.worn(t, later(0))
	assert.Equal(t, []string{"shared"}, worn, "called off, it is free again")
}

func TestACartridgeIsDueBeforeItIsSpent(t *testing.T) {
	t.Parallel()
	b, run := fuming(t, 30, mask("shared", fullMask))
	_, worn := b.worn(t, run)
	require.Equal(t, []string{"shared"}, worn)
	var hours float64 // of one run
	for _, p := range run.Windows[0].Phases {
		if p.Kind.DoorOpen() {
			hours += p.Window.End.Sub(p.Window.Start).Hours()
		}
	}
	with := func(used, allowed float64, at time.Time) domain.Gear {
		g := mask("shared", fullMask)
		g.UsedHours, g.CartridgeHours, g.UsedTime = used, allowed, at
		return g
	}
	for name, c := range map[string]struct {
		gear  domain.Gear
		found []string
	}{
		"well before":              {with(0, 10*hours, time.Time{}), nil},
		"just before":              {with(6.99*hours, 10*hours, time.Time{}), nil},
		"at four fifths":           {with(7.01*hours, 10*hours, time.Time{}), []string{"WARN CARTRIDGE_DUE shared"}},
		"to the last minute":       {with(9*hours, 10*hours, time.Time{}), []string{"WARN CARTRIDGE_DUE shared"}},
		"over its hours":           {with(9.01*hours, 10*hours, time.Time{}), []string{"BLOCK CARTRIDGE_SPENT shared"}},
		"a new one before the run": {with(0, 10*hours, monday), nil},
	} {
		b.at(monday).wardrobe(t, c.gear)
		found, _ := b.worn(t, run)
		assert.Equal(t, c.found, found, name)
	}

	b.wardrobe(t, with(0, 2.4*hours, time.Time{}))
	booked := func(days int) error {
		_, err := b.BookRun(b.ctx, call("BookRun"), app.BookRunInput{
			StudioID: "test", Runs: []app.RunRequest{on(run, "muffle-a", time.Duration(24*days)*time.Hour)},
			Acknowledged: []string{"AIR_PROTECTION_NEEDED", "CARTRIDGE_DUE"},
		})
		return err
	}
	require.NoError(t, booked(2))
	require.NoError(t, booked(0), "an earlier use counts before a later one, which still has its hours")
	assert.Equal(t, []string{"CARTRIDGE_SPENT"}, blockedCodes(t, booked(4)))
	shown := func(b bench) domain.Gear {
		e, err := b.GetEquipment(b.ctx, "test", domain.KindGear, "shared")
		require.NoError(t, err)
		return *e.Gear
	}
	assert.Zero(t, shown(b).SpentHours)
	assert.InDelta(t, 2*hours, shown(b).BookedHours, 1e-9)
	assert.InDelta(t, hours, shown(b.at(monday.AddDate(0, 0, 1))).SpentHours, 1e-9, "the first is over")
	renewed := with(0, 2.4*hours, monday.AddDate(0, 0, 1))
	_, err := b.LoadStudio(b.ctx, call("LoadStudio"), app.LoadStudioInput{
		StudioID: "test", Equipment: []domain.Equipment{{Kind: domain.KindGear, ID: "shared", Gear: &renewed}},
	})
	assert.Equal(t, "gear[shared].used_time", finding.FaultsOf(err)[0].Field, "a cartridge is not new before it is in")
	b.at(renewed.UsedTime).wardrobe(t, renewed)
	require.NoError(t, booked(4), "a new cartridge since the first")
	assert.InDelta(t, 2*hours, shown(b).BookedHours, 1e-9, "what the former cartridge took counts no more")
}

func TestAPlanGoesRoundWhatGearIsWorn(t *testing.T) {
	t.Parallel()
	b, run := fuming(t, 30, mask("shared", fullMask))
	_, err := b.BookRun(b.ctx, call("BookRun"), app.BookRunInput{
		StudioID: "test", Runs: []app.RunRequest{run}, Acknowledged: []string{"AIR_PROTECTION_NEEDED"},
	})
	require.NoError(t, err)
	answer := b.plan(t, request("fuming", 1), monday)
	require.Len(t, answer.Run.Windows, 1, "%v", answer.Blames)
	assert.False(t, finding.Blocks(answer.Findings), "%v", said(answer.Findings))
	assert.Equal(t, app.PlanFeasible, answer.Status, "another choice might do as well")
	assert.Equal(t, "GEAR", answer.Reasons[0].Code)
	assert.NotEqual(t, run.Windows[0].Charged(), answer.Run.Windows[0].Charged())

	together, err := b.planInput(app.PlanInput{
		StudioID: "test", Runs: []app.RunRequest{request("fuming", 1), request("fuming", 1)}, Maker: steward.ID,
		Window: domain.Window{Start: monday, End: monday.AddDate(0, 0, 28)}, SearchTime: 2 * time.Second,
	})
	require.NoError(t, err)
	require.Len(t, together.Runs, 2)
	assert.False(t, finding.Blocks(together.Findings), "%v", said(together.Findings))

	b.wardrobe(t, mask("shared", halfMask))
	answer = b.plan(t, request("fuming", 1), monday)
	assert.Equal(t, app.PlanInfeasible, answer.Status)
	assert.Contains(t, said(answer.Findings), "BLOCK GEAR_MISSING steward")
	assert.Contains(t, answer.Blames[len(answer.Blames)-1].Message, "no gear that is enough is free for")
}
