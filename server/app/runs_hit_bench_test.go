package app

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"saggar/chem/air"
	"saggar/chem/heat"
	"saggar/server/domain"
)

// BenchmarkHits looks for what stands in the way of firings to come, one every two hours in one of two rooms, none of which is hit:
// what a replan does before anything else. It must grow with the number of firings, not with its square.
func BenchmarkHits(b *testing.B) {
	for _, count := range []int{500, 2000, 4000} {
		b.Run(fmt.Sprint(count), func(b *testing.B) {
			f := hitsOf(b, count)
			for b.Loop() {
				f.find()
				if len(f.causes) > 0 {
					b.Fatal("nothing is in the way")
				}
			}
		})
	}
}

// hitsOf is a finder of what stands in the way of so many firings.
func hitsOf(t testing.TB, count int) *hitFinder {
	now := time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC)
	hours := domain.StaffedHours{Weekly: []domain.WeeklyHours{{Days: []time.Weekday{0, 1, 2, 3, 4, 5, 6}, ClosesMinute: 24 * 60}}}
	equipment := []domain.Equipment{{Kind: domain.KindSupply, ID: "panel", Supply: &domain.Supply{ID: "panel", LimitKilowatts: 1000}}}
	for _, room := range []string{"bay", "hall"} {
		of := hours
		of.ID = room
		equipment = append(equipment, domain.Equipment{Kind: domain.KindStaffedHours, ID: room, Hours: &of},
			domain.Equipment{Kind: domain.KindRoom, ID: room, Room: &air.Room{
				ID: room, VolumeCubicMeters: 400, MakeUpCubicMetersPerSecond: 9, MixingFactor: 3, CrewCount: 200,
			}},
			domain.Equipment{Kind: domain.KindCircuit, ID: "fan-" + room, Circuit: &air.Circuit{ID: "fan-" + room, Branches: []air.Branch{
				{ID: "hood", Room: room, CubicMetersPerSecond: 8, MeasuredOn: "2027-01-01"},
			}}},
			domain.Equipment{Kind: domain.KindFurnace, ID: "pot-" + room, Furnace: &heat.Furnace{
				ID: "pot-" + room, Room: room, Supply: "panel", Branch: "fan-" + room + "/hood", Source: heat.Electric, TopCelsius: 1100,
				Capture: heat.Capture{ClosedFraction: 0.95, DoorOpenFraction: 0.7, Method: "tracer", MeasuredOn: "2027-01-01"},
			}})
	}
	site, err := domain.NewSite(domain.Studio{TimeZone: "UTC"}, equipment)
	require.NoError(t, err)
	f := &hitFinder{site: site, now: now, today: "2027-03-01", causes: map[string]map[string][]string{}}
	for n := range count {
		room := []string{"bay", "hall"}[n%2]
		start := now.Add(time.Duration(n+1) * 2 * time.Hour)
		firing := domain.Firing{
			Key: int64(n + 1), ID: fmt.Sprint("f", n), RunID: fmt.Sprint("r", n), Stage: "fire", Furnace: "pot-" + room, State: domain.LoadConfirmed,
			TopCelsius: 900, Atmosphere: heat.Oxidising, Window: domain.Window{Start: start, End: start.Add(4 * time.Hour)},
		}
		for k, kind := range []heat.PhaseKind{heat.Charge, heat.Fire, heat.Cool, heat.Draw} {
			at := start.Add(time.Duration(k) * time.Hour)
			firing.Phases = append(firing.Phases, domain.FiringPhase{
				Kind: kind, Window: domain.Window{Start: at, End: at.Add(time.Hour)}, Watch: heat.InRoom, PeopleCount: 1, Kilowatts: 5,
			})
		}
		for k, species := range []string{"CO", "SO2"} {
			firing.Releases = append(firing.Releases, air.Release{Species: species, StartMinute: 60, EndMinute: 150, GramsPerMinute: 0.005 * float64(k+1)})
		}
		f.firings = append(f.firings, firing)
	}
	return f
}

// TestOnlyFiringsNearbyAreLookedAtAndAllOfThem: whatever their lengths, and the one itself not.
func TestOnlyFiringsNearbyAreLookedAtAndAllOfThem(t *testing.T) {
	t.Parallel()
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	f := hitsOf(t, 200)
	for i := range f.firings {
		start := f.now.Add(time.Duration(random.IntN(5000)) * time.Minute)
		f.firings[i].Window = domain.Window{Start: start, End: start.Add(time.Duration(1+random.IntN(3000)) * time.Minute)}
	}
	f.sort()
	for _, one := range f.firings {
		var want []domain.Firing
		for _, other := range f.firings {
			if other.Key != one.Key && other.Window.Overlaps(one.Window) {
				want = append(want, other)
			}
		}
		require.Equal(t, want, f.within(one.Window, one.Key))
	}
}
