package app_test

import (
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

// staff puts a department and people into the test studio.
func (b bench) staff(t *testing.T, people ...domain.Person) {
	t.Helper()
	for _, id := range []string{"ceramics", "glass"} {
		_, err := b.UpdateDepartment(b.ctx, call("UpdateDepartment"), "test", domain.Department{ID: id}, allowMissing)
		require.NoError(t, err)
	}
	for _, p := range people {
		_, err := b.UpdatePerson(b.ctx, call("UpdatePerson"), "test", p, allowMissing)
		require.NoError(t, err)
	}
}

// trainingFindings books-to-check a run as somebody and returns what is said of trainings.
func (b bench) trainingFindings(t *testing.T, maker string, run app.RunRequest) (codes []string) {
	t.Helper()
	result, err := b.BookRun(b.ctx, app.Call{Caller: domain.Caller{ID: maker, Role: domain.RoleMaker}, OwnOnly: true, Method: "CheckRun", ValidateOnly: true},
		app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{run}})
	require.NoError(t, err)
	for _, f := range result.Findings {
		if f.Code == "TRAINING_MISSING" || f.Code == "TRAINING_LAPSED" {
			assert.Equal(t, finding.Warn, f.Severity)
			assert.Equal(t, maker, f.About)
			codes = append(codes, f.Code+" "+f.Field)
		}
	}
	return codes
}

func TestABookingSaysWhichTrainingIsWanting(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	run := b.plan(t, request("red", 1), monday).Run
	require.Len(t, run.Windows, 1)
	furnace := "furnaces/" + run.Windows[0].Furnace
	day := run.Windows[0].Window().Start
	trained := func(subject string, until time.Time) []domain.Training {
		return []domain.Training{{Subject: subject, DoneOn: "2026-01-05", ExpiresOn: until.Format(time.DateOnly)}}
	}
	b.staff(t, domain.Person{ID: "new", Role: domain.RoleMaker})
	assert.Empty(t, b.trainingFindings(t, "new", run), "the studio keeps no trainings")
	b.staff(t,
		domain.Person{ID: "good", Role: domain.RoleMaker, Trainings: trained(furnace, day)},
		domain.Person{ID: "late", Role: domain.RoleMaker, Trainings: trained(furnace, day.AddDate(0, 0, -1))},
		domain.Person{ID: "other", Role: domain.RoleMaker, Trainings: trained("hot-charging", day)})
	const where = " runs[0].stage_windows[0]"
	assert.Empty(t, b.trainingFindings(t, "good", run), "on its last day it counts")
	assert.Equal(t, []string{"TRAINING_LAPSED" + where}, b.trainingFindings(t, "late", run))
	assert.Equal(t, []string{"TRAINING_MISSING" + where}, b.trainingFindings(t, "other", run))
	assert.Equal(t, []string{"TRAINING_MISSING" + where}, b.trainingFindings(t, "new", run))
	assert.Empty(t, b.trainingFindings(t, "a-program", run), "nobody of the studio's people")

	answer, err := b.planInput(app.PlanInput{
		StudioID: "test", Runs: []app.RunRequest{request("red", 1)}, Maker: "late",
		Window: domain.Window{Start: monday, End: monday.AddDate(0, 0, 28)},
	})
	require.NoError(t, err)
	assert.Contains(t, codes(answer), "TRAINING_LAPSED", "a plan says what its booking will")
}

func TestHotChargingAsksForItsTraining(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for at, wanting := range map[float64]bool{0: false, 99: false, 100: true, 600: true} {
		load := testStudio()
		load.Studio, load.Equipment = nil, nil
		load.Materials = []chem.Material{{ID: "rouge", Phases: []chem.Phase{{Formula: "Fe2O3", MassFraction: 1}}}} // no water
		hot := redRecipe()
		hot.Stages[0].Additions[0].Material = "rouge"
		hot.Stages[0].ChargeAtCelsius = at
		hot.Stages[0].Program = &heat.Program{Segments: []heat.Segment{{ToCelsius: 700, HoldMinutes: 60}}}
		load.Recipes = append(load.Recipes[:0], hot)
		_, err := b.LoadStudio(b.ctx, call("LoadStudio"), load)
		require.NoError(t, err)
		b.staff(t, domain.Person{ID: "ada", Role: domain.RoleMaker, Trainings: []domain.Training{{Subject: "hot-charging", DoneOn: "2020-01-05"}}})
		answer, err := b.tryPlan(request("red", 1), monday)
		require.NoError(t, err)
		if len(answer.Run.Windows) == 0 {
			t.Fatalf("charged at %v C nothing fits: %v", at, answer.Findings)
		}
		assert.Equal(t, wanting, len(b.trainingFindings(t, "ada", answer.Run)) == 1, "charged at %v C", at)
	}
}

func TestMakersBookForTheirOwnDepartments(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	run := b.plan(t, request("red", 1), monday).Run
	b.staff(t, domain.Person{ID: "ada", Role: domain.RoleMaker, Departments: []string{"ceramics"}}, domain.Person{ID: "ben", Role: domain.RoleMaker})
	check := func(caller string, ownOnly bool, department string) error {
		asked := run
		asked.Department = department
		_, err := b.BookRun(b.ctx, app.Call{Caller: domain.Caller{ID: caller}, OwnOnly: ownOnly, Method: "CheckRun", ValidateOnly: true},
			app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{asked}})
		return err
	}
	assert.NoError(t, check("ada", true, "ceramics"))
	assert.ErrorIs(t, check("ada", true, "glass"), domain.ErrForbidden)
	assert.NoError(t, check("ada", false, "glass"), "as a technician")
	assert.NoError(t, check("ben", true, "glass"), "nobody said for which departments ben books")
	assert.NoError(t, check("a-program", true, "glass"))
	faults := finding.FaultsOf(check("ada", true, "sculpture"))
	if assert.Len(t, faults, 1) {
		assert.Equal(t, "runs[0].department", faults[0].Field)
	}
}
