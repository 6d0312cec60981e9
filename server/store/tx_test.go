package store_test

import (
	"context"
	"errors"
	"fmt"
	"net"
	"path/filepath"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sync/errgroup"

	"saggar/server/domain"
	"saggar/server/pgtest"
	"saggar/server/store"
)

func (b *bench) rename(ctx context.Context, tx *store.Tx, title string) error {
	renamed := b.studio
	renamed.Title = title
	return tx.UpdateStudio(ctx, renamed)
}

func (b *bench) title() (title string) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx *store.Tx) error {
		studio, err := tx.Studio(ctx, b.studio.ID)
		title = studio.Title
		return err
	})
	return title
}

func TestAnErrorLeavesNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	refused := errors.New("refused")
	r := b.run("blue-1", firing("muffle", window(1, 2)))
	err := b.InTx(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		studio, err := tx.LockStudio(ctx, b.studio.ID)
		require.NoError(t, err)
		require.NoError(t, tx.Book(ctx, revised(studio, store.Booking{NewRuns: []domain.Run{r}, Remembered: remembered(requestA)})))
		return refused
	})
	require.Equal(t, refused, err, "as it was returned")
	for _, table := range []string{
		"runs", "firings", "firing_phases", "firing_releases", "occupancies", "loads", "changes", "requests",
	} {
		assert.Zero(t, b.count(table), table)
	}
	assert.Equal(t, b.studio.Revision, b.lock(0, domain.Window{}, "").Studio.Revision)
}

func TestAPanicLeavesNothingAndFreesTheLock(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	assert.Panics(t, func() {
		_ = b.InTx(t.Context(), func(ctx context.Context, tx *store.Tx) error {
			require.NoError(t, b.rename(ctx, tx, "half done"))
			panic("bug")
		})
	})
	assert.Equal(t, b.studio.Title, b.title())
	b.lock(0, domain.Window{}, "")
}

func TestACallerWhoLeavesLeavesNothingAndFreesTheLock(t *testing.T) {
	t.Parallel()
	for name, leave := range map[string]func(ctx context.Context, tx *store.Tx) error{
		"between statements": func(context.Context, *store.Tx) error { return nil },
		"and then asks":      func(ctx context.Context, tx *store.Tx) error { _, err := tx.Studio(ctx, "kiln-yard"); return err },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			ctx, cancel := context.WithCancel(t.Context())
			err := b.InTx(ctx, func(ctx context.Context, tx *store.Tx) error {
				require.NoError(t, b.rename(ctx, tx, "half done"))
				cancel()
				return leave(ctx, tx)
			})
			require.ErrorIs(t, err, context.Canceled)
			assert.NotErrorIs(t, err, domain.ErrUnavailable)
			assert.Equal(t, b.studio.Title, b.title())
			b.lock(0, domain.Window{}, "")
		})
	}
}

func TestAWaitForTheLockEndsWithTheCallersPatience(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.do(func(ctx context.Context, tx *store.Tx) error {
		_, err := tx.LockStudio(ctx, b.studio.ID)
		require.NoError(t, err)
		impatient, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
		defer cancel()
		err = b.InTx(impatient, func(ctx context.Context, tx *store.Tx) error {
			_, err := tx.LockStudio(ctx, b.studio.ID)
			return err
		})
		require.ErrorIs(t, err, context.DeadlineExceeded)
		assert.NotErrorIs(t, err, domain.ErrUnavailable)
		return nil
	})
}

// Two callers that lock two studios crosswise: PostgreSQL gives one up, or both, which are then repeated and succeed.
func TestADeadlockIsRepeated(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.addStudio("glass-shed")
	var bothHold sync.WaitGroup
	bothHold.Add(2)
	var group errgroup.Group
	calls := make([]int, 2)
	for i, order := range [][]string{{"kiln-yard", "glass-shed"}, {"glass-shed", "kiln-yard"}} {
		group.Go(func() error {
			return b.InTx(t.Context(), func(ctx context.Context, tx *store.Tx) error {
				calls[i]++
				for n, id := range order {
					if _, err := tx.LockStudio(ctx, id); err != nil {
						return fmt.Errorf("lock: %w", err)
					}
					if n == 0 && calls[i] == 1 {
						bothHold.Done()
						bothHold.Wait()
					}
				}
				return nil
			})
		})
	}
	require.NoError(t, group.Wait())
	assert.Greater(t, calls[0]+calls[1], 2)
}

func TestWhatPostgresGivesUpIsRepeatedFiveTimesAtMost(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for code, want := range map[string]int{"40001": 5, "40P01": 5, "23505": 1} {
		calls := 0
		err := b.InTx(t.Context(), func(context.Context, *store.Tx) error {
			calls++
			return fmt.Errorf("book: %w", &pgconn.PgError{Code: code})
		})
		require.Error(t, err)
		assert.Equal(t, want, calls, code)
	}
}

func TestASnapshotStandsStillAndWritesNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	require.NoError(t, b.InSnapshot(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		before, err := tx.Studio(ctx, b.studio.ID)
		require.NoError(t, err)
		b.do(func(ctx context.Context, tx *store.Tx) error { return b.rename(ctx, tx, "renamed") })
		after, err := tx.Studio(ctx, b.studio.ID)
		assert.Equal(t, before, after)
		return err
	}))
	assert.Equal(t, "renamed", b.title())
	require.Error(t, b.InSnapshot(t.Context(), func(ctx context.Context, tx *store.Tx) error { return b.rename(ctx, tx, "written") }))
	assert.Equal(t, "renamed", b.title())
}

func TestConnectionsThatDiedInThePoolAreReplaced(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	var group errgroup.Group
	for range 3 {
		group.Go(func() error {
			return b.InTx(t.Context(), func(ctx context.Context, tx *store.Tx) error {
				_, err := tx.CountServerStewardKeys(ctx, time.Now())
				time.Sleep(10 * time.Millisecond) // so that each takes a connection of its own
				return err
			})
		})
	}
	require.NoError(t, group.Wait())
	_, err := b.conn().Exec(t.Context(), `SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity
		WHERE datname = current_database() AND pid <> pg_backend_pid()`)
	require.NoError(t, err)
	assert.Equal(t, b.studio.Title, b.title())
}

func TestACommitThatIsNotAnsweredIsUnavailable(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	_, err := b.conn().Exec(t.Context(), `
		CREATE FUNCTION die() RETURNS trigger LANGUAGE plpgsql AS
			$$ BEGIN PERFORM pg_terminate_backend(pg_backend_pid()); PERFORM pg_sleep(1); RETURN NULL; END $$;
		CREATE CONSTRAINT TRIGGER dies_at_commit AFTER UPDATE ON studios DEFERRABLE INITIALLY DEFERRED
			FOR EACH ROW EXECUTE FUNCTION die()`)
	require.NoError(t, err)
	calls := 0
	err = b.InTx(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		calls++
		return b.rename(ctx, tx, "renamed")
	})
	require.ErrorIs(t, err, domain.ErrUnavailable)
	assert.Equal(t, 1, calls, "it may be done: only the caller may repeat it")
}

func TestADatabaseThatIsAwayIsUnavailable(t *testing.T) {
	t.Parallel()
	s := open(t, "postgres://ada@/studio?host="+filepath.Join(t.TempDir(), "nowhere"))
	calls := 0
	fn := func(context.Context, *store.Tx) error { calls++; return nil }
	require.ErrorIs(t, s.Ping(t.Context()), domain.ErrUnavailable)
	require.ErrorIs(t, s.InTx(t.Context(), fn), domain.ErrUnavailable)
	require.ErrorIs(t, s.InSnapshot(t.Context(), fn), domain.ErrUnavailable)
	_, _, err := s.NextKeys(t.Context(), 1, 1)
	require.ErrorIs(t, err, domain.ErrUnavailable)
	assert.Zero(t, calls)

	_, err = store.Open(t.Context(), "postgres://%zz", store.Options{})
	require.ErrorContains(t, err, "open the database")
}

func TestADatabaseThatDoesNotAnswerIsUnavailable(t *testing.T) {
	t.Parallel()
	mute, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, mute.Close()) })
	s := open(t, fmt.Sprintf("postgres://ada@%s/studio?connect_timeout=1&sslmode=disable", mute.Addr()))
	require.ErrorIs(t, s.Ping(t.Context()), domain.ErrUnavailable, "the connection's own timeout is not the caller's")
	impatient, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	require.ErrorIs(t, s.Ping(impatient), context.DeadlineExceeded)
}

func TestTheStoreComesBackWithTheDatabase(t *testing.T) {
	t.Parallel()
	c := pgtest.Durable(t)
	s := open(t, c.ConnString())
	b := &bench{Store: s, t: t, connString: c.ConnString()}
	b.studio = b.addStudio("kiln-yard")
	killed := c.PID()
	require.NoError(t, syscall.Kill(killed, syscall.SIGKILL))
	// Sessions outlive their postmaster by a moment, so an answer alone does not mean that the database is back.
	require.Eventually(t, func() bool { return c.PID() != 0 && c.PID() != killed }, time.Minute, 10*time.Millisecond)
	for _, fn := range []func(ctx context.Context, tx *store.Tx) error{
		func(ctx context.Context, tx *store.Tx) error { return b.rename(ctx, tx, "back again") },
		func(ctx context.Context, tx *store.Tx) error {
			studio, err := tx.Studio(ctx, b.studio.ID)
			if err == nil {
				assert.Equal(t, "back again", studio.Title)
			}
			return err
		},
	} {
		require.Eventually(t, func() bool {
			err := s.InTx(t.Context(), fn)
			if err != nil {
				assert.ErrorIs(t, err, domain.ErrUnavailable)
			}
			return err == nil
		}, time.Minute, 20*time.Millisecond)
	}
}
