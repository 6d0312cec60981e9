package file_test

import (
	"os"
	"path/filepath"
	"testing"
	_ "time/tzdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"saggar/client/file"
	saggarv1 "saggar/proto/saggar/v1"
)

var demoFiles = []string{
	"../../deploy/demo/studio.yaml", "../../deploy/demo/materials.yaml", "../../deploy/demo/recipes.yaml",
}

func TestReadStudioLoadsTheDemo(t *testing.T) {
	studio, err := file.ReadStudio(demoFiles, file.Options{})
	require.NoError(t, err)
	id, contents := studio.ID, studio.Contents
	assert.Equal(t, "marl-lane", id)
	assert.Equal(t, "studios/marl-lane", contents.GetStudio().GetName())
	assert.Equal(t, "studios/marl-lane/rooms/kiln-hall", contents.GetRooms()[0].GetName())
	assert.Equal(t, "2027-02-22", contents.GetRooms()[0].GetDetectors()[0].GetTestedOn())
	assert.Equal(t, "studios/marl-lane/extractionCircuits/hall-fan", contents.GetExtractionCircuits()[0].GetName())
	assert.Equal(t, "studios/marl-lane/supplies/hall-panel", contents.GetSupplies()[0].GetName())
	assert.Equal(t, "studios/marl-lane/furnaces/big-kiln", contents.GetFurnaces()[0].GetName())
	assert.Equal(t, "studios/marl-lane/staffedHours/kiln-hall", contents.GetStaffedHours()[0].GetName())
	assert.Equal(t, saggarv1.Weekday_WEEKDAY_MONDAY, contents.GetStaffedHours()[0].GetWeekly()[0].GetDays()[0])
	assert.Equal(t, "studios/marl-lane/materials/kaolin", contents.GetMaterials()[0].GetName())
	assert.Contains(t, contents.GetRecipes()[0].GetName(), "studios/marl-lane/recipes/")
	// Lisbon keeps UTC in March.
	assert.Equal(t, "2027-03-01T08:00:00Z", contents.GetClosures()[0].GetStartTime().AsTime().Format("2006-01-02T15:04:05Z07:00"))
}

func TestReadLoadsTheDemosSingleResources(t *testing.T) {
	recipe, circuit, room := &saggarv1.Recipe{}, &saggarv1.ExtractionCircuit{}, &saggarv1.Room{}
	for name, into := range map[string]proto.Message{"sodalite-blue": recipe, "stronger-fan": circuit, "stronger-make-up": room} {
		_, err := file.Read("../../deploy/demo/"+name+".yaml", into, file.Options{})
		require.NoError(t, err)
	}
	assert.Equal(t, "studios/offline/recipes/sodalite-blue", recipe.GetName())
	assert.Equal(t, saggarv1.Atmosphere_ATMOSPHERE_REDUCING, recipe.GetStages()[2].GetAtmosphere())
	assert.Equal(t, "studios/offline/extractionCircuits/bay-fan", circuit.GetName())
	assert.Equal(t, "studios/offline/rooms/furnace-bay", room.GetName())
}

func TestAStudiosOwnLimitsAreRead(t *testing.T) {
	paths := write(t, "studio:\n  name: east\n  time_zone: UTC\n  own_limits:\n  - species: SO2\n    title: house rule\n    kind: TWA\n"+
		"    averaging_minutes: 480\n    limit_ppm: 0.25\n    source: house rules of 2026\n")
	studio, err := file.ReadStudio(paths, file.Options{})
	require.NoError(t, err)
	require.Len(t, studio.Contents.GetStudio().GetOwnLimits(), 1)
	own := studio.Contents.GetStudio().GetOwnLimits()[0]
	assert.Equal(t, saggarv1.LimitKind_LIMIT_KIND_TWA, own.GetKind())
	assert.Equal(t, 0.25, own.GetLimitPpm())
	_, line, _ := studio.Locate("studio.own_limits[0].limit_ppm")
	assert.Equal(t, 9, line)

	_, err = file.ReadStudio(write(t, "studio:\n  name: east\n  time_zone: UTC\n  own_limits:\n  - species: SO2\n    kind: mean\n"), file.Options{})
	assert.ErrorContains(t, err, "studio.own_limits[0].kind")
}

// write puts files into a folder of their own and returns their paths.
func write(t *testing.T, texts ...string) []string {
	t.Helper()
	dir := t.TempDir()
	paths := make([]string, len(texts))
	for i, text := range texts {
		paths[i] = filepath.Join(dir, string(rune('a'+i))+".yaml")
		require.NoError(t, os.WriteFile(paths[i], []byte(text), 0o600))
	}
	return paths
}

func TestReadStudioTakesTheSectionFromAnyFile(t *testing.T) {
	const closure = "closures: [{name: repair, subject: rooms/hall, start_time: 2027-07-01 08:00, end_time: 2027-07-01 09:00}]"
	paths := write(t, closure, "studio: {name: studios/east, time_zone: America/New_York}")
	studio, err := file.ReadStudio(paths, file.Options{Studio: "other"})
	require.NoError(t, err)
	id, contents := studio.ID, studio.Contents
	assert.Equal(t, "east", id)
	assert.Equal(t, "studios/east/closures/repair", contents.GetClosures()[0].GetName())
	assert.Equal(t, 12, contents.GetClosures()[0].GetStartTime().AsTime().Hour(), "08:00 in New York's summer is 12:00 UTC")
}

func TestReadStudioWithoutASectionTakesTheOptions(t *testing.T) {
	studio, err := file.ReadStudio(write(t, "rooms: [{name: hall}]"), file.Options{Studio: "west"})
	require.NoError(t, err)
	id, contents := studio.ID, studio.Contents
	assert.Equal(t, "west", id)
	assert.Nil(t, contents.GetStudio())
	assert.Equal(t, "studios/west/rooms/hall", contents.GetRooms()[0].GetName())

	_, err = file.ReadStudio(write(t, "rooms: [{name: hall}]"), file.Options{})
	require.ErrorContains(t, err, "no file says which studio it is; add a section studio:")
}

func TestReadStudioFaults(t *testing.T) {
	const studio = "studio: {name: east, time_zone: Europe/Lisbon}\n"
	for name, c := range map[string]struct {
		files []string
		want  []string // parts of the message; %a and %b stand for the files' paths
	}{
		"same resource in two files": {
			[]string{studio + "rooms:\n- name: hall\n", "# comment\nrooms:\n- name: studios/east/rooms/hall\n"},
			[]string{`%b:3: rooms[0]: "studios/east/rooms/hall" stands twice, first at %a:3; keep one`},
		},
		"same resource twice in one file": {
			[]string{studio + "rooms:\n- name: hall\n- name: hall\n"},
			[]string{`%a:4: rooms[1]: "studios/east/rooms/hall" stands twice, first at %a:3`},
		},
		"two sections": {[]string{studio, "\n" + studio}, []string{"%b:2: studio: stands twice, first at %a:1"}},
		"no id":        {[]string{"studio: {time_zone: Europe/Lisbon}"}, []string{"%a:1: studio: has no name; add name:"}},
		"bad id": {
			[]string{"studio: {name: East Side}"},
			[]string{`%a:1: studio.name: "East Side" is no studio's id; use 1 to 63`},
		},
		"bad zone": {
			[]string{"studio: {name: east, time_zone: Lisbon}"},
			[]string{`%a:1: studio.time_zone: "Lisbon" is no time zone known here; give an IANA name`},
		},
		"the machine's zone": {[]string{"studio: {name: east, time_zone: Local}"}, []string{`"Local" is no time zone known here`}},
		"no name":            {[]string{studio + "rooms:\n- title: Hall\n"}, []string{"%a:3: rooms[0]: has no name; add name:"}},
		"other studio": {
			[]string{studio + "rooms: [{name: studios/west/rooms/hall}]"},
			[]string{`%a:2: rooms[0].name: "studios/west/rooms/hall" does not begin with studios/east/rooms/`},
		},
		"other collection": {
			[]string{studio + "rooms: [{name: studios/east/furnaces/hall}]"},
			[]string{`%a:2: rooms[0].name: "studios/east/furnaces/hall" does not begin with studios/east/rooms/`},
		},
		"bad short name": {[]string{studio + "rooms: [{name: Kiln Hall}]"}, []string{`rooms[0].name: "Kiln Hall" is no id; use 1 to 63`}},
		"faults of all files": {
			[]string{studio + "kilns: []", "rooms: [{name: hall, crew_count: many}]", "rooms: {"},
			[]string{"%a:2: kilns: is no field here", "%b:1: rooms[0].crew_count: \"many\" is no number", "is not YAML"},
		},
		"broken section hides nothing else": {
			[]string{"studio: {", "closures: [{name: x, start_time: 2027-07-01 08:00, reason: [late]}]"},
			[]string{"%a:1: is not YAML", "%b:1: closures[0].reason: needs a single value, not a list"},
		},
		"a section's faults are told once": {
			[]string{"studio: {name: east, time_zone: UTC, colour: red}"},
			[]string{"%a:1: studio.colour: is no field here"},
		},
		"a list at the top": {[]string{studio, "- name: hall"}, []string{"%b:1: needs fields, not a list; write fields under it: studio, rooms"}},
		"no such file":      {nil, []string{"missing.yaml: cannot be read"}},
	} {
		t.Run(name, func(t *testing.T) {
			paths := append(write(t, c.files...), "missing.yaml")[:max(len(c.files), 1)]
			read, err := file.ReadStudio(paths, file.Options{})
			var faults file.Errors
			require.ErrorAs(t, err, &faults)
			assert.Nil(t, read.Contents)
			assert.Len(t, faults, len(c.want))
			for _, want := range c.want {
				assert.Contains(t, err.Error(), placed(want, paths))
			}
		})
	}
}

func TestLocateFindsFileLineAndPathOfAField(t *testing.T) {
	paths := write(t, "studio: {name: east,\n time_zone: Europe/Lisbon}\nfurnaces:\n- name: one\n- name: two\n  topCelsius: 9\n",
		"furnaces:\n- name: three\n  title: Third\n  net_kilowatts: 4\nrooms: [{name: hall}]\n")
	studio, err := file.ReadStudio(paths, file.Options{})
	require.NoError(t, err)
	for field, want := range map[string]struct {
		file   string
		line   int
		inFile string
	}{
		"furnaces[0].name":             {paths[0], 4, "furnaces[0].name"},
		"furnaces[1].top_celsius":      {paths[0], 6, "furnaces[1].top_celsius"},
		"furnaces[2].net_kilowatts":    {paths[1], 4, "furnaces[0].net_kilowatts"},
		"furnaces[2].capture":          {paths[1], 2, "furnaces[0].capture"}, // not written: where its furnace begins
		"rooms[0].volume_cubic_meters": {paths[1], 5, "rooms[0].volume_cubic_meters"},
		"studio.time_zone":             {paths[0], 2, "studio.time_zone"},
		"furnaces[3].name":             {"", 0, "furnaces[3].name"},
		"furnaces[muffle].room":        {"", 0, "furnaces[muffle].room"},
		"kilns[0].name":                {"", 0, "kilns[0].name"},
		"":                             {"", 0, ""},
	} {
		path, line, inFile := studio.Locate(field)
		assert.Equal(t, want.file, path, field)
		assert.Equal(t, want.line, line, field)
		assert.Equal(t, want.inFile, inFile, field)
	}
}

func TestAStudiosRulesOfClearanceAreRead(t *testing.T) {
	paths := write(t, "studio:\n  name: east\n  time_zone: UTC\nclearance_rules:\n- name: much-so2\n  off_gas:\n    species: SO2\n"+
		"    grams_per_minute: 1.5\n  clearing_role: technician\n  clearing_people: [ben]\n  expires_after_hours: 24\n  ahead_of_charge_hours: 12\n"+
		"- name: late\n  outside_hours:\n  - days: [monday, tuesday]\n    opens: 08:00\n    closes: 18:00\n  clearing_role: steward\n")
	studio, err := file.ReadStudio(paths, file.Options{})
	require.NoError(t, err)
	rules := studio.Contents.GetClearanceRules()
	require.Len(t, rules, 2)
	assert.Equal(t, "studios/east/clearanceRules/much-so2", rules[0].GetName())
	assert.Equal(t, 1.5, rules[0].GetOffGas().GetGramsPerMinute())
	assert.Equal(t, saggarv1.Role_ROLE_TECHNICIAN, rules[0].GetClearingRole())
	assert.Equal(t, "18:00", rules[1].GetOutsideHours()[0].GetCloses())
	_, _, field := studio.Locate("clearance_rules[1].outside_hours[0].opens")
	assert.Equal(t, "clearance_rules[1].outside_hours[0].opens", field)
}

func TestAStudiosLimitsOfBookingsAreRead(t *testing.T) {
	paths := write(t, "studio:\n  name: east\n  time_zone: UTC\nallotments:\n- name: glass-week\n  department: glass\n  furnace_hours: 40\n"+
		"taught_hours:\n- name: glass-two\n  department: glass\n  furnaces: [pot]\n  first_date: 2027-02-01\n  last_date: 2027-04-30\n"+
		"  free_ahead_hours: 48\n  weekly:\n  - days: [wednesday]\n    opens: 09:00\n    closes: 12:00\n"+
		"booking_limits:\n- name: makers\n  role: maker\n  ahead_days: 21\n  unused_hours: 30\n  missed_days: 14\n")
	studio, err := file.ReadStudio(paths, file.Options{})
	require.NoError(t, err)
	assert.Equal(t, "studios/east/allotments/glass-week", studio.Contents.GetAllotments()[0].GetName())
	assert.Equal(t, 40.0, studio.Contents.GetAllotments()[0].GetFurnaceHours())
	assert.Equal(t, "2027-04-30", studio.Contents.GetTaughtHours()[0].GetLastDate())
	assert.Equal(t, saggarv1.Role_ROLE_MAKER, studio.Contents.GetBookingLimits()[0].GetRole())
}
