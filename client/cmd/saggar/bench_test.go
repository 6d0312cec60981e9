package main

import (
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/client/api"
	"saggar/client/file"
)

var update = flag.Bool("update", false, "write the golden files of the bench verbs anew")

// ran is what one command line did.
type ran struct {
	out, errOut string
	code        int
}

// at runs a command line as a user without settings would, with text on standard input.
func at(t *testing.T, input string, args ...string) ran {
	t.Helper()
	var out, errOut strings.Builder
	s := &shell{
		in: strings.NewReader(input), out: &out, errOut: &errOut,
		lookupEnv: func(string) (string, bool) { return "", false },
	}
	code := s.run(t.Context(), args)
	return ran{out.String(), errOut.String(), code}
}

// decoded runs a command line with JSON output and reads its answer.
func decoded[V any](t *testing.T, input string, args ...string) V {
	t.Helper()
	r := at(t, input, append(args, "--output", "json")...)
	require.Equal(t, api.ExitOK, r.code, r.errOut)
	var value V
	decoder := json.NewDecoder(strings.NewReader(r.out))
	decoder.DisallowUnknownFields()
	require.NoError(t, decoder.Decode(&value), r.out)
	return value
}

// golden compares a text with testdata/name.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "run go test -update and look at what it wrote")
	assert.Equal(t, string(want), got)
}

func TestBenchVerbsPrintWhatWasAgreed(t *testing.T) {
	room := []string{"air", "room", "--volume-cubic-meters", "100", "--flow-cubic-meters-per-second", "0.5", "--release", "testdata/release.csv"}
	program := []string{"heat", "time", "--furnace", muffleFile, "--program", calcineFile}
	check := []string{
		"recipe", "check", "testdata/oxidise.yaml", "--offline", "--studio-file", "testdata/studio.yaml",
		"--material-file", "testdata/sulfur.yaml", "--on-date", "2027-02-27",
	}
	for name, verb := range map[string]struct {
		args []string
		code int
	}{
		"formula": {[]string{"formula", "mass", "CaSO4.2H2O"}, api.ExitOK},
		"air":     {room, api.ExitOK},
		"heat":    {program, api.ExitOK},
		"gas":     {[]string{"gas", "equilibrium", "--celsius", "900", "--pressure-bar", "1", "--feed", "CO2=1,C=1,SO2=0.1,N2=4"}, api.ExitOK},
		"conversion": {[]string{
			"heat", "conversion", "--reaction", "kaolinite", "--program", calcineFile, "--depth-millimeters", "30",
		}, api.ExitOK},
		"reactions":  {[]string{"heat", "reactions"}, api.ExitOK},
		"check":      {check, api.ExitRefused}, // the room has no alarm
		"protection": {[]string{"air", "protection", "--species", "SO2", "--ppm", "12"}, api.ExitOK},
		"limits":     {[]string{"air", "limits", "--species", "SO2"}, api.ExitOK},
		"fan":        {append([]string{"air", "fan-failure"}, room[2:]...), api.ExitOK},
	} {
		for _, format := range []string{"table", "json", "yaml", "csv"} {
			r := at(t, "", append(verb.args, "--output", format)...)
			assert.Equal(t, verb.code, r.code, "%s %s: %s", name, format, r.errOut)
			assert.Empty(t, r.errOut)
			golden(t, name+"."+format+".golden", r.out)
		}
	}
}

// badCommand is a command line that must be refused as the caller's fault, with words that name place and cure.
type badCommand struct {
	args  string // separated by blanks
	input string
	says  []string
}

const (
	badRoom    = "air room --volume-cubic-meters 10 --flow-cubic-meters-per-second 1 --release - "
	badHead    = "species,start_minute,end_minute,grams_per_minute\n"
	badMuffle  = "--furnace testdata/muffle.yaml "
	badOffline = "recipe check testdata/oxidise.yaml --offline --studio-file testdata/studio.yaml "
)

// badCommands are command lines that no verb can take, each with what the answer says.
var badCommands = map[string]badCommand{
	"no formula":                {"formula mass", "", []string{"give at least one"}},
	"unknown element":           {"formula mass NaCl Xx2", "", []string{`"Xx2", character 1`, "no element Xx"}},
	"two bad formulas":          {"formula mass Xx ) NaCl", "", []string{`"Xx"`, `")"`}},
	"formulas twice":            {"formula mass NaCl --input -", "", []string{"--input - alone"}},
	"input from a file":         {"formula mass --input list.json", "", []string{`"list.json"`, "--input - alone"}},
	"empty line":                {"formula mass --input -", "\"NaCl\"\n\n", []string{"standard input:2", "is empty"}},
	"no JSON":                   {"formula mass --input -", "NaCl\n", []string{"standard input:1", `"NaCl"`}},
	"two on a line":             {"formula mass --input -", `{"formula":"NaCl"} {"formula":"KCl"}`, []string{"standard input:1", "more follows"}},
	"other key":                 {"formula mass --input -", `{"formulae":"NaCl"}`, []string{"standard input:1", "formulae"}},
	"no key":                    {"formula mass --input -", `{}`, []string{"standard input:1", `no "formula"`}},
	"null":                      {"formula mass --input -", `null`, []string{"standard input:1", `no "formula"`}},
	"every bad line":            {"formula mass --input -", "\"Xx\"\n\"NaCl\"\n\"Yy\"", []string{"standard input:1", "standard input:3"}},
	"endless line":              {"formula mass --input -", `"` + strings.Repeat("Na", maxLineBytes), []string{"line 1", "too long"}},
	"no volume":                 {"air room --flow-cubic-meters-per-second 1 --release -", "", []string{"volume-cubic-meters"}},
	"volume zero":               {badRoom + "--volume-cubic-meters 0", badHead, []string{"--volume-cubic-meters", "from 1 to 1000000"}},
	"volume of nothing":         {badRoom + "--volume-cubic-meters 1e-300", badHead, []string{"--volume-cubic-meters", "from 1 to 1000000"}},
	"flow of nothing":           {badRoom + "--flow-cubic-meters-per-second 1e-300", badHead, []string{"--flow-cubic-meters-per-second", "0.000001", "or 0"}},
	"more gas than room":        {badRoom, badHead + "SO2,0,527040,100000\n", []string{"sources", "SO2", "1000000 ppm", "volume"}},
	"failure before the start":  {strings.Replace(badRoom, "room", "fan-failure", 1) + "--at-minute -5", badHead, []string{"--at-minute", "from 0"}},
	"failure fills the room":    {strings.Replace(badRoom, "room", "fan-failure", 1), badHead + "SO2,0,527040,0.1\n", []string{"sources", "SO2", "1000000 ppm", "volume"}},
	"volume no number":          {badRoom + "--volume-cubic-meters NaN", badHead, []string{"--volume-cubic-meters", "from 1"}},
	"flow below zero":           {badRoom + "--flow-cubic-meters-per-second -1", badHead, []string{"--flow-cubic-meters-per-second", "or 0"}},
	"flow without end":          {badRoom + "--flow-cubic-meters-per-second Inf", badHead, []string{"--flow-cubic-meters-per-second", "or 0"}},
	"mixing below one":          {badRoom + "--mixing-factor 0.9", badHead, []string{"--mixing-factor", "from 1"}},
	"capture above one":         {badRoom + "--capture-efficiency 1.1", badHead, []string{"--capture-efficiency", "from 0 to 1"}},
	"capture a word":            {badRoom + "--capture-efficiency most", badHead, []string{"--capture-efficiency", "from 0 to 1"}},
	"no release file":           {"air room --volume-cubic-meters 10 --flow-cubic-meters-per-second 1 --release absent.csv", "", []string{"absent.csv"}},
	"empty release":             {badRoom, "", []string{"standard input:1", "is empty", "species,start_minute"}},
	"header only":               {badRoom, badHead, []string{"standard input:2", "at least one line"}},
	"no header":                 {badRoom, "SO2,0,60,1\n", []string{"standard input:1", `"SO2,0,60,1" is no header`, "species,start_minute"}},
	"semicolons":                {badRoom, strings.ReplaceAll(badHead, ",", ";") + "SO2;0;60;1,5\n", []string{"standard input:1", "semicolons", "commas"}},
	"log with semicolons":       {"heat fit --log - --full-power 0-9", "minute;celsius\n0;20\n", []string{"standard input:1", "semicolons", "commas"}},
	"log with tabs":             {"heat fit --log - --full-power 0-9", "minute\tcelsius\n0\t20\n", []string{"standard input:1", "tabs", "commas"}},
	"column twice":              {badRoom, "species,species,start_minute,end_minute,grams_per_minute\n", []string{"column 2"}},
	"cell missing":              {badRoom, badHead + "SO2,0,60\n", []string{"standard input:2", "wrong number of fields"}},
	"quote open":                {badRoom, badHead + "\"SO2,0,60,1\n", []string{"standard input:", "quote"}},
	"end before start":          {badRoom, badHead + "SO2,60,0,1\n", []string{"standard input:2", "column 3, end_minute", "after the start"}},
	"minute no number":          {badRoom, badHead + "SO2,NaN,60,1\n", []string{"standard input:2", "column 2, start_minute", "from 0"}},
	"grams below zero":          {badRoom, badHead + "CO,0,60,1\nSO2,0,60,-1\n", []string{"standard input:3", "column 4, grams_per_minute"}},
	"unknown species":           {badRoom, badHead + "Xx,0,60,1\n", []string{"standard input:2", "column 1, species", "no element Xx"}},
	"all faults":                {badRoom, badHead + "Xx,0,60,1\nSO2,5,5,x\n", []string{"standard input:2", "standard input:3", "column 3", "column 4"}},
	"no log":                    {"heat fit --full-power 0-9", "", []string{"--log"}},
	"no stretch of the log":     {"heat fit --log -", "", []string{"--full-power", "--closed-cooling", "for example"}},
	"stretch a word":            {"heat fit --log - --full-power always", "", []string{"--full-power", "FROM-TO"}},
	"stretch backwards":         {"heat fit --log - --full-power 9-0", "", []string{"--full-power", "FROM-TO"}},
	"log without a header":      {"heat fit --log - --full-power 0-9", "0,20\n", []string{"standard input:1", "minute or time"}},
	"log out of order":          {"heat fit --log - --full-power 0-9", "minute,celsius\n5,20\n4,30\n", []string{"standard input:3", "minute", "order of time"}},
	"volts without a type":      {"heat fit --log - --full-power 0-9", "minute,millivolts\n5,2\n", []string{"standard input:1", "--thermocouple", "K S N R B"}},
	"stretch without readings":  {"heat fit --log testdata/log.csv --closed-cooling 180-190", "", []string{"--closed-cooling 180-190", "at least 6"}},
	"stretches that overlap":    {"heat fit --log testdata/log.csv --full-power 0-180 --closed-cooling 170-900", "", []string{"--closed-cooling 170-900", "--full-power 0-180"}},
	"log with too little in it": {"heat fit --log - --full-power 0-99", "minute,celsius\n0,20\n1,23\n2,31\n3,38\n4,49\n5,52\n", []string{"standard input", "final_celsius", "log a longer heating"}},
	"log and furnace at once":   {"heat fit --log - --furnace - --full-power 0-99", "", []string{"--log", "--furnace"}},
	"furnace of the log":        {"heat fit --log testdata/log.csv --furnace - --full-power 0-180", "name: muffle\nsource: electric\ntop_celsius: 1100\n", []string{"standard input", "cooling_times"}},
	"no species":                {"air protection --ppm 1", "", []string{"species"}},
	"species unknown":           {"air protection --species Xx --ppm 1", "", []string{"--species", "no element Xx"}},
	"no concentration":          {"air protection --species SO2", "", []string{"--ppm", "--milligrams-per-cubic-meter"}},
	"two concentrations":        {"air protection --species SO2 --ppm 1 --milligrams-per-cubic-meter 1", "", []string{"ppm"}},
	"concentration below zero":  {"air protection --species SO2 --ppm -1", "", []string{"--ppm", "from 0 to 1000000"}},
	"mass of no species":        {"air protection --species Xx --milligrams-per-cubic-meter 1", "", []string{"--species", "no element Xx"}},
	"no such limit":             {"air limits --species Xx", "", []string{"--species", "no limit is tabled"}},
	"natural flow below zero":   {strings.Replace(badRoom, "room", "fan-failure", 1) + "--natural-cubic-meters-per-second -1", badHead, []string{"--natural-cubic-meters-per-second"}},
	"failure minute no number":  {strings.Replace(badRoom, "room", "fan-failure", 1) + "--at-minute soon", badHead, []string{"--at-minute"}},
	"no furnace":                {"heat time --program testdata/calcine.yaml", "", []string{"furnace"}},
	"furnace not there":         {"heat time --furnace absent.yaml --program testdata/calcine.yaml", "", []string{"absent.yaml"}},
	"furnace without times":     {"heat time --furnace - --program testdata/calcine.yaml", "name: muffle\nsource: electric\ntop_celsius: 1100\n", []string{"standard input", "heating_times", "cooling_times"}},
	"unknown reaction":          {"heat conversion --program testdata/calcine.yaml --reaction kaolin", "", []string{"--reaction", `"kaolin"`, "kaolinite", "heat reactions"}},
	"reaction without a rate":   {"heat conversion --program testdata/calcine.yaml --reaction malachite", "", []string{"--reaction", "200 to 380 C", "kaolinite"}},
	"no depth at all":           {"heat conversion --program testdata/calcine.yaml --reaction calcite --depth-millimeters 0", "", []string{"--depth-millimeters", "above 0"}},
	"no diffusivity":            {"heat conversion --program testdata/calcine.yaml --reaction calcite --diffusivity-square-meters-per-second 1", "", []string{"--diffusivity-square-meters-per-second", "0.001"}},
	"full power alone":          {"heat conversion --reaction calcite --program -", "segments:\n  - {to_celsius: 600, rate_celsius_per_hour: 100}\n  - {to_celsius: 900}\n", []string{"standard input:3", "segments[1].rate_celsius_per_hour", "furnace"}},
	"out of reach":              {"heat conversion --reaction calcite --program - " + badMuffle, "segments:\n  - {to_celsius: 1900}\n", []string{"standard input:2", "segments[0].to_celsius", "reach"}},
	"unknown field":             {"heat time --furnace - --program testdata/calcine.yaml", "name: muffle\nheight: 3\n", []string{"standard input:2", "height"}},
	"program without end":       {"heat time --program - " + badMuffle, "segments:\n  - {to_celsius: 600, hold_minutes: 1e9}\n", []string{"standard input:2", "segments[0].hold_minutes"}},
	"program below zero":        {"heat time --program - " + badMuffle, "segments:\n  - to_celsius: 600\n  - to_celsius: -5\n", []string{"standard input:3", "segments[1].to_celsius"}},
	"no segment":                {"heat time --program - " + badMuffle, "cooling: closed\n", []string{"standard input", "segments"}},
	"start no number":           {"heat time --program testdata/calcine.yaml --start-celsius NaN " + badMuffle, "", []string{"--start-celsius", "from -40 to 2000"}},
	"opened colder than air":    {"heat time --program testdata/calcine.yaml --open-below-celsius 10 " + badMuffle, "", []string{"--open-below-celsius"}},
	"gas without a feed":        {"gas equilibrium --celsius 900", "", []string{"--feed", "CO2=1,C=1"}},
	"gas without a temperature": {"gas equilibrium --feed CO2=1", "", []string{"--celsius"}},
	"gas too hot":               {"gas equilibrium --celsius 2001 --feed CO2=1", "", []string{"--celsius", "from 25 to 2000"}},
	"gas too cold":              {"gas equilibrium --celsius 24 --feed CO2=1", "", []string{"--celsius", "from 25 to 2000"}},
	"gas without pressure":      {"gas equilibrium --celsius 900 --pressure-bar 0 --feed CO2=1", "", []string{"--pressure-bar", "from 0.000001 to 1000"}},
	"feed empty":                {"gas equilibrium --celsius 900 --feed ,", "", []string{"--feed, part 1: is empty", "--feed, part 2", "CO2=1,C=1"}},
	"feed without moles":        {"gas equilibrium --celsius 900 --feed CO2", "", []string{"--feed, part 1", `"CO2" is no FORMULA=MOLES`}},
	"feed without formula":      {"gas equilibrium --celsius 900 --feed CO2=1,=2", "", []string{"--feed, part 2", `"=2"`}},
	"feed with words":           {"gas equilibrium --celsius 900 --feed CO2=some", "", []string{"--feed, part 1", `"some" is no number`}},
	"feed of nothing":           {"gas equilibrium --celsius 900 --feed CO2=1,CO=0", "", []string{"--feed, part 2", "above zero"}},
	"feed below zero":           {"gas equilibrium --celsius 900 --feed CO2=-1", "", []string{"--feed, part 1", "above zero"}},
	"feed no number":            {"gas equilibrium --celsius 900 --feed CO2=NaN", "", []string{"--feed, part 1", "above zero"}},
	"feed not tabled":           {"gas equilibrium --celsius 900 --feed CO2=1,CH4=1", "", []string{"--feed, part 2", "CH4", "give one of SO2"}},
	"feed twice":                {"gas equilibrium --celsius 900 --feed CO2=1,CO2=1", "", []string{"--feed, part 2", "twice"}},
	"feed of carbon alone":      {"gas equilibrium --celsius 900 --feed C=1", "", []string{"--feed", "makes no gas"}},
	"feed too cold":             {"gas equilibrium --celsius 900 --feed CO2=1,SO2=1 --feed-celsius 0", "", []string{"--feed-celsius", "SO2", "give 25"}},
	"feed endless":              {"gas equilibrium --celsius 900 --feed CO2=1," + strings.Repeat("C", maxFeedBytes), "", []string{"--feed", "longer"}},
	"species not tabled":        {"gas equilibrium --celsius 900 --feed CO2=1 --species CO,CH4", "", []string{"--species, part 2", "CH4"}},
	"species too few":           {"gas equilibrium --celsius 900 --feed CO2=1 --species CO", "", []string{"--species", "add species"}},
	"offline without studio":    {"recipe check testdata/oxidise.yaml --offline", "", []string{"--studio-file"}},
	"files without offline":     {"recipe check testdata/oxidise.yaml --material-file x.yaml", "", []string{"--offline"}},
	"studio from standard in":   {"recipe check testdata/oxidise.yaml --offline --studio-file -", "", []string{"--studio-file"}},
	"no date":                   {badOffline + "--on-date tomorrow", "", []string{"--on-date", "YYYY-MM-DD"}},
	"recipe not there":          {strings.Replace(badOffline, "oxidise", "absent", 1), "", []string{"absent.yaml"}},
	"other recipe":              {badOffline + "--recipe reduce", "", []string{"--recipe reduce", "oxidise"}},
	"material not known":        {badOffline, "", []string{"testdata/oxidise.yaml:6", "stages[0].additions[0].material", "sulfur"}},
	"material twice":            {badOffline + "--material-file testdata/sulfur.yaml --material-file testdata/sulfur.yaml", "", []string{"sulfur.yaml", "given twice"}},
	"material broken":           {badOffline + "--material-file testdata/broken.yaml", "", []string{"broken.yaml:3", "phases[0].formula"}},
	"furnace not in the studio": {strings.Replace(badOffline, "testdata/oxidise.yaml", demo+"sodalite-blue.yaml", 1) + "--material-file " + demo + "materials.yaml", "", []string{"sodalite-blue.yaml:14: stages[0].furnaces[0]", `no furnace "small-kiln"`}},
	"one of several recipes":    {strings.Replace(badOffline, "testdata/oxidise.yaml", demo+"recipes.yaml", 1), "", []string{"--recipe", "name one of", "bisque"}},
	"factor zero":               {badOffline + "--factor 0", "", []string{"--factor", "above 0"}},
	"factor no number":          {badOffline + "--factor NaN", "", []string{"--factor", "above 0"}},
	"two scales":                {badOffline + "--factor 2 --product-grams 5", "", []string{"factor", "product-grams"}},
	"crucibles without volume":  {badOffline + "--crucibles 2", "", []string{"crucible-milliliters"}},
	"product that nobody names": {badOffline + "--material-file testdata/sulfur.yaml --product-grams 5", "", []string{"--product-grams"}},
	"no studio for the server":  {"recipe check testdata/oxidise.yaml --studio Marl", "", []string{"--studio"}},
	"format unknown":            {"formula mass NaCl --output xml", "", []string{"xml", "table, json, yaml or csv"}},
}

func TestBadInputIsNamedWithItsPlaceAndWhatWouldBeRight(t *testing.T) {
	for name, c := range badCommands {
		r := at(t, c.input, strings.Fields(c.args)...)
		assert.Equal(t, api.ExitBadInput, r.code, name)
		assert.Empty(t, r.out, name)
		for _, words := range c.says {
			assert.Contains(t, r.errOut, words, name)
		}
	}
}

func TestAFileWithoutAHeaderOrCommasIsOneFault(t *testing.T) {
	const header = "species;start_minute;end_minute;grams_per_minute\n"
	for name, in := range map[string]string{
		"no header": "SO2,0,60,1\nSO2,60,90,1\n", "semicolons": header + "SO2;0;60;1\n", "a mark before": "\ufeff" + header,
	} {
		_, err := readReleases("release.csv", strings.NewReader(in))
		require.Error(t, err, name)
		assert.Len(t, strings.Split(strings.TrimSpace(err.Error()), "\n"), 1, name)
	}
	for name, in := range map[string]string{"no header": "0,20\n1,30\n", "semicolons": "minute;celsius\n0;20\n"} {
		_, err := file.DecodeLog("log.csv", []byte(in), file.LogOptions{})
		require.Error(t, err, name)
		assert.Len(t, strings.Split(strings.TrimSpace(err.Error()), "\n"), 1, name)
	}
}
