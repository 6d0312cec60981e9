package store

import (
	"context"
	"errors"
	"maps"
	"slices"
	"strconv"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"

	"saggar/server/domain"
	"saggar/server/store/queries"
)

// bellChannel is PostgreSQL's channel on which studios that changed are named by their key.
const bellChannel = "saggar_changes"

// ringPatience bounds one ring; a bell that does not ring is made up for by those who look without it.
const ringPatience = 5 * time.Second

// bell tells every server of the database which studios changed. It rings after the commit, on a connection of its own turn,
// so that no writer waits for it: inside the transaction it would cost two thirds of the writes. While it rings, further
// studios gather and ring together.
type bell struct {
	mu      sync.Mutex
	changed map[int64]bool
	rung    chan struct{}
	end     context.CancelFunc
	ended   chan struct{}
}

// startBell rings with send until it is stopped.
func startBell(send func(ctx context.Context, studioKeys []int64) error) *bell {
	ctx, cancel := context.WithCancel(context.Background())
	b := &bell{changed: map[int64]bool{}, rung: make(chan struct{}, 1), end: cancel, ended: make(chan struct{})}
	go func() {
		defer close(b.ended)
		for {
			select {
			case <-ctx.Done():
				return
			case <-b.rung:
				patient, done := context.WithTimeout(ctx, ringPatience)
				_ = send(patient, b.take()) // a lost ring delays and loses nothing
				done()
			}
		}
	}()
	return b
}

func (b *bell) stop() {
	b.end()
	<-b.ended
}

// ring names studios that changed.
func (b *bell) ring(studioKeys map[int64]bool) {
	if len(studioKeys) == 0 {
		return
	}
	b.mu.Lock()
	maps.Copy(b.changed, studioKeys)
	b.mu.Unlock()
	select {
	case b.rung <- struct{}{}:
	default:
	}
}

func (b *bell) take() []int64 {
	b.mu.Lock()
	defer b.mu.Unlock()
	keys := slices.Sorted(maps.Keys(b.changed))
	clear(b.changed)
	return keys
}

func (s *Store) sendRing(ctx context.Context, studioKeys []int64) error {
	return queries.New(s.pool).RingBell(ctx, studioKeys)
}

// Listen hears which studios change, on a connection of its own, until it breaks or the context ends. ready is called once
// every later change would be heard; what changed before was not. Nothing says that each change rings: it is a hint.
func (s *Store) Listen(ctx context.Context, ready func(), rang func(studioKey int64)) (err error) {
	conn, err := pgx.ConnectConfig(ctx, s.pool.Config().ConnConfig)
	if err != nil {
		return translate(ctx, err)
	}
	defer func() {
		ending, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
		defer cancel()
		err = errors.Join(err, conn.Close(ending))
	}()
	if _, err := conn.Exec(ctx, "LISTEN "+bellChannel); err != nil {
		return translate(ctx, err)
	}
	ready()
	for {
		heard, err := conn.WaitForNotification(ctx)
		if err != nil {
			return translate(ctx, err)
		}
		// Whoever may write to the database may ring; what is no key wakes nobody.
		if key, err := strconv.ParseInt(heard.Payload, 10, 64); err == nil {
			rang(key)
		}
	}
}

// Changes returns the changes of a studio after a revision in order, at most limit; see Tx.ListChanges.
func (s *Store) Changes(ctx context.Context, studioKey, after int64, limit int) (changes []domain.Change, err error) {
	err = s.readOne(ctx, func(q *queries.Queries) error {
		changes, err = (&Tx{q: q}).ListChanges(ctx, studioKey, after, limit)
		return err
	})
	return changes, err
}

// Revisions returns the revisions of studios by key; one that does not stand is left out.
func (s *Store) Revisions(ctx context.Context, studioKeys []int64) (map[int64]int64, error) {
	revisions := map[int64]int64{}
	err := s.readOne(ctx, func(q *queries.Queries) error {
		rows, err := q.StudioRevisions(ctx, studioKeys)
		for _, row := range rows {
			revisions[row.StudioKey] = row.Revision
		}
		return err
	})
	return revisions, err
}
