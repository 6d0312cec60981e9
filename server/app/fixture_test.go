package app_test

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/heat"
	"saggar/server/app"
	"saggar/server/domain"
	"saggar/server/pgtest"
	"saggar/server/store"
)

// monday is 08:00 UTC on a Monday; the test studio keeps UTC, and its clock shows an hour before.
var monday = time.Date(2027, time.March, 1, 8, 0, 0, 0, time.UTC)

// bench is an application on a fresh database with the test studio loaded.
type bench struct {
	*app.App
	store *store.Store
	ctx   context.Context
}

var steward = domain.Caller{ID: "steward", Role: domain.RoleSteward}

func call(method string) app.Call { return app.Call{Caller: steward, Method: method} }

// newBench loads the test studio: two rooms, a crucible furnace that may reduce, two muffles, a kiln and a dust hood.
func newBench(t testing.TB) bench {
	t.Helper()
	return benchOn(t, pgtest.New(t))
}

func benchOn(t testing.TB, connString string) bench {
	t.Helper()
	ctx := context.Background()
	st, err := store.Open(ctx, connString, store.Options{})
	require.NoError(t, err)
	t.Cleanup(st.Close)
	b := bench{app.New(st, func() time.Time { return monday.Add(-time.Hour) }, rand.Reader), st, ctx}
	_, err = b.LoadStudio(ctx, call("LoadStudio"), testStudio())
	require.NoError(t, err)
	return b
}

// at is the same application when the clock shows another time.
func (b bench) at(now time.Time) bench {
	b.App = app.New(b.store, func() time.Time { return now }, rand.Reader)
	return b
}

func testStudio() app.LoadStudioInput {
	return app.LoadStudioInput{
		StudioID:  "test",
		Studio:    &domain.Studio{ID: "test", Title: "Test studio", TimeZone: "UTC", StepMinutes: 5},
		Equipment: testEquipment(),
		Materials: []chem.Material{
			{ID: "kaolin", Phases: []chem.Phase{{Formula: "Al2Si2O5(OH)4", MassFraction: 1}}, MoistureFraction: 0.01},
			{ID: "soda-ash", Phases: []chem.Phase{{Formula: "Na2CO3", MassFraction: 1}}},
			{ID: "sulfur", Phases: []chem.Phase{{Formula: "S", MassFraction: 1}}},
			{ID: "charcoal", Phases: []chem.Phase{{Formula: "C", MassFraction: 1}}},
			{ID: "goethite", Phases: []chem.Phase{{Formula: "FeO(OH)", MassFraction: 1}}},
		},
		Recipes: []chem.Recipe{blueRecipe(), redRecipe()},
	}
}

// testSite is the test studio without a database.
func testSite(t testing.TB) *domain.Site {
	t.Helper()
	site, err := domain.NewSite(*testStudio().Studio, testEquipment())
	require.NoError(t, err)
	return site
}

func testEquipment() []domain.Equipment {
	always := domain.StaffedHours{Weekly: []domain.WeeklyHours{{
		Days: []time.Weekday{0, 1, 2, 3, 4, 5, 6}, OpensMinute: 7 * 60, ClosesMinute: 23 * 60,
	}}}
	bay, hall := always, always
	bay.ID, hall.ID = "bay", "hall"
	equipment := []domain.Equipment{
		{Kind: domain.KindRoom, ID: "bay", Room: &air.Room{
			ID: "bay", VolumeCubicMeters: 180, MakeUpCubicMetersPerSecond: 1.2, MixingFactor: 3, CrewCount: 2,
			Detectors: []air.Detector{{Species: "CO", TestedOn: "2027-02-22"}, {Species: "SO2", TestedOn: "2027-02-22"}},
		}},
		{Kind: domain.KindRoom, ID: "hall", Room: &air.Room{
			ID: "hall", VolumeCubicMeters: 300, MakeUpCubicMetersPerSecond: 1, MixingFactor: 3, CrewCount: 2,
		}},
		{Kind: domain.KindCircuit, ID: "fan", Circuit: &air.Circuit{ID: "fan", Branches: []air.Branch{
			{ID: "hood", Room: "bay", CubicMetersPerSecond: 0.9, MeasuredOn: "2026-10-05"},
		}}},
		{Kind: domain.KindSupply, ID: "panel", Supply: &domain.Supply{ID: "panel", LimitKilowatts: 12}},
		{Kind: domain.KindStaffedHours, ID: "bay", Hours: &bay},
		{Kind: domain.KindStaffedHours, ID: "hall", Hours: &hall},
		{Kind: domain.KindFurnace, ID: "dust-hood", Furnace: &heat.Furnace{ID: "dust-hood", Room: "hall", Source: heat.Bench}},
	}
	for _, id := range []string{"pot", "muffle-a", "muffle-b", "kiln"} {
		furnace := testFurnace(id)
		equipment = append(equipment, domain.Equipment{Kind: domain.KindFurnace, ID: id, Furnace: &furnace})
	}
	return equipment
}

func testFurnace(id string) heat.Furnace {
	return heat.Furnace{
		ID: id, Title: id, Room: "bay", Supply: "panel", Branch: "fan/hood", Source: heat.Electric,
		NetKilowatts: 4, InputKilowatts: 5, TopCelsius: 1100, ChamberLiters: 12,
		Atmospheres: []heat.Atmosphere{heat.Oxidising, heat.Reducing},
		HeatingTimes: []heat.Timing{
			{FromCelsius: 20, ToCelsius: 400, Minutes: 32}, {FromCelsius: 400, ToCelsius: 750, Minutes: 44},
			{FromCelsius: 750, ToCelsius: 1000, Minutes: 58},
		},
		CoolingTimes: []heat.Timing{
			{FromCelsius: 1000, ToCelsius: 500, Minutes: 120}, {FromCelsius: 500, ToCelsius: 200, Minutes: 165},
		},
		Control: heat.Programmed, ThermocoupleType: "K", OverTemperatureCutOut: true,
		Capture:      heat.Capture{ClosedFraction: 0.95, DoorOpenFraction: 0.7, Method: "tracer", MeasuredOn: "2026-10-05"},
		FanInterlock: heat.FanInterlock{Kind: heat.FlowSwitch, TestedOn: "2026-10-05"},
	}
}

// blueRecipe has three heat treatments and bench work, sulfur and carbon.
func blueRecipe() chem.Recipe {
	program := func(celsius, rate, hold float64) *heat.Program {
		return &heat.Program{Segments: []heat.Segment{{ToCelsius: celsius, RateCelsiusPerHour: rate, HoldMinutes: hold}}}
	}
	return chem.Recipe{ID: "blue", Title: "Blue", Stages: []chem.Stage{
		{
			ID: "calcine", Kind: chem.Calcine, Additions: []chem.Addition{{Material: "kaolin", MassGrams: 71}},
			Program: program(600, 200, 480), Atmosphere: heat.Oxidising, MaxWaitMinutes: 1440,
		},
		{
			ID: "pack", Kind: chem.Pack, BenchMinutes: 60, Furnaces: []string{"dust-hood"},
			Additions: []chem.Addition{
				{Material: "soda-ash", MassGrams: 52}, {Material: "sulfur", MassGrams: 30}, {Material: "charcoal", MassGrams: 6},
			},
		},
		{
			ID: "reduce", Kind: chem.Reduce, Program: program(750, 250, 240), Atmosphere: heat.Reducing, Lid: chem.LooseLid,
			MaxWaitMinutes: 1440, Product: "Na8Al6Si6O24S4", Furnaces: []string{"pot"},
		},
		{
			ID: "oxidise", Kind: chem.Oxidise, Program: program(500, 200, 120), Atmosphere: heat.Oxidising, Lid: chem.LooseLid,
			MaxWaitMinutes: 1440, Additions: []chem.Addition{{Material: "sulfur", FractionOfIntermediate: 0.1}},
			Furnaces: []string{"pot", "muffle-a"},
		},
	}}
}

// redRecipe is one clean stage.
func redRecipe() chem.Recipe {
	return chem.Recipe{ID: "red", Title: "Red", Stages: []chem.Stage{{
		ID: "calcine", Kind: chem.Calcine, Additions: []chem.Addition{{Material: "goethite", MassGrams: 400}},
		Program:    &heat.Program{Segments: []heat.Segment{{ToCelsius: 700, RateCelsiusPerHour: 250, HoldMinutes: 60}}},
		Atmosphere: heat.Oxidising, Product: "Fe2O3", MaxWaitMinutes: 1440,
	}}}
}

// plan returns the earliest windows of a run from an instant on.
func (b bench) plan(t testing.TB, request app.RunRequest, from time.Time) planned {
	t.Helper()
	answer, err := b.tryPlan(request, from)
	require.NoError(t, err)
	return answer
}

func (b bench) tryPlan(request app.RunRequest, from time.Time) (planned, error) {
	return b.planInput(app.PlanInput{
		StudioID: "test", Runs: []app.RunRequest{request}, Maker: steward.ID, Window: domain.Window{Start: from, End: from.AddDate(0, 0, 28)},
	})
}

// planned is the last answer to a plan, with the first of its runs.
type planned struct {
	app.PlanAnswer
	Run app.RunRequest
}

func (b bench) planInput(in app.PlanInput) (planned, error) {
	var answer planned
	err := b.PlanRuns(b.ctx, in, func(a app.PlanAnswer) error {
		answer = planned{PlanAnswer: a}
		if len(a.Runs) > 0 {
			answer.Run = a.Runs[0]
		}
		return nil
	})
	return answer, err
}

func request(recipe string, factor float64) app.RunRequest {
	return app.RunRequest{RecipeID: recipe, Department: "ceramics", Scale: chem.Scale{Factor: factor}}
}

// codes lists a finding's codes once each, for acknowledging.
func codes(answer planned) []string {
	seen := map[string]bool{}
	var list []string
	for _, f := range answer.Findings {
		if !seen[f.Code] {
			seen[f.Code] = true
			list = append(list, f.Code)
		}
	}
	return list
}

// book books what a plan returned, acknowledging its warnings.
func (b bench) book(answer planned, requestID string) (app.BookRunResult, error) {
	c := call("BookRun")
	c.RequestID = requestID
	c.BodySHA256 = sha256.Sum256(fmt.Append(nil, answer.Run))
	return b.BookRun(b.ctx, c, app.BookRunInput{
		StudioID: "test", Runs: []app.RunRequest{answer.Run}, Acknowledged: codes(answer), Revision: answer.Revision,
	})
}
