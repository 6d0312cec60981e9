package heat

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
	"saggar/chem/finding"
)

// state is a chamber's and a lining's temperature, or their slopes.
type state [2]float64

// integrate follows a system in small steps by the method of Runge and Kutta.
func integrate(at state, minutes float64, steps int, slope func(state) state) state {
	h := minutes / float64(steps)
	along := func(from state, by float64, way state) state { return state{from[0] + by*way[0], from[1] + by*way[1]} }
	for range steps {
		k1 := slope(at)
		k2 := slope(along(at, h/2, k1))
		k3 := slope(along(at, h/2, k2))
		k4 := slope(along(at, h, k3))
		for i := range at {
			at[i] += h / 6 * (k1[i] + 2*k2[i] + 2*k3[i] + k4[i])
		}
	}
	return at
}

func drawLumps(t *rapid.T) TwoLumps {
	return TwoLumps{
		ChamberKilojoulesPerKelvin: rapid.Float64Range(2, 100).Draw(t, "c1"),
		LiningKilojoulesPerKelvin:  rapid.Float64Range(5, 400).Draw(t, "c2"),
		ToLiningKelvinPerKilowatt:  rapid.Float64Range(20, 400).Draw(t, "r12"),
		ToRoomKelvinPerKilowatt:    rapid.Float64Range(50, 800).Draw(t, "r2"),
		AmbientCelsius:             rapid.Float64Range(5, 40).Draw(t, "ambient"),
	}
}

func TestTwoLumpsAgreeWithNumericIntegration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := drawLumps(t)
		chamber := rapid.Float64Range(0, 1400).Draw(t, "chamber")
		lining := rapid.Float64Range(0, 1400).Draw(t, "lining")
		kilowatts := rapid.Float64Range(0, 6).Draw(t, "kilowatts")
		minutes := rapid.Float64Range(0, 900).Draw(t, "minutes")
		want := integrate(state{chamber, lining}, minutes, 6000, func(at state) state {
			through := (at[0] - at[1]) / l.ToLiningKelvinPerKilowatt
			return state{60 * (kilowatts - through) / l.ChamberKilojoulesPerKelvin,
				60 * (through - (at[1]-l.AmbientCelsius)/l.ToRoomKelvinPerKilowatt) / l.LiningKilojoulesPerKelvin}
		})
		one, two, err := l.After(chamber, lining, kilowatts, minutes)
		require.NoError(t, err)
		assert.InDelta(t, want[0], one, 1e-6*max(1, want[0]))
		assert.InDelta(t, want[1], two, 1e-6*max(1, want[1]))
	})
}

func TestTwoLumpsAreOneAtTheLimits(t *testing.T) {
	one := func(capacity, resistance, minutes float64) float64 {
		final := 20 + 3*resistance
		return final + (700-final)*math.Exp(-60*minutes/(capacity*resistance))
	}
	for minutes := 0.0; minutes <= 600; minutes += 60 {
		chamber, lining, err := TwoLumps{20, 30, 1e-6, 500, 20}.After(700, 700, 3, minutes)
		require.NoError(t, err)
		assert.InDelta(t, one(50, 500, minutes), chamber, 1e-3, "nothing between them")
		assert.InDelta(t, chamber, lining, 1e-3)
		// No mass in the lining, which is at its share of the excess from the start.
		chamber, _, err = TwoLumps{50, 1e-6, 200, 300, 20}.After(700, 20+680*0.6, 3, minutes)
		require.NoError(t, err)
		assert.InDelta(t, one(50, 500, minutes), chamber, 1e-3)
	}
}

func TestTwoLumpsNameTheirFaults(t *testing.T) {
	_, _, err := TwoLumps{}.After(math.NaN(), 20, -1, math.Inf(1))
	var fields []string
	for _, fault := range finding.FaultsOf(err) {
		fields = append(fields, fault.Field)
	}
	assert.Equal(t, []string{"chamber_kilojoules_per_kelvin", "lining_kilojoules_per_kelvin", "to_lining_kelvin_per_kilowatt",
		"to_room_kelvin_per_kilowatt", "chamber_celsius", "kilowatts", "minutes"}, fields)
}

func drawLining(t *rapid.T) Lining {
	slow := rapid.Float64Range(200, 1500).Draw(t, "slow")
	return Lining{SlowTauMinutes: slow, FastTauMinutes: slow / rapid.Float64Range(2.5, 15).Draw(t, "slow over fast"),
		SlowShare: rapid.Float64Range(0.15, 0.85).Draw(t, "share")}
}

func TestRatesGiveTheCoolingTheyComeFrom(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lining := drawLining(t)
		l := lumpsOf(lining.FastTauMinutes, lining.SlowTauMinutes, lining.SlowShare)
		assert.Positive(t, min(l.out, l.into, l.beyond))
		minutes := rapid.Float64Range(0, 2000).Draw(t, "minutes")
		want := 900 * ((1-lining.SlowShare)*math.Exp(-minutes/lining.FastTauMinutes) +
			lining.SlowShare*math.Exp(-minutes/lining.SlowTauMinutes))
		chamber, behind := l.after(900, 900*l.heldShare(), minutes)
		assert.InDelta(t, want, chamber, 1e-9*900)
		when, then := l.coolsTo(900, 900*l.heldShare(), want)
		assert.InDelta(t, minutes, when, 1e-6*max(1, minutes))
		assert.InDelta(t, behind, then, 1e-6*900)
		held, _ := l.after(900, 900*l.heldShare(), 0)
		assert.InDelta(t, 900, held, 1e-9)
	})
}

func TestALiningWithoutAFastPartIsOneLump(t *testing.T) {
	one := Constants{FinalCelsius: 1500, HeatingTauMinutes: 300, CoolingTauMinutes: 480, AmbientCelsius: 20, ColdBelowCelsius: 100,
		ColdFactor: 1, NetKilowatts: 4, InputKilowatts: 5}
	want, err := CoolingMinutes(one, 1000, 130)
	require.NoError(t, err)
	assert.InDelta(t, 480*math.Log(980/110.0), want, 1e-9)
	for _, lining := range []Lining{{FastTauMinutes: 60, SlowTauMinutes: 480, SlowShare: 1 - 1e-6}, {1e-4, 480, 0.999999}} {
		two := one
		two.Lining = &lining
		got, err := CoolingMinutes(two, 1000, 130)
		require.NoError(t, err)
		assert.InDelta(t, want, got, 0.01)
	}
}

// linedConstants are constants with a lining and no surcharge.
func linedConstants(lining Lining) Constants {
	return Constants{FinalCelsius: 1500, HeatingTauMinutes: 300, CoolingTauMinutes: 400, AmbientCelsius: 20, Lining: &lining,
		ColdBelowCelsius: 100, ColdFactor: 1, NetKilowatts: 4, InputKilowatts: 5, MeasuredToCelsius: 1200}
}

// The way down is held against both balances in small steps, with the power that the control would give: what the rate asks,
// at least none; the charge sits in the chamber.
func TestFallBeforeALiningAgreesWithNumericIntegration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := linedConstants(drawLining(t))
		k := cooler{constants: c, perKelvin: rapid.Float64Range(0, 30).Draw(t, "charge")}
		from := rapid.Float64Range(500, 1200).Draw(t, "from")
		to := rapid.Float64Range(100, 450).Draw(t, "to")
		rate := rapid.SampledFrom([]float64{0.3, 1, 3, 10, math.Inf(1)}).Draw(t, "rate")
		k.heated(from)
		way := k.fall(from, to, rate, 1)

		network, ok := c.TwoLumps()
		require.True(t, ok)
		assert.InDelta(t, c.kelvinPerKilowatt(), network.ToLiningKelvinPerKilowatt+network.ToRoomKelvinPerKilowatt, 1e-9)
		share := network.ToRoomKelvinPerKilowatt / c.kelvinPerKilowatt()
		end := state{from, 20 + share*(from-20)}
		slope := func(at state) state {
			through := (at[0] - at[1]) / network.ToLiningKelvinPerKilowatt
			free := -60 * through / (network.ChamberKilojoulesPerKelvin + k.perKelvin)
			return state{max(-rate, free),
				60 * (through - (at[1]-20)/network.ToRoomKelvinPerKilowatt) / network.LiningKilojoulesPerKelvin}
		}
		for _, p := range way { // piece by piece: a step across the kink between them would be coarse
			end = integrate(end, p.minutes, 4000, slope)
			assert.InDelta(t, p.to, end[0], 1e-6*p.to)
		}
		assert.InDelta(t, to, end[0], 1e-6*to)
		assert.InDelta(t, end[1], 20+k.lining, 1e-5*end[1])
	})
}

// lined is the muffle with cooling times of two lumps: fast 60 min, slow 480 min, slow share 0.6, 1000 C down to 120 C.
func lined() Furnace {
	f := muffle()
	f.CoolingTimes = coolingOf(Lining{FastTauMinutes: 60, SlowTauMinutes: 480, SlowShare: 0.6}, 1000, 700, 450, 300, 200, 120)
	return f
}

// coolingOf are the stretches of one closed cooling from 20 C ambient through the temperatures given.
func coolingOf(lining Lining, through ...float64) []Timing {
	l := lumpsOf(lining.FastTauMinutes, lining.SlowTauMinutes, lining.SlowShare)
	start, before := through[0]-20, 0.0
	var times []Timing
	for i, to := range through[1:] {
		minutes, _ := l.coolsTo(start, l.heldShare()*start, to-20)
		times = append(times, Timing{FromCelsius: through[i], ToCelsius: to, Minutes: minutes - before})
		before = minutes
	}
	return times
}

func TestFitFindsTheLining(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		truth := drawLining(t)
		f := muffle()
		f.CoolingTimes = coolingOf(truth, 1000, 800, 600, 450, 300, 200, 130)
		c := fitted(t, f)
		law, worst := coolingLaw(20), 0.0
		for _, timing := range f.CoolingTimes {
			worst = max(worst, math.Abs(c.CoolingTauMinutes*law(timing)-timing.Minutes)/timing.Minutes)
		}
		if c.Lining == nil {
			assert.Less(t, worst, 0.3, "one lump is kept where it serves nearly as well")
			return
		}
		assert.InEpsilon(t, truth.SlowTauMinutes, c.Lining.SlowTauMinutes, 1e-3)
		assert.InEpsilon(t, truth.FastTauMinutes, c.Lining.FastTauMinutes, 1e-3)
		assert.InEpsilon(t, truth.SlowShare, c.Lining.SlowShare, 1e-3)
		minutes, err := CoolingMinutes(c, 1000, 130)
		require.NoError(t, err)
		want := 0.0
		for _, timing := range f.CoolingTimes {
			want += timing.Minutes
		}
		assert.InEpsilon(t, want, minutes, 1e-4)
	})
}

func TestWhatIsMeasuredDecidesBetweenOneLumpAndTwo(t *testing.T) {
	for name, test := range map[string]struct {
		change func(*Furnace)
		two    bool
	}{
		"two stretches above and two below": {func(f *Furnace) {
			f.CoolingTimes = append(f.CoolingTimes[:0:0], f.CoolingTimes[1:]...)
		}, true},
		"one above": {func(f *Furnace) { f.CoolingTimes = f.CoolingTimes[2:] }, false},
		"one below": {func(f *Furnace) { f.CoolingTimes = f.CoolingTimes[:4] }, false},
		"the same stretch twice below": {func(f *Furnace) {
			f.CoolingTimes = append(f.CoolingTimes[:4:4], f.CoolingTimes[3])
		}, false},
		"one stretch across 300 C": {func(f *Furnace) {
			f.CoolingTimes = coolingOf(Lining{60, 480, 0.6}, 1000, 700, 301, 200, 120)
		}, false},
		"as one lump": {func(f *Furnace) {
			law := coolingLaw(20)
			for i, timing := range f.CoolingTimes {
				f.CoolingTimes[i].Minutes = 300 * law(timing)
			}
		}, false},
		"a slip of the pen": {func(f *Furnace) { f.CoolingTimes[1].Minutes *= 3 }, false},
	} {
		t.Run(name, func(t *testing.T) {
			f := lined()
			test.change(&f)
			c := fitted(t, f)
			assert.Equal(t, test.two, c.Lining != nil)
			said := strings.Join(c.Assumptions, "\n")
			assert.Equal(t, test.two, strings.Contains(said, "cooling by two lumps"))
			assert.Equal(t, !test.two, strings.Contains(said, "more time than one lump"))
			_, ok := c.TwoLumps()
			assert.Equal(t, test.two, ok)
		})
	}
}

func TestBelowTheColdestMeasuredTwoLumpsTakeThirtyPercentMore(t *testing.T) {
	c := fitted(t, lined()) // measured down to 120 C
	whole, err := CoolingMinutes(c, 1000, 60)
	require.NoError(t, err)
	hot, err := CoolingMinutes(c, 1000, 120)
	require.NoError(t, err)
	c.ColdFactor = 1
	plain, err := CoolingMinutes(c, 1000, 60)
	require.NoError(t, err)
	assert.InEpsilon(t, 1.3*(plain-hot), whole-hot, 1e-6)
}

// A furnace that comes down in its program has a lining still hot: what follows is slower than from a long hold there.
func TestALiningStillHotCoolsSlower(t *testing.T) {
	f := lined()
	c := fitted(t, f)
	down := Program{Segments: []Segment{{ToCelsius: 1000, HoldMinutes: 60}, {ToCelsius: 500}}}
	result, err := RunUntil(f, c, down, 20, 150)
	require.NoError(t, err)
	fresh, err := CoolingMinutes(c, 500, 150)
	require.NoError(t, err)
	assert.Greater(t, result.CoolingMinutes, 1.1*fresh)
	whole, err := CoolingMinutes(c, 1000, 150)
	require.NoError(t, err)
	assert.InDelta(t, whole, result.Segments[1].RampMinutes+result.CoolingMinutes, 1e-6, "one cooling in two parts")
	down.Segments[1].HoldMinutes = 5000
	result, err = RunUntil(f, c, down, 20, 150)
	require.NoError(t, err)
	assert.InDelta(t, fresh, result.CoolingMinutes, 0.01, "after a long hold it is fresh")

	request := Treatment{Program: Program{Segments: []Segment{{ToCelsius: 1000}}}, OpenBelowCelsius: 500}
	phases, _, err := Phases(f, c, request)
	require.NoError(t, err)
	onward, err := CoolingMinutes(c, 1000, HandOverCelsius)
	require.NoError(t, err)
	closed, err := CoolingMinutes(c, 1000, 500)
	require.NoError(t, err)
	assert.Equal(t, WholeMinutes(onward-closed), phases[len(phases)-1].Minutes)
}

func TestTheProfileOfTwoLumpsStaysWithinTwoDegrees(t *testing.T) {
	f := lined()
	c := fitted(t, f)
	result, err := RunUntil(f, c, Program{Segments: []Segment{{ToCelsius: 1000}}}, 1000, 130)
	require.NoError(t, err)
	for minute := 0.0; minute < result.CoolingMinutes; minute += 0.7 {
		exact := 20 + 980*(0.4*math.Exp(-minute/60)+0.6*math.Exp(-minute/480))
		assert.InDelta(t, exact, At(result.Profile, minute), 2)
	}
	assert.Less(t, len(result.Profile), 200)
}
