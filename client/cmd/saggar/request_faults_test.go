package main

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// invalid is a server's refusal of fields, given as field and description in turn; two more had no room.
func invalid(t *testing.T, pairs ...string) error {
	t.Helper()
	bad := &errdetails.BadRequest{}
	for i := 0; i < len(pairs); i += 2 {
		bad.FieldViolations = append(bad.FieldViolations, &errdetails.BadRequest_FieldViolation{Field: pairs[i], Description: pairs[i+1]})
	}
	made, err := status.New(codes.InvalidArgument, "invalid").WithDetails(
		&errdetails.ErrorInfo{Reason: "INVALID_FIELD", Metadata: map[string]string{"total_count": "9"}}, bad)
	require.NoError(t, err)
	return made.Err()
}

func TestWhatAServerFindsInAFileIsNamedWithItsLine(t *testing.T) {
	f := newFakeServer(t)
	for name, c := range map[string]struct {
		method, field string
		verb          []string
		text, says    string
	}{
		"furnace": {
			"UpdateFurnace", "furnace.net_kilowatts", []string{"furnace", "update", "-f"}, "name: kiln\nnetKilowatts: 90000\n", ":2: net_kilowatts: too much",
		},
		"hours": {
			"UpdateStaffedHours", "staffed_hours.weekly[1].opens", []string{"hours", "update", "-f"},
			"name: hall\nweekly:\n- {days: [monday], opens: '08:00', closes: '18:00'}\n- {days: [friday],\n   opens: '25:00'}\n", ":5: weekly[1].opens: too much",
		},
		"another resource": {
			"UpdateSupply", "furnaces[muffle].supply", []string{"supply", "update", "-f"}, "name: panel\n", ": furnaces[muffle].supply: too much",
		},
		"material": {
			"CreateMaterialVersion", "material.phases[0].formula", []string{"material", "add"}, "name: kaolin\nphases:\n- formula: Xx\n", ":3: phases[0].formula: too much",
		},
		"recipe": {
			"CreateRecipeVersion", "recipe.stages[0].kind", []string{"recipe", "add"}, "name: bisque\nstages:\n\n- {id: dry}\n", ":4: stages[0].kind: too much",
		},
		"studio": {"UpdateStudio", "studio.step_minutes", []string{"studio", "update", "-f"}, "# \nstep_minutes: 7\n", ":2: step_minutes: too much"},
	} {
		f.answer(c.method, invalid(t, c.field, "too much"))
		path := f.written("one.yaml", c.text)
		r := f.run(append(c.verb, path)...)
		assert.Equal(t, 2, r.code, name)
		assert.Contains(t, r.errOut, path+c.says, name)
		assert.Contains(t, r.errOut, "and 8 more", name)
	}
}

func TestWhatAServerFindsInAStudiosFilesIsNamedAsWritten(t *testing.T) {
	f := newFakeServer(t)
	f.answer("LoadStudio", invalid(t, "contents.furnaces[1].net_kilowatts", "too much", "contents.furnaces[0].room", "not there",
		"rooms[yard].volume_cubic_meters", "too small"))
	first := f.written("first.yaml", "studio: {name: east, time_zone: Europe/Lisbon}\nfurnaces:\n- name: one\n  room: hall\n")
	second := f.written("second.yaml", "furnaces:\n- name: two\n  net_kilowatts: 90000\n")
	r := f.run("studio", "load", first, second)
	assert.Equal(t, 2, r.code)
	assert.Contains(t, r.errOut, second+":3: furnaces[0].net_kilowatts: too much")
	assert.Contains(t, r.errOut, first+":4: furnaces[0].room: not there")
	assert.Contains(t, r.errOut, "\nrooms[yard].volume_cubic_meters: too small", "what stands on the server has no file")
}

func TestWhatAServerFindsInWhatWasTypedIsNamedAsTyped(t *testing.T) {
	f := newFakeServer(t)
	f.answer("PlanRuns", planAnswer())
	kept := keptPlan(t, f)
	askForTime := []string{"request", "add", "--furnace", "a", "--from", "2027-03-01 08:00", "--until", "2027-03-02 08:00", "--minutes", "5", "--department", "a"}
	for name, c := range map[string]struct {
		method, field string
		args          []string
		says          string
	}{
		"department":   {"PlanRuns", "runs[0].department", []string{"run", "plan", "bisque", "--department", "a"}, "saggar: --department: no"},
		"id":           {"PlanRuns", "runs[0].name", []string{"run", "plan", "bisque", "--department", "a", "--id", "a"}, "--id: no"},
		"recipe":       {"PlanRuns", "runs[0].recipe", []string{"run", "plan", "b", "--department", "a"}, "RECIPE: no"},
		"scale":        {"PlanRuns", "runs[0].scale.product_grams", []string{"run", "plan", "b", "--department", "a"}, "--product-grams: no"},
		"end":          {"PlanRuns", "end_time", []string{"run", "plan", "b", "--department", "a"}, "--until: no"},
		"caller":       {"CreateAccessKey", "access_key.caller", []string{"key", "create", "a"}, "CALLER: no"},
		"name":         {"GetRun", "name", []string{"run", "show", "a"}, "ID: no"},
		"furnaces":     {"ListOpenings", "furnaces[1]", []string{"opening", "list", "--from", "2027-03-01 08:00", "--until", "2027-03-02 08:00"}, "--furnace: no"},
		"id of a plan": {"BookRun", "runs[0].name", []string{"run", "book", "--plan", kept, "--id", "a"}, "saggar: --id: no"},
		"in a plan":    {"BookRun", "runs[0].stage_windows[0].stage", []string{"run", "book", "--plan", kept}, kept + ":"},
		"moved":        {"MoveRun", "stage_windows[1].furnace", []string{"run", "move", "tiles", "--plan", kept}, ": runs[0].stage_windows[1].furnace: no"},
		"plan checked": {"CheckRun", "runs[0].department", []string{"run", "check", "--plan", kept}, "runs[0].department: no"},
		"code":         {"BookRun", "acknowledged_finding_codes[0]", []string{"run", "book", "--plan", kept, "--acknowledge", "x"}, "--acknowledge: no"},
		"joined":       {"PlanRuns", "runs[0].stage_windows[0].load_liters", []string{"run", "plan", "b", "--department", "a", "--join", "bisque=f1"}, "saggar: --join: no"},
		"no room":      {"BookRun", "runs[0].stage_windows[0].load_liters", []string{"run", "book", "--plan", kept}, "runs[0].stage_windows[0].load_liters: no"},
		"shared":       {"UpdateFiring", "firing.offer.liters", []string{"firing", "share", "f1", "--liters", "1", "--grams", "1"}, "saggar: --liters: no"},
		"handed over":  {"UpdateFiring", "firing.attended_by", []string{"firing", "hand-over", "f1", "--to", "a"}, "saggar: --to: no"},
		"moved firing": {"MoveRuns", "firings[0].start_time", []string{"firing", "move", "f1", "--start", "2027-03-01 08:00"}, "saggar: --start: no"},
		"least":        {"CreateTimeRequest", "time_request.least_minutes", askForTime, "saggar: --minutes: no"},
		"asked for":    {"CreateTimeRequest", "time_request.furnaces[0]", askForTime, "saggar: --furnace: no"},
		"read":         {"CreateReading", "reading.measured_ppm", []string{"reading", "note", "--room", "a", "--species", "SO2", "--ppm", "1", "--instrument", "a"}, "saggar: --ppm: no"},
		"due":          {"GetDueChecks", "until", []string{"room", "due", "--until", "x"}, "saggar: --until: no"},
		"cleaned":      {"UpdateVessel", "vessel.held_time", []string{"vessel", "clean", "pot-3"}, "saggar: --at: no"},
		"something":    {"ListRuns", "page_size", []string{"run", "list"}, "page_size: no"},
	} {
		f.answer("GetFiring", sharedFiring())
		f.answer("GetRun", booked().GetRuns()[0]) // unless it is the one that finds fault
		f.answer(c.method, invalid(t, c.field, "no"))
		r := f.run(c.args...)
		assert.Equal(t, 2, r.code, name)
		assert.Contains(t, r.errOut, c.says, name)
		assert.Empty(t, r.out, name)
	}
}

func TestWhatIsNoIDIsRefusedAsItWasTyped(t *testing.T) {
	f := newFakeServer(t)
	for says, args := range map[string][]string{
		`--studio: "Marl Lane" is no id; use 1 to 63`: {"room", "list", "--studio", "Marl Lane"},
		`"--department" flag: "A B" is no id`:         {"run", "plan", "bisque", "--department", "A B"},
		`"--id" flag: "A" is no id`:                   {"run", "book", "bisque", "--department", "a", "--id", "A"},
		`RECIPE: "Bisque" is no id`:                   {"run", "plan", "Bisque/versions/2", "--department", "a"},
		`ID: "x/y" is no id`:                          {"run", "cancel", "x/y"},
		`CALLER: "Ada" is no id`:                      {"key", "create", "Ada"},
	} {
		r := f.run(args...)
		assert.Equal(t, 2, r.code, says)
		assert.Contains(t, r.errOut, says)
	}
	assert.Empty(t, f.seen, "nothing was asked")
}
