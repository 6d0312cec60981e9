package heat

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Newton's law of cooling, classroom example (inputs read, answer computed): 90 C in a room of 25 C, 75 C after 5 min,
// so 63.462 C at 10 min.
func TestPublishedNewtonCooling(t *testing.T) {
	f := muffle()
	f.AmbientCelsius = 25
	f.CoolingTimes = []Timing{{FromCelsius: 90, ToCelsius: 75, Minutes: 5}}
	c, err := Fit(f)
	require.NoError(t, err)
	assert.InDelta(t, 63.462, 25+65*math.Exp(-10/c.CoolingTauMinutes), 0.01)

	c.ColdFactor = 1 // the example is one lump all the way
	minutes, err := CoolingMinutes(c, 90, 63.462)
	require.NoError(t, err)
	assert.InDelta(t, 10, minutes, 0.01)
}

// Lumped first-order kiln, computed from T = Ta + P/UA + (T0 - Ta - P/UA) exp(-UA t/C): C 50 kJ/K, UA 2.0 W/K,
// P 3000 W, Ta 20 C, T0 20 C gives 221.17 C after 3600 s.
func TestLumpedKilnHeats(t *testing.T) {
	c, f := lumpedKiln(t)
	assert.InDelta(t, 1520, c.FinalCelsius, 0.5)
	assert.InDelta(t, 50000/2.0/60, c.HeatingTauMinutes, 0.5)
	result, err := Run(f, c, Program{Segments: []Segment{{ToCelsius: 221.17}}}, 20)
	require.NoError(t, err)
	assert.InDelta(t, 60, result.FireMinutes, 0.05)
	assert.InDelta(t, 3, result.EnergyKilowattHours, 0.003, "3 kW for an hour")
	assert.InDelta(t, 221.17, At(result.Profile, 60), 0.05)
}

// The same kiln with the power off, by the same formula: 900 C falls to 298.08 C in 28800 s.
func TestLumpedKilnCools(t *testing.T) {
	c, _ := lumpedKiln(t)
	minutes, err := CoolingMinutes(c, 900, 298.08)
	require.NoError(t, err)
	assert.InDelta(t, 480, minutes, 0.05)
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
