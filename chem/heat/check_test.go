package heat

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"saggar/chem/finding"
)

func codes(findings []finding.Finding) []string {
	all := []string{}
	for _, f := range findings {
		all = append(all, string(f.Severity)+" "+f.Code)
	}
	return all
}

func TestCheckFindsNothingWrong(t *testing.T) {
	f := muffle()
	f.MaxChargeGrams, f.MaxRateCelsiusPerHour, f.ToleranceCelsius, f.Excludes = 2000, 100, 5, []string{Sulfur}
	request := calcine()
	request.ChargeGrams, request.Contents = 2000, []string{Carbon}
	assert.Empty(t, Check(f, request))
}

// rule is a change to a treatment that Check likes, and the one finding that comes of it; empty: none.
type rule struct {
	change func(*Furnace, *Treatment)
	want   string
	field  string
}

func checkRules(t *testing.T, rules map[string]rule) {
	t.Helper()
	for name, test := range rules {
		t.Run(name, func(t *testing.T) {
			f, request := muffle(), calcine()
			test.change(&f, &request)
			found := Check(f, request)
			if test.want == "" {
				assert.Empty(t, found)
				return
			}
			require.Len(t, found, 1, codes(found))
			assert.Equal(t, []string{test.want}, codes(found))
			assert.Equal(t, test.field, found[0].Field)
			assert.Equal(t, "muffle", found[0].About)
			assert.NotEmpty(t, found[0].Cure)
		})
	}
}

func TestCheckOfTheCourse(t *testing.T) {
	checkRules(t, map[string]rule{
		"at the top": {func(f *Furnace, r *Treatment) {
			f.TopCelsius = 600
		}, "", ""},
		"above it": {func(f *Furnace, r *Treatment) {
			f.TopCelsius = 599
		}, "BLOCK HEAT_ABOVE_TOP", "program.segments[0].to_celsius"},
		"near it": {func(f *Furnace, r *Treatment) {
			f.TopCelsius, f.ToleranceCelsius = 604, 5
		}, "NOTE HEAT_NEAR_TOP", "program.segments[0].to_celsius"},
		"worn out": {func(f *Furnace, r *Treatment) {
			f.TopCelsius = 2000
			r.Program.Segments[0] = Segment{ToCelsius: 1999}
			f.HeatingTimes = worn()
		}, "BLOCK HEAT_UNREACHABLE", "program.segments[0].to_celsius"},
		"down to cold": {func(f *Furnace, r *Treatment) {
			r.Program.Segments = append(r.Program.Segments, Segment{ToCelsius: 20})
		}, "BLOCK HEAT_UNREACHABLE", "program.segments[1].to_celsius"},
		"takes for ever": {func(f *Furnace, r *Treatment) {
			f.CoolingTimes[0].Minutes = 20000
			r.Program.Segments = append(r.Program.Segments, Segment{ToCelsius: 26})
			r.OpenBelowCelsius = 600
		}, "BLOCK HEAT_UNREACHABLE", "program.segments[1].to_celsius"},
		"too fast for furnace": {func(f *Furnace, r *Treatment) {
			r.Program.Segments[0].RateCelsiusPerHour = 3000
		}, "WARN HEAT_FASTER_THAN_FURNACE", "program.segments[0].rate_celsius_per_hour"},
		"too fast for cooling": {func(f *Furnace, r *Treatment) {
			r.Program.Segments = append(r.Program.Segments, Segment{ToCelsius: 200, RateCelsiusPerHour: 300})
		}, "WARN HEAT_FASTER_THAN_FURNACE", "program.segments[1].rate_celsius_per_hour"},
		"too fast for control": {func(f *Furnace, r *Treatment) {
			f.MaxRateCelsiusPerHour = 99
		}, "WARN HEAT_FASTER_THAN_CONTROL", "program.segments[0].rate_celsius_per_hour"},
		"near enough to be at the top": {func(f *Furnace, r *Treatment) {
			f.TopCelsius, f.ToleranceCelsius = 605, 5
		}, "", ""},
		"just above it": {func(f *Furnace, r *Treatment) {
			f.TopCelsius = 599.999
		}, "BLOCK HEAT_ABOVE_TOP", "program.segments[0].to_celsius"},
		"as fast as control": {func(f *Furnace, r *Treatment) {
			f.MaxRateCelsiusPerHour = r.Program.Segments[0].RateCelsiusPerHour
		}, "", ""},
		"just too fast for control": {func(f *Furnace, r *Treatment) {
			f.MaxRateCelsiusPerHour = r.Program.Segments[0].RateCelsiusPerHour - 0.001
		}, "WARN HEAT_FASTER_THAN_CONTROL", "program.segments[0].rate_celsius_per_hour"},
		"full power": {func(f *Furnace, r *Treatment) {
			r.Program.Segments[0].RateCelsiusPerHour = 0
		}, "", ""},
	})
}

func TestCheckOfTheFurnace(t *testing.T) {
	checkRules(t, map[string]rule{
		"set point": {func(f *Furnace, r *Treatment) {
			f.Control = SetPoint
		}, "WARN HEAT_SET_BY_PERSON", "program.segments"},
		"set point, full power": {func(f *Furnace, r *Treatment) {
			f.Control = SetPoint
			r.Program.Segments[0].RateCelsiusPerHour = 0
		}, "", ""},
		"reducing in air": {func(f *Furnace, r *Treatment) {
			r.Atmosphere, r.Program.Cooling = Neutral, CoolOpen
		}, "BLOCK FURNACE_ATMOSPHERE", "atmosphere"},
		"reducing, opened cold": {func(f *Furnace, r *Treatment) {
			f.Atmospheres = append(f.Atmospheres, Reducing)
			r.Atmosphere = Reducing
		}, "WARN HEAT_OPENED_REDUCING", "open_below_celsius"},
		"reducing, set down at 650": {func(f *Furnace, r *Treatment) {
			f.Atmospheres = append(f.Atmospheres, Reducing)
			r.Atmosphere, r.Program.Cooling, r.Program.Segments[0].ToCelsius = Reducing, SetDown, 650
		}, "", ""},
		"reducing, set down just below 650": {func(f *Furnace, r *Treatment) {
			f.Atmospheres = append(f.Atmospheres, Reducing)
			r.Atmosphere, r.Program.Cooling, r.Program.Segments[0].ToCelsius = Reducing, SetDown, 649.99
		}, "WARN HEAT_OPENED_REDUCING", "open_below_celsius"},
		"neutral, opened cold": {func(f *Furnace, r *Treatment) {
			f.Atmospheres = append(f.Atmospheres, Neutral)
			r.Atmosphere = Neutral
		}, "", ""},
		"as much as it takes": {func(f *Furnace, r *Treatment) {
			f.MaxChargeGrams, r.ChargeGrams = 500, 500
		}, "", ""},
		"excluded": {func(f *Furnace, r *Treatment) {
			f.Excludes, r.Contents = []string{Sulfur, Chloride}, []string{Carbon, Sulfur}
		}, "BLOCK FURNACE_EXCLUDES", "contents"},
		"too much": {func(f *Furnace, r *Treatment) {
			f.MaxChargeGrams, r.ChargeGrams = 500, 500.1
		}, "BLOCK FURNACE_CHARGE_TOO_LARGE", "charge_grams"},
		"no cut-out": {func(f *Furnace, r *Treatment) {
			f.OverTemperatureCutOut = false
		}, "NOTE FURNACE_WITHOUT_CUT_OUT", "furnace.over_temperature_cut_out"},
		"unattended": {func(f *Furnace, r *Treatment) {
			f.OverTemperatureCutOut, r.FireWatch = false, WatchNone
		}, "BLOCK FURNACE_WITHOUT_CUT_OUT", "furnace.over_temperature_cut_out"},
		"gas, asked unattended": {func(f *Furnace, r *Treatment) {
			f.Source, r.FireWatch, r.NothingComesOff = Gas, WatchNone, true
		}, "WARN HEAT_WATCH_RAISED", "fire_watch"},
		"by hand, asked in reach": {func(f *Furnace, r *Treatment) {
			f.Control, r.FireWatch = ByHand, InReach
		}, "WARN HEAT_WATCH_RAISED", "fire_watch"},
		"no atmosphere listed, air": {func(f *Furnace, r *Treatment) {
			f.Atmospheres = nil
		}, "", ""},
		"no atmosphere listed, neutral": {func(f *Furnace, r *Treatment) {
			f.Atmospheres, r.Atmosphere = nil, Neutral
		}, "BLOCK FURNACE_ATMOSPHERE", "atmosphere"},
		"watch": {func(f *Furnace, r *Treatment) {
			r.FireWatch = WatchNone
		}, "WARN HEAT_WATCH_RAISED", "fire_watch"},
		"cannot clear": {func(f *Furnace, r *Treatment) {
			f.Atmospheres, r.Atmosphere, r.ClearAfter = []Atmosphere{Neutral}, Neutral, true
		}, "BLOCK FURNACE_CANNOT_CLEAR", "clear_after"},
		"charge above top": {func(f *Furnace, r *Treatment) {
			r.ChargeAtCelsius = 1201
			r.Program.Segments[0].RateCelsiusPerHour = 0
		}, "BLOCK HEAT_ABOVE_TOP", "charge_at_celsius"},
		"unmeasured": {func(f *Furnace, r *Treatment) {
			f.HeatingTimes = nil
		}, "BLOCK HEAT_FURNACE_UNMEASURED", "furnace.heating_times"},
		"not a number": {func(f *Furnace, r *Treatment) {
			r.ChargeGrams = math.NaN()
		}, "BLOCK HEAT_TREATMENT_INVALID", "charge_grams"},
		"never ends": {func(f *Furnace, r *Treatment) {
			r.Program.Segments[0].RateCelsiusPerHour = 1
		}, "BLOCK HEAT_TREATMENT_INVALID", "program.segments[0].rate_celsius_per_hour"},
	})
}

// Sources of what each kind of element suffers stand in chem/data/furnace-elements.csv.
func TestCheckOfTheElements(t *testing.T) {
	const warn, note = "WARN FURNACE_ELEMENTS", "NOTE FURNACE_ELEMENTS"
	cases := map[string]rule{}
	for name, c := range map[string]struct {
		elementType string
		content     string
		want        string
	}{
		"nickel wire, sulfur":        {"NiCr 80/20", Sulfur, warn},
		"nichrome, sulfur":           {"Nichrome coil", Sulfur, warn},
		"iron wire, sulfur":          {"FeCrAl A-1", Sulfur, note},
		"iron wire, chloride":        {"fecral", Chloride, warn},
		"iron wire, fluoride":        {"iron-chromium-aluminium", Fluoride, warn},
		"iron wire, volatile metal":  {"FeCrAl", VolatileMetal, warn},
		"iron wire, carbon":          {"FeCrAl", Carbon, note},
		"carbide rods, sulfur":       {"SiC rods", Sulfur, ""},
		"carbide rods, chloride":     {"Silicon carbide", Chloride, warn},
		"disilicide, fluoride":       {"MoSi2", Fluoride, warn},
		"disilicide, volatile metal": {"MoSi2", VolatileMetal, ""},
		"not stated, carbon":         {"", Carbon, ""},
	} {
		field := "contents"
		if c.want == "" {
			field = ""
		}
		cases[name] = rule{func(f *Furnace, r *Treatment) { f.ElementType, r.Contents = c.elementType, []string{c.content} }, c.want, field}
	}
	cases["not stated, sulfur"] = rule{func(f *Furnace, r *Treatment) { r.Contents = []string{Sulfur} }, note, "furnace.element_type"}
	cases["unknown, sulfur"] = rule{func(f *Furnace, r *Treatment) {
		f.ElementType, r.Contents = "resistor", []string{Sulfur}
	}, note, "furnace.element_type"}
	cases["excluded anyway"] = rule{func(f *Furnace, r *Treatment) {
		f.ElementType, f.Excludes, r.Contents = "FeCrAl", []string{Chloride}, []string{Chloride}
	}, "BLOCK FURNACE_EXCLUDES", "contents"}
	cases["a flame has none"] = rule{func(f *Furnace, r *Treatment) {
		f.Source, f.ElementType, r.Contents = Gas, "FeCrAl", []string{Chloride}
	}, "", ""}
	cases["carbon where reduction is held"] = rule{func(f *Furnace, r *Treatment) {
		f.ElementType, f.Atmospheres, r.Contents = "FeCrAl", append(f.Atmospheres, Reducing), []string{Carbon}
	}, "", ""}
	cases["reduction that it is stated to hold"] = rule{func(f *Furnace, r *Treatment) {
		f.ElementType, f.Atmospheres, r.Atmosphere = "FeCrAl", append(f.Atmospheres, Reducing), Reducing
		r.Program.Cooling, r.Program.Segments[0].ToCelsius = SetDown, 650
	}, note, "contents"}
	cases["reduction that it does not hold"] = rule{func(f *Furnace, r *Treatment) {
		f.ElementType, r.Atmosphere = "FeCrAl", Reducing
		r.Program.Cooling, r.Program.Segments[0].ToCelsius = SetDown, 650
	}, "BLOCK FURNACE_ATMOSPHERE", "atmosphere"}
	checkRules(t, cases)
}

// worn is the heating of a furnace that settles near 1250 C.
func worn() []Timing {
	law := heatingLaw(1250)
	times := []Timing{{FromCelsius: 20, ToCelsius: 700}, {FromCelsius: 700, ToCelsius: 1100}}
	for i := range times {
		times[i].Minutes = 120 * law(times[i])
	}
	return times
}

func TestCheckGivesTheMinutesLost(t *testing.T) {
	f, request := muffle(), calcine()
	request.Program.Segments[0].RateCelsiusPerHour = 3000
	found := Check(f, request)
	require.Len(t, found, 1)
	result, err := Run(f, fitted(t, f), request.Program, 20)
	require.NoError(t, err)
	want := result.Segments[0].DurationMinutes - result.Segments[0].AskedMinutes
	assert.Contains(t, found[0].Figures, finding.Figure{Name: "lost", Value: want, Unit: "min"})
	assert.Greater(t, want, 40.0)
}

func TestFindingsBeginWithTheFurnace(t *testing.T) {
	f := muffle()
	f.ID, f.MaxChargeGrams, f.Control, f.OverTemperatureCutOut = "muffle-one", 100, SetPoint, false
	f.Excludes = []string{Sulfur}
	treatment := calcine()
	treatment.Atmosphere, treatment.ChargeGrams, treatment.Contents = Reducing, 200, []string{Sulfur}
	treatment.Program.Segments = append(treatment.Program.Segments, Segment{ToCelsius: 1300})
	found := Check(f, treatment)
	require.GreaterOrEqual(t, len(found), 6)
	for _, one := range found {
		assert.True(t, strings.HasPrefix(one.Message, "muffle-one"), one.Message)
		assert.NotContains(t, one.Message, "muffle-one: the furnace")
	}
	assert.Contains(t, messages(found), "muffle-one cannot hold a reducing atmosphere; it holds [oxidising]")
	f.HeatingTimes = nil
	assert.Contains(t, messages(Check(f, treatment)), "muffle-one: no heating time was measured")
	f.ID = ""
	assert.Contains(t, messages(Check(f, treatment)), "the furnace may not take sulfur")
}

func messages(found []finding.Finding) []string {
	var list []string
	for _, one := range found {
		list = append(list, one.Message)
	}
	return list
}

// One segment is one thing to set.
func TestWhatAPersonMustSetIsCounted(t *testing.T) {
	for _, c := range []struct {
		segments int
		want     string
	}{{1, "the rate of its one segment must be set"}, {2, "its rates and 2 segments must be set"}} {
		f, request := muffle(), calcine()
		f.Control = SetPoint
		for len(request.Program.Segments) < c.segments {
			request.Program.Segments = append(request.Program.Segments, request.Program.Segments[0])
		}
		found := Check(f, request)
		i := slices.IndexFunc(found, func(f finding.Finding) bool { return f.Code == CodeSetByPerson })
		require.GreaterOrEqual(t, i, 0)
		assert.Contains(t, found[i].Message, c.want)
	}
}
