package app_test

import (
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"saggar/server/app"
	"saggar/server/pgtest"
)

// BenchmarkBookRun books one run at a time by 16 callers, on disk with fsync, in a studio with 10,000 firings. It reports the
// median and the 99th percentile of the whole operation, validation included.
func BenchmarkBookRun(b *testing.B) {
	bench := benchOn(b, pgtest.Durable(b).ConnString())
	template := bench.plan(b, request("red", 1), monday)
	require.NotEmpty(b, template.Run.Windows)
	bench.fill(b, template, 10_000)
	next := 0
	bench.bookMany(b, template, 200, &next) // connections, prepared statements and plans stand before the clock runs
	b.ResetTimer()
	took := bench.bookMany(b, template, b.N, &next)
	b.StopTimer()
	slices.Sort(took)
	b.ReportMetric(float64(took[len(took)/2].Microseconds()), "p50-us")
	b.ReportMetric(float64(took[len(took)*99/100].Microseconds()), "p99-us")
}

// bookMany books so many runs, a day apart, by 16 callers, and returns how long each took.
func (b bench) bookMany(t testing.TB, template planned, runs int, next *int) []time.Duration {
	t.Helper()
	const callers = 16
	var mu sync.Mutex
	var took []time.Duration
	until := *next + runs
	day := func() (int, bool) {
		mu.Lock()
		defer mu.Unlock()
		*next++
		return *next, *next <= until
	}
	var group sync.WaitGroup
	for range callers {
		group.Go(func() {
			for n, more := day(); more; n, more = day() {
				request := template.Run
				request.Windows = shifted(template.Run.Windows, time.Duration(n)*24*time.Hour)
				start := time.Now()
				_, err := b.BookRun(b.ctx, call("BookRun"), app.BookRunInput{
					StudioID: "test", Runs: []app.RunRequest{request}, Acknowledged: codes(template),
				})
				elapsed := time.Since(start)
				if err != nil {
					t.Error(err)
					return
				}
				mu.Lock()
				took = append(took, elapsed)
				mu.Unlock()
			}
		})
	}
	group.Wait()
	return took
}

// fill books so many runs of one stage far ahead, twenty at a time.
func (b bench) fill(t testing.TB, template planned, firings int) {
	t.Helper()
	const batch = 20
	for n := 0; n < firings; n += batch {
		in := app.BookRunInput{StudioID: "test", Acknowledged: codes(template)}
		for i := range batch {
			request := template.Run
			request.ID = fmt.Sprintf("fill-%d", n+i)
			request.Windows = shifted(template.Run.Windows, time.Duration(4000+(n+i))*24*time.Hour)
			in.Runs = append(in.Runs, request)
		}
		_, err := b.BookRun(b.ctx, call("BookRun"), in)
		require.NoError(t, err)
	}
}
