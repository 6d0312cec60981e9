package api_test

import (
	"context"
	"net"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"

	"saggar/client/api"
	saggarv1 "saggar/proto/saggar/v1"
)

// watched answers once and keeps the stream open until it is stopped.
type watched struct {
	saggarv1.UnimplementedWatchServiceServer
}

func (watched) WatchStudio(_ *saggarv1.WatchStudioRequest, stream grpc.ServerStreamingServer[saggarv1.WatchStudioResponse]) error {
	if err := stream.Send(&saggarv1.WatchStudioResponse{Revision: 7}); err != nil {
		return err
	}
	<-stream.Context().Done()
	return stream.Context().Err()
}

// TestFollowingComesBackSoon: a server that is away for long is tried again and again, not at pauses that grow to minutes.
func TestFollowingComesBackSoon(t *testing.T) {
	t.Parallel()
	address := filepath.Join(t.TempDir(), "s")
	serve := func() *grpc.Server {
		listener, err := net.Listen("unix", address)
		require.NoError(t, err)
		server := grpc.NewServer()
		saggarv1.RegisterWatchServiceServer(server, watched{})
		go func() { _ = server.Serve(listener) }()
		return server
	}
	connection, err := api.Dial(api.Options{Address: "unix:" + address})
	require.NoError(t, err)
	defer connection.Close()
	server := serve()
	var heard atomic.Int64
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() {
		ended <- connection.Follow(ctx, api.Follow{
			Request: &saggarv1.WatchStudioRequest{Name: "studios/north"},
			Each:    func(*saggarv1.WatchStudioResponse) error { heard.Add(1); return nil },
		})
	}()
	require.Eventually(t, func() bool { return heard.Load() == 1 }, time.Minute, time.Millisecond)
	server.Stop()

	away, err := net.Listen("unix", address) // takes connections and drops them
	require.NoError(t, err)
	var attempts atomic.Int64
	go func() {
		for {
			dropped, err := away.Accept()
			if err != nil {
				return
			}
			attempts.Add(1)
			_ = dropped.Close()
		}
	}()
	// The library's own pauses alone would let it try seven times in half a minute.
	assert.Eventually(t, func() bool { return attempts.Load() >= 8 }, 20*time.Second, 10*time.Millisecond)
	require.NoError(t, away.Close())
	server = serve()
	defer server.Stop()
	require.Eventually(t, func() bool { return heard.Load() == 2 }, 30*time.Second, time.Millisecond)
	cancel()
	assert.ErrorIs(t, <-ended, context.Canceled)
}
