package app

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"saggar/server/domain"
	"saggar/server/store"
)

// BenchmarkMetersUnderTheLock is what allotments and limits add to the work in Go while the studio is locked: twelve sums, and a
// hundred firings that came in since the snapshot, none of which can matter otherwise.
func BenchmarkMetersUnderTheLock(b *testing.B) {
	start := time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC)
	p := &prepared{site: &domain.Site{}, reach: domain.Window{Start: start.AddDate(1, 0, 0), End: start.AddDate(1, 0, 1)}}
	for n := range 12 {
		department := fmt.Sprintf("department-%d", n)
		p.meters = append(p.meters, meter{
			window: domain.Window{Start: start, End: start.AddDate(0, 3, 0)}, left: 1e6,
			counts: func(f domain.Firing) bool { return f.Department == department },
			of:     func(u domain.Use) float64 { return u.KilowattHours },
		})
	}
	var locked store.LockedStudio
	for n := range 100 {
		from := start.Add(time.Duration(n) * time.Hour)
		f := domain.Firing{Department: fmt.Sprintf("department-%d", n%12), Window: domain.Window{Start: from, End: from.Add(12 * time.Hour)}}
		for k := range 8 {
			at := from.Add(time.Duration(k) * time.Hour)
			f.Phases = append(f.Phases, domain.FiringPhase{Window: domain.Window{Start: at, End: at.Add(time.Hour)}, Kilowatts: 5})
		}
		locked.NewFirings = append(locked.NewFirings, f)
	}
	require.NoError(b, p.stillHolds(locked, nil), "the benchmark must take the path of a booking that goes through")
	for b.Loop() {
		if err := p.stillHolds(locked, nil); err != nil {
			b.Fatal(err)
		}
	}
}
