package rpc

import (
	"context"
	"crypto/rand"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/cluster"
	"saggar/server/domain"
	"saggar/server/store"
)

// startCluster starts PostgreSQL in a folder; stopping it again is the caller's.
func startCluster(t *testing.T, dir string) *cluster.Cluster {
	t.Helper()
	c, err := cluster.Start(t.Context(), cluster.Options{DataDir: dir, FastAndUnsafe: true})
	require.NoError(t, err)
	return c
}

func stopCluster(t *testing.T, c *cluster.Cluster) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	assert.NoError(t, c.Stop(ctx))
}

func TestAServerOutlastsItsDatabase(t *testing.T) {
	t.Parallel()
	dir, err := os.MkdirTemp("", "away-test-")
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, os.RemoveAll(dir)) })
	require.NoError(t, os.Chmod(dir, 0o711)) // user postgres must pass when this runs as root
	folder := filepath.Join(dir, "postgres")
	c := startCluster(t, folder)
	require.NoError(t, store.Migrate(t.Context(), c.ConnString()))
	kept, err := store.Open(t.Context(), c.ConnString(), store.Options{})
	require.NoError(t, err)
	t.Cleanup(kept.Close)
	operations := app.New(kept, time.Now, rand.Reader)
	secret, _, err := operations.CreateAccessKey(t.Context(), app.Call{}, app.NewKey{Caller: domain.Caller{ID: "stella", Role: domain.RoleSteward}})
	require.NoError(t, err)
	server, err := New(Options{App: operations, RequestTimeout: 20 * time.Second, Ping: kept.Ping})
	require.NoError(t, err)
	connection := connect(t, server)
	ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+secret)
	ask := func() codes.Code {
		_, err := saggarv1.NewStudioServiceClient(connection).ListStudios(ctx, &saggarv1.ListStudiosRequest{})
		return status.Code(err)
	}
	becomes := func(want healthpb.HealthCheckResponse_ServingStatus) {
		t.Helper()
		require.Eventually(t, func() bool {
			answer, err := healthpb.NewHealthClient(connection).Check(t.Context(), &healthpb.HealthCheckRequest{})
			return err == nil && answer.GetStatus() == want
		}, time.Minute, 20*time.Millisecond)
	}
	becomes(healthpb.HealthCheckResponse_SERVING)
	assert.Equal(t, codes.OK, ask())

	stopCluster(t, c)
	assert.Equal(t, codes.Unavailable, ask())
	becomes(healthpb.HealthCheckResponse_NOT_SERVING)

	c = startCluster(t, folder)
	defer stopCluster(t, c)
	becomes(healthpb.HealthCheckResponse_SERVING)
	assert.Equal(t, codes.OK, ask())
}
