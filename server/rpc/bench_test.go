package rpc

import (
	"context"
	"io"
	"log/slog"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/timestamppb"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
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
		timeout: time.Minute, rules: rules,
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
