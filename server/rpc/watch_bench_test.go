package rpc

import (
	"context"
	"crypto/rand"
	"fmt"
	"net"
	"runtime"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
	"saggar/server/pgtest"
	"saggar/server/store"
)

// BenchmarkWatch measures 1,000 watchers on one server over the loopback: from before a change is asked for, its write
// included, until the last of them was told; and the memory of a watcher, its client's side included, which runs in this
// process too.
func BenchmarkWatch(b *testing.B) {
	const watchers, ofOne, onOne = 1000, 16, 50
	kept, err := store.Open(b.Context(), pgtest.New(b), store.Options{})
	require.NoError(b, err)
	b.Cleanup(kept.Close)
	operations := app.New(kept, time.Now, rand.Reader)
	ctx, cancel := context.WithCancel(context.Background())
	var group sync.WaitGroup
	group.Go(func() { operations.RunWatches(ctx) })
	steward := app.Call{Caller: domain.Caller{ID: "sue", Role: domain.RoleSteward}, Method: "UpdateDepartment"}
	_, err = operations.LoadStudio(ctx, steward, app.LoadStudioInput{StudioID: "north", Studio: &domain.Studio{ID: "north", TimeZone: "UTC"}})
	require.NoError(b, err)
	address := listenFor(ctx, b, &group, operations)
	runtime.GC()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	told := make(chan int64, watchers)
	var connection *grpc.ClientConn
	var key string
	for i := range watchers {
		if i%ofOne == 0 {
			key, _, err = operations.CreateAccessKey(ctx, steward, app.NewKey{Caller: domain.Caller{ID: fmt.Sprint("w", i), Role: domain.RoleViewer}})
			require.NoError(b, err)
		}
		if i%onOne == 0 {
			connection, err = grpc.NewClient("passthrough:///"+address, grpc.WithTransportCredentials(insecure.NewCredentials()))
			require.NoError(b, err)
			b.Cleanup(func() { connection.Close() })
		}
		stream, err := saggarv1.NewWatchServiceClient(connection).WatchStudio(
			metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+key), &saggarv1.WatchStudioRequest{Name: north})
		require.NoError(b, err)
		group.Go(func() {
			for {
				answer, err := stream.Recv()
				if err != nil {
					return
				}
				told <- answer.GetRevision()
			}
		})
		<-told // where it begins
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	var last []time.Duration
	change := 0
	for b.Loop() {
		change++
		start := time.Now()
		d, err := operations.UpdateDepartment(ctx, steward, "north", domain.Department{ID: "d", Title: fmt.Sprint(change)}, app.Expectation{AllowMissing: true})
		require.NoError(b, err)
		for range watchers {
			require.Equal(b, d.Revision, <-told)
		}
		last = append(last, time.Since(start))
	}
	slices.Sort(last)
	b.ReportMetric(float64(last[len(last)*99/100].Microseconds())/1000, "ms-p99")
	b.ReportMetric(float64(after.HeapAlloc+after.StackInuse-before.HeapAlloc-before.StackInuse)/watchers, "B/watcher")
	cancel()
	group.Wait()
}

// listenFor serves on a free port until the context ends.
func listenFor(ctx context.Context, b *testing.B, group *sync.WaitGroup, operations *app.App) string {
	b.Helper()
	server, err := New(Options{App: operations, Stopping: operations.EndWatches})
	require.NoError(b, err)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(b, err)
	group.Go(func() { _ = server.Serve(ctx, listener) })
	return listener.Addr().String()
}
