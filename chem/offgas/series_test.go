package offgas

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/heat"
)

// ramp goes from 20 to 620 C in 60 min, 10 C a minute, holds for 120 min, and is back at 20 C after 60 more.
var ramp = []heat.Point{{Minute: 0, Celsius: 20}, {Minute: 60, Celsius: 620}, {Minute: 180, Celsius: 620}, {Minute: 240, Celsius: 20}}

// massOf sums a series by species, in grams.
func massOf(series []air.Release) map[string]float64 {
	grams := map[string]float64{}
	for _, release := range series {
		grams[release.Species] += release.GramsPerMinute * (release.EndMinute - release.StartMinute)
	}
	return grams
}

func gas(species string, grams, low, high float64) chem.OffGas {
	return chem.OffGas{Species: species, MassGrams: grams, LowCelsius: low, HighCelsius: high}
}

func cold(gases ...chem.OffGas) Firing {
	return Firing{Gases: gases, Profile: ramp, ChargeAtCelsius: 20, Practice: chem.DefaultPractice()}
}

func TestSeriesWindows(t *testing.T) {
	hot := func(lid chem.Lid, g chem.OffGas) Firing {
		firing := cold(g)
		firing.ChargeAtCelsius, firing.ChargeMinute, firing.Lid = 500, -10, lid
		return firing
	}
	fed := cold(chem.OffGas{Species: "CO2", MassGrams: 10, LowCelsius: 700, HighCelsius: 900, FedHot: true})
	fed.FeedMinute, fed.Lid = 100, chem.LooseLid
	cases := []struct {
		name       string
		firing     Firing
		start, end float64
	}{
		{"range passed on the way up", cold(gas("H2O", 10, 120, 320)), 10, 30},
		{"range ends at the peak exactly", cold(gas("H2O", 10, 120, 620)), 10, 60},
		{"range not passed: to the end of the stay", cold(gas("H2O", 10, 420, 900)), 40, 180.1},
		{"starts at the peak exactly", cold(gas("H2O", 10, 620, 900)), 60, 180.1},
		{"nearly reached counts", cold(gas("H2O", 10, 620.5, 900)), 60, 180.1},
		{"at least a minute", cold(gas("H2O", 10, 120, 121)), 10, 11},
		{"below the start", cold(gas("H2O", 10, 20, 20)), 0, 5},
		{"fed hot", fed, 100, 120},
		{"hot, open", hot(chem.OpenLid, gas("SO2", 10, 250, 445)), -10, -5},
		{"hot, lid not stated", hot("", gas("SO2", 10, 250, 445)), -10, -5},
		{"hot, lidded", hot(chem.LooseLid, gas("SO2", 10, 250, 445)), -10, 10},
		{"hot, exactly at the range", hot(chem.OpenLid, gas("SO2", 10, 500, 600)), -10, -5},
		{"hot, above the charge's temperature", hot(chem.OpenLid, gas("SO2", 10, 520, 620)), 50, 60},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			series, err := Series(c.firing)
			require.NoError(t, err)
			require.Len(t, series, 1)
			assert.InDelta(t, c.start, series[0].StartMinute, 1e-9)
			assert.InDelta(t, c.end, series[0].EndMinute, 1e-9)
			assert.InDelta(t, 10, series[0].GramsPerMinute*(series[0].EndMinute-series[0].StartMinute), 1e-9)
		})
	}
}

func TestSeriesLeavesOutWhatIsNeverReached(t *testing.T) {
	series, err := Series(cold(gas("CO2", 10, 622, 900)))
	require.NoError(t, err)
	assert.Empty(t, series)
}

func TestSeriesJoinsAndOrders(t *testing.T) {
	series, err := Series(cold(gas("SO2", 1, 250, 445), gas("SO2", 2, 250, 445), gas("CO", 3, 220, 320), gas("CO2", 0, 300, 400)))
	require.NoError(t, err)
	require.Len(t, series, 2)
	assert.Equal(t, "CO", series[0].Species)
	assert.InDelta(t, 3.0, massOf(series)["SO2"], 1e-9)
}

func TestSeriesRefuses(t *testing.T) {
	cases := map[string]func(*Firing){
		"profile: there is no":     func(f *Firing) { f.Profile = nil },
		"profile[1]":               func(f *Firing) { f.Profile = []heat.Point{{Minute: 5, Celsius: 20}, {Minute: 4, Celsius: 30}} },
		"profile[0]: minute NaN":   func(f *Firing) { f.Profile = []heat.Point{{Minute: math.NaN(), Celsius: 20}} },
		"charge_minute":            func(f *Firing) { f.ChargeAtCelsius = math.Inf(1) },
		"gases[0]: -1 g of SO2":    func(f *Firing) { f.Gases = []chem.OffGas{gas("SO2", -1, 250, 445)} },
		"open_release_minutes: 0 ": func(f *Firing) { f.Practice = chem.Practice{LiddedReleaseMinutes: 20} },
	}
	for says, spoil := range cases {
		t.Run(says, func(t *testing.T) {
			firing := cold(gas("SO2", 1, 250, 445))
			spoil(&firing)
			_, err := Series(firing)
			assert.ErrorContains(t, err, says)
		})
	}
}

func TestMassInIsMassOut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var firing Firing
		firing.DepthMillimeters = rapid.SampledFrom([]float64{0, 5, 50}).Draw(t, "depth")
		firing.Practice = chem.DefaultPractice()
		firing.Lid = rapid.SampledFrom([]chem.Lid{"", chem.OpenLid, chem.LooseLid, chem.SealedLid}).Draw(t, "lid")
		firing.ChargeAtCelsius = rapid.Float64Range(0, 900).Draw(t, "charge")
		minute, peak := 0.0, 0.0
		for range rapid.IntRange(1, 8).Draw(t, "points") {
			point := heat.Point{Minute: minute, Celsius: rapid.Float64Range(0, 1300).Draw(t, "celsius")}
			firing.Profile = append(firing.Profile, point)
			minute += rapid.Float64Range(0, 300).Draw(t, "minutes")
			peak = math.Max(peak, point.Celsius)
		}
		want := map[string]float64{}
		for range rapid.IntRange(0, 6).Draw(t, "gases") {
			low := rapid.Float64Range(20, 1000).Draw(t, "low")
			one := gas(rapid.SampledFrom([]string{"SO2", "CO", "CO2"}).Draw(t, "species"),
				rapid.Float64Range(0, 1e5).Draw(t, "grams"), low, low+rapid.Float64Range(0, 400).Draw(t, "width"))
			one.Origin = rapid.SampledFrom([]string{"", "malachite", "kaolinite", "calcite", "portlandite"}).Draw(t, "origin")
			one.Case = rapid.SampledFrom([]chem.Case{chem.Cautious, chem.Likely}).Draw(t, "case")
			firing.Gases = append(firing.Gases, one)
			if low <= math.Max(firing.ChargeAtCelsius, peak+reachedWithinCelsius) {
				want[one.Species] += one.MassGrams
			}
		}
		series, err := Series(firing)
		require.NoError(t, err)
		got := massOf(series)
		for species, grams := range want {
			require.InDelta(t, grams, got[species], 1e-6+1e-9*grams, species)
		}
		for _, release := range series {
			require.GreaterOrEqual(t, release.EndMinute-release.StartMinute, shortestMinutes-1e-9)
			require.GreaterOrEqual(t, release.GramsPerMinute, 0.0)
		}
	})
}

func TestFlue(t *testing.T) {
	kiln := heat.Furnace{Source: heat.Gas,
		FlueCarbonMonoxideGramsPerKilowattHour: map[heat.Atmosphere]float64{heat.Reducing: 20}}
	burns := []Burn{{0, 60, 30}, {60, 120, 0}}
	series, err := Flue(kiln, heat.Reducing, burns, chem.DefaultPractice())
	require.NoError(t, err)
	// 0.2 kg CO2 for each kWh: common practice, no source.
	assert.Equal(t, []air.Release{
		{Species: "CO", StartMinute: 0, EndMinute: 60, GramsPerMinute: 10},
		{Species: "CO2", StartMinute: 0, EndMinute: 60, GramsPerMinute: 100},
	}, series)
	clean, err := Flue(kiln, heat.Oxidising, burns, chem.DefaultPractice())
	require.NoError(t, err)
	assert.Equal(t, map[string]float64{"CO2": 6000}, massOf(clean))
	electric, err := Flue(heat.Furnace{Source: heat.Electric}, heat.Reducing, burns, chem.DefaultPractice())
	require.NoError(t, err)
	assert.Empty(t, electric)
}

func TestFlueRefuses(t *testing.T) {
	kiln := heat.Furnace{Source: heat.Gas}
	_, err := Flue(kiln, heat.Neutral, []Burn{{10, 10, 1}, {0, 5, math.NaN()}}, chem.DefaultPractice())
	assert.ErrorContains(t, err, "burns[0].end_minute: 10 is not after the start 10")
	assert.ErrorContains(t, err, "burns[1].kilowatt_hours: NaN")
	kiln.FlueCarbonMonoxideGramsPerKilowattHour = map[heat.Atmosphere]float64{heat.Neutral: -1}
	_, err = Flue(kiln, heat.Neutral, nil, chem.DefaultPractice())
	assert.ErrorContains(t, err, "flue_carbon_monoxide")
}
