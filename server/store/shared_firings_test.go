package store_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/air"
	"saggar/chem/heat"
	"saggar/server/domain"
	"saggar/server/store"
)

// shared is a firing for others without a key, and its releases without loads.
func shared(furnace string, w domain.Window) domain.Firing {
	f := *firing(furnace, w)
	f.ID, f.AttendedBy, f.Releases = "f900", "tove", nil
	f.Offer = &domain.Offer{
		Liters: 40, Grams: 15000, Until: w.Start.UTC(), Departments: []string{"ceramics"}, OpenedBy: "tove", ChargeGrams: 15000, EnergyKilowattHours: 60,
		Program: heat.Program{Segments: []heat.Segment{{ToCelsius: 1000, RateCelsiusPerHour: 100, HoldMinutes: 20}}},
		Ware:    []air.Release{{Species: "SO2", EndMinute: 60, GramsPerMinute: 0.5}},
	}
	return f.Filled(nil)
}

// joiner is a run of one load that rides in a firing.
func (b *bench) joiner(id string, in domain.Firing, liters float64) domain.Run {
	b.t.Helper()
	r := b.run(id, firing("muffle", in.Window))
	load := &r.Loads[0]
	load.Ride = &domain.Ride{Liters: liters, Grams: 1500, Ware: true, Releases: []air.Release{{Species: "HF", EndMinute: 30, GramsPerMinute: 0.25}}}
	with := in.With(domain.Rider{Ride: *load.Ride, RunID: id, Joined: true})
	load.Firing, load.Window, load.Joined = &with, in.Window, true
	return r
}

func (b *bench) firing(id string) (f domain.Firing) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx *store.Tx) (err error) {
		f, err = tx.Firing(ctx, b.studio.Key, id)
		return err
	})
	return f
}

func TestASharedFiringIsOneHoweverManyRideInIt(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	open := shared("muffle", window(8, 30))
	_, keys, err := b.NextKeys(t.Context(), 0, 1)
	require.NoError(t, err)
	open.Key = keys[0]
	require.NoError(t, b.book(store.Booking{Firings: []domain.Firing{open}}))
	assert.Equal(t, open, b.firing("f900"), "as it was opened")
	assert.Equal(t, 1, b.count("firing_releases"), "the sum stands for servers that know of no shared firings")

	one, two := b.joiner("one", open, 8), b.joiner("two", open, 4)
	require.NoError(t, b.book(store.Booking{NewRuns: []domain.Run{one, two}}))
	stands := b.firing("f900")
	require.Len(t, stands.Riders, 2)
	assert.Equal(t, *one.Loads[0].Ride, stands.Riders[0].Ride)
	assert.InDelta(t, 28, stands.FreeLiters(), 1e-9)
	assert.Len(t, stands.Releases, 3, "each load's, and ordinary ware's for what is free")
	assert.Equal(t, 2, b.count("firing_releases"), "the sum as the booking has it")
	assert.Empty(t, stands.RunID)
	over := b.firingsOver(store.FiringsQuery{Window: window(0, 40), WithReleases: true})
	require.Len(t, over, 1)
	assert.Equal(t, stands, over[0])
	assert.Len(t, b.firingsOver(store.FiringsQuery{Window: window(0, 40), SharedOnly: true}), 1)
	assert.Equal(t, stands.Riders, b.lock(1, window(0, 40), "").NewFirings[0].Riders, "under the lock too")
	read := b.stored("one")
	assert.True(t, read.Loads[0].Joined)
	assert.Equal(t, stands.Riders, read.Loads[0].Firing.Riders, "whoever rides sees who rides along")

	off := read
	off.Loads[0].State = domain.LoadCancelled
	*off.Loads[0].Firing = off.Loads[0].Firing.Without("one", domain.LoadCancelled)
	require.NoError(t, b.book(store.Booking{ChangedRuns: []domain.Run{off}}))
	stands = b.firing("f900")
	require.Len(t, stands.Riders, 1)
	assert.Equal(t, domain.LoadConfirmed, stands.State)
	assert.Equal(t, 1, b.count("occupancies"), "it still holds its furnace")

	waits := b.stored("two")
	waits.Loads[0].State = domain.LoadUnplaced
	ended := stands
	ended.State = domain.LoadCancelled
	waits.Loads[0].Firing = &ended
	require.NoError(t, b.book(store.Booking{ChangedRuns: []domain.Run{waits}, EndedFirings: []domain.Firing{ended}}))
	assert.Zero(t, b.count("occupancies"))
	b.do(func(ctx context.Context, tx *store.Tx) error {
		unplaced, err := tx.UnplacedLoads(ctx, b.studio.Key)
		assert.Equal(t, []store.UnplacedLoad{{RunID: "two", Stage: waits.Loads[0].Stage, FiringID: "f900"}}, unplaced)
		return err
	})
}

func TestAFiringThatIsSharedIsWrittenAnew(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	r := b.mustBook(b.run("host", firing("muffle", window(8, 16))))
	before := b.count("firing_releases")
	require.Positive(t, before)
	own := *r.Loads[0].Firing
	after := own
	after.Phases = append([]domain.FiringPhase(nil), own.Phases...)
	after.Phases[1].Watch = heat.InRoom
	after.Offer = shared("muffle", window(8, 16)).Offer
	after.AttendedBy = "tove"
	r.Loads[0].Firing, r.Loads[0].Ride = &after, &domain.Ride{Liters: 3, Grams: 10}
	require.NoError(t, b.book(store.Booking{ChangedRuns: []domain.Run{r}, Reworked: []int64{after.Key}}))
	stands := b.firing(own.ID)
	assert.Equal(t, heat.InRoom, stands.Phases[1].Watch)
	assert.Len(t, stands.Phases, len(own.Phases))
	assert.Equal(t, "tove", stands.AttendedBy)
	assert.Equal(t, "host", stands.RunID)
	require.Len(t, stands.Riders, 1)
	assert.False(t, stands.Riders[0].Joined)
	assert.Equal(t, len(own.Releases), b.count("firing_releases"))

	back := stands
	back.Offer, back.Riders, back.Releases = nil, nil, own.Releases
	r.Loads[0].Firing, r.Loads[0].Ride = &back, nil
	require.NoError(t, b.book(store.Booking{ChangedRuns: []domain.Run{r}, Reworked: []int64{after.Key}}))
	assert.Equal(t, before, b.count("firing_releases"))
	assert.Equal(t, own.Releases, b.firing(own.ID).Releases)
}

func TestARiderThatWaitedTooLongRidesNoMore(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	open := shared("muffle", window(8, 30))
	_, keys, err := b.NextKeys(t.Context(), 0, 1)
	require.NoError(t, err)
	open.Key = keys[0]
	require.NoError(t, b.book(store.Booking{Firings: []domain.Firing{open}}))
	waits := b.joiner("waits", open, 8)
	waits.Loads[0].State = domain.LoadTentative
	waits.Clearances = []domain.Clearance{{Rule: "yes", State: domain.ClearanceWaiting, ExpireTime: at(2).UTC(), AskTime: at(0).UTC()}}
	require.NoError(t, b.book(store.Booking{NewRuns: []domain.Run{waits}}))
	until := func(now time.Time) domain.Firing {
		var f domain.Firing
		require.NoError(t, b.WithClock(func() time.Time { return now }).InTx(t.Context(), func(ctx context.Context, tx *store.Tx) (err error) {
			f, err = tx.Firing(ctx, b.studio.Key, "f900")
			return err
		}))
		return f
	}
	assert.Len(t, until(at(2).Add(-time.Second)).Riders, 1)
	assert.Empty(t, until(at(2)).Riders, "its place is free, written down or not")
}
