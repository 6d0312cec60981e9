package store_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sync/errgroup"

	"saggar/server/domain"
	"saggar/server/store"
)

func TestABookedRunIsReadAsItWasBooked(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	r := b.run("blue-1", firing("muffle", window(8, 16)), nil, firing("top-loader", window(20, 30)))
	booked := []domain.Run{r}
	require.NoError(t, b.book(store.Booking{NewRuns: booked, Remembered: remembered(requestA)}))

	assert.Equal(t, booked[0], b.stored("blue-1"))
	require.NoError(t, b.InTx(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		f, err := tx.Firing(ctx, b.studio.Key, r.Loads[2].Firing.ID)
		assert.Equal(t, *r.Loads[2].Firing, f)
		assert.NoError(t, err)
		studio, err := tx.Studio(ctx, b.studio.ID)
		assert.Equal(t, int64(2), studio.Revision)
		assert.NoError(t, err)
		did, err := tx.Remembered(ctx, b.studio.Key, "ada", requestA)
		assert.Equal(t, remembered(requestA), did)
		assert.NoError(t, err)
		changes, err := tx.ListChanges(ctx, b.studio.Key, 0, 0)
		assert.Len(t, changes, 1)
		return err
	}))
}

func TestABookingWithoutALogEntryIsRefused(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	err := b.InTx(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		return tx.Book(ctx, store.Booking{Studio: b.studio, NewRuns: []domain.Run{b.run("blue-1")}})
	})
	require.ErrorContains(t, err, "without an entry for the log")
	assert.Zero(t, b.count("runs"))
}

func TestTwoFiringsNeverShareAFurnace(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		second  *domain.Firing
		refused bool
	}{
		"the same hours":     {firing("muffle", window(8, 16)), true},
		"the last minute":    {firing("muffle", domain.Window{Start: at(16).Add(-time.Minute), End: at(20)}), true},
		"around it":          {firing("muffle", window(1, 40)), true},
		"right after it":     {firing("muffle", window(16, 20)), false},
		"right before it":    {firing("muffle", window(1, 8)), false},
		"in another furnace": {firing("top-loader", window(8, 16)), false},
		"one that was drawn": {drawn(firing("muffle", window(8, 16))), true},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			b.mustBook(b.run("blue-1", firing("muffle", window(8, 16))))
			err := b.book(store.Booking{NewRuns: []domain.Run{b.run("blue-2", firing("top-loader", window(50, 60)), c.second)}})
			if !c.refused {
				require.NoError(t, err)
				return
			}
			require.ErrorIs(t, err, domain.ErrFurnaceTaken)
			assert.Equal(t, 1, b.count("runs"), "nothing of the second stands")
			assert.Equal(t, 1, b.count("firings"))
			assert.Equal(t, 2, b.count("firing_phases"))
			assert.Equal(t, 1, b.count("changes"))
		})
	}
}

// drawn is a firing that was done, which keeps its furnace's time.
func drawn(f *domain.Firing) *domain.Firing {
	f.State = domain.LoadDrawn
	return f
}

func TestTheSchemaRefusesWhatNoBookingMayHold(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	f := b.mustBook(b.run("blue-1", firing("muffle", window(8, 16)))).Loads[0].Firing
	conn := b.conn()
	for name, c := range map[string]struct{ during, constraint string }{
		"without an end":   {"[2031-03-05 00:00+00,)", "occupancies_bounded"},
		"without a start":  {"(,2031-03-05 00:00+00)", "occupancies_bounded"},
		"empty":            {"empty", "occupancies_bounded"},
		"end included":     {"[2031-03-05 00:00+00,2031-03-06 00:00+00]", "occupancies_bounded"},
		"half a minute":    {"[2031-03-05 00:00:30+00,2031-03-06 00:00+00)", "occupancies_whole_minutes"},
		"ends half-minute": {"[2031-03-05 00:00+00,2031-03-06 00:00:30+00)", "occupancies_whole_minutes"},
	} {
		_, err := conn.Exec(t.Context(), "UPDATE occupancies SET during = $1::text::tstzrange WHERE firing_key = $2", c.during, f.Key)
		var pgErr *pgconn.PgError
		if assert.ErrorAs(t, err, &pgErr, name) {
			assert.Equal(t, c.constraint, pgErr.ConstraintName, name)
		}
	}
}

func TestAFiringOfHalfMinutesIsRefused(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	err := b.book(store.Booking{NewRuns: []domain.Run{
		b.run("blue-1", firing("muffle", domain.Window{Start: at(8).Add(30 * time.Second), End: at(9)})),
	}})
	require.ErrorContains(t, err, "occupancies_whole_minutes")
	assert.Zero(t, b.count("firings"))
}

func TestBookingsThatNameWhatDoesNotStandOrStandsAlready(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.mustBook(b.run("blue-1", firing("muffle", window(8, 16))))
	unknownRecipe := b.run("blue-2")
	unknownRecipe.RecipeVersion = 9
	unstored := b.run("blue-9", firing("muffle", window(60, 61)))
	for name, c := range map[string]struct {
		booking store.Booking
		want    error
	}{
		"the run's id is taken":    {store.Booking{NewRuns: []domain.Run{b.run("blue-1")}}, domain.ErrAlreadyExists},
		"no such furnace":          {store.Booking{NewRuns: []domain.Run{b.run("blue-2", firing("oven", window(1, 2)))}}, domain.ErrNotFound},
		"no such recipe":           {store.Booking{NewRuns: []domain.Run{unknownRecipe}}, domain.ErrNotFound},
		"changes an unknown run":   {store.Booking{ChangedRuns: []domain.Run{unstored}}, domain.ErrChangedMeanwhile},
		"ends an unknown firing":   {store.Booking{EndedFirings: []domain.Firing{*unstored.Loads[0].Firing}}, domain.ErrChangedMeanwhile},
		"two runs, the second ill": {store.Booking{NewRuns: []domain.Run{b.run("blue-3"), unknownRecipe}}, domain.ErrNotFound},
	} {
		assert.ErrorIs(t, b.book(c.booking), c.want, name)
	}
	assert.Equal(t, 1, b.count("runs"))
	assert.Equal(t, 1, b.count("changes"))
}

func TestAMoveSwapsTwoFirings(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	first := b.mustBook(b.run("blue-1", firing("muffle", window(8, 16))))
	second := b.mustBook(b.run("blue-2", firing("muffle", window(20, 30)), nil))
	ended := []domain.Firing{*first.Loads[0].Firing, *second.Loads[0].Firing}
	for i := range ended {
		ended[i].State = domain.LoadCancelled
	}
	// Each takes the other's hours, longer than the gap between them.
	replan(&first, b.run("blue-1", firing("muffle", window(20, 30))))
	replan(&second, b.run("blue-2", firing("muffle", window(8, 19))))
	first.Acknowledged = []string{"LAG_SHORT"}
	moved := []domain.Run{first, second}
	require.NoError(t, b.book(store.Booking{ChangedRuns: moved, EndedFirings: ended}))

	assert.Equal(t, moved[0], b.stored("blue-1"))
	assert.Equal(t, moved[1], b.stored("blue-2"))
	assert.Equal(t, []string{second.Loads[0].Firing.ID, first.Loads[0].Firing.ID},
		ids(b.firingsOver(store.FiringsQuery{Window: window(0, 100)})))
	all := b.firingsOver(store.FiringsQuery{Window: window(0, 100), ShowEnded: true})
	require.Len(t, all, 4)
	assert.Equal(t, domain.LoadCancelled, all[0].State)
	assert.Empty(t, all[0].RunID, "the run has gone to another firing")
	assert.Equal(t, 2, b.count("occupancies"))
}

// replan gives a stored run the first firing of another.
func replan(stored *domain.Run, planned domain.Run) {
	stored.Loads[0].Firing = planned.Loads[0].Firing
	stored.Loads[0].Window = planned.Loads[0].Window
}

func TestACancelledRunFreesItsFurnaces(t *testing.T) {
	t.Parallel()
	for name, explicit := range map[string]bool{"ended firings given": true, "ended only in the loads": false} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			r := b.mustBook(b.run("blue-1", firing("muffle", window(8, 16)), nil))
			var booking store.Booking
			for i := range r.Loads {
				r.Loads[i].State = domain.LoadCancelled
				if f := r.Loads[i].Firing; f != nil {
					f.State = domain.LoadCancelled
					if explicit {
						booking.EndedFirings = append(booking.EndedFirings, *f)
					}
				}
			}
			booking.ChangedRuns = []domain.Run{r}
			require.NoError(t, b.book(booking))
			assert.Equal(t, booking.ChangedRuns[0], b.stored("blue-1"))
			assert.Empty(t, b.firingsOver(store.FiringsQuery{Window: window(0, 100)}))
			b.mustBook(b.run("blue-2", firing("muffle", window(9, 10))))
		})
	}
}

func TestAConfirmationSetsTheStateOfAStandingFiring(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tentative := firing("muffle", window(8, 16))
	tentative.State = domain.LoadTentative
	r := b.mustBook(b.run("blue-1", tentative))
	r.Loads[0].State, r.Loads[0].Firing.State = domain.LoadConfirmed, domain.LoadConfirmed
	confirmed := []domain.Run{r}
	require.NoError(t, b.book(store.Booking{ChangedRuns: confirmed}))
	assert.Equal(t, confirmed[0], b.stored("blue-1"), "phases and releases stay single")
	assert.Equal(t, 1, b.count("occupancies"))
}

func TestOfConcurrentBookingsOnOneFurnaceExactlyOneWins(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	const callers = 12
	outcomes := make([]error, callers)
	var group errgroup.Group
	for i := range callers {
		r := b.run(fmt.Sprintf("blue-%d", i), firing("top-loader", window(float64(30+i), float64(31+i))),
			firing("muffle", window(8+0.5*float64(i), 16)))
		group.Go(func() error {
			outcomes[i] = b.book(store.Booking{NewRuns: []domain.Run{r}})
			return nil
		})
	}
	require.NoError(t, group.Wait())
	won := 0
	for _, err := range outcomes {
		if err == nil {
			won++
			continue
		}
		require.ErrorIs(t, err, domain.ErrFurnaceTaken)
	}
	assert.Equal(t, 1, won)
	assert.Equal(t, 1, b.count("runs"))
	assert.Equal(t, 2, b.count("occupancies"), "the losers' other firing is gone with them")
	assert.Equal(t, 1, b.count("changes"))
}
