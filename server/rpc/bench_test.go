package rpc

import (
	"context"
	"crypto/rand"
	"errors"
	"io"
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/timestamppb"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
	"saggar/server/pgtest"
	"saggar/server/store"
)

// BenchmarkGate is what a booking of four stages costs before its handler runs: the interceptors and the field rules,
// without the look-up of the key.
func BenchmarkGate(b *testing.B) {
	rules, err := newFieldRules()
	if err != nil {
		b.Fatal(err)
	}
	g := &gate{
		logger: slog.New(slog.NewTextHandler(io.Discard, nil)), now: time.Now, newRequestID: func() string { return "id" },
		timeout: time.Minute, rules: rules, rates: newRates(0, 0),
		authenticate: func(context.Context, string) (domain.Identity, error) {
			return domain.Identity{ID: "max", ServerRole: domain.RoleMaker}, nil
		},
	}
	run := redRun()
	for _, stage := range []string{"calcine", "pack", "reduce", "oxidise"} {
		window := &saggarv1.StageWindow{Stage: stage, Furnace: "pot"}
		for range 6 {
			window.Phases = append(window.Phases, &saggarv1.PhaseWindow{
				Kind: saggarv1.PhaseKind_PHASE_KIND_FIRE, StartTime: timestamppb.New(monday), EndTime: timestamppb.New(monday.Add(time.Hour)),
			})
		}
		run.StageWindows = append(run.StageWindows, window)
	}
	request := &saggarv1.BookRunRequest{Parent: north, Runs: []*saggarv1.Run{run}}
	info := &grpc.UnaryServerInfo{FullMethod: saggarv1.RunService_BookRun_FullMethodName}
	handler := func(context.Context, any) (any, error) { return nil, nil }
	ctx := asAda()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := g.unary(ctx, request, info, handler); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkDoor is what the whole door costs a call: request id, log line, deadline, key (from memory, as all calls of a
// caller but about one a second), rate, rights in the studio, field rules of a small request. A key that is read costs the
// read besides, which BenchmarkKeyRead shows.
func BenchmarkDoor(b *testing.B) {
	g, secret := doorOnDatabase(b)
	ctx := withMetadata("authorization", "Bearer "+secret)
	request := &saggarv1.GetRunRequest{Name: north + "/runs/blue-one"}
	info := &grpc.UnaryServerInfo{FullMethod: saggarv1.RunService_GetRun_FullMethodName}
	handler := func(context.Context, any) (any, error) { return nil, nil }
	b.ReportAllocs()
	for b.Loop() {
		if _, err := g.unary(ctx, request, info, handler); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkKeyRead is the read of a key that no server remembers.
func BenchmarkKeyRead(b *testing.B) {
	g, _ := doorOnDatabase(b)
	unknown := strings.Repeat("A", 43)
	for b.Loop() {
		if _, err := g.authenticate(b.Context(), unknown); !errors.Is(err, domain.ErrUnauthenticated) {
			b.Fatal(err)
		}
	}
}

// doorOnDatabase is a gate on a real database with the key of a viewer.
func doorOnDatabase(b *testing.B) (*gate, string) {
	b.Helper()
	kept, err := store.Open(b.Context(), pgtest.New(b), store.Options{})
	require.NoError(b, err)
	b.Cleanup(kept.Close)
	operations := app.New(kept, time.Now, rand.Reader)
	secret, _, err := operations.CreateAccessKey(b.Context(), app.Call{}, app.NewKey{Caller: domain.Caller{ID: "vera", Role: domain.RoleViewer}})
	require.NoError(b, err)
	rules, err := newFieldRules()
	require.NoError(b, err)
	return &gate{
		logger: slog.New(slog.NewTextHandler(io.Discard, nil)), now: time.Now, newRequestID: func() string { return "id" },
		timeout: time.Minute, rules: rules, rates: newRates(1e9, 1e9), authenticate: operations.Authenticate,
	}, secret
}
