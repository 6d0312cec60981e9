package assess

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/heat"
)

// sodaliteLike is three firings of one charge, each in a bed: clay that is calcined, a blend fired under reduction, and an
// oxidation with sulfur.
func sodaliteLike() chem.Recipe {
	calcine := fired(chem.Calcine, 600, add("kaolin", 71))
	calcine.BedDepthMillimeters = 20
	reduce := fired(chem.Reduce, 750, add("soda-ash", 52), add("sulfur", 30), add("charcoal", 6.5))
	reduce.Atmosphere, reduce.Lid, reduce.BedDepthMillimeters, reduce.Product = heat.Reducing, chem.LooseLid, 60, "Na8Al6Si6O24S4"
	oxidise := fired(chem.Oxidise, 500, add("sulfur", 10))
	oxidise.Lid, oxidise.BedDepthMillimeters = chem.LooseLid, 30
	return recipe(calcine, reduce, oxidise)
}

// fullRoom is fifty firings that overlap, each giving off three gases in twelve uneven pieces.
func fullRoom(grams float64) []air.Source {
	random := rand.New(rand.NewPCG(7, 1))
	sources := make([]air.Source, 50)
	for i := range sources {
		start := float64(random.IntN(2880) - 1440)
		sources[i] = air.Source{Name: "kiln", CaptureFraction: 0.8, DoorOpenFraction: 0.4, DoorOpen: []air.Interval{
			{StartMinute: start, EndMinute: start + 10}, {StartMinute: start + 700, EndMinute: start + 730},
		}}
		for _, species := range []string{"CO", "H2SO4", "SO2"} {
			at := start + float64(60+random.IntN(60))
			for range 12 {
				minutes := 1 + 30*random.Float64()
				sources[i].Releases = append(sources[i].Releases, air.Release{
					Species: species, StartMinute: at, EndMinute: at + minutes, GramsPerMinute: grams * random.Float64() / minutes,
				})
				at += minutes
			}
		}
	}
	return sources
}

// checked is a treatment's room with all that stands there, as a recipe's check and a booking's look at it.
func (s Site) checked(b *testing.B, t Treatment, standing []air.Source) (air.RoomCheck, air.NearCheck, air.FanFailureCheck) {
	room := s.Rooms[t.Furnace.Room]
	own := air.Source{Name: t.Furnace.ID, Releases: t.Cautious, DoorOpen: t.doorOpen()}
	own.CaptureFraction, own.DoorOpenFraction = Capture(t.Furnace, s.Circuits)
	require.NotEmpty(b, own.Releases)
	zone := air.Zone{ID: room.ID, VolumeCubicMeters: room.VolumeCubicMeters, MixingFactor: room.MixingFactor,
		Flow: air.ConstantFlow(air.RoomFlow(room, s.Circuits))}
	return air.RoomCheck{Zone: zone, Standing: standing, Sources: []air.Source{own}, Room: &room, OnDate: s.OnDate, CureOnly: true},
		air.NearCheck{Zone: zone, Sources: append([]air.Source{own}, standing...)},
		air.FanFailureCheck{Zone: zone, Sources: []air.Source{own}}
}

// BenchmarkFullCheck is all that is worked out about a recipe of three firings into a room with fifty others: heat with the
// charge's own, conversion, off-gas, gas at equilibrium, the room's air with every cure, the air at the open furnace and the
// failing fan. The parts stand beside the whole; "over" is a room over its limits, where every cure is sought.
func BenchmarkFullCheck(b *testing.B) {
	s, r, of := site(pot()), sodaliteLike(), materials()
	charged := func() Charge {
		c, err := s.NewCharge(r, of, chem.Scale{})
		require.NoError(b, err)
		return c
	}
	c := charged()
	treated := func(stage int) Treatment {
		t, err := s.Treat(c, stage, "pot")
		require.NoError(b, err)
		require.NotEmpty(b, t.Phases, t.Findings)
		return t
	}
	each := func(work func(stage int)) func() {
		return func() {
			for stage := range r.Stages {
				work(stage)
			}
		}
	}
	parts := []struct {
		name string
		work func()
	}{
		{"charge", func() { charged() }},
		{"treat", each(func(stage int) { treated(stage) })},
	}
	for _, filled := range []struct {
		name  string
		grams float64
	}{{"clean", 0.01}, {"over", 20}} {
		standing := fullRoom(filled.grams)
		var treatments []Treatment
		for stage := range r.Stages {
			treatments = append(treatments, treated(stage))
		}
		rooms := func(stage int) {
			check, _, _ := s.checked(b, treatments[stage], standing)
			_, err := air.CheckRoom(check)
			require.NoError(b, err)
		}
		beside := func(stage int) {
			_, check, _ := s.checked(b, treatments[stage], standing)
			_, err := air.CheckNear(check)
			require.NoError(b, err)
		}
		fails := func(stage int) {
			_, _, check := s.checked(b, treatments[stage], standing)
			_, err := air.CheckFanFailure(check)
			require.NoError(b, err)
		}
		parts = append(parts, []struct {
			name string
			work func()
		}{
			{"room/" + filled.name, each(rooms)},
			{"near/" + filled.name, each(beside)},
			{"fan/" + filled.name, each(fails)},
			{"whole/" + filled.name, func() {
				charged()
				each(func(stage int) { treated(stage); rooms(stage); beside(stage); fails(stage) })()
			}},
		}...)
	}
	for _, part := range parts {
		b.Run(part.name, func(b *testing.B) {
			for b.Loop() {
				part.work()
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/1000, "ms/op")
		})
	}
}
