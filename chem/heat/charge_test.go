package heat

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
	"saggar/chem/finding"
)

// clay is what 20 kg of a wet body take, made of the worked examples of testdata/thermal-examples.csv: 8 kg alumina taken for
// the whole range, 8 kg quartz to 500 C, 3 kg water boiled off at 100 C and 1 kg limestone burnt by 900 C.
func clay(t *testing.T) (uptake []HeatUptake, kilowattHours float64) {
	t.Helper()
	perKilogram := map[string]float64{}
	for _, row := range readRows(t, "thermal-examples.csv") {
		perKilogram[row["id"]] = row.number(t, "expected")
	}
	alumina, quartz := 8*perKilogram["h-09"], 8*perKilogram["h-10"]
	water, lime := 3*perKilogram["h-12"], 1*perKilogram["h-13"]
	at := func(celsius float64, boiled, burnt float64) HeatUptake {
		own := alumina*(celsius-25)/975 + quartz*min(1, (celsius-25)/475)
		return HeatUptake{celsius, 3600 * (own + boiled*water + burnt*lime)}
	}
	return []HeatUptake{{25, 0}, at(100, 0, 0), at(100, 1, 0), at(500, 1, 0), at(700, 1, 0), at(900, 1, 1), at(1000, 1, 1)},
		alumina + quartz + water + lime
}

func TestTwentyKilogramsOfClayTakeTheirHeat(t *testing.T) {
	f := muffle()
	f.NetKilowatts, f.InputKilowatts = 12, 15
	c := fitted(t, f)
	uptake, kilowattHours := clay(t)
	assert.InDelta(t, 8*0.3069+8*0.1330+3*0.7199+0.7346, kilowattHours, 1e-9)
	slow := Program{Segments: []Segment{{ToCelsius: 1000, RateCelsiusPerHour: 60, HoldMinutes: 30}}}
	given := Conditions{StartCelsius: 25, OpenBelowCelsius: 100}
	empty, err := RunCharged(f, c, slow, given)
	require.NoError(t, err)
	given.ChargeHeat = uptake
	full, err := RunCharged(f, c, slow, given)
	require.NoError(t, err)
	assert.InDelta(t, kilowattHours, full.ChargeKilowattHours, 1e-9)
	boiling := full.FireMinutes - empty.FireMinutes // the furnace stands at 100 C until the water is gone
	spare := 12 * (c.FinalCelsius - 100) / (c.FinalCelsius - 20)
	assert.InDelta(t, 3*0.7199*60/spare, boiling, 1e-6)
	standing := 12 - spare // kilowatts of loss meanwhile
	assert.InDelta(t, kilowattHours+standing*boiling/60, full.EnergyKilowattHours-empty.EnergyKilowattHours, 1e-6)
	assert.InDelta(t, full.StoredKilowattHours, empty.StoredKilowattHours, 1e-9)
	assert.Greater(t, full.PeakKilowatts, empty.PeakKilowatts)
	assert.Greater(t, full.CoolingMinutes, empty.CoolingMinutes)
	said := strings.Join(full.Assumptions, "\n")
	assert.NotContains(t, said, "is not counted")
	assert.Contains(t, said, "comes on top of the measured times")
	assert.Contains(t, strings.Join(empty.Assumptions, "\n"), "the heat that the charge itself takes or gives is not counted")
}

// drawUptake draws a curve of up to six points from the ambient temperature, with steps and with falls.
func drawUptake(t *rapid.T, from float64) []HeatUptake {
	uptake := []HeatUptake{{from, 0}}
	for range rapid.IntRange(1, 5).Draw(t, "points") {
		last := uptake[len(uptake)-1]
		uptake = append(uptake, HeatUptake{last.Celsius + rapid.SampledFrom([]float64{0, 40, 180, 390}).Draw(t, "by"),
			last.Kilojoules + rapid.Float64Range(-500, 6000).Draw(t, "taken")})
	}
	return uptake
}

// The ramp is held against dt = max(1/rate, (C + h)/(P - loss)) dT summed in small steps of temperature, steps of the curve
// against their heat over the spare power.
func TestChargedRampsAgreeWithNumericIntegration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, _ := drawFurnace(t)
		c := fitted(t, f)
		from := c.AmbientCelsius
		uptake := drawUptake(t, from)
		to := rapid.Float64Range(300, f.TopCelsius-1).Draw(t, "to")
		rate := rapid.SampledFrom([]float64{0, 30, 150, 600}).Draw(t, "rate")
		result, err := RunCharged(f, c, Program{Segments: []Segment{{ToCelsius: to, RateCelsiusPerHour: rate}}},
			Conditions{StartCelsius: from, OpenBelowCelsius: 100, ChargeHeat: uptake})
		require.NoError(t, err)
		if !result.Reachable {
			return
		}
		resistance := (c.FinalCelsius - c.AmbientCelsius) / c.NetKilowatts
		own := 60 * c.HeatingTauMinutes / resistance // kJ/K
		net := func(celsius float64) float64 { return c.NetKilowatts - (celsius-c.AmbientCelsius)/resistance }
		perMinute := math.Inf(1)
		if rate > 0 {
			perMinute = rate / 60
		}
		minutes, taken, spread, lost := 0.0, 0.0, 0.0, 0.0
		stretch := func(low, high, kilojoules float64) {
			const steps = 4000
			if high = min(high, to); high <= low {
				return
			}
			taken += kilojoules * (high - low)
			for i := range steps {
				celsius := low + (high-low)*(float64(i)+0.5)/steps
				step := (high - low) / steps * max(1/perMinute, (own+kilojoules)/net(celsius)/60)
				minutes += step
				lost += step / 60 * (celsius - c.AmbientCelsius) / resistance
			}
		}
		for i := 1; i < len(uptake); i++ {
			a, b := uptake[i-1], uptake[i]
			more := max(0, b.Kilojoules-a.Kilojoules)
			spread += more
			switch {
			case b.Celsius > a.Celsius:
				stretch(a.Celsius, b.Celsius, more/(b.Celsius-a.Celsius))
			case b.Celsius > from && b.Celsius <= to:
				minutes += more / net(b.Celsius) / 60
				lost += more / net(b.Celsius) / 3600 * (b.Celsius - c.AmbientCelsius) / resistance
				taken += more
			}
		}
		last := uptake[len(uptake)-1].Celsius
		if last > from {
			stretch(last, max(last, to), spread/(last-from))
		} else {
			stretch(last, to, 0)
		}
		assert.InEpsilon(t, minutes, result.FireMinutes, 1e-5)
		assert.InDelta(t, taken/3600, result.ChargeKilowattHours, 1e-9*max(1, taken))
		assert.InEpsilon(t, lost, result.WallLossKilowattHours, 1e-4)
		assert.InEpsilon(t, own*(to-from)/3600, result.StoredKilowattHours, 1e-9)
		assert.LessOrEqual(t, result.PeakKilowatts, c.InputKilowatts*(1+1e-9))
	})
}

func TestTheBreakdownAddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, _ := drawFurnace(t)
		if rapid.Bool().Draw(t, "lined") {
			ambient := f.AmbientCelsius
			f.CoolingTimes = lined().CoolingTimes
			f.AmbientCelsius = min(ambient, 40)
		}
		c := fitted(t, f)
		var p Program
		for range rapid.IntRange(1, 5).Draw(t, "segments") {
			p.Segments = append(p.Segments, Segment{ToCelsius: rapid.Float64Range(60, f.TopCelsius).Draw(t, "to"),
				RateCelsiusPerHour: rapid.SampledFrom([]float64{0, 40, 200, 900}).Draw(t, "rate"),
				HoldMinutes:        rapid.SampledFrom([]float64{0, 15, 240}).Draw(t, "hold")})
		}
		given := Conditions{StartCelsius: c.AmbientCelsius, OpenBelowCelsius: 100, ChargeHeat: drawUptake(t, c.AmbientCelsius)}
		charged, err := RunCharged(f, c, p, given)
		require.NoError(t, err)
		given.ChargeHeat = nil
		empty, err := RunCharged(f, c, p, given)
		require.NoError(t, err)
		for _, r := range []Result{charged, empty} {
			assert.InDelta(t, r.EnergyKilowattHours, r.ChargeKilowattHours+r.WallLossKilowattHours+r.StoredKilowattHours, 1e-9*
				max(1, r.EnergyKilowattHours))
			assert.GreaterOrEqual(t, r.WallLossKilowattHours, -1e-9)
			given := 0.0
			for _, s := range r.Segments {
				given += s.MeanInputKilowatts * s.DurationMinutes / 60
				assert.LessOrEqual(t, s.MeanInputKilowatts, r.PeakKilowatts*(1+1e-9))
			}
			assert.InDelta(t, r.InputKilowattHours, given, 1e-9*max(1, given))
		}
		assert.Zero(t, empty.ChargeKilowattHours)
		if charged.Reachable {
			assert.GreaterOrEqual(t, charged.TotalMinutes, empty.TotalMinutes-1e-6, "a charge never makes it quicker")
		}
	})
}

func TestWhatWasTakenOnceIsOnlyTakenAgainAsItsOwnHeat(t *testing.T) {
	f := muffle()
	c := fitted(t, f)
	uptake := []HeatUptake{{20, 0}, {100, 80}, {100, 2080}, {520, 2920}} // 2.92 MJ over 500 K: 5.84 kJ/K on average
	run := func(celsius ...float64) Result {
		p := Program{}
		for _, to := range celsius {
			p.Segments = append(p.Segments, Segment{ToCelsius: to, RateCelsiusPerHour: 30})
		}
		result, err := RunCharged(f, c, p, Conditions{StartCelsius: 20, OpenBelowCelsius: 90, ChargeHeat: uptake})
		require.NoError(t, err)
		return result
	}
	assert.InDelta(t, 2920/3600.0, run(520).ChargeKilowattHours, 1e-9)
	assert.InDelta(t, 2920/3600.0, run(100, 520).ChargeKilowattHours, 1e-9, "the step counts once")
	assert.InDelta(t, 2080/3600.0, run(100).ChargeKilowattHours, 1e-9, "at its temperature, not above it")
	assert.InDelta(t, 80/3600.0*79.999/80, run(99.999).ChargeKilowattHours, 1e-9)
	assert.InDelta(t, (2920+5.84*200)/3600, run(520, 320, 520).ChargeKilowattHours, 1e-9,
		"no credit for the way down under control")
	assert.InDelta(t, (2920+5.84*100)/3600, run(620).ChargeKilowattHours, 1e-9, "above the last point as on average")
}

func TestAColdChargeInAHotFurnaceTakesItsHeatFirst(t *testing.T) {
	f := muffle()
	c := fitted(t, f)
	p := Program{Segments: []Segment{{ToCelsius: 600, RateCelsiusPerHour: 60}}}
	given := Conditions{StartCelsius: 500, OpenBelowCelsius: 100, ChargeHeat: []HeatUptake{{20, 0}, {1000, 4900}}}
	warm, err := RunCharged(f, c, p, given)
	require.NoError(t, err)
	given.ChargedHot = true
	cold, err := RunCharged(f, c, p, given)
	require.NoError(t, err)
	assert.InDelta(t, 2400/3600.0, cold.ChargeKilowattHours-warm.ChargeKilowattHours, 1e-9, "5 kJ/K over 480 K")
	spare := 4 * (c.FinalCelsius - 500) / (c.FinalCelsius - 20)
	assert.InDelta(t, 2400/spare/60, cold.Segments[0].RampMinutes-warm.Segments[0].RampMinutes, 1e-9)
	assert.InDelta(t, 5.0, cold.PeakKilowatts, 1e-9, "full power")
	given.StartCelsius = c.FinalCelsius
	_, err = RunCharged(f, c, p, given)
	assert.ErrorContains(t, err, "start_celsius")

	request := calcine()
	request.ChargeAtCelsius, request.ChargeHeat = 500, given.ChargeHeat
	_, result, err := Phases(f, c, request)
	require.NoError(t, err)
	assert.InDelta(t, 5*580/3600.0, result.ChargeKilowattHours, 1e-9)
}

func TestBadUptakesNameTheirFields(t *testing.T) {
	for field, uptake := range map[string][]HeatUptake{
		"charge_heat":               {{20, 0}},
		"charge_heat[0].kilojoules": {{20, 1}, {100, 5}},
		"charge_heat[1].celsius":    {{20, 0}, {19, 5}},
		"charge_heat[1].kilojoules": {{20, 0}, {90, math.NaN()}},
		"charge_heat[2].celsius":    {{20, 0}, {90, 1}, {math.Inf(1), 2}},
	} {
		t.Run(field, func(t *testing.T) {
			request := calcine()
			request.ChargeHeat = uptake
			faults := request.Faults()
			require.NotEmpty(t, faults)
			assert.Equal(t, field, faults[0].Field)
			_, err := RunCharged(muffle(), fitted(t, muffle()), request.Program,
				Conditions{StartCelsius: 20, OpenBelowCelsius: 100, ChargeHeat: uptake})
			assert.ErrorContains(t, err, field)
		})
	}
	assert.Len(t, uptakeFaults(slices.Repeat([]HeatUptake{{20, 0}}, maxUptakes+1)), 1)
	assert.Empty(t, uptakeFaults(slices.Repeat([]HeatUptake{{20, 0}}, maxUptakes)))
}

// heavy is a charge of so many kilojoules per kelvin, evenly.
func heavy(perKelvin float64) []HeatUptake { return []HeatUptake{{20, 0}, {1000, 980 * perKelvin}} }

func TestCheckOfAHeavyCharge(t *testing.T) {
	late := func(f *Furnace, r *Treatment, perKelvin float64) float64 {
		c, err := Fit(*f)
		require.NoError(t, err)
		result, err := RunCharged(*f, c, r.Program, Conditions{StartCelsius: 20, OpenBelowCelsius: 100, ChargeHeat: heavy(perKelvin)})
		require.NoError(t, err)
		return result.Segments[0].DurationMinutes - result.Segments[0].AskedMinutes
	}
	checkRules(t, map[string]rule{
		"light": {func(f *Furnace, r *Treatment) { r.ChargeHeat = heavy(1) }, "", ""},
		"under a minute late": {func(f *Furnace, r *Treatment) {
			r.ChargeHeat = heavy(70)
			require.Less(t, late(f, r, 70), 1.0)
		}, "", ""},
		"late": {func(f *Furnace, r *Treatment) {
			r.ChargeHeat = heavy(71)
			require.Greater(t, late(f, r, 71), 1.0)
		}, "NOTE HEAT_CHARGE_TOO_HEAVY", "program.segments[0].to_celsius"},
		"a quarter of an hour late": {func(f *Furnace, r *Treatment) {
			r.ChargeHeat = heavy(240)
			require.Greater(t, late(f, r, 240), 15.0)
		}, "WARN HEAT_CHARGE_TOO_HEAVY", "program.segments[0].to_celsius"},
		"far too heavy": {func(f *Furnace, r *Treatment) {
			r.ChargeHeat = heavy(800)
			require.Greater(t, late(f, r, 800), 2*348.0)
		}, "BLOCK HEAT_CHARGE_TOO_HEAVY", "program.segments[0].to_celsius"},
		"never": {func(f *Furnace, r *Treatment) {
			r.ChargeHeat = heavy(8000)
		}, "BLOCK HEAT_CHARGE_TOO_HEAVY", "program.segments[0].to_celsius"},
		"slower at full power": {func(f *Furnace, r *Treatment) {
			r.Program.Segments[0].RateCelsiusPerHour = 0
			r.ChargeHeat = heavy(10)
		}, "", ""},
		"three times as long at full power": {func(f *Furnace, r *Treatment) {
			r.Program.Segments[0].RateCelsiusPerHour = 0
			r.ChargeHeat = heavy(100)
		}, "BLOCK HEAT_CHARGE_TOO_HEAVY", "program.segments[0].to_celsius"},
		"gives off heat": {func(f *Furnace, r *Treatment) {
			r.ChargeHeat = []HeatUptake{{20, 0}, {300, 900}, {350, 700}, {400, 400}, {600, 900}}
		}, "NOTE HEAT_CHARGE_EXOTHERM", "charge_heat[2]"},
		"gives off heat hotter than the program goes": {func(f *Furnace, r *Treatment) {
			r.ChargeHeat = []HeatUptake{{20, 0}, {601, 900}, {700, 700}}
		}, "", ""},
	})
}

func TestTheShareThatWouldDoWouldDo(t *testing.T) {
	for name, perKelvin := range map[string]float64{"late": 300, "far too heavy": 800, "never": 8000} {
		t.Run(name, func(t *testing.T) {
			f, request := muffle(), calcine()
			request.ChargeHeat = heavy(perKelvin)
			found := Check(f, request)[0]
			share := figure(t, found, "share_that_would_do")
			require.Greater(t, share, 0.0)
			assert.Contains(t, found.Cure, "at a time")
			request.ChargeHeat = scaled(heavy(perKelvin), share)
			for _, left := range Check(f, request) {
				assert.NotEqual(t, found.Severity, left.Severity)
				assert.NotEqual(t, finding.Block, left.Severity)
			}
			request.ChargeHeat = scaled(heavy(perKelvin), share+0.01)
			assert.Equal(t, found.Severity, Check(f, request)[0].Severity)
		})
	}
}

func TestTheDelayIsToldInMinutes(t *testing.T) {
	f, request := muffle(), calcine()
	request.ChargeHeat = heavy(140)
	found := Check(f, request)
	require.Len(t, found, 1)
	_, result, err := Phases(f, fitted(t, f), request)
	require.NoError(t, err)
	assert.InDelta(t, result.Segments[0].RampMinutes-348, figure(t, found[0], "delay"), 1e-9)
	request.Program.Segments[0].RateCelsiusPerHour = 3000 // too fast even without the charge
	request.ChargeHeat = heavy(5)
	assert.Equal(t, []string{"WARN HEAT_CHARGE_TOO_HEAVY", "WARN HEAT_FASTER_THAN_FURNACE"}, sorted(codes(Check(f, request))))
}

// 200 kJ into a furnace whose lump takes 60 tau/R kilojoules per kelvin.
func TestTheOverTemperatureOfAnExothermIsThatOfTheLump(t *testing.T) {
	f, request := muffle(), calcine()
	request.ChargeHeat = []HeatUptake{{20, 0}, {300, 900}, {350, 700}}
	found := Check(f, request)
	require.Len(t, found, 1)
	c := fitted(t, f)
	lump := 60 * c.HeatingTauMinutes / ((c.FinalCelsius - 20) / 4)
	assert.InDelta(t, 200/lump, figure(t, found[0], "over"), 1e-9)
	assert.InDelta(t, 200, figure(t, found[0], "given"), 1e-9)
}

func sorted(list []string) []string {
	slices.Sort(list)
	return list
}

func figure(t *testing.T, f finding.Finding, name string) float64 {
	t.Helper()
	for _, one := range f.Figures {
		if one.Name == name {
			return one.Value
		}
	}
	require.Fail(t, "no figure "+name)
	return 0
}

func TestTheBoundsOfTooHeavy(t *testing.T) {
	for name, test := range map[string]struct {
		rate, asked, alone, ramp float64
		want                     finding.Severity
	}{
		"as asked":                       {100, 300, 200, 300, ""},
		"a minute late, less a second":   {100, 300, 200, 300.98, ""},
		"a minute late":                  {100, 300, 200, 301, finding.Note},
		"a quarter of an hour, less":     {100, 300, 200, 314.9, finding.Note},
		"a quarter of an hour late":      {100, 300, 200, 315, finding.Warn},
		"late without the charge too":    {100, 300, 350, 350.5, ""},
		"three times as long":            {100, 300, 200, 900, finding.Warn},
		"longer than three times":        {100, 300, 200, 900.1, finding.Block},
		"three times, under an hour":     {100, 10, 10, 69.9, finding.Warn},
		"three times, an hour":           {100, 10, 10, 70, finding.Block},
		"full power, three times":        {0, 0, 200, 600, ""},
		"full power, longer":             {0, 0, 200, 600.1, finding.Block},
		"no ramp but the charge's own":   {0, 0, 0, 60, finding.Block},
		"no ramp, the charge quick":      {0, 0, 0, 59, ""},
		"a hold counts in neither":       {100, 300, 200, 300.5, ""},
		"full power, hardly any heavier": {0, 0, 200, 201, ""},
	} {
		t.Run(name, func(t *testing.T) {
			k := checker{treatment: Treatment{Program: Program{Segments: []Segment{{RateCelsiusPerHour: test.rate}}}}}
			const hold = 45
			times := SegmentTime{Reachable: true, AskedMinutes: test.asked + hold, RampMinutes: test.ramp, DurationMinutes: test.ramp + hold}
			assert.Equal(t, test.want, k.tooHeavy(times, SegmentTime{Reachable: true, RampMinutes: test.alone}))
			times.Reachable = false
			assert.Equal(t, finding.Block, k.tooHeavy(times, SegmentTime{Reachable: true, RampMinutes: test.alone}))
		})
	}
}

// An exotherm is judged by the over-temperature that it would make of the lump: from 50 C on it is warned of, and what would
// pass the top temperature is refused.
func TestTheBoundsOfAnExotherm(t *testing.T) {
	f := muffle()
	c := fitted(t, f)
	perKelvin := 60 * c.HeatingTauMinutes / ((c.FinalCelsius - 20) / 4)
	room := f.TopCelsius - 350 // above where the heat comes
	for name, test := range map[string]struct {
		over float64
		want finding.Severity
	}{
		"a little":                      {1, finding.Note},
		"just under the warning":        {49.99, finding.Note},
		"at the warning":                {50.01, finding.Warn},
		"just under the top":            {room - 0.01, finding.Warn},
		"beyond the top":                {room + 0.01, finding.Block},
		"half as much again as the top": {1.5 * room, finding.Block},
	} {
		t.Run(name, func(t *testing.T) {
			request := calcine()
			taken := test.over*perKelvin + 100
			request.ChargeHeat = []HeatUptake{{20, 0}, {300, taken}, {350, 100}}
			for _, found := range Check(f, request) {
				if found.Code == CodeChargeExotherm {
					assert.Equal(t, test.want, found.Severity)
					assert.InDelta(t, test.over, figure(t, found, "over"), 1e-6)
					assert.NotEmpty(t, found.Cure)
					assert.Equal(t, test.want == finding.Note, found.Source == "")
					return
				}
			}
			require.Fail(t, "no finding")
		})
	}
}

// However many ramps a charge holds up, one finding tells of the worst, with the share that does in all of them.
func TestOneFindingForAHeavyCharge(t *testing.T) {
	f, request := muffle(), calcine()
	first := request.Program.Segments[0]
	request.Program.Segments = []Segment{
		{ToCelsius: first.ToCelsius / 2, RateCelsiusPerHour: 3 * first.RateCelsiusPerHour},
		{ToCelsius: first.ToCelsius, RateCelsiusPerHour: 2 * first.RateCelsiusPerHour},
	}
	heavyIn := func(share float64) []finding.Finding {
		request.ChargeHeat = scaled(heavy(300), share)
		return slices.DeleteFunc(Check(f, request), func(f finding.Finding) bool { return f.Code != CodeChargeTooHeavy })
	}
	found := heavyIn(1)
	require.Len(t, found, 1)
	assert.Contains(t, found[0].Message, "1 more of its ramps is held up less")
	share := figure(t, found[0], "share_that_would_do")
	require.Greater(t, share, 0.0)
	for _, left := range heavyIn(share) {
		assert.NotEqual(t, found[0].Severity, left.Severity)
	}
	next := heavyIn(share + 0.01)
	require.Len(t, next, 1)
	assert.Equal(t, found[0].Severity, next[0].Severity)
}
