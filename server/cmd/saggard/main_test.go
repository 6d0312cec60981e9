package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/config"
)

// serveFor runs the server on a Unix socket while fn runs, and expects it to end well afterwards.
func serveFor(t *testing.T, dir string, fn func(ctx context.Context, client saggarv1.AccessServiceClient)) {
	t.Helper()
	serveWith(t, dir, nil, func(ctx context.Context, connection *grpc.ClientConn) {
		fn(ctx, saggarv1.NewAccessServiceClient(connection))
	})
}

// serveWith does so with further flags.
func serveWith(t *testing.T, dir string, flags []string, fn func(ctx context.Context, connection *grpc.ClientConn)) {
	t.Helper()
	socket := "unix:" + filepath.Join(dir, "s")
	settings, err := config.Load(append([]string{"--data-dir", dir, "--listen", socket, "--log-level", "error"}, flags...),
		config.Surroundings{LookupEnv: func(string) (string, bool) { return "", false }})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- run(ctx, settings) }()
	defer func() {
		cancel()
		select {
		case err := <-done:
			assert.NoError(t, err)
		case <-time.After(time.Minute):
			t.Error("the server does not stop")
		}
	}()
	connection, err := grpc.NewClient(socket, grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithDefaultCallOptions(grpc.WaitForReady(true)))
	require.NoError(t, err)
	defer connection.Close()
	callCtx, callCancel := context.WithTimeout(t.Context(), time.Minute)
	defer callCancel()
	fn(callCtx, connection)
}

func TestTheFirstKeyOpensAServerAndLastsOverARestart(t *testing.T) {
	t.Parallel()
	// A socket's path is short, and user postgres must pass when this runs as root.
	dir, err := os.MkdirTemp("", "saggard-test-")
	require.NoError(t, err)
	defer os.RemoveAll(dir)
	require.NoError(t, os.Chmod(dir, 0o711))
	for range 2 {
		serveFor(t, dir, func(ctx context.Context, client saggarv1.AccessServiceClient) {
			require.Eventually(t, func() bool {
				key, err := os.ReadFile(filepath.Join(dir, "first.key"))
				if err != nil {
					return false
				}
				ctx := metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+strings.TrimSpace(string(key)))
				caller, err := client.GetCaller(ctx, &saggarv1.GetCallerRequest{})
				return err == nil && caller.GetRole() == saggarv1.Role_ROLE_STEWARD
			}, time.Minute, 50*time.Millisecond)
		})
		heads, err := os.ReadFile(filepath.Join(dir, "trace-heads.jsonl"))
		require.NoError(t, err)
		assert.Equal(t, 1, strings.Count(string(heads), "\n"), "the first key is in the server's trace, once")
		assert.Contains(t, string(heads), `"studio":"","revision":1,`)
	}
}
