package file_test

import (
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/structpb"
	"google.golang.org/protobuf/types/known/timestamppb"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"saggar/client/file"
	saggarv1 "saggar/proto/saggar/v1"
)

// placed puts the paths of the files in for %a and %b.
func placed(text string, paths []string) string {
	for i, path := range paths {
		text = strings.ReplaceAll(text, "%"+string(rune('a'+i)), path)
	}
	return text
}

func decode(text string, into proto.Message, o file.Options) error {
	_, err := file.Decode("x.yaml", []byte(text), into, o)
	return err
}

func TestDecodeReadsAFurnace(t *testing.T) {
	const text = `
name: muffle
title: 700
room: furnace-bay
source: Electric
netKilowatts: 3
top_celsius: 1.15e3
atmospheres: [OXIDISING, atmosphere_neutral, ""]
control: set_point
heating_times:
  - {from_celsius: 20, to_celsius: 600.5, minutes: 40}
over_temperature_cut_out: true
capture: {closed_fraction: .9, measured_on: 2026-10-05}
supply:
excludes: []
`
	got := &saggarv1.Furnace{}
	lines, err := file.Decode("x.yaml", []byte(text), got, file.Options{})
	require.NoError(t, err)
	want := &saggarv1.Furnace{
		Name: "studios/offline/furnaces/muffle", Title: "700", Room: "furnace-bay",
		Source: saggarv1.HeatSource_HEAT_SOURCE_ELECTRIC, NetKilowatts: 3, TopCelsius: 1150,
		Atmospheres: []saggarv1.Atmosphere{
			saggarv1.Atmosphere_ATMOSPHERE_OXIDISING, saggarv1.Atmosphere_ATMOSPHERE_NEUTRAL, saggarv1.Atmosphere_ATMOSPHERE_UNSPECIFIED,
		},
		Control:      saggarv1.Control_CONTROL_SET_POINT,
		HeatingTimes: []*saggarv1.Timing{{FromCelsius: 20, ToCelsius: 600.5, Minutes: 40}}, OverTemperatureCutOut: true,
		Capture: &saggarv1.Capture{ClosedFraction: 0.9, MeasuredOn: "2026-10-05"},
	}
	assert.True(t, proto.Equal(want, got), got)
	assert.Equal(t, 2, lines.Of("name"))
	assert.Equal(t, 6, lines.Of("net_kilowatts"), "lowerCamel in the file, snake_case in the path")
	assert.Equal(t, 11, lines.Of("heating_times[0].minutes"))
	assert.Equal(t, 10, lines.Of("heating_times[7].minutes"), "falls back to the list")
	assert.Equal(t, 13, lines.Of("capture.method"), "falls back to the message")
	assert.Zero(t, lines.Of("tolerance_celsius"))
	assert.Zero(t, file.Lines(nil).Of("name"))
}

func TestDecodeReadsJSON(t *testing.T) {
	got := &saggarv1.Closure{}
	require.NoError(t, decode("{\n\t\"name\": \"repair\",\n\t\"startTime\": \"2027-03-01T08:00:00+01:00\", \"reason\": \"a\\/b \\u00e9 \\uD83D\\uDD25 \\ud83d! \\\\/\", \"etag\": null\n}", got,
		file.Options{Studio: "east"}))
	assert.Equal(t, "studios/east/closures/repair", got.GetName())
	assert.Equal(t, "a/b é 🔥 \ufffd! \\/", got.GetReason())
	assert.True(t, got.GetStartTime().AsTime().Equal(time.Date(2027, 3, 1, 7, 0, 0, 0, time.UTC)))
}

func TestDecodeExpandsTheNameOfTheTopMessage(t *testing.T) {
	for _, c := range []struct {
		into      proto.Message
		text, out string
	}{
		{&saggarv1.Recipe{}, "name: bisque", "studios/east/recipes/bisque"},
		{&saggarv1.Run{}, "name: autumn", "studios/east/runs/autumn"},
		{&saggarv1.Studio{}, "name: west", "studios/west"},
		{&saggarv1.Room{}, "name: studios/east/rooms/hall", "studios/east/rooms/hall"},
		{&saggarv1.Run{}, "name: ''", ""},
		{&saggarv1.GetRunRequest{}, "name: kept", "kept"},
	} {
		require.NoError(t, decode(c.text, c.into, file.Options{Studio: "east"}))
		m := c.into.ProtoReflect()
		assert.Equal(t, c.out, m.Get(m.Descriptor().Fields().ByName("name")).String())
	}
	room := &saggarv1.Room{}
	require.NoError(t, decode("name: studios/west/rooms/hall", room, file.Options{}), "without a studio any will do")
	assert.Equal(t, "studios/west/rooms/hall", room.GetName())
}

func TestDecodeReadsFieldMasksAndTimes(t *testing.T) {
	mask := &saggarv1.UpdateStudioRequest{}
	require.NoError(t, decode("update_mask: [title, step_minutes]", mask, file.Options{}))
	assert.True(t, proto.Equal(&fieldmaskpb.FieldMask{Paths: []string{"title", "step_minutes"}}, mask.GetUpdateMask()))

	for _, text := range []string{"2027-07-01 08:00", "'2027-07-01 08:00'", "2027-07-01T08:00:00", "2027-07-01T07:00:00Z", "2027-07-01T09:00+02:00"} {
		got := &saggarv1.Closure{}
		require.NoError(t, decode("start_time: "+text, got, file.Options{Zone: zone(t, "Europe/Lisbon")}), text)
		assert.True(t, proto.Equal(timestamppb.New(time.Date(2027, 7, 1, 7, 0, 0, 0, time.UTC)), got.GetStartTime()), text)
	}
}

func TestDecodeFaults(t *testing.T) {
	recipe, furnace, closure := &saggarv1.Recipe{}, &saggarv1.Furnace{}, &saggarv1.Closure{}
	for name, c := range map[string]struct {
		into proto.Message
		text string
		want string
	}{
		"unknown field":         {recipe, "titel: x", "x.yaml:1: titel: is no field here; did you mean title?"},
		"unknown, none near":    {recipe, "colour: x", "x.yaml:1: colour: is no field here; known here: name, version, title, stages, lags"},
		"unknown, long":         {recipe, strings.Repeat("x", 900) + ": 1", "is no field here; known here: name"},
		"unknown inside":        {recipe, "stages:\n- kind: pack\n- program:\n    segments: [{hold_minute: 1}]", "x.yaml:4: stages[1].program.segments[0].hold_minute: is no field here; did you mean hold_minutes?"},
		"duplicate":             {furnace, "title: a\nroom: b\ntitle: c", "x.yaml:3: title: is given twice, first on line 1; keep one of them"},
		"duplicate in two ways": {furnace, "top_celsius: 1\ntopCelsius: 2", "x.yaml:2: top_celsius: is given twice, first on line 1"},
		"key is a list":         {furnace, "? [a]\n: b", "x.yaml:1: has a list where a field's name should stand; name one of name, title"},
		"text for number":       {furnace, "top_celsius: hot", `x.yaml:1: top_celsius: "hot" is no number; give a decimal number without a unit, such as 12.5`},
		"unit":                  {furnace, "top_celsius: 1100 C", `top_celsius: "1100 C" is no number; give a decimal number without a unit`},
		"quoted number":         {furnace, "top_celsius: '1100'", `top_celsius: "1100" is text in quotes; leave the quotes out: 1100`},
		"octal":                 {furnace, "top_celsius: 0120", `"0120" is no number`},
		"hexadecimal":           {furnace, "top_celsius: 0x10", `"0x10" is no number`},
		"underscore":            {furnace, "top_celsius: 1_000", `"1_000" is no number`},
		"sign alone":            {furnace, "top_celsius: '-'", `"-" is no number`},
		"NaN":                   {furnace, "top_celsius: .nan", "x.yaml:1: top_celsius: .nan is no finite number; give a number, or leave the field out"},
		"infinity":              {furnace, "top_celsius: -.INF", "-.INF is no finite number"},
		"NaN as Go writes it":   {furnace, "top_celsius: NaN", "NaN is no finite number"},
		"too large":             {furnace, "top_celsius: 1e999", `"1e999" is too large a number; give a number below 1.7e308`},
		"int32":                 {recipe, "stages: [{bench_minutes: 2147483648}]", "x.yaml:1: stages[0].bench_minutes: 2147483648 is out of range; give a whole number from -2147483648 to 2147483647"},
		"huge int":              {recipe, "version: 99999999999999999999", "99999999999999999999 is out of range"},
		"huge float for int":    {recipe, "version: 1e300", "1e300 is out of range"},
		"fraction":              {recipe, "version: 1.5", "x.yaml:1: version: 1.5 is no whole number; give 1 or 2"},
		"int64":                 {&wrapperspb.Int64Value{}, "value: 9223372036854775808", "9223372036854775808 is out of range"},
		"yes for bool":          {furnace, "over_temperature_cut_out: yes", `over_temperature_cut_out: "yes" is neither true nor false; give true or false`},
		"quoted bool":           {furnace, "over_temperature_cut_out: 'true'", `"true" is neither true nor false`},
		"bool for text":         {furnace, "title: true", "title: needs a text, not true; put it in quotes"},
		"list for text":         {furnace, "title: [a]", "title: needs a single value, not a list; give a text"},
		"fields for enum":       {furnace, "source: {a: b}", "source: needs a single value, not fields; give one of electric, gas, bench"},
		"fields for number":     {furnace, "top_celsius: {a: b}", "give a number"},
		"list for bool":         {furnace, "over_temperature_cut_out: []", "give true or false"},
		"list for whole":        {recipe, "version: []", "give a whole number"},
		"unknown enum":          {furnace, "source: coal", `x.yaml:1: source: "coal" is not known here; give one of electric, gas, bench`},
		"enum by number":        {furnace, "source: 1", `"1" is not known here`},
		"text for fields":       {furnace, "capture: good", `capture: needs fields, not "good"; write fields under it: closed_fraction, door_open_fraction, method, measured_on`},
		"text for list":         {furnace, "atmospheres: neutral", `atmospheres: needs a list, not "neutral"; write a list: [neutral]`},
		"fields for list":       {furnace, "heating_times: {minutes: 1}", "heating_times: needs a list, not fields; write a list, one - to each line"},
		"null in list":          {furnace, "excludes: [sulfur, null]", "excludes[1]: is empty; fill it or leave it out"},
		"list at the top":       {furnace, "- a", "x.yaml:1: needs fields, not a list; write fields under it: name, title"},
		"anchor":                {furnace, "capture: &a {method: smoke}", "x.yaml:1: capture: carries the anchor &a; leave the anchor out"},
		"anchor on null":        {furnace, "capture: &a", "carries the anchor &a"},
		"alias":                 {furnace, "x: &a b\ntitle: *a", "x.yaml:2: title: is the alias *a; write the value out"},
		"merge":                 {furnace, "<<: {title: a}", "x.yaml:1: merges another mapping with <<; write the fields out"},
		"tag":                   {furnace, "title: !!str 5", "x.yaml:1: title: carries the tag !!str; leave the tag out"},
		"binary":                {furnace, "title: !!binary gIGC", "carries the tag !!binary"},
		"tagged key":            {furnace, "!!str title: a", "carries the tag !!str"},
		"no time":               {closure, "start_time: soon", `x.yaml:1: start_time: "soon" is no time; give a time such as 2027-03-01T08:00:00Z`},
		"fields for time":       {closure, "start_time: {seconds: 5}", "start_time: needs a time, not fields; give a time such as"},
		"time without offset":   {closure, "start_time: 2027-03-01 08:00", `"2027-03-01 08:00" has no offset, and the studio's time zone is not known; add the offset`},
		"year 0":                {closure, "start_time: 0000-01-01T00:00:00Z", "is out of range; give a year from 0001 to 9999"},
		"text for mask":         {&saggarv1.UpdateStudioRequest{}, "update_mask: title", "update_mask: needs a list, not \"title\"; write a list: [title]"},
		"two of one":            {&structpb.Value{}, "string_value: a\nnumber_value: 1", "x.yaml:2: number_value: cannot stand beside string_value; keep one of them"},
		"map":                   {&structpb.Struct{}, "fields: {a: 1}", "fields: is a map, which files cannot hold"},
		"bytes":                 {&wrapperspb.BytesValue{}, "value: abc", "value: is of kind bytes, which files cannot hold"},
		"bad name":              {furnace, "\nname: Big Kiln", `x.yaml:2: name: "Big Kiln" is no id; use 1 to 63 of a-z`},
		"empty":                 {furnace, "", "x.yaml:1: is empty; write at least one field"},
		"comment only":          {furnace, "# nothing\n", "x.yaml:1: is empty"},
		"null":                  {furnace, "null", "x.yaml:1: is empty"},
		"two documents":         {furnace, "title: a\n---\ntitle: b", "holds more than one YAML document; leave out the line ---"},
		"broken second":         {furnace, "title: a\n---\ntitle: [", "is not YAML"},
		"not YAML":              {furnace, "title: a\n  room: b", "x.yaml:2: is not YAML: mapping values are not allowed in this context; check indentation"},
		"not YAML, line 1":      {furnace, "a: b: c", "x.yaml:1: is not YAML: mapping values are not allowed in this context"},
		"not UTF-8":             {furnace, "room: a\ntitle: \xff", "x.yaml:2: is not YAML: invalid"},
		"control character":     {furnace, "room: a\n\ntitle: \x01\n", "x.yaml:3: is not YAML: control characters are not allowed"},
		"alias as a key":        {furnace, "x: &a b\n*a : b", "x.yaml:2: has an alias where a field's name should stand"},
		"number in quotes bare": {recipe, "version: \"3\"", `version: "3" is text in quotes; leave the quotes out: 3`},
		"backslash":             {furnace, `source: "a\\b"`, `source: "a\\b" is not known here`},
		"too large a file":      {furnace, strings.Repeat("#", 4<<20+1), "x.yaml: is larger than 4 MiB; split it into several files"},
	} {
		t.Run(name, func(t *testing.T) {
			err := decode(c.text, c.into.ProtoReflect().New().Interface(), file.Options{})
			var faults file.Errors
			require.ErrorAs(t, err, &faults)
			assert.Contains(t, err.Error(), c.want)
			for _, fault := range faults {
				assert.NotEmpty(t, fault.Cure, "every fault says what would be right")
			}
		})
	}
}

func TestDecodeTakesTheExtremes(t *testing.T) {
	recipe := &saggarv1.Recipe{}
	require.NoError(t, decode("version: 2147483647\nstages: [{bench_minutes: -2147483648, draw_minutes: 1.2e1, charge_minutes: +5}]", recipe, file.Options{}))
	assert.EqualValues(t, 2147483647, recipe.GetVersion())
	assert.EqualValues(t, -2147483648, recipe.GetStages()[0].GetBenchMinutes())
	assert.EqualValues(t, 12, recipe.GetStages()[0].GetDrawMinutes())
	assert.EqualValues(t, 5, recipe.GetStages()[0].GetChargeMinutes())

	long := &wrapperspb.Int64Value{}
	require.NoError(t, decode("value: -9223372036854775808", long, file.Options{}))
	assert.EqualValues(t, -1<<63, long.GetValue())

	furnace := &saggarv1.Furnace{}
	require.NoError(t, decode("# "+strings.Repeat("x", 4<<20-20)+"\ntop_celsius: 0", furnace, file.Options{}), "4 MiB is not too large")
}

func TestDecodeTellsAllFaultsAtOnceUpToABound(t *testing.T) {
	err := decode("titel: a\ntop_celsius: hot\nsource: coal\nheating_times:\n- {minutes: x}\n- {minutes: y}\n", &saggarv1.Furnace{}, file.Options{})
	var faults file.Errors
	require.ErrorAs(t, err, &faults)
	require.Len(t, faults, 5)
	assert.Equal(t, []int{1, 2, 3, 5, 6}, []int{faults[0].Line, faults[1].Line, faults[2].Line, faults[3].Line, faults[4].Line})
	assert.Equal(t, "heating_times[1].minutes", faults[4].Field)

	var one *file.Error
	require.True(t, errors.As(err, &one), "each fault can be had by itself")
	assert.Equal(t, "titel", one.Field)

	err = decode("excludes: ["+strings.Repeat("[],", 5000)+"]", &saggarv1.Furnace{}, file.Options{})
	require.ErrorAs(t, err, &faults)
	require.Len(t, faults, 201)
	assert.EqualError(t, faults[200], "x.yaml: has more faults; cure these first")
}

func TestDecodeBoundsDepth(t *testing.T) {
	nested := func(n int) string {
		return strings.Repeat("list_value: {values: [{", n) + "number_value: 1" + strings.Repeat("}]}", n)
	}
	require.NoError(t, decode("{"+nested(15)+"}", &structpb.Value{}, file.Options{}))
	require.ErrorContains(t, decode("{"+nested(16)+"}", &structpb.Value{}, file.Options{}), "is nested deeper than 32; write it flatter")
	for _, text := range []string{strings.Repeat("[", 100000), strings.Repeat("{a: ", 100000), strings.Repeat("- ", 100000)} {
		require.ErrorContains(t, decode("title: "+text, &saggarv1.Furnace{}, file.Options{}), "is not YAML")
	}
}

func TestMessagesStayReadable(t *testing.T) {
	err := decode("source: \"a\\e[2J\\nb\"\ntop_celsius: "+strings.Repeat("é", 500), &saggarv1.Furnace{}, file.Options{})
	assert.NotContains(t, err.Error(), "\x1b")
	assert.Equal(t, 1, strings.Count(err.Error(), "\n"), "one line to a fault")
	assert.Less(t, len(err.Error()), 400)
}

func TestReadFromAPath(t *testing.T) {
	paths := write(t, "title: Big kiln")
	furnace := &saggarv1.Furnace{}
	lines, err := file.Read(paths[0], furnace, file.Options{})
	require.NoError(t, err)
	assert.Equal(t, "Big kiln", furnace.GetTitle())
	assert.Equal(t, 1, lines.Of("title"))

	_, err = file.Read("no-such-file.yaml", furnace, file.Options{})
	require.EqualError(t, err, "no-such-file.yaml: cannot be read: no such file or directory; give the path of a readable file, or - for standard input")
	_, err = file.Read(t.TempDir(), furnace, file.Options{})
	require.ErrorContains(t, err, "cannot be read: is a directory")
}

func TestEnumNumber(t *testing.T) {
	role := saggarv1.Role(0).Descriptor()
	for _, name := range []string{"steward", "STEWARD", "Role_Steward"} {
		number, err := file.EnumNumber(role, name)
		require.NoError(t, err)
		assert.EqualValues(t, saggarv1.Role_ROLE_STEWARD, number)
	}
	_, err := file.EnumNumber(role, "boss")
	require.EqualError(t, err, `"boss" is not known here; give one of viewer, maker, technician, steward`)
	_, err = file.EnumNumber(role, "")
	require.EqualError(t, err, "is empty; give one of viewer, maker, technician, steward")
	number, err := file.EnumNumber(structpb.NullValue(0).Descriptor(), "null_value")
	require.NoError(t, err, "an enum without an unset value")
	assert.Zero(t, number)
	_, err = file.EnumNumber(structpb.NullValue(0).Descriptor(), "nil")
	require.Error(t, err)
}

func TestDecodeReplacesWhatTheFileNames(t *testing.T) {
	furnace := &saggarv1.Furnace{Title: "old", Room: "kept", Supply: "old", Excludes: []string{"sulfur"}, Capture: &saggarv1.Capture{Method: "smoke"}}
	require.NoError(t, decode("title: new\nsupply: null\nexcludes: [carbon]\ncapture: {closed_fraction: 0.5}", furnace, file.Options{}))
	want := &saggarv1.Furnace{Title: "new", Room: "kept", Excludes: []string{"carbon"}, Capture: &saggarv1.Capture{ClosedFraction: 0.5}}
	assert.True(t, proto.Equal(want, furnace), furnace)
}

func TestReadFromStandardInput(t *testing.T) {
	in, err := os.Open(write(t, "title: [a]")[0])
	require.NoError(t, err)
	kept := os.Stdin
	os.Stdin = in
	t.Cleanup(func() { os.Stdin = kept; in.Close() })
	_, err = file.Read("-", &saggarv1.Furnace{}, file.Options{})
	require.EqualError(t, err, "standard input:1: title: needs a single value, not a list; give a text")
}

func FuzzDecode(f *testing.F) {
	for _, text := range []string{
		"name: x\nrooms: [{name: a, crew_count: 2}]", "studio: {name: a, time_zone: UTC}", "? [a]\n: b", "a: &a [*a]", "<<: *x", "{\"rooms\": null}",
		"closures: [{name: x, start_time: 2027-03-28 01:30}]", "recipes: [{stages: [{program: {segments: [{hold_minutes: .inf}]}}]}]", "--- |\n x\n...\n---",
	} {
		f.Add([]byte(text))
	}
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		contents := &saggarv1.StudioFile{}
		lines, err := file.Decode("x.yaml", data, contents, file.Options{Zone: zone, Studio: "east"})
		if err == nil {
			_, err = proto.Marshal(contents)
			require.NoError(t, err, "what was read can be sent")
			return
		}
		var faults file.Errors
		require.ErrorAs(t, err, &faults)
		for _, fault := range faults {
			require.NotEmpty(t, fault.Problem)
			require.Equal(t, 1, len(strings.Split(fault.Error(), "\n")), fmt.Sprintf("%q", fault.Error()))
		}
		_ = lines.Of("rooms[0].name")
	})
}

func TestFieldsAreThoseThatStandInTheFileWhateverTheirValue(t *testing.T) {
	lines, err := file.Decode("room.yaml", []byte("name: hall\ntitle: ''\nmakeUpCubicMetersPerSecond: 0\ndetectors: []\ncrew_count: null\n"+
		"transfers: [{to_room: yard, cubic_meters_per_second: 1}]\n"), &saggarv1.Room{}, file.Options{})
	require.NoError(t, err)
	assert.Equal(t, []string{"crew_count", "detectors", "make_up_cubic_meters_per_second", "name", "title", "transfers"}, lines.Fields())
	assert.Empty(t, file.Lines(nil).Fields())
}
