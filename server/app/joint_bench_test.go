package app

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"saggar/chem/air"
	"saggar/chem/heat"
	"saggar/server/domain"
	"saggar/server/store"
)

// BenchmarkUnderTheLock is the work in Go while the studio is locked: one firing came in since the snapshot, and the planned
// one shares its room with 50 others that give off 3 gases each: in 4 releases a gas, or in the 12 pieces of a known rate.
func BenchmarkUnderTheLock(b *testing.B) {
	b.Run("releases", func(b *testing.B) { benchmarkUnderTheLock(b, 4, 45, 60) })
	b.Run("pieces", func(b *testing.B) { benchmarkUnderTheLock(b, 12, 17, 17) })
}

func benchmarkUnderTheLock(b *testing.B, releases int, apart, minutes float64) {
	start := time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC)
	equipment := []domain.Equipment{
		{Kind: domain.KindRoom, ID: "bay", Room: &air.Room{
			ID: "bay", VolumeCubicMeters: 400, MakeUpCubicMetersPerSecond: 9, MixingFactor: 3, CrewCount: 200,
		}},
		{Kind: domain.KindCircuit, ID: "fan", Circuit: &air.Circuit{ID: "fan", Branches: []air.Branch{
			{ID: "hood", Room: "bay", CubicMetersPerSecond: 8, MeasuredOn: "2027-01-01"},
		}}},
		{Kind: domain.KindSupply, ID: "panel", Supply: &domain.Supply{ID: "panel", LimitKilowatts: 1000}},
	}
	firing := func(n int) domain.Firing {
		id := fmt.Sprintf("furnace-%d", n)
		equipment = append(equipment, domain.Equipment{Kind: domain.KindFurnace, ID: id, Furnace: &heat.Furnace{
			ID: id, Room: "bay", Supply: "panel", Branch: "fan/hood",
			Capture: heat.Capture{ClosedFraction: 0.95, DoorOpenFraction: 0.7, Method: "tracer", MeasuredOn: "2027-01-01"},
		}})
		from := start.Add(time.Duration(n) * 20 * time.Minute)
		f := domain.Firing{ID: id, Furnace: id, Title: id, AttendedBy: fmt.Sprintf("person-%d", n%10), Window: domain.Window{Start: from, End: from.Add(12 * time.Hour)}}
		for k, kind := range []heat.PhaseKind{heat.Charge, heat.Fire, heat.Cool, heat.Draw} {
			at := from.Add(time.Duration(k) * 3 * time.Hour)
			f.Phases = append(f.Phases, domain.FiringPhase{
				Kind: kind, Window: domain.Window{Start: at, End: at.Add(3 * time.Hour)}, Watch: heat.InRoom, PeopleCount: 1, Kilowatts: 5,
			})
		}
		for _, species := range []string{"CO", "HF", "SO2"} {
			for k := range releases {
				at := 60 + apart*float64(k)
				f.Releases = append(f.Releases, air.Release{
					Species: species, StartMinute: at, EndMinute: at + minutes, GramsPerMinute: 0.01 + 0.001*float64(k%3),
				})
			}
		}
		return f
	}
	var firings []domain.Firing
	for n := range 52 {
		firings = append(firings, firing(n))
	}
	site, err := domain.NewSite(domain.Studio{TimeZone: "UTC"}, equipment)
	require.NoError(b, err)
	p := &prepared{site: site, joint: joint{
		site: site, existing: firings[:50], planned: []plannedFiring{{Firing: firings[50], field: "runs[0]"}}, today: "2027-03-01",
	}}
	_, p.days, _ = p.joint.days()
	require.NotEmpty(b, p.days, "somebody's day is looked at")
	locked := store.LockedStudio{NewFirings: firings[51:]}
	require.NoError(b, p.stillHolds(locked, nil), "the benchmark must take the path of a booking that goes through")
	for b.Loop() {
		if err := p.stillHolds(locked, nil); err != nil {
			b.Fatal(err)
		}
	}
}
