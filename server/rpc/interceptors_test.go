package rpc

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

const goodKey = "key-of-ada"

// testGate is a gate whose clock advances by a second at each look and whose log can be read.
type testGate struct {
	gate
	lines bytes.Buffer
}

func newTestGate(t *testing.T) *testGate {
	t.Helper()
	rules, err := newFieldRules()
	require.NoError(t, err)
	clock := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	g := &testGate{}
	g.gate = gate{
		logger:       slog.New(slog.NewJSONHandler(&g.lines, &slog.HandlerOptions{Level: slog.LevelDebug})),
		now:          func() time.Time { clock = clock.Add(time.Second); return clock },
		newRequestID: func() string { return "made-here" },
		timeout:      time.Minute,
		authenticate: func(_ context.Context, secret string) (domain.Identity, error) {
			if secret != goodKey {
				return domain.Identity{}, domain.ErrUnauthenticated
			}
			return domain.Identity{ID: "ada", ServerRole: domain.RoleMaker}, nil
		},
		rules: rules, rates: newRates(0, 0),
	}
	return g
}

// line is the one line that the gate logged.
func (g *testGate) line(t *testing.T) map[string]any {
	t.Helper()
	var line map[string]any
	require.NoError(t, json.Unmarshal(g.lines.Bytes(), &line), "not one line: %s", g.lines.String())
	return line
}

func (g *testGate) call(ctx context.Context, method string, message any, handler grpc.UnaryHandler) (any, error) {
	return g.unary(ctx, message, &grpc.UnaryServerInfo{FullMethod: method}, handler)
}

func withMetadata(pairs ...string) context.Context {
	return metadata.NewIncomingContext(context.Background(), metadata.Pairs(pairs...))
}

func asAda() context.Context { return withMetadata("authorization", "Bearer "+goodKey) }

func notReached(context.Context, any) (any, error) { return nil, errors.New("the handler was reached") }

func TestARequestPassesWithItsCaller(t *testing.T) {
	g := newTestGate(t)
	answer, err := g.call(asAda(), saggarv1.AccessService_GetCaller_FullMethodName, &saggarv1.GetCallerRequest{},
		func(ctx context.Context, _ any) (any, error) {
			_, bounded := ctx.Deadline()
			assert.True(t, bounded)
			return requestOf(ctx).caller.ID, nil
		})
	require.NoError(t, err)
	assert.Equal(t, "ada", answer)
	line := g.line(t)
	assert.Equal(t, "saggar.v1.AccessService/GetCaller", line["method"])
	assert.Equal(t, "OK", line["code"])
	assert.Equal(t, "ada", line["caller"])
	assert.Equal(t, "made-here", line["request_id"])
	assert.EqualValues(t, time.Second, line["duration"])
	assert.NotContains(t, g.lines.String(), goodKey)
}

func TestKeysThatAreNone(t *testing.T) {
	cases := map[string]context.Context{
		"no metadata":  context.Background(),
		"no key":       withMetadata(),
		"wrong key":    withMetadata("authorization", "Bearer other"),
		"no scheme":    withMetadata("authorization", goodKey),
		"other scheme": withMetadata("authorization", "Basic "+goodKey),
		"two keys":     withMetadata("authorization", "Bearer "+goodKey, "authorization", "Bearer "+goodKey),
		"empty key":    withMetadata("authorization", "Bearer "),
		"long key":     withMetadata("authorization", "Bearer "+strings.Repeat("k", 1000)),
	}
	for name, ctx := range cases {
		t.Run(name, func(t *testing.T) {
			g := newTestGate(t)
			_, err := g.call(ctx, saggarv1.RunService_BookRun_FullMethodName, &saggarv1.BookRunRequest{}, notReached)
			assert.Equal(t, codes.Unauthenticated, status.Code(err), "an ill-formed request learns nothing more")
		})
	}
}

func TestTheSchemeIsReadInAnyCase(t *testing.T) {
	g := newTestGate(t)
	_, err := g.call(withMetadata("authorization", "bearer "+goodKey), saggarv1.AccessService_GetCaller_FullMethodName,
		&saggarv1.GetCallerRequest{}, func(context.Context, any) (any, error) { return nil, nil })
	assert.NoError(t, err)
}

func TestRightsComeBeforeFieldRules(t *testing.T) {
	g := newTestGate(t)
	_, err := g.call(asAda(), saggarv1.StudioService_LoadStudio_FullMethodName, &saggarv1.LoadStudioRequest{}, notReached)
	assert.Equal(t, codes.PermissionDenied, status.Code(err))
	_, err = g.call(asAda(), saggarv1.RunService_BookRun_FullMethodName, &saggarv1.BookRunRequest{}, notReached)
	assert.Equal(t, codes.InvalidArgument, status.Code(err))
}

func TestPublicMethodsNeedNoKey(t *testing.T) {
	g := newTestGate(t)
	_, err := g.call(context.Background(), "/grpc.health.v1.Health/Check", nil, func(ctx context.Context, _ any) (any, error) {
		_, bounded := ctx.Deadline()
		assert.False(t, bounded)
		return nil, nil
	})
	require.NoError(t, err)
	assert.Equal(t, "DEBUG", g.line(t)["level"])
}

func TestTheLogNamesCallersAsNoStudioCan(t *testing.T) {
	g := newTestGate(t)
	mallorys := domain.Membership{StudioID: "south", PersonID: "sue", Role: domain.RoleViewer}
	who := domain.Identity{ID: mallorys.PersonID, Subject: "s-1\ncode=OK", Memberships: []domain.Membership{mallorys}}
	g.authenticate = func(context.Context, string) (domain.Identity, error) { return who, nil }
	try := func() map[string]any {
		g.lines.Reset()
		_, err := g.call(from(withMetadata("authorization", "Bearer "+goodKey), "192.0.2.1"), saggarv1.AccessService_GetCaller_FullMethodName,
			&saggarv1.GetCallerRequest{}, func(context.Context, any) (any, error) { return nil, nil })
		require.NoError(t, err)
		assert.Equal(t, 1, strings.Count(g.lines.String(), "\n"))
		return g.line(t)
	}
	line := try()
	assert.Equal(t, "s-1\ncode=OK", line["caller"], "the issuer's name, not the one that studio south gave")
	assert.Equal(t, "192.0.2.1", line["address"])
	who.Subject, who.KeyID = "", "k7"
	line = try()
	assert.Equal(t, "sue", line["caller"])
	assert.Equal(t, "k7", line["key"], "which of the Sues it is")
	g.authenticate = func(context.Context, string) (domain.Identity, error) {
		return domain.Identity{}, domain.ErrUnauthenticated
	}
	g.lines.Reset()
	_, err := g.call(from(withMetadata("authorization", "Bearer "+goodKey), "192.0.2.9"), saggarv1.AccessService_GetCaller_FullMethodName,
		&saggarv1.GetCallerRequest{}, func(context.Context, any) (any, error) { return nil, nil })
	require.Error(t, err)
	assert.Equal(t, "192.0.2.9", g.line(t)["address"], "where guesses come from")
	assert.NotContains(t, g.lines.String(), goodKey)
}

func TestRequestIDsThatCouldForgeTheLogAreReplaced(t *testing.T) {
	cases := map[string]string{
		"abc-123": "abc-123", "": "made-here", "two words": "made-here", "line\nbreak": "made-here", "naïve": "made-here",
		strings.Repeat("x", mostRequestIDBytes):   strings.Repeat("x", mostRequestIDBytes),
		strings.Repeat("x", mostRequestIDBytes+1): "made-here",
	}
	for given, want := range cases {
		_, r := newTestGate(t).begin(withMetadata(RequestIDKey, given), "/x/Y", false)
		assert.Equal(t, want, r.id, "%q", given)
	}
}

func TestAPanicEndsItsRequestOnly(t *testing.T) {
	g := newTestGate(t)
	_, err := g.call(asAda(), saggarv1.AccessService_GetCaller_FullMethodName, &saggarv1.GetCallerRequest{},
		func(context.Context, any) (any, error) { panic("out of clay") })
	assert.Equal(t, codes.Internal, status.Code(err))
	assert.NotContains(t, err.Error(), "clay")
	line := g.line(t)
	assert.Equal(t, "ERROR", line["level"])
	assert.Equal(t, "panic: out of clay", line["cause"])
	assert.Contains(t, line["stack"], "interceptors_test.go")
}

func TestAnUnknownErrorIsLoggedAndNotTold(t *testing.T) {
	g := newTestGate(t)
	_, err := g.call(asAda(), saggarv1.AccessService_GetCaller_FullMethodName, &saggarv1.GetCallerRequest{},
		func(context.Context, any) (any, error) { return nil, errors.New("row 7 is odd") })
	assert.Equal(t, codes.Internal, status.Code(err))
	assert.Equal(t, internalMessage, status.Convert(err).Message())
	assert.Equal(t, "row 7 is odd", g.line(t)["cause"])
}

func TestAShorterDeadlineOfTheCallerWins(t *testing.T) {
	g := newTestGate(t)
	ctx, cancel := context.WithTimeout(asAda(), time.Second)
	defer cancel()
	want, _ := ctx.Deadline()
	_, err := g.call(ctx, saggarv1.AccessService_GetCaller_FullMethodName, &saggarv1.GetCallerRequest{},
		func(ctx context.Context, _ any) (any, error) {
			got, _ := ctx.Deadline()
			assert.Equal(t, want, got)
			return nil, nil
		})
	require.NoError(t, err)
}

// fakeStream hands over one message.
type fakeStream struct {
	grpc.ServerStream
	ctx     context.Context
	message *saggarv1.PlanRunsRequest
}

func (s *fakeStream) Context() context.Context { return s.ctx }
func (s *fakeStream) RecvMsg(m any) error {
	into := m.(*saggarv1.PlanRunsRequest)
	into.Parent, into.Runs = s.message.GetParent(), s.message.GetRuns()
	return nil
}

func TestAStreamGoesThroughTheSameGate(t *testing.T) {
	receive := func(_ any, ss grpc.ServerStream) error {
		assert.Equal(t, "ada", requestOf(ss.Context()).who.ID)
		return ss.RecvMsg(&saggarv1.PlanRunsRequest{})
	}
	info := &grpc.StreamServerInfo{FullMethod: saggarv1.RunService_PlanRuns_FullMethodName, IsServerStream: true}
	run := &saggarv1.Run{Recipe: "studios/north/recipes/blue", Department: "pigments"}
	cases := map[string]struct {
		stream *fakeStream
		code   codes.Code
	}{
		"fine":       {&fakeStream{ctx: asAda(), message: &saggarv1.PlanRunsRequest{Parent: "studios/north", Runs: []*saggarv1.Run{run}}}, codes.OK},
		"ill-formed": {&fakeStream{ctx: asAda(), message: &saggarv1.PlanRunsRequest{Parent: "north", Runs: []*saggarv1.Run{run}}}, codes.InvalidArgument},
		"no key":     {&fakeStream{ctx: context.Background(), message: &saggarv1.PlanRunsRequest{}}, codes.Unauthenticated},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			assert.Equal(t, c.code, status.Code(newTestGate(t).stream(nil, c.stream, info, receive)))
		})
	}
}
