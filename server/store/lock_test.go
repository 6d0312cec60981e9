package store_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/domain"
	"saggar/server/store"
)

const (
	requestA = "6f1f7c1e-9f0a-4a57-8f0e-2f6b6c1d0a01"
	requestB = "6f1f7c1e-9f0a-4a57-8f0e-2f6b6c1d0a02"
)

func (b *bench) lock(since int64, w domain.Window, requestID string) (locked store.LockedStudio) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx *store.Tx) (err error) {
		locked, err = tx.LockForBooking(ctx, store.BookingLock{
			StudioID: b.studio.ID, Since: since, Window: w, Caller: "ada", RequestID: requestID,
		})
		return err
	})
	return locked
}

func TestTheLockBringsWhatIsNew(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.mustBook(b.run("blue-1", firing("muffle", window(8, 16))))
	r := b.run("blue-2", firing("top-loader", window(20, 30)), firing("muffle", window(60, 70)))
	require.NoError(t, b.book(store.Booking{NewRuns: []domain.Run{r}, Remembered: remembered(requestA)}))

	locked := b.lock(2, window(0, 50), requestA)
	assert.Equal(t, int64(3), locked.Studio.Revision)
	assert.Equal(t, []domain.Firing{*r.Loads[0].Firing}, locked.NewFirings, "newer and in the window, with phases and releases")
	assert.Equal(t, remembered(requestA), locked.Remembered)

	assert.Len(t, b.lock(1, window(0, 100), "").NewFirings, 3)
	assert.Len(t, b.lock(1, window(16, 20), "").NewFirings, 0, "what only touches the window does not overlap it")
	assert.Empty(t, b.lock(3, window(0, 100), "").NewFirings)
	assert.Empty(t, b.lock(0, domain.Window{}, "").NewFirings)
	assert.Nil(t, b.lock(3, window(0, 100), requestB).Remembered)
	assert.Nil(t, b.lock(3, window(0, 100), "").Remembered)
}

func TestTheLockLeavesOutWhatEnded(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	r := b.mustBook(b.run("blue-1", firing("muffle", window(8, 16))))
	off := *r.Loads[0].Firing
	off.State = domain.LoadCancelled
	require.NoError(t, b.book(store.Booking{EndedFirings: []domain.Firing{off}}))
	assert.Empty(t, b.lock(1, window(0, 100), "").NewFirings)
}

func TestALockOfNoStudioNamesIt(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for name, lock := range map[string]func(ctx context.Context, tx *store.Tx) error{
		"alone": func(ctx context.Context, tx *store.Tx) error {
			_, err := tx.LockStudio(ctx, "nowhere")
			return err
		},
		"for booking": func(ctx context.Context, tx *store.Tx) error {
			_, err := tx.LockForBooking(ctx, store.BookingLock{
				StudioID: "nowhere", Since: 0, Window: window(0, 1), Caller: "ada", RequestID: requestA,
			})
			return err
		},
	} {
		err := b.InTx(t.Context(), lock)
		require.ErrorIs(t, err, domain.ErrNotFound, name)
		require.ErrorContains(t, err, "studio nowhere", name)
	}
}

// The booking that is waited for must be seen, or two firings that each pass would together break a limit.
func TestAfterTheWaitTheLockSeesWhatItWaitedFor(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	r := b.run("blue-1", firing("muffle", window(8, 16)))
	locked, finish := make(chan struct{}), make(chan struct{})
	first := make(chan error, 1)
	go func() {
		first <- b.InTx(t.Context(), func(ctx context.Context, tx *store.Tx) error {
			studio, err := tx.LockStudio(ctx, b.studio.ID)
			close(locked)
			if err != nil {
				return err
			}
			<-finish
			booking := revised(studio, store.Booking{NewRuns: []domain.Run{r}, Remembered: remembered(requestA)})
			return tx.Book(ctx, booking)
		})
	}()
	<-locked
	second := make(chan store.LockedStudio, 1)
	go func() { second <- b.lock(1, window(0, 100), requestA) }()
	b.awaitWaiter()
	close(finish)
	require.NoError(t, <-first)
	seen := <-second
	assert.Equal(t, int64(2), seen.Studio.Revision)
	assert.Equal(t, []string{r.Loads[0].Firing.ID}, ids(seen.NewFirings))
	assert.NotNil(t, seen.Remembered)
}

// awaitWaiter returns once some transaction in the database waits for a lock.
func (b *bench) awaitWaiter() {
	b.t.Helper()
	conn := b.conn()
	for waiting := 0; waiting == 0; {
		require.NoError(b.t, conn.QueryRow(b.t.Context(),
			"SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND wait_event_type = 'Lock'").Scan(&waiting))
	}
}
