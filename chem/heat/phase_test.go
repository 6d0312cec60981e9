package heat

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
	"saggar/chem/finding"
)

func kinds(phases []Phase) []PhaseKind {
	var all []PhaseKind
	for _, p := range phases {
		all = append(all, p.Kind)
	}
	return all
}

func first(t require.TestingT, phases []Phase, kind PhaseKind) Phase {
	for _, p := range phases {
		if p.Kind == kind {
			return p
		}
	}
	require.Fail(t, "no such phase", kind)
	return Phase{}
}

func calcine() Treatment {
	// Clay calcined near 600 C for about 8 h: common practice, no source.
	return Treatment{
		Program:       Program{Segments: []Segment{{ToCelsius: 600, RateCelsiusPerHour: 100, HoldMinutes: 480}}},
		ChargeMinutes: 15, DrawMinutes: 25, MaxWaitMinutes: 600,
	}
}

func TestPhasesChargedCold(t *testing.T) {
	f := muffle()
	c := fitted(t, f)
	phases, result, err := Phases(f, c, calcine())
	require.NoError(t, err)
	assert.Equal(t, []PhaseKind{Charge, Fire, Cool, Wait, Draw}, kinds(phases))
	assert.Equal(t, Phase{Kind: Charge, Minutes: 15, MaxMinutes: 15, Watch: InRoom, PeopleCount: 1}, phases[0])
	assert.Equal(t, Phase{Kind: Fire, Minutes: 828, MaxMinutes: 828, Watch: InReach, PeopleCount: 1, Kilowatts: 5}, phases[1])
	assert.Equal(t, Phase{Kind: Cool, Minutes: WholeMinutes(result.CoolingMinutes),
		MaxMinutes: WholeMinutes(result.CoolingMinutes), Watch: WatchNone}, phases[2])
	assert.Equal(t, Phase{Kind: Wait, MaxMinutes: 600, Watch: WatchNone}, phases[3])
	assert.Equal(t, Phase{Kind: Draw, Minutes: 25, MaxMinutes: 25, Watch: InRoom, PeopleCount: 1}, phases[4])
	assert.Equal(t, 100.0, result.OpenBelowCelsius)
}

func TestPhasesChargedHotWithSulfurAndCleared(t *testing.T) {
	f := muffle()
	c := fitted(t, f)
	// An oxidation hold near 500 C for about 2 h: common practice, no source.
	request := Treatment{
		Program:         Program{Segments: []Segment{{ToCelsius: 500, HoldMinutes: 120}}},
		ChargeAtCelsius: 500, OpenBelowCelsius: 150, SulfurChargedHot: true, PeopleAtCharge: 1, ClearAfter: true,
	}
	phases, result, err := Phases(f, c, request)
	require.NoError(t, err)
	assert.Equal(t, []PhaseKind{Warm, Charge, Fire, Cool, Draw, Clear, Cool}, kinds(phases))
	warm, err := Run(f, c, Program{Segments: []Segment{{ToCelsius: 500}}}, 20)
	require.NoError(t, err)
	assert.Equal(t, WholeMinutes(warm.FireMinutes), phases[0].Minutes)
	assert.Equal(t, WatchNone, phases[0].Watch, "electric, with cut-out, empty")
	assert.Equal(t, 2, phases[1].PeopleCount)
	assert.Equal(t, 5.0, phases[1].Kilowatts)
	assert.InDelta(t, 120, result.FireMinutes, 1e-9)
	assert.Equal(t, InReach, first(t, phases, Clear).Watch)
	clear, err := RunUntil(f, c, Program{Segments: []Segment{{ToCelsius: 900, HoldMinutes: 60}}}, 20, 150)
	require.NoError(t, err)
	assert.Equal(t, WholeMinutes(clear.FireMinutes), phases[5].Minutes)
	assert.Equal(t, WholeMinutes(clear.CoolingMinutes), phases[6].Minutes)
}

func TestPhasesFedHot(t *testing.T) {
	f := muffle()
	request := calcine()
	request.FeedMinutes = 10
	phases, result, err := Phases(f, fitted(t, f), request)
	require.NoError(t, err)
	assert.Equal(t, []PhaseKind{Charge, Fire, Feed, Fire, Cool, Wait, Draw}, kinds(phases))
	assert.Equal(t, []int{348, 10, 480}, []int{phases[1].Minutes, phases[2].Minutes, phases[3].Minutes})
	assert.Equal(t, InRoom, phases[2].Watch)
	assert.InDelta(t, 838, result.FireMinutes, 1e-9)
	assert.Equal(t, 480.0, request.Program.Segments[0].HoldMinutes, "the caller's program stays as it was")
}

func TestPhasesByWayOfCooling(t *testing.T) {
	f := muffle()
	c := fitted(t, f)
	for cooling, want := range map[Cooling][]PhaseKind{
		"":         {Charge, Fire, Cool, Wait, Draw},
		CoolClosed: {Charge, Fire, Cool, Wait, Draw},
		CoolOpen:   {Charge, Fire, Open, Wait, Draw},
		SetDown:    {Charge, Fire, Draw, Cool},
	} {
		request := calcine()
		request.Program.Cooling = cooling
		phases, _, err := Phases(f, c, request)
		require.NoError(t, err)
		assert.Equal(t, want, kinds(phases), cooling)
	}
	request := calcine()
	request.OpenBelowCelsius, request.OpenMinutes = 400, 5
	phases, _, err := Phases(f, c, request)
	require.NoError(t, err)
	assert.Equal(t, []PhaseKind{Charge, Fire, Cool, Open, Wait, Draw, Cool}, kinds(phases), "left at 400 C")
	request.OpenBelowCelsius = HandOverCelsius
	phases, _, err = Phases(f, c, request)
	require.NoError(t, err)
	assert.Equal(t, Draw, phases[len(phases)-1].Kind)
}

func TestFireWatch(t *testing.T) {
	electric := Furnace{Source: Electric, OverTemperatureCutOut: true, Control: Programmed}
	noCutOut := Furnace{Source: Electric, Control: Programmed}
	gas := Furnace{Source: Gas, OverTemperatureCutOut: true, Control: Programmed}
	byHand := Furnace{Source: Electric, OverTemperatureCutOut: true, Control: ByHand}
	for name, test := range map[string]struct {
		furnace Furnace
		asked   Watch
		clean   bool
		want    Watch
	}{
		"electric, clean":             {electric, "", true, WatchNone},
		"electric, something off":     {electric, "", false, InReach},
		"electric, recipe asks more":  {electric, InRoom, true, InRoom},
		"electric, recipe asks less":  {electric, WatchNone, false, InReach},
		"no cut-out, clean":           {noCutOut, "", true, InReach},
		"gas, clean":                  {gas, "", true, InReach},
		"by hand, clean, asks little": {byHand, InReach, true, InRoom},
	} {
		t.Run(name, func(t *testing.T) {
			assert.Equal(t, test.want, fireWatch(test.furnace, Treatment{FireWatch: test.asked, NothingComesOff: test.clean}))
		})
	}
	assert.Equal(t, WatchNone, coolWatch(electric, Treatment{}))
	assert.Equal(t, InReach, coolWatch(electric, Treatment{ComesOffCooling: true}))
	assert.Equal(t, InReach, coolWatch(noCutOut, Treatment{}))
	assert.Equal(t, WatchNone, coolWatch(gas, Treatment{}))
}

func TestPhasesRefuseWithTheTreatmentsFields(t *testing.T) {
	f := muffle()
	c := fitted(t, f)
	for field, spoil := range map[string]func(*Treatment){
		"program.segments[0].to_celsius":   func(r *Treatment) { r.Program.Segments[0].ToCelsius = 1201 },
		"program.segments[0].hold_minutes": func(r *Treatment) { r.Program.Segments[0].HoldMinutes = -1 },
		"program.segments":                 func(r *Treatment) { r.Program.Segments = nil },
		"charge_at_celsius":                func(r *Treatment) { r.ChargeAtCelsius = 1300 },
		"clear_at_celsius":                 func(r *Treatment) { r.ClearAfter, r.ClearAtCelsius = true, 1300 },
		"open_below_celsius":               func(r *Treatment) { r.OpenBelowCelsius = 21 },
		"draw_minutes":                     func(r *Treatment) { r.DrawMinutes = -1 },
		"contents[0]":                      func(r *Treatment) { r.Contents = []string{"gold"} },
		"fire_watch":                       func(r *Treatment) { r.FireWatch = "asleep" },
		"atmosphere":                       func(r *Treatment) { r.Atmosphere = "vacuum" },
	} {
		t.Run(field, func(t *testing.T) {
			request := calcine()
			spoil(&request)
			phases, _, err := Phases(f, c, request)
			faults := finding.FaultsOf(err)
			require.Len(t, faults, 1)
			assert.Equal(t, field, faults[0].Field)
			assert.Empty(t, phases)
			assert.True(t, finding.Blocks(Check(f, request)), "what has no phases is blocked by Check")
		})
	}
}

func TestPhasesCoverTheCourse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, _ := drawFurnace(t)
		c := fitted(t, f)
		request := Treatment{
			Program: Program{Segments: []Segment{{
				ToCelsius:          rapid.Float64Range(110, f.TopCelsius).Draw(t, "to"),
				RateCelsiusPerHour: rapid.Float64Range(20, 900).Draw(t, "rate"),
				HoldMinutes:        rapid.Float64Range(0, 300).Draw(t, "hold"),
			}}},
			FeedMinutes: rapid.IntRange(0, 30).Draw(t, "feed"),
		}
		phases, result, err := Phases(f, c, request)
		require.NoError(t, err)
		fire := 0
		for _, p := range phases {
			assert.Positive(t, p.Minutes)
			assert.Equal(t, p.Watch != WatchNone, p.PeopleCount > 0)
			if p.Kind == Fire || p.Kind == Feed {
				fire += p.Minutes
			}
		}
		assert.GreaterOrEqual(t, float64(fire), result.FireMinutes-1e-5)
		assert.Less(t, float64(fire), result.FireMinutes+2)
	})
}
