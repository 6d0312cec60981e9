package store_test

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/stretchr/testify/require"

	"saggar/chem/heat"
	"saggar/server/domain"
	"saggar/server/pgtest"
	"saggar/server/store"
	"saggar/server/store/queries"
)

const benchCallers = 16

// BenchmarkBook books runs of one firing in a studio with 10,000 firings, on disk, by 16 callers: through the store, and
// with the same statements sent straight to PostgreSQL. Both number their runs and hours ahead.
func BenchmarkBook(bm *testing.B) {
	c := pgtest.Durable(bm)
	b := &bench{t: bm, connString: c.ConnString(), Store: open(bm, c.ConnString())}
	b.studio = b.addStudio("kiln-yard")
	b.addHistory(10_000)
	pool, err := pgxpool.New(bm.Context(), c.ConnString()+"&pool_max_conns=16")
	require.NoError(bm, err)
	bm.Cleanup(pool.Close)
	for name, write := range map[string]func(ctx context.Context, since int64, runs []domain.Run) error{
		"store": b.bookThroughStore,
		"straight": func(ctx context.Context, since int64, runs []domain.Run) error {
			return b.bookStraight(ctx, pool, since, runs)
		},
	} {
		bm.Run(name, func(bm *testing.B) {
			runs := b.benchRuns(name, bm.N)
			since := b.lock(0, domain.Window{}, "").Studio.Revision
			var next atomic.Int64
			var callers sync.WaitGroup
			bm.ResetTimer()
			for range benchCallers {
				callers.Go(func() {
					for i := next.Add(1) - 1; i < int64(bm.N); i = next.Add(1) - 1 {
						if err := write(bm.Context(), since+max(0, i-benchCallers), runs[i:i+1]); err != nil {
							bm.Error(err)
							return
						}
					}
				})
			}
			callers.Wait()
		})
	}
}

// benchRuns are n runs whose firings lie one after the other in a furnace of their own.
func (b *bench) benchRuns(name string, n int) []domain.Run {
	furnace := fmt.Sprintf("%s-%d", name, time.Now().UnixNano())
	b.do(func(ctx context.Context, tx *store.Tx) error {
		e := domain.Equipment{Kind: domain.KindFurnace, ID: furnace, Revision: 1, Furnace: &heat.Furnace{ID: furnace}}
		_, err := tx.PutEquipment(ctx, b.studio.Key, e)
		return err
	})
	runs := make([]domain.Run, n)
	for i := range runs {
		hour := float64(8 * i)
		runs[i] = b.run(fmt.Sprintf("%s-%d", furnace, i), firing(furnace, window(hour, hour+8)))
	}
	return runs
}

func (b *bench) bookThroughStore(ctx context.Context, since int64, runs []domain.Run) error {
	return b.InTx(ctx, func(ctx context.Context, tx *store.Tx) error {
		locked, err := tx.LockForBooking(ctx, store.BookingLock{
			StudioID: "kiln-yard", Since: since, Window: runs[0].Loads[0].Window, Caller: "ada", RequestID: requestA,
		})
		if err != nil {
			return err
		}
		return tx.Book(ctx, revised(locked.Studio, store.Booking{NewRuns: runs}))
	})
}

func (b *bench) bookStraight(ctx context.Context, pool *pgxpool.Pool, since int64, runs []domain.Run) error {
	return pgx.BeginFunc(ctx, pool, func(tx pgx.Tx) error {
		studio := domain.Studio{Key: b.studio.Key}
		w := runs[0].Loads[0].Window
		lock := &pgx.Batch{}
		lock.Queue(queries.LockStudio, "kiln-yard").QueryRow(func(row pgx.Row) error {
			var text string
			var number int32
			var fraction float64
			var created time.Time
			var limits, chain []byte
			return row.Scan(&studio.Key, &text, &text, &text, &number, &number, &number, &fraction,
				&studio.Revision, &studio.EquipmentRevision, &studio.OwnRevision, &created, &limits, &chain)
		})
		lock.Queue(queries.GetRequestInStudio, "kiln-yard", "ada", requestA)
		for _, sql := range []string{queries.NewFirings, queries.PhasesOfNewFirings, queries.ReleasesOfNewFirings} {
			lock.Queue(sql, "kiln-yard", since, w.End, w.Start)
		}
		if err := tx.SendBatch(ctx, lock).Close(); err != nil {
			return err
		}
		statements, err := revised(studio, store.Booking{NewRuns: runs}).Statements()
		if err != nil {
			return err
		}
		batch := &pgx.Batch{}
		for _, s := range statements {
			batch.Queue(s.SQL, s.Arguments...)
		}
		return tx.SendBatch(ctx, batch).Close()
	})
}
