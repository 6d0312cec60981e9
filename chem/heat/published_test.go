package heat

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The worked examples of testdata/thermal-examples.csv, which names the source of each and how far it was read. Those left
// out ask what a charge takes, which this package is told.
func TestPublishedThermalExamples(t *testing.T) {
	examples := map[string]func(*testing.T) float64{
		"h-01": newtonCooling, "h-02": bead, "h-04": lumpedKilnHeats, "h-05": lumpedKilnCools,
		"h-15": func(t *testing.T) float64 { return heldAtShare(t, 230*13/1000.0, 0.6, 8) },
		"h-16": func(t *testing.T) float64 { return heldAtShare(t, 230*230/17.6/1000, 0.45, 11.5) },
	}
	met := 0
	for _, row := range readRows(t, "thermal-examples.csv") {
		if example, ok := examples[row["id"]]; ok {
			met++
			t.Run(row["id"]+" "+row["kind"], func(t *testing.T) {
				assert.InDelta(t, row.number(t, "expected"), example(t), row.number(t, "tolerance"), "%s: %s", row["inputs"], row["source"])
			})
		}
	}
	assert.Equal(t, len(examples), met)
}

// newtonCooling: 90 C in a room of 25 C, 75 C after 5 min; the temperature at 10 min.
func newtonCooling(t *testing.T) float64 {
	f := muffle()
	f.AmbientCelsius = 25
	f.CoolingTimes = []Timing{{FromCelsius: 90, ToCelsius: 75, Minutes: 5}}
	c, err := Fit(f)
	require.NoError(t, err)
	c.ColdFactor = 1 // the example is one lump all the way
	result, err := RunUntil(f, c, Program{Segments: []Segment{{ToCelsius: 90}}}, 90, 40)
	require.NoError(t, err)
	way := result.Profile
	for i := range way { // the profile's straight lines are off by up to 1 C, its points are not
		if way[i].Minute > 10 {
			at := func(p Point) float64 { return 25 + (p.Celsius-25)*math.Exp((p.Minute-10)/c.CoolingTauMinutes) }
			assert.InDelta(t, at(way[i-1]), at(way[i]), 1e-9)
			return at(way[i])
		}
	}
	return 0
}

// bead: how many seconds a thermocouple's bead of 0.706 mm takes from 25 C to 199 C in gas of 200 C, by its own
// tau = rho c d/(6 h).
func bead(*testing.T) float64 {
	tau := 8500.0 * 400 * 0.706e-3 / (6 * 400)
	c := Constants{AmbientCelsius: 25, FinalCelsius: 200, HeatingTauMinutes: tau / 60, NetKilowatts: 1}
	return 60 * c.rise([]band{{from: 25, to: 199}}, math.Inf(1)).minutes()
}

// lumpedKilnHeats: C 50 kJ/K, UA 2.0 W/K, 3 kW from 20 C; the temperature after an hour, by one lump and by two that are as
// good as one.
func lumpedKilnHeats(t *testing.T) float64 {
	c, f := lumpedKiln(t)
	assert.InDelta(t, 1520, c.FinalCelsius, 0.5)
	assert.InDelta(t, 50000/2.0/60, c.HeatingTauMinutes, 0.5)
	result, err := Run(f, c, Program{Segments: []Segment{{ToCelsius: 221.17}}}, 20)
	require.NoError(t, err)
	assert.InDelta(t, 60, result.FireMinutes, 0.05)
	assert.InDelta(t, 3, result.EnergyKilowattHours, 0.003, "3 kW for an hour")
	chamber, lining, err := nearlyOneLump.After(20, 20, 3, 60)
	require.NoError(t, err)
	assert.InDelta(t, chamber, lining, 0.01)
	assert.InDelta(t, chamber, At(result.Profile, 60), 0.05)
	return chamber
}

// lumpedKilnCools: the same with the power off, from 900 C; the temperature after 28800 s.
func lumpedKilnCools(t *testing.T) float64 {
	c, _ := lumpedKiln(t)
	minutes, err := CoolingMinutes(c, 900, 298.08)
	require.NoError(t, err)
	assert.InDelta(t, 480, minutes, 0.05)
	chamber, _, err := nearlyOneLump.After(900, 900, 0, 480)
	require.NoError(t, err)
	return chamber
}

// nearlyOneLump is that kiln in two parts with hardly anything between them.
var nearlyOneLump = TwoLumps{ChamberKilojoulesPerKelvin: 20, LiningKilojoulesPerKelvin: 30, ToLiningKelvinPerKilowatt: 1e-4,
	ToRoomKelvinPerKilowatt: 500, AmbientCelsius: 20}

// heldAtShare is what the supply gives to a furnace held where its loss is a share of full power, in kilowatt hours.
func heldAtShare(t *testing.T, inputKilowatts, share, hours float64) float64 {
	c, f := lumpedKiln(t)
	c.InputKilowatts, c.NetKilowatts = inputKilowatts, 0.9*inputKilowatts
	celsius := c.AmbientCelsius + share*(c.FinalCelsius-c.AmbientCelsius)
	result, err := Run(f, c, Program{Segments: []Segment{{ToCelsius: celsius, HoldMinutes: 60 * hours}}}, celsius)
	require.NoError(t, err)
	assert.InDelta(t, share*inputKilowatts, result.Segments[0].MeanInputKilowatts, 1e-9)
	return result.InputKilowattHours
}

// lumpedKiln is that kiln, known only by stretches of its own law.
func lumpedKiln(t *testing.T) (Constants, Furnace) {
	t.Helper()
	const tau, final, ambient = 25000.0 / 60, 1520.0, 20.0
	f := muffle()
	f.AmbientCelsius, f.NetKilowatts, f.InputKilowatts, f.TopCelsius = ambient, 3, 3, 1300
	f.HeatingTimes, f.CoolingTimes = nil, nil
	for _, s := range [][2]float64{{20, 300}, {300, 700}, {700, 1100}} {
		f.HeatingTimes = append(f.HeatingTimes, Timing{FromCelsius: s[0], ToCelsius: s[1],
			Minutes: tau * math.Log((final-s[0])/(final-s[1]))})
	}
	for _, s := range [][2]float64{{1000, 600}, {600, 298.08}} {
		f.CoolingTimes = append(f.CoolingTimes, Timing{FromCelsius: s[0], ToCelsius: s[1],
			Minutes: tau * math.Log((s[0]-ambient)/(s[1]-ambient))})
	}
	c, err := Fit(f)
	require.NoError(t, err)
	return c, f
}

// muffle is an invented electric furnace with round numbers.
func muffle() Furnace {
	return Furnace{
		ID: "muffle", Source: Electric, Control: Programmed, NetKilowatts: 4, InputKilowatts: 5, TopCelsius: 1200,
		AmbientCelsius: 20, OverTemperatureCutOut: true, Atmospheres: []Atmosphere{Oxidising},
		HeatingTimes: []Timing{{FromCelsius: 20, ToCelsius: 600, Minutes: 60}, {FromCelsius: 600, ToCelsius: 1000, Minutes: 75}},
		CoolingTimes: []Timing{{FromCelsius: 1000, ToCelsius: 300, Minutes: 400}},
	}
}
