package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	saggarv1 "saggar/proto/saggar/v1"
)

// written puts a text into a file of the test's folder.
func (f *fakeServer) written(name, text string) string {
	f.t.Helper()
	path := filepath.Join(f.dir, name)
	require.NoError(f.t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

func TestStudioLoadReadsItsFilesAsOne(t *testing.T) {
	f := newFakeServer(t)
	f.answer("LoadStudio", &saggarv1.LoadStudioResponse{
		Studio: &saggarv1.Studio{Revision: 3}, CreatedCount: 2, UpdatedCount: 1, UnchangedCount: 4,
	})
	studio := f.written("studio.yaml", "studio: {name: east, time_zone: Europe/Lisbon}\n")
	rooms := f.written("rooms.yaml", "rooms: [{name: hall, volume_cubic_meters: 90}]\n")
	golden(t, "load.table.golden", f.succeed("studio", "load", studio, rooms))
	request := asked[*saggarv1.LoadStudioRequest](f)
	assert.NotEmpty(t, request.GetRequestId())
	request.RequestId = ""
	assertSame(t, &saggarv1.LoadStudioRequest{Name: "studios/east", Contents: &saggarv1.StudioFile{
		Studio: &saggarv1.Studio{Name: "studios/east", TimeZone: "Europe/Lisbon"},
		Rooms:  []*saggarv1.Room{{Name: "studios/east/rooms/hall", VolumeCubicMeters: 90}},
	}}, request)

	f.succeed("studio", "load", "--check", studio, rooms)
	assert.True(t, asked[*saggarv1.LoadStudioRequest](f).GetValidateOnly())

	r := f.run("studio", "load", studio, rooms, rooms)
	assert.Equal(t, 2, r.code)
	assert.Contains(t, r.errOut, "stands twice")
	assert.Equal(t, 2, requests[*saggarv1.LoadStudioRequest](f), "files at fault are not sent")
}

func TestStudioShowListUpdate(t *testing.T) {
	f := newFakeServer(t)
	golden(t, "studio.table.golden", f.succeed("studio", "show"))
	f.answer("GetStudio", &saggarv1.Studio{Name: "studios/marl-lane", TimeZone: "Europe/Lisbon"})
	assert.Contains(t, f.succeed("studio", "show", "--output", "csv"), "Europe/Lisbon,5,", "a grid that is not given is the default")
	f.answer("ListStudios", &saggarv1.ListStudiosResponse{Studios: []*saggarv1.Studio{{Name: "studios/a"}}, NextPageToken: "more"},
		&saggarv1.ListStudiosResponse{Studios: []*saggarv1.Studio{{Name: "studios/b"}}})
	out := f.succeed("studio", "list")
	assert.Contains(t, out, "\na ")
	assert.Contains(t, out, "\nb ")
	f.answer("UpdateStudio", &saggarv1.Studio{Name: "studios/marl-lane"})
	f.succeed("studio", "update", "-f", f.written("studio.yaml", "title: Marl Lane studio\n"))
	assertSame(t, &saggarv1.Studio{Name: "studios/marl-lane", Title: "Marl Lane studio"}, asked[*saggarv1.UpdateStudioRequest](f).GetStudio())
	f.succeed("studio", "update", "-f", f.written("studio.yaml", "acid_mist_fraction: 0\netag: r1\n"))
	assert.Equal(t, []string{"acid_mist_fraction"}, maskOf(asked[*saggarv1.UpdateStudioRequest](f)), "a zero in the file is meant")
}

// equipment is one of each kind with the file that describes it.
var equipment = []struct {
	noun, id, file   string
	method           string // what Get, List and Update end in
	message          proto.Message
	list, secondList proto.Message
	zeros            string   // a file that sets fields to nothing
	zeroed           []string // those fields
}{
	{
		"room", "hall", "volume_cubic_meters: 90\ndetectors: [{species: CO, tested_on: 2027-02-01}]\ncrew_count: 2", "Room",
		&saggarv1.Room{
			Name: "studios/marl-lane/rooms/hall", VolumeCubicMeters: 90, CrewCount: 2,
			Detectors: []*saggarv1.Detector{{Species: "CO", TestedOn: "2027-02-01"}},
		},
		&saggarv1.ListRoomsResponse{Rooms: []*saggarv1.Room{{Name: "studios/marl-lane/rooms/first"}}, NextPageToken: "more"},
		&saggarv1.ListRoomsResponse{Rooms: []*saggarv1.Room{{Name: "studios/marl-lane/rooms/second"}}},
		"make_up_cubic_meters_per_second: 0\ndetectors: []\ntitle: ''", []string{"detectors", "make_up_cubic_meters_per_second", "title"},
	},
	{
		"circuit", "fan", "branches: [{id: hood, room: hall, cubic_meters_per_second: 0.5}]", "ExtractionCircuit",
		&saggarv1.ExtractionCircuit{
			Name:     "studios/marl-lane/extractionCircuits/fan",
			Branches: []*saggarv1.Branch{{Id: "hood", Room: "hall", CubicMetersPerSecond: 0.5}},
		},
		&saggarv1.ListExtractionCircuitsResponse{NextPageToken: "more", ExtractionCircuits: []*saggarv1.ExtractionCircuit{{Name: "x/first"}}},
		&saggarv1.ListExtractionCircuitsResponse{ExtractionCircuits: []*saggarv1.ExtractionCircuit{{Name: "x/second"}}},
		"recirculating: false\nbranches: []", []string{"branches", "recirculating"},
	},
	{
		"supply", "panel", "limit_kilowatts: 22.5", "Supply",
		&saggarv1.Supply{Name: "studios/marl-lane/supplies/panel", LimitKilowatts: 22.5},
		&saggarv1.ListSuppliesResponse{NextPageToken: "more", Supplies: []*saggarv1.Supply{{Name: "x/first"}}},
		&saggarv1.ListSuppliesResponse{Supplies: []*saggarv1.Supply{{Name: "x/second"}}},
		"title: ''", []string{"title"},
	},
	{
		"furnace", "kiln", "room: hall\nsource: electric\nchamber_liters: 120\ntop_celsius: 1300\natmospheres: [oxidising]", "Furnace",
		&saggarv1.Furnace{
			Name: "studios/marl-lane/furnaces/kiln", Room: "hall", Source: saggarv1.HeatSource_HEAT_SOURCE_ELECTRIC, ChamberLiters: 120,
			TopCelsius: 1300, Atmospheres: []saggarv1.Atmosphere{saggarv1.Atmosphere_ATMOSPHERE_OXIDISING},
		},
		&saggarv1.ListFurnacesResponse{NextPageToken: "more", Furnaces: []*saggarv1.Furnace{{Name: "x/first"}}},
		&saggarv1.ListFurnacesResponse{Furnaces: []*saggarv1.Furnace{{Name: "x/second"}}},
		"branch: null\nexcludes: []\ncapture: {}", []string{"branch", "capture", "excludes"},
	},
	{
		"hours", "hall", "weekly: [{days: [monday, friday], opens: '08:00', closes: '18:00'}]\nexceptions: [{date: 2027-12-24}]", "StaffedHours",
		&saggarv1.StaffedHours{
			Name:       "studios/marl-lane/staffedHours/hall",
			Weekly:     []*saggarv1.WeeklyHours{{Days: []saggarv1.Weekday{saggarv1.Weekday_WEEKDAY_MONDAY, saggarv1.Weekday_WEEKDAY_FRIDAY}, Opens: "08:00", Closes: "18:00"}},
			Exceptions: []*saggarv1.DateHours{{Date: "2027-12-24"}},
		},
		&saggarv1.ListStaffedHoursResponse{NextPageToken: "more", StaffedHours: []*saggarv1.StaffedHours{{Name: "x/first"}}},
		&saggarv1.ListStaffedHoursResponse{StaffedHours: []*saggarv1.StaffedHours{{Name: "x/second"}}},
		"exceptions: []", []string{"exceptions"},
	},
}

func TestEquipmentIsShownListedAndChanged(t *testing.T) {
	for _, e := range equipment {
		t.Run(e.noun, func(t *testing.T) {
			f := newFakeServer(t)
			f.answer("Get"+e.method, e.message)
			golden(t, e.noun+".table.golden", f.succeed(e.noun, "show", e.id))
			assert.Equal(t, stringField(e.message, "name"), stringField(f.seen[len(f.seen)-1], "name"))

			plural := map[string]string{"Supply": "Supplies", "StaffedHours": "StaffedHours"}[e.method]
			if plural == "" {
				plural = e.method + "s"
			}
			f.answer("List"+plural, e.list, e.secondList)
			out := f.succeed(e.noun, "list", "--output", "csv")
			assert.Contains(t, out, "\nfirst,")
			assert.Contains(t, out, "\nsecond,")
			last := f.seen[len(f.seen)-1]
			assert.Equal(t, []string{"studios/marl-lane", "more"}, []string{stringField(last, "parent"), stringField(last, "page_token")})

			f.answer("Update"+e.method, e.message)
			path := f.written("one.yaml", "name: "+e.id+"\n"+e.file+"\n")
			f.succeed(e.noun, "update", "--file", path, "--create")
			assertUpdate(t, f.seen[len(f.seen)-1], e.message, true)
			// Zeros and empty lists in a file are meant; a name and an etag are no changes.
			f.succeed(e.noun, "update", "-f", f.written("zeros.yaml", "name: "+e.id+"\netag: r1\n"+e.zeros+"\n"))
			assert.Equal(t, e.zeroed, maskOf(f.seen[len(f.seen)-1]))
			// What show prints is what update takes.
			shown := f.succeed(e.noun, "show", e.id, "--output", "yaml")
			f.succeed(e.noun, "update", "-f", f.written("shown.yaml", shown))
			assertUpdate(t, f.seen[len(f.seen)-1], e.message, false)
		})
	}
}

// maskOf are the paths of an update's mask.
func maskOf(request proto.Message) []string {
	return request.(interface{ GetUpdateMask() *fieldmaskpb.FieldMask }).GetUpdateMask().GetPaths()
}

// assertUpdate compares the resource in an update's request.
func assertUpdate(t *testing.T, request, want proto.Message, allowMissing bool) {
	t.Helper()
	m := request.ProtoReflect()
	resource := m.Get(m.Descriptor().Fields().ByNumber(1)).Message().Interface()
	assertSame(t, want, resource)
	assert.Equal(t, allowMissing, m.Get(m.Descriptor().Fields().ByName("allow_missing")).Bool())
}

func stringField(m proto.Message, name string) string {
	return m.ProtoReflect().Get(m.ProtoReflect().Descriptor().Fields().ByTextName(name)).String()
}

func TestClosureTimesAreTheStudios(t *testing.T) {
	f := newFakeServer(t)
	made := &saggarv1.Closure{
		Name: "studios/marl-lane/closures/repair", Subject: "furnaces/kiln", Reason: "new elements",
		StartTime: instant("2027-07-01T07:00:00Z"), EndTime: instant("2027-07-02T12:30:00Z"),
	}
	f.answer("UpdateClosure", made)
	golden(t, "closure.table.golden", f.succeed("closure", "add", "repair", "--subject", "furnaces/kiln", "--reason", "new elements",
		"--from", "2027-07-01 08:00", "--until", "2027-07-02T12:30:00Z"))
	assertSame(t, &saggarv1.UpdateClosureRequest{Closure: made, AllowMissing: true}, asked[*saggarv1.UpdateClosureRequest](f))

	f.answer("DeleteClosure", &emptypb.Empty{})
	assert.Empty(t, f.succeed("closure", "remove", "repair"))
	assert.Equal(t, "studios/marl-lane/closures/repair", asked[*saggarv1.DeleteClosureRequest](f).GetName())

	for _, from := range []string{"2027-03-28 01:30", "2027-10-31 01:30", "2027-02-30 08:00", "soon"} {
		r := f.run("closure", "add", "x", "--subject", "furnaces/kiln", "--from", from, "--until", "2027-12-01 08:00")
		assert.Equal(t, 2, r.code, from)
		assert.Contains(t, r.errOut, "--from")
	}
	assert.Equal(t, 1, requests[*saggarv1.UpdateClosureRequest](f))
}

func TestOpenings(t *testing.T) {
	f := newFakeServer(t)
	f.answer("ListOpenings", &saggarv1.ListOpeningsResponse{Openings: []*saggarv1.Opening{
		{Furnace: "kiln", StartTime: instant("2027-07-01T07:00:00Z"), EndTime: instant("2027-07-02T18:30:00Z"), StaffedMinutes: 630},
	}})
	golden(t, "openings.table.golden", f.succeed("opening", "list", "--from", "2027-07-01 08:00", "--until", "2027-07-08 08:00",
		"--furnace", "kiln,muffle", "--minutes", "600"))
	assertSame(t, &saggarv1.ListOpeningsRequest{
		Parent: "studios/marl-lane", StartTime: instant("2027-07-01T07:00:00Z"), EndTime: instant("2027-07-08T07:00:00Z"),
		Furnaces: []string{"kiln", "muffle"}, MinimumMinutes: 600,
	}, asked[*saggarv1.ListOpeningsRequest](f))
	assert.Equal(t, 2, f.run("opening", "list", "--from", "2027-07-01 08:00").code, "both ends are needed")
}

func TestMaterialsAndRecipes(t *testing.T) {
	f := newFakeServer(t)
	kaolin := &saggarv1.Material{
		Name: "studios/marl-lane/materials/kaolin", Version: 2, Title: "Kaolin", MoistureFraction: 0.01,
		Phases:  []*saggarv1.Phase{{Formula: "Al2Si2O5(OH)4", MassFraction: 0.95}},
		Hazards: []saggarv1.Hazard{saggarv1.Hazard_HAZARD_SILICA_DUST},
	}
	f.answer("GetMaterial", kaolin)
	golden(t, "material.table.golden", f.succeed("material", "show", "kaolin/versions/2"))
	assert.Equal(t, "studios/marl-lane/materials/kaolin/versions/2", asked[*saggarv1.GetMaterialRequest](f).GetName())
	f.answer("ListMaterials", &saggarv1.ListMaterialsResponse{Materials: []*saggarv1.Material{kaolin}, NextPageToken: "more"},
		&saggarv1.ListMaterialsResponse{Materials: []*saggarv1.Material{{Name: "x/soda"}}})
	assert.Contains(t, f.succeed("material", "list", "--output", "csv"), "\nsoda,")
	f.answer("CreateMaterialVersion", kaolin)
	f.succeed("material", "add", f.written("kaolin.yaml", "name: kaolin\ntitle: Kaolin\nphases: [{formula: 'Al2Si2O5(OH)4', mass_fraction: 0.95}]\n"))
	assert.Equal(t, "studios/marl-lane/materials/kaolin", asked[*saggarv1.CreateMaterialVersionRequest](f).GetMaterial().GetName())

	recipe := &saggarv1.Recipe{Name: "studios/marl-lane/recipes/bisque", Version: 1, Title: "Bisque", Stages: []*saggarv1.Stage{
		{Id: "dry", Kind: saggarv1.StageKind_STAGE_KIND_DRY, BenchMinutes: 60, WareGrams: 12000},
		{
			Id: "bisque", Kind: saggarv1.StageKind_STAGE_KIND_BISQUE, Atmosphere: saggarv1.Atmosphere_ATMOSPHERE_OXIDISING,
			Additions: []*saggarv1.Addition{{Material: "kaolin", MassGrams: 100}, {Material: "sulfur", FractionOfIntermediate: 0.1}},
			Program:   &saggarv1.HeatProgram{Segments: []*saggarv1.Segment{{ToCelsius: 600, RateCelsiusPerHour: 100}, {ToCelsius: 1000, HoldMinutes: 30}}},
		},
	}}
	f.answer("GetRecipe", recipe)
	golden(t, "recipe.table.golden", f.succeed("recipe", "show", "bisque"))
	f.answer("CreateRecipeVersion", recipe)
	f.succeed("recipe", "add", f.written("bisque.yaml", "name: bisque\nstages: [{id: dry, kind: dry, bench_minutes: 60}]\n"))
	assert.Equal(t, saggarv1.StageKind_STAGE_KIND_DRY, asked[*saggarv1.CreateRecipeVersionRequest](f).GetRecipe().GetStages()[0].GetKind())
	f.answer("ListRecipes", &saggarv1.ListRecipesResponse{Recipes: []*saggarv1.Recipe{recipe}})
	assert.Contains(t, f.succeed("recipe", "list"), "dry, bisque")
}

func TestKeysAndCallers(t *testing.T) {
	f := newFakeServer(t)
	f.answer("CreateAccessKey", &saggarv1.AccessKey{Caller: "ada", Role: saggarv1.Role_ROLE_TECHNICIAN, Secret: "s3cr3t"})
	golden(t, "key.table.golden", f.succeed("key", "create", "ada", "--role", "Technician"))
	assertSame(t, &saggarv1.AccessKey{Caller: "ada", Role: saggarv1.Role_ROLE_TECHNICIAN}, asked[*saggarv1.CreateAccessKeyRequest](f).GetAccessKey())
	f.succeed("key", "create", "ada")
	assert.Equal(t, saggarv1.Role_ROLE_MAKER, asked[*saggarv1.CreateAccessKeyRequest](f).GetAccessKey().GetRole())
	f.answer("GetCaller", &saggarv1.Caller{Id: "ada", Role: saggarv1.Role_ROLE_VIEWER})
	golden(t, "caller.table.golden", f.succeed("caller", "show"))
	r := f.run("key", "create", "ada", "--role", "emperor")
	assert.Equal(t, 2, r.code)
	assert.Contains(t, r.errOut, "viewer, maker, technician, steward")
}

func TestExitCodesOfAServersAnswers(t *testing.T) {
	for code, exit := range map[codes.Code]int{
		codes.NotFound: 2, codes.InvalidArgument: 2, codes.Aborted: 2, codes.AlreadyExists: 2, codes.FailedPrecondition: 3,
		codes.PermissionDenied: 4, codes.Unauthenticated: 4, codes.DeadlineExceeded: 5, codes.Internal: 1,
	} {
		f := newFakeServer(t)
		f.answer("GetRoom", status.Error(code, "because"))
		r := f.run("room", "show", "hall")
		assert.Equal(t, exit, r.code, code)
		assert.Empty(t, r.out)
		assert.Contains(t, r.errOut, "because")
	}
}

func TestWhatStopsACommandBeforeTheServer(t *testing.T) {
	f := newFakeServer(t)
	f.answer("ListStudios", &saggarv1.ListStudiosResponse{Studios: []*saggarv1.Studio{{Name: "studios/east"}, {Name: "studios/west"}}})
	open := f.written("open.key", "secret")
	require.NoError(t, os.Chmod(open, 0o644))
	for name, c := range map[string]struct {
		args string
		code int
		says string
	}{
		"no such noun":        {"rooms list", 2, "unknown command"},
		"no such verb":        {"room burn", 2, "unknown command"},
		"no such flag":        {"room list --colour", 2, "--colour"},
		"no such format":      {"room list --output xml", 2, "table, json, yaml or csv"},
		"too few arguments":   {"room show", 2, "saggar: room show needs ID, for example: saggar room show kiln-hall"},
		"input not read":      {"room list --input -", 2, "--input"},
		"no time":             {"room list --timeout 0s", 2, "--timeout"},
		"key readable by all": {"room list --key-file " + open, 2, "chmod 600"},
		"key not there":       {"room list --key-file " + f.dir + "/none", 2, "--key-file"},
		"no fingerprint":      {"room list --fingerprint 12 --server 192.0.2.1:7817", 2, "is no fingerprint"},
		"too many arguments":  {"room show a b", 2, "saggar: room show takes one ID, not a b"},
		"no arguments":        {"room list a", 2, "saggar: room list takes no arguments: leave out a"},
		"verb of a noun":      {"room burn", 2, "give one of due, list, show, update"},
		"either or":           {"run book a b", 2, "saggar: run book is typed as: saggar run book (--plan FILE | RECIPE --department D)"},
		"flag not given":      {"run plan bisque", 2, "saggar: run plan needs --department, for example: saggar run plan"},
		"two flags not given": {"opening list", 2, "needs --from and --until"},
		"flags that exclude":  {"run book --plan x --factor 2", 2, "saggar: --factor and --plan contradict each other: give only one"},
		"flags that join":     {"run plan b --department c --crucibles 2", 2, "--crucible-milliliters go together: give --crucible-milliliters too"},
		"nobody listens": {
			"room list --server unix:" + f.dir + "/none", 5, "cannot be reached: nothing answers at unix:" + f.dir +
				"/none (no such file or directory); see that saggard runs, and that --server or SAGGAR_SERVER names its address\n",
		},
		"no studio":      {"room list --studio=", 2, "--studio or SAGGAR_STUDIO: east, west"},
		"file not there": {"room update -f " + f.dir + "/none.yaml", 2, "cannot be read"},
	} {
		r := f.run(strings.Fields(c.args)...)
		assert.Equal(t, c.code, r.code, "%s: %s", name, r.errOut)
		assert.Contains(t, r.errOut, c.says, name)
		assert.True(t, strings.HasPrefix(r.errOut, "saggar: "), name)
		assert.Empty(t, r.out, name)
	}
}

func TestTheOnlyStudioOfAServerNeedsNotBeNamed(t *testing.T) {
	f := newFakeServer(t)
	f.answer("ListRooms", &saggarv1.ListRoomsResponse{})
	f.answer("ListStudios", &saggarv1.ListStudiosResponse{Studios: []*saggarv1.Studio{{Name: "studios/marl-lane"}}})
	assert.Equal(t, "none\n", f.succeed("room", "list", "--studio="))
	assert.Equal(t, "studios/marl-lane", asked[*saggarv1.ListRoomsRequest](f).GetParent())
	for _, answer := range []*saggarv1.ListStudiosResponse{{}, {Studios: []*saggarv1.Studio{{Name: "studios/east"}}, NextPageToken: "more"}} {
		f.answer("ListStudios", answer)
		r := f.run("room", "list", "--studio=")
		assert.Equal(t, 2, r.code)
		assert.Contains(t, r.errOut, "no studio: ")
	}
}

func TestOneIsShownWithAllThatDecidesAboutIt(t *testing.T) {
	f := newFakeServer(t)
	f.answer("GetFurnace", &saggarv1.Furnace{
		Name: "studios/marl-lane/furnaces/pot", Room: "bay", Branch: "bay-fan/hood", Source: saggarv1.HeatSource_HEAT_SOURCE_ELECTRIC,
		InputKilowatts: 9, NetKilowatts: 7.5, TopCelsius: 1200, ChamberLiters: 30,
		Atmospheres:  []saggarv1.Atmosphere{saggarv1.Atmosphere_ATMOSPHERE_OXIDISING, saggarv1.Atmosphere_ATMOSPHERE_REDUCING},
		HeatingTimes: []*saggarv1.Timing{{FromCelsius: 20, ToCelsius: 600, Minutes: 95}}, Excludes: []string{"chloride", "volatile_metal"},
		CoolingTimes: []*saggarv1.Timing{{FromCelsius: 900, ToCelsius: 300, Minutes: 400}}, OverTemperatureCutOut: true,
		Capture: &saggarv1.Capture{ClosedFraction: 0.9, Method: "tracer", MeasuredOn: "2027-01-15"},
	}, &saggarv1.Furnace{Name: "studios/marl-lane/furnaces/mortar", Room: "bay", Source: saggarv1.HeatSource_HEAT_SOURCE_BENCH})
	golden(t, "furnace-details.table.golden", f.succeed("furnace", "show", "pot"))
	golden(t, "bench-details.table.golden", f.succeed("furnace", "show", "mortar"))
	f.answer("GetRoom", &saggarv1.Room{
		Name: "studios/marl-lane/rooms/bay", Transfers: []*saggarv1.Transfer{{ToRoom: "hall", CubicMetersPerSecond: 0.2}},
		Detectors: []*saggarv1.Detector{{Species: "CO", TestedOn: "2027-02-01"}, {Species: "SO2"}},
	})
	golden(t, "room-details.table.golden", f.succeed("room", "show", "bay"))
	f.answer("GetExtractionCircuit", &saggarv1.ExtractionCircuit{
		Name: "studios/marl-lane/extractionCircuits/fan", Branches: []*saggarv1.Branch{
			{Id: "hood", Room: "bay", CubicMetersPerSecond: 0.5, MeasuredOn: "2027-02-01", DamperPosition: "open", Method: "pitot"},
			{Id: "wall", Room: "hall"},
		},
	})
	golden(t, "circuit-details.table.golden", f.succeed("circuit", "show", "fan"))
}

func TestHelpNamesTheNounAndAGroupHasNoFlags(t *testing.T) {
	f := newFakeServer(t)
	for _, k := range []equipmentKind{roomKind, circuitKind, supplyKind, furnaceKind, hoursKind, closureKind} {
		help := f.succeed(k.noun)
		assert.Contains(t, help, "List all "+k.plural+" of the studio", k.noun)
		assert.Contains(t, help, "Show one of the "+k.plural, k.noun)
		assert.NotContains(t, help, "saggar "+k.noun+" [flags]")
	}
	assert.NotContains(t, f.succeed("room", "list", "--help"), "--input")
	assert.Contains(t, f.succeed("formula", "mass", "--help"), "--input")
}

func TestAFileAtFaultIsNamedWithItsLine(t *testing.T) {
	f := newFakeServer(t)
	path := f.written("room.yaml", "name: hall\nvolume_cubic_metres: 90\ncrew_count: two\n")
	r := f.run("room", "update", "-f", path)
	assert.Equal(t, 2, r.code)
	assert.Contains(t, r.errOut, path+":2: volume_cubic_metres: is no field here")
	assert.Contains(t, r.errOut, "volume_cubic_meters")
	assert.Contains(t, r.errOut, path+":3: crew_count")
	assert.Zero(t, requests[*saggarv1.UpdateRoomRequest](f))
}
