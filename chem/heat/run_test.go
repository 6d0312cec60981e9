package heat

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
	"saggar/chem/finding"
)

func fitted(t require.TestingT, f Furnace) Constants {
	c, err := Fit(f)
	require.NoError(t, err)
	return c
}

func TestSlowProgramIsFollowedExactly(t *testing.T) {
	f := muffle()
	p := Program{Segments: []Segment{
		{ToCelsius: 600, RateCelsiusPerHour: 100, HoldMinutes: 480},
		{ToCelsius: 400, RateCelsiusPerHour: 50, HoldMinutes: 30},
	}}
	result, err := Run(f, fitted(t, f), p, 20)
	require.NoError(t, err)
	require.True(t, result.Reachable)
	assert.InDelta(t, 348+480, result.Segments[0].DurationMinutes, 1e-9)
	assert.InDelta(t, 348, result.Segments[0].RampMinutes, 1e-9)
	assert.InDelta(t, result.Segments[0].AskedMinutes, result.Segments[0].DurationMinutes, 1e-9)
	assert.InDelta(t, 240+30, result.Segments[1].DurationMinutes, 1e-9)
	assert.InDelta(t, 310, At(result.Profile, 174), 1e-9)
	assert.InDelta(t, 500, At(result.Profile, 348+480+120), 1e-9)
	assert.InDelta(t, 1098, result.FireMinutes, 1e-9)
	assert.Less(t, result.Segments[0].PossibleMinutes, result.Segments[0].AskedMinutes)
}

func TestMaxRateHoldsFullPowerBack(t *testing.T) {
	f := muffle()
	c := fitted(t, f)
	f.MaxRateCelsiusPerHour = 60
	result, err := Run(f, c, Program{Segments: []Segment{{ToCelsius: 320}}}, 20)
	require.NoError(t, err)
	assert.InDelta(t, 300, result.FireMinutes, 1e-9)
	assert.Zero(t, result.Segments[0].AskedMinutes)
}

func TestLongHoldCostsItsWallLoss(t *testing.T) {
	f := muffle()
	c := fitted(t, f)
	result, err := Run(f, c, Program{Segments: []Segment{{ToCelsius: 750, HoldMinutes: 240}}}, 750)
	require.NoError(t, err)
	loss := f.NetKilowatts * (750 - 20) / (c.FinalCelsius - 20)
	assert.InDelta(t, loss*4, result.EnergyKilowattHours, 1e-9)
	assert.InDelta(t, loss*4*5/4, result.InputKilowattHours, 1e-9)
	assert.InDelta(t, loss*5/4, result.PeakKilowatts, 1e-9)
}

func TestCoolingBelow300TakesThirtyPercentMore(t *testing.T) {
	f := muffle() // measured down to 300 C only
	c := fitted(t, f)
	hot, err := CoolingMinutes(c, 1000, 300)
	require.NoError(t, err)
	assert.InDelta(t, 400, hot, 1e-9)
	whole, err := CoolingMinutes(c, 1000, 100)
	require.NoError(t, err)
	// 980/280 = 280/80, so one lump alone would take 400 min again; 30 % more is common practice, no source.
	assert.InDelta(t, 400+1.3*400, whole, 1e-9)
	none, err := CoolingMinutes(c, 80, 100)
	require.NoError(t, err)
	assert.Zero(t, none)
}

func TestCoolingMeasuredColdIsTakenAsMeasured(t *testing.T) {
	f := muffle()
	f.CoolingTimes = []Timing{{FromCelsius: 1000, ToCelsius: 100, Minutes: 800}}
	minutes, err := CoolingMinutes(fitted(t, f), 1000, 100)
	require.NoError(t, err)
	assert.InDelta(t, 800, minutes, 1e-9)
}

func TestCoolingOpenIsQuickerWhileHot(t *testing.T) {
	f := muffle()
	c := fitted(t, f)
	p := Program{Segments: []Segment{{ToCelsius: 1000}}, Cooling: CoolOpen}
	result, err := RunUntil(f, c, p, 20, 100)
	require.NoError(t, err)
	assert.InDelta(t, 0.7*400+1.3*400, result.CoolingMinutes, 1e-9)
	p.Cooling = SetDown
	result, err = RunUntil(f, c, p, 20, 100)
	require.NoError(t, err)
	assert.InDelta(t, 400+1.3*400, result.CoolingMinutes, 1e-9)
}

func TestOutOfReach(t *testing.T) {
	f := muffle()
	c := fitted(t, f)
	for name, test := range map[string]struct {
		to        float64
		reachable bool
	}{
		"at the top":      {f.TopCelsius, c.FinalCelsius > f.TopCelsius},
		"above the top":   {f.TopCelsius + 1, false},
		"down to ambient": {20, false},
		"down to 40":      {40, true},
	} {
		t.Run(name, func(t *testing.T) {
			p := Program{Segments: []Segment{{ToCelsius: 500}, {ToCelsius: test.to, HoldMinutes: 7}, {ToCelsius: 600}}}
			result, err := Run(f, c, p, 20)
			require.NoError(t, err)
			assert.Equal(t, test.reachable, result.Reachable)
			assert.Equal(t, test.reachable, result.Segments[1].Reachable)
			assert.True(t, result.Segments[2].Reachable)
			if !test.reachable {
				assert.Zero(t, result.Segments[1].DurationMinutes)
			}
			assert.Equal(t, !test.reachable, strings.Contains(strings.Join(result.Assumptions, "\n"),
				fmt.Sprintf("segment 1, to %g C, is out of the furnace's reach", test.to)))
		})
	}
	f.TopCelsius = 2000
	result, err := Run(f, c, Program{Segments: []Segment{{ToCelsius: c.FinalCelsius}}}, 20)
	require.NoError(t, err)
	assert.False(t, result.Reachable, "full power only nears its final temperature")
}

func TestBadProgramsNameTheirFields(t *testing.T) {
	f := muffle()
	c := fitted(t, f)
	fine := Segment{ToCelsius: 500}
	for field, p := range map[string]Program{
		"segments":                          {},
		"segments[0].to_celsius":            {Segments: []Segment{{ToCelsius: math.NaN()}}},
		"segments[1].to_celsius":            {Segments: []Segment{fine, {ToCelsius: 9000}}},
		"segments[0].rate_celsius_per_hour": {Segments: []Segment{{ToCelsius: 500, RateCelsiusPerHour: -1}}},
		"segments[1].rate_celsius_per_hour": {Segments: []Segment{fine, {ToCelsius: 900, RateCelsiusPerHour: 1}}},
		"segments[0].hold_minutes":          {Segments: []Segment{{ToCelsius: 500, HoldMinutes: 14*24*60 + 1}}},
		"cooling":                           {Segments: []Segment{fine}, Cooling: "fan"},
	} {
		t.Run(field, func(t *testing.T) {
			_, err := Run(f, c, p, 20)
			faults := finding.FaultsOf(err)
			require.Len(t, faults, 1)
			assert.Equal(t, field, faults[0].Field)
		})
	}
	_, err := RunUntil(f, Constants{}, Program{Segments: []Segment{fine}}, math.Inf(1), math.NaN())
	assert.ErrorContains(t, err, "start_celsius")
	assert.ErrorContains(t, err, "open_below_celsius")
	assert.ErrorContains(t, err, "constants.heating_tau_minutes")
	_, err = RunUntil(f, c, Program{Segments: []Segment{fine}}, 20, 24.9)
	assert.ErrorContains(t, err, "open_below_celsius", "natural cooling never gets to ambient")
	_, err = CoolingMinutes(c, math.NaN(), 100)
	assert.ErrorContains(t, err, "from_celsius")
}

// drawFurnace draws a furnace that is one lump exactly, and what it is made of.
func drawFurnace(t *rapid.T) (Furnace, Constants) {
	truth := Constants{
		AmbientCelsius:    rapid.Float64Range(5, 40).Draw(t, "ambient"),
		HeatingTauMinutes: rapid.Float64Range(20, 900).Draw(t, "tau"),
		CoolingTauMinutes: rapid.Float64Range(60, 1500).Draw(t, "tau_c"),
	}
	f := muffle()
	f.AmbientCelsius = truth.AmbientCelsius
	f.TopCelsius = rapid.Float64Range(700, 1400).Draw(t, "top")
	truth.FinalCelsius = f.TopCelsius * rapid.Float64Range(1.02, 2).Draw(t, "final over top")
	middle := rapid.Float64Range(200, f.TopCelsius-250).Draw(t, "middle")
	heat, cool := heatingLaw(truth.FinalCelsius), coolingLaw(truth.AmbientCelsius)
	f.HeatingTimes = []Timing{{FromCelsius: truth.AmbientCelsius, ToCelsius: middle}, {FromCelsius: middle, ToCelsius: f.TopCelsius}}
	f.CoolingTimes = []Timing{{FromCelsius: f.TopCelsius, ToCelsius: 500}, {FromCelsius: 500, ToCelsius: 150}}
	for i := range f.HeatingTimes {
		f.HeatingTimes[i].Minutes = truth.HeatingTauMinutes * heat(f.HeatingTimes[i])
		f.CoolingTimes[i].Minutes = truth.CoolingTauMinutes * cool(f.CoolingTimes[i])
	}
	return f, truth
}

func TestFitRecoversALumpedFurnace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, truth := drawFurnace(t)
		c := fitted(t, f)
		assert.InEpsilon(t, truth.FinalCelsius, c.FinalCelsius, 1e-4)
		assert.InEpsilon(t, truth.HeatingTauMinutes, c.HeatingTauMinutes, 1e-3)
		assert.InEpsilon(t, truth.CoolingTauMinutes, c.CoolingTauMinutes, 1e-9)
	})
}

// The course is held against the balance C dT/dt = P - (T - Ta)/R, integrated in small steps with the power that the
// control would give: what the rate asks, at most full, at least none.
func TestCourseAgreesWithTheHeatBalance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, _ := drawFurnace(t)
		c := fitted(t, f)
		c.ColdFactor = 1
		c.HeatingTauMinutes = c.CoolingTauMinutes // one R and one C both ways
		from := rapid.Float64Range(c.AmbientCelsius, 600).Draw(t, "from")
		to := rapid.Float64Range(c.AmbientCelsius+20, f.TopCelsius-1).Draw(t, "to")
		rate := rapid.Float64Range(10, 3000).Draw(t, "rate")
		result, err := Run(f, c, Program{Segments: []Segment{{ToCelsius: to, RateCelsiusPerHour: rate}}}, from)
		require.NoError(t, err)
		require.True(t, result.Reachable)

		resistance := (c.FinalCelsius - c.AmbientCelsius) / c.NetKilowatts
		capacity := c.HeatingTauMinutes / resistance
		slope := math.Copysign(rate/60, to-from)
		power := func(celsius float64) float64 {
			return min(c.NetKilowatts, max(0, capacity*slope+(celsius-c.AmbientCelsius)/resistance))
		}
		perMinute := func(celsius float64) float64 {
			return (power(celsius) - (celsius-c.AmbientCelsius)/resistance) / capacity
		}
		const steps = 20000
		h := result.FireMinutes / steps
		celsius, energy := from, 0.0
		for range steps {
			k1 := perMinute(celsius)
			k2 := perMinute(celsius + h/2*k1)
			k3 := perMinute(celsius + h/2*k2)
			k4 := perMinute(celsius + h*k3)
			next := celsius + h/6*(k1+2*k2+2*k3+k4)
			energy += h / 60 * (power(celsius) + 4*power((celsius+next)/2) + power(next)) / 6
			celsius = next
		}
		assert.InDelta(t, to, celsius, 1e-6*to)
		assert.InDelta(t, energy, result.EnergyKilowattHours, 1e-4*max(1, energy))
		assert.LessOrEqual(t, result.PeakKilowatts, c.InputKilowatts*(1+1e-9))
	})
}

func TestProfileKeepsItsPromises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, _ := drawFurnace(t)
		c := fitted(t, f)
		var p Program
		for range rapid.IntRange(1, 6).Draw(t, "segments") {
			p.Segments = append(p.Segments, Segment{
				ToCelsius:          rapid.Float64Range(60, f.TopCelsius).Draw(t, "to"),
				RateCelsiusPerHour: rapid.SampledFrom([]float64{0, 40, 200, 900, 5000}).Draw(t, "rate"),
				HoldMinutes:        rapid.SampledFrom([]float64{0, 15, 240}).Draw(t, "hold"),
			})
		}
		result, err := Run(f, c, p, c.AmbientCelsius)
		require.NoError(t, err)
		require.True(t, result.Reachable)
		total, before := 0.0, c.AmbientCelsius
		for i, s := range p.Segments {
			times := result.Segments[i]
			assert.GreaterOrEqual(t, times.DurationMinutes, max(times.AskedMinutes, times.PossibleMinutes)-1e-6)
			assertMonotone(t, result.Profile, total, total+times.RampMinutes, math.Copysign(1, s.ToCelsius-before))
			total += times.DurationMinutes
			assert.InDelta(t, s.ToCelsius, At(result.Profile, total), 1e-6)
			before = s.ToCelsius
		}
		assert.InDelta(t, total, result.FireMinutes, 1e-6)
		assertMonotone(t, result.Profile, total, result.TotalMinutes, -1)
		assert.LessOrEqual(t, At(result.Profile, result.TotalMinutes), max(100+1e-9, result.EndCelsius))
		for i := 1; i < len(result.Profile); i++ {
			assert.Greater(t, result.Profile[i].Minute, result.Profile[i-1].Minute)
		}
	})
}

func assertMonotone(t *rapid.T, profile []Point, start, end, sign float64) {
	for i := 1; i < len(profile); i++ {
		if profile[i-1].Minute >= start-1e-9 && profile[i].Minute <= end+1e-9 {
			assert.GreaterOrEqual(t, sign*(profile[i].Celsius-profile[i-1].Celsius), -1e-9)
		}
	}
}

func TestProfileLinesStayWithinTwoDegrees(t *testing.T) {
	f := muffle()
	c := fitted(t, f)
	result, err := Run(f, c, Program{Segments: []Segment{{ToCelsius: 1000}}}, 20)
	require.NoError(t, err)
	for minute := 0.0; minute < result.FireMinutes; minute += 0.37 {
		exact := c.FinalCelsius - (c.FinalCelsius-20)*math.Exp(-minute/c.HeatingTauMinutes)
		assert.InDelta(t, exact, At(result.Profile, minute), 2)
	}
	for minute := 0.0; minute < 400; minute += 0.37 {
		exact := 20 + 980*math.Exp(-minute/c.CoolingTauMinutes)
		assert.InDelta(t, exact, At(result.Profile, result.FireMinutes+minute), 2)
	}
	assert.Less(t, len(result.Profile), 200)
}
