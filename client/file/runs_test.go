package file_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/client/file"
	saggarv1 "saggar/proto/saggar/v1"
)

func TestAFileOfRunsHoldsEachWithItsLimits(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Lisbon")
	require.NoError(t, err)
	read, err := file.DecodeRuns("runs.yaml", []byte(`runs:
  - name: tiles
    recipe: bisque/versions/2
    department: ceramics
    scale: {factor: 2}
    limits:
      attendance: [{days: [monday, friday], opens: "08:00", closes: "12:00"}]
      avoid_furnaces: [small-kiln]
      end_time: 2027-07-03 12:00
  - {recipe: studios/east/recipes/blue, department: conservation, title: "Blue, for the wall", from_lot: clay-3, lot_draws: [{material: sulfur, lot: studios/east/lots/s-1}, {material: soda, lot: soda-2}]}
`), file.Options{Studio: "east", Zone: zone})
	require.NoError(t, err)
	require.Len(t, read.Runs, 2)
	assert.True(t, proto.Equal(&saggarv1.Run{
		Name: "studios/east/runs/tiles", Recipe: "studios/east/recipes/bisque/versions/2", Department: "ceramics",
		Scale: &saggarv1.Scale{Factor: 2},
	}, read.Runs[0]), "%v", read.Runs[0])
	assert.True(t, proto.Equal(&saggarv1.PlanLimits{
		Attendance: []*saggarv1.WeeklyHours{{
			Days:  []saggarv1.Weekday{saggarv1.Weekday_WEEKDAY_MONDAY, saggarv1.Weekday_WEEKDAY_FRIDAY},
			Opens: "08:00", Closes: "12:00",
		}},
		AvoidFurnaces: []string{"small-kiln"},
		EndTime:       timestamppb.New(time.Date(2027, 7, 3, 11, 0, 0, 0, time.UTC)),
	}, read.Limits[0]), "%v", read.Limits[0])
	assert.Equal(t, "studios/east/recipes/blue", read.Runs[1].GetRecipe())
	assert.Equal(t, "studios/east/lots/clay-3", read.Runs[1].GetFromLot())
	assert.Equal(t, "studios/east/lots/s-1", read.Runs[1].GetLotDraws()[0].GetLot())
	assert.Equal(t, "studios/east/lots/soda-2", read.Runs[1].GetLotDraws()[1].GetLot())
	assert.True(t, proto.Equal(&saggarv1.PlanLimits{}, read.Limits[1]))
	assert.Equal(t, 8, read.Lines.Of("runs[0].limits.avoid_furnaces[0]"))
	assert.Equal(t, 10, read.Lines.Of("runs[1].department"))
}

func TestAFileOfRunsAtFaultIsNamedWithLineAndCure(t *testing.T) {
	for name, c := range map[string]struct{ text, says string }{
		"a bare list":        {"- {recipe: a, department: b}", "f:1: needs the field runs, not a list; write runs:"},
		"no runs":            {"runs:", "f:1: runs: is empty; write runs:"},
		"none in it":         {"runs: []", "f:1: runs: is empty"},
		"one text":           {"runs: bisque", "f:1: runs: needs a list, not \"bisque\""},
		"another field":      {"runs: [{recipe: a, department: b}]\nwish: earliest", "f:2: wish: is no field here"},
		"no recipe":          {"runs:\n  - department: b", "f:2: runs[0]: has no recipe; add recipe:"},
		"no department":      {"runs:\n  - recipe: b", "f:2: runs[0]: has no department; add department:"},
		"a slip":             {"runs:\n  - recipe: b\n    departement: b", "f:3: runs[0].departement: is no field here; did you mean department?"},
		"a slip in limits":   {"runs:\n  - recipe: b\n    department: c\n    limits:\n      avoid_furnace: [x]", "f:5: runs[0].limits.avoid_furnace: is no field here; did you mean avoid_furnaces?"},
		"limits as a text":   {"runs:\n  - {recipe: b, department: c, limits: mornings}", "f:2: runs[0].limits: needs fields, not \"mornings\""},
		"no recipe's id":     {"runs:\n  - {recipe: The Blue, department: c}", "f:2: runs[0].recipe: \"The Blue\" is no recipe of this studio; give the recipe's id"},
		"another studio's":   {"runs:\n  - {recipe: studios/west/recipes/b, department: c}", "is no recipe of this studio"},
		"no id":              {"runs:\n  - {name: The Blue, recipe: b, department: c}", "f:2: runs[0].name: \"The Blue\" is no id"},
		"twice":              {"runs:\n  - {name: a, recipe: b, department: c}\n  - {name: a, recipe: b, department: c}", "f:3: runs[1].name: \"studios/east/runs/a\" stands twice, first on line 2"},
		"a run that is none": {"runs:\n  - bisque", "f:2: runs[0]: needs fields, not \"bisque\""},
		"an alias":           {"runs:\n  - &a {recipe: b, department: c}", "f:2: runs[0]: carries the anchor &a"},
		"a day of no week":   {"runs:\n  - recipe: b\n    department: c\n    limits: {attendance: [{days: [moonday], opens: '08:00', closes: '09:00'}]}", "f:4: runs[0].limits.attendance[0].days[0]: \"moonday\" is not known here; give one of monday"},
		"not YAML":           {"runs: [", "f:1: is not YAML"},
		"empty":              {"", "f:1: is empty"},
	} {
		_, err := file.DecodeRuns("f", []byte(c.text), file.Options{Studio: "east", Zone: time.UTC})
		if assert.Error(t, err, name) {
			assert.Contains(t, err.Error(), c.says, name)
			assert.LessOrEqual(t, strings.Count(err.Error(), "\n"), 1, "%s: one fault is told once: %v", name, err)
		}
	}
}

func FuzzDecodeRuns(f *testing.F) {
	for _, text := range []string{
		"runs:\n  - {name: a, recipe: b, department: c, limits: {start_time: 2027-03-01 08:00}}", "runs: [[]]", "runs: {limits: {}}", "runs: [{limits: []}]",
		"runs: [{? [a] : b, recipe: x}]", "- runs", "runs: *a", "runs:\nruns:",
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		read, err := file.DecodeRuns("runs.yaml", data, file.Options{Studio: "east", Zone: time.UTC})
		if err == nil {
			require.NotEmpty(t, read.Runs)
			require.Len(t, read.Limits, len(read.Runs))
			for i, run := range read.Runs {
				require.True(t, strings.HasPrefix(run.GetRecipe(), "studios/east/recipes/"))
				_, err := proto.Marshal(&saggarv1.PlanRunsRequest{Runs: []*saggarv1.Run{run}, Limits: read.Limits[i : i+1]})
				require.NoError(t, err, "what was read can be sent")
			}
			return
		}
		var faults file.Errors
		require.ErrorAs(t, err, &faults)
		require.NotEmpty(t, faults)
		for _, fault := range faults {
			require.NotEmpty(t, fault.Problem)
			require.NotContains(t, fault.Error(), "\n")
		}
	})
}
