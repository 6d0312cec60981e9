// Package store keeps the domain's nouns in PostgreSQL and is the only place that speaks SQL. It decides nothing: what
// may be stored is decided by its callers, and by the constraints of the schema as the last guard.
//
// Everything happens in a transaction, which InTx and InSnapshot hand out as a Tx. What belongs to a studio is read and
// written with the studio's key, so that one studio's callers never see another's. Times are UTC. Errors are those of
// package domain where a caller can act on them, see pgerr.go; domain.Error's subjects are named within the studio
// ("runs/blue-7"), since the key does not tell the studio's id.
package store

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgtype"
	"github.com/jackc/pgx/v5/pgxpool"

	"saggar/server/domain"
	"saggar/server/store/queries"
)

//go:generate go run github.com/sqlc-dev/sqlc/cmd/sqlc@v1.31.1 generate

const (
	defaultConnections = 16
	// connectPatience bounds one attempt to reach the database.
	connectPatience = 5 * time.Second
	// endPatience bounds the end of a transaction, which goes on when the caller has gone.
	endPatience = 10 * time.Second
	// maxAttempts is how often a transaction is tried that PostgreSQL gives up in favour of another.
	maxAttempts = 5
	// firstPause is the longest pause before the second attempt; each later one may be twice as long.
	firstPause = 5 * time.Millisecond
)

// Options says how the database is used.
type Options struct {
	// MaxConnections is the most connections held at once; 0: 16. Writers of one studio each hold one while they wait.
	MaxConnections int
}

// Store is a database with the server's schema. Its methods may be called from several goroutines.
type Store struct {
	pool *pgxpool.Pool
	bell *bell
	now  func() time.Time
}

// WithClock is the same store by another clock. Runs and firings that waited too long by it are read as expired.
func (s *Store) WithClock(now func() time.Time) *Store {
	other := *s
	other.now = now
	return &other
}

// Open makes a store of a connection string (URL or key=value). It connects when the store is first used and again after
// every loss, so it succeeds while the database is away; an error means that the string is wrong.
func Open(ctx context.Context, connString string, opts Options) (*Store, error) {
	config, err := pgxpool.ParseConfig(connString)
	if err != nil {
		return nil, fmt.Errorf("open the database: %w", err)
	}
	config.MaxConns = defaultConnections
	if opts.MaxConnections > 0 {
		config.MaxConns = int32(opts.MaxConnections)
	}
	if config.ConnConfig.ConnectTimeout == 0 {
		config.ConnConfig.ConnectTimeout = connectPatience
	}
	config.ConnConfig.RuntimeParams["timezone"] = "UTC"
	config.AfterConnect = scanUTC
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, fmt.Errorf("open the database: %w", err)
	}
	s := &Store{pool: pool, now: time.Now}
	s.bell = startBell(s.sendRing)
	return s, nil
}

// scanUTC makes the connection return instants in UTC instead of the machine's time zone.
func scanUTC(_ context.Context, conn *pgx.Conn) error {
	conn.TypeMap().RegisterType(&pgtype.Type{
		Name: "timestamptz", OID: pgtype.TimestamptzOID, Codec: &pgtype.TimestamptzCodec{ScanLocation: time.UTC},
	})
	return nil
}

// Close waits until all transactions have ended and closes the connections.
func (s *Store) Close() {
	s.bell.stop()
	s.pool.Close()
}

// Ping reports whether the database answers: nil, domain.ErrUnavailable, or the context's error.
func (s *Store) Ping(ctx context.Context) error { return translate(ctx, s.pool.Ping(ctx)) }

// NextKeys takes fresh keys for runs and firings, outside any transaction: keys that are not used leave gaps.
func (s *Store) NextKeys(ctx context.Context, runs, firings int) (runKeys, firingKeys []int64, err error) {
	return nextKeys(ctx, s.pool, runs, firings)
}

// Tx is a transaction. It is valid until the function that got it returns and must not be used by several goroutines.
type Tx struct {
	tx pgx.Tx
	q  *queries.Queries
	// changed are the keys of studios that got an entry in their log, for the bell.
	changed map[int64]bool
	at      time.Time // at which it began
}

// InTx calls fn in a READ COMMITTED transaction and commits it if fn returns nil. When PostgreSQL gives the transaction
// up in favour of another (serialization failure, deadlock), fn is called anew, at most five times in all: it must keep
// no state between calls. Whatever else fn returns is rolled back, also when the context has ended, and returned.
// Errors: fn's; domain.ErrUnavailable when the database is away, also when it went away during the commit, so that
// nobody knows whether it was done: repeat with the same request id.
func (s *Store) InTx(ctx context.Context, fn func(ctx context.Context, tx *Tx) error) error {
	return s.run(ctx, pgx.TxOptions{IsoLevel: pgx.ReadCommitted}, fn)
}

// InSnapshot calls fn in a read-only transaction in which every read sees the same state. Errors are as in InTx.
func (s *Store) InSnapshot(ctx context.Context, fn func(ctx context.Context, tx *Tx) error) error {
	return s.run(ctx, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}, fn)
}

// readOne lets fn send one reading statement. It is repeated when the connection had died in the pool.
func (s *Store) readOne(ctx context.Context, fn func(q *queries.Queries) error) error {
	for attempt := 1; ; attempt++ {
		err := fn(queries.New(translating{s.pool}))
		_, refused := errors.AsType[*pgconn.ConnectError](err)
		if refused || !errors.Is(err, domain.ErrUnavailable) || attempt == maxAttempts {
			return err
		}
	}
}

func (s *Store) run(ctx context.Context, options pgx.TxOptions, fn func(ctx context.Context, tx *Tx) error) error {
	for attempt := 1; ; attempt++ {
		repeat, err := s.attempt(ctx, options, fn)
		if err == nil || !repeat || attempt == maxAttempts {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(rand.N(firstPause << (attempt - 1))):
		}
	}
}

// attempt runs fn once. repeat says that nothing was done and that another attempt may fare better.
func (s *Store) attempt(
	ctx context.Context, options pgx.TxOptions, fn func(ctx context.Context, tx *Tx) error,
) (repeat bool, err error) {
	tx, err := s.pool.BeginTx(ctx, options)
	if err != nil {
		// A connection that died in the pool: the next is another one. A database that refuses connections stays away.
		_, refused := errors.AsType[*pgconn.ConnectError](err)
		err = translate(ctx, err)
		return !refused && errors.Is(err, domain.ErrUnavailable), err
	}
	ending, cancel := context.WithCancel(context.WithoutCancel(ctx))
	defer cancel()
	committed := false
	defer func() {
		if !committed {
			stop := time.AfterFunc(endPatience, cancel)
			defer stop.Stop()
			// A rollback that fails has lost its connection, and PostgreSQL rolls back by itself.
			_ = tx.Rollback(ending)
		}
	}()
	given := &Tx{tx: tx, q: queries.New(translating{tx}), changed: map[int64]bool{}, at: s.now()}
	if err := fn(ctx, given); err != nil {
		return gaveWay(err), err
	}
	if err := ctx.Err(); err != nil {
		return false, err
	}
	stop := time.AfterFunc(endPatience, cancel)
	defer stop.Stop()
	if err := tx.Commit(ending); err != nil {
		err = translateCommit(ctx, err)
		return gaveWay(err), err
	}
	committed = true
	s.bell.ring(given.changed)
	return false, nil
}
