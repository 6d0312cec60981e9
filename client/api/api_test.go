package api_test

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"saggar/client/api"
	saggarv1 "saggar/proto/saggar/v1"
)

// scripted is a server that fails as often as it is told and keeps what it was asked.
type scripted struct {
	saggarv1.UnimplementedStudioServiceServer
	saggarv1.UnimplementedAccessServiceServer
	saggarv1.UnimplementedRunServiceServer

	mu    sync.Mutex
	fails []error
	seen  []call
}

type call struct {
	authorization []string
	hasDeadline   bool
	requestID     string
}

// note keeps a call and takes the next failure, nil when none is left.
func (s *scripted) note(ctx context.Context, requestID string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	md, _ := metadata.FromIncomingContext(ctx)
	_, hasDeadline := ctx.Deadline()
	s.seen = append(s.seen, call{md.Get("authorization"), hasDeadline, requestID})
	if len(s.fails) == 0 {
		return nil
	}
	err := s.fails[0]
	s.fails = s.fails[1:]
	return err
}

func (s *scripted) calls() []call {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.seen
}

func (s *scripted) LoadStudio(ctx context.Context, r *saggarv1.LoadStudioRequest) (*saggarv1.LoadStudioResponse, error) {
	return &saggarv1.LoadStudioResponse{CreatedCount: 1}, s.note(ctx, r.GetRequestId())
}

func (s *scripted) GetStudio(ctx context.Context, r *saggarv1.GetStudioRequest) (*saggarv1.Studio, error) {
	if r.GetName() == "studios/slow" {
		<-ctx.Done()
	}
	return &saggarv1.Studio{}, s.note(ctx, "")
}

func (s *scripted) CreateAccessKey(ctx context.Context, _ *saggarv1.CreateAccessKeyRequest) (*saggarv1.AccessKey, error) {
	return &saggarv1.AccessKey{}, s.note(ctx, "")
}

func (s *scripted) PlanRuns(_ *saggarv1.PlanRunsRequest, stream grpc.ServerStreamingServer[saggarv1.PlanRunsResponse]) error {
	if err := s.note(stream.Context(), ""); err != nil {
		return err
	}
	return stream.Send(&saggarv1.PlanRunsResponse{})
}

// serve starts the server on a Unix socket and connects to it.
func serve(t *testing.T, o api.Options, fails ...error) (*scripted, *api.Connection) {
	t.Helper()
	dir, err := os.MkdirTemp("", "api") // a socket's path must be short
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, os.RemoveAll(dir)) })
	o.Address = "unix:" + filepath.Join(dir, "s")
	listener, err := net.Listen("unix", filepath.Join(dir, "s"))
	require.NoError(t, err)
	s := &scripted{fails: fails}
	server := grpc.NewServer()
	saggarv1.RegisterStudioServiceServer(server, s)
	saggarv1.RegisterAccessServiceServer(server, s)
	saggarv1.RegisterRunServiceServer(server, s)
	go func() { _ = server.Serve(listener) }()
	t.Cleanup(server.Stop)
	connection, err := api.Dial(o)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, connection.Close()) })
	return s, connection
}

func unavailable(n int) []error {
	var fails []error
	for range n {
		fails = append(fails, status.Error(codes.Unavailable, "away"))
	}
	return fails
}

func TestClearTextStaysOnTheMachine(t *testing.T) {
	for _, address := range []string{"127.0.0.1:7817", "127.8.9.1:1", "[::1]:7817", "localhost:7817", "unix:/run/s", "unix:s"} {
		connection, err := api.Dial(api.Options{Address: address})
		if assert.NoError(t, err, address) {
			assert.NoError(t, connection.Close())
		}
		assert.False(t, api.SpeaksTLS(api.Options{Address: address}), address)
		assert.True(t, api.IsLocal(address), address)
	}
	for _, address := range []string{
		"192.0.2.7:7817", "example.test:7817", "0.0.0.0:7817", "[2001:db8::1]:7817", "localhost.example.test:1",
	} {
		assert.True(t, api.SpeaksTLS(api.Options{Address: address}), address)
		assert.False(t, api.IsLocal(address), address)
	}
	for address, cure := range map[string]string{
		":7817": "host:port", "127.0.0.1": "host:port", "": "host:port", "unix:": "host:port",
	} {
		_, err := api.Dial(api.Options{Address: address})
		assert.ErrorContains(t, err, cure, address)
	}
}

func TestEveryCallCarriesKeyAndDeadline(t *testing.T) {
	s, connection := serve(t, api.Options{Key: "secret"})
	_, err := connection.Studios.GetStudio(t.Context(), &saggarv1.GetStudioRequest{})
	require.NoError(t, err)
	stream, err := connection.Runs.PlanRuns(t.Context(), &saggarv1.PlanRunsRequest{})
	require.NoError(t, err)
	_, err = stream.Recv()
	require.NoError(t, err)
	require.Len(t, s.calls(), 2)
	assert.Equal(t, call{[]string{"Bearer secret"}, true, ""}, s.calls()[0])
	assert.Equal(t, call{[]string{"Bearer secret"}, false, ""}, s.calls()[1], "a stream has its caller's deadline")
}

func TestWithoutAKeyNoneIsSent(t *testing.T) {
	s, connection := serve(t, api.Options{})
	_, err := connection.Studios.GetStudio(t.Context(), &saggarv1.GetStudioRequest{})
	require.NoError(t, err)
	assert.Empty(t, s.calls()[0].authorization)
}

func TestADeadlineEndsACall(t *testing.T) {
	_, connection := serve(t, api.Options{Timeout: time.Millisecond})
	_, err := connection.Studios.GetStudio(t.Context(), &saggarv1.GetStudioRequest{Name: "studios/slow"})
	assert.Equal(t, codes.DeadlineExceeded, status.Code(err))
	assert.Equal(t, api.ExitUnreachable, api.ExitCode(err))
}

func TestAServerThatIsAwayIsAskedAgainWithTheSameRequestID(t *testing.T) {
	s, connection := serve(t, api.Options{}, unavailable(2)...)
	id := api.NewRequestID()
	answer, err := connection.Studios.LoadStudio(t.Context(), &saggarv1.LoadStudioRequest{RequestId: id})
	require.NoError(t, err)
	assert.Equal(t, int32(1), answer.GetCreatedCount())
	require.Len(t, s.calls(), 3)
	for _, c := range s.calls() {
		assert.Equal(t, id, c.requestID)
	}
}

func TestRetriesEnd(t *testing.T) {
	s, connection := serve(t, api.Options{}, unavailable(100)...)
	_, err := connection.Studios.GetStudio(t.Context(), &saggarv1.GetStudioRequest{})
	assert.Equal(t, codes.Unavailable, status.Code(err))
	assert.Len(t, s.calls(), 4)
}

func TestOnlyAServerThatIsAwayIsAskedAgain(t *testing.T) {
	for _, code := range []codes.Code{
		codes.Aborted, codes.DeadlineExceeded, codes.FailedPrecondition, codes.Internal, codes.ResourceExhausted,
	} {
		s, connection := serve(t, api.Options{}, status.Error(code, "no"))
		_, err := connection.Studios.LoadStudio(t.Context(), &saggarv1.LoadStudioRequest{RequestId: api.NewRequestID()})
		assert.Equal(t, code, status.Code(err))
		assert.Len(t, s.calls(), 1, "after %s", code)
	}
}

func TestAKeyIsNeverMadeTwice(t *testing.T) {
	s, connection := serve(t, api.Options{}, unavailable(1)...)
	_, err := connection.Access.CreateAccessKey(t.Context(), &saggarv1.CreateAccessKeyRequest{})
	assert.Equal(t, codes.Unavailable, status.Code(err))
	assert.Len(t, s.calls(), 1, "a key request has no id to tell a repeat by")
}

func TestNobodyListens(t *testing.T) {
	connection, err := api.Dial(api.Options{Address: "unix:" + filepath.Join(t.TempDir(), "nobody")})
	require.NoError(t, err)
	defer connection.Close()
	_, err = connection.Studios.GetStudio(t.Context(), &saggarv1.GetStudioRequest{})
	assert.Equal(t, api.ExitUnreachable, api.ExitCode(err))
}

func TestAServerThatIsAwayIsNamedInOneLineByItsAddress(t *testing.T) {
	c, err := api.Dial(api.Options{Address: "127.0.0.1:1", Timeout: 5 * time.Second})
	require.NoError(t, err)
	defer c.Close()
	const want = "the server cannot be reached: nothing answers at 127.0.0.1:1 (connection refused); see that saggard runs, " +
		"and that --server or SAGGAR_SERVER names its address"
	_, err = c.Studios.GetStudio(t.Context(), &saggarv1.GetStudioRequest{})
	assert.Equal(t, want, api.Describe(err))
	assert.Equal(t, 5, api.ExitCode(err))
	stream, err := c.Runs.PlanRuns(t.Context(), &saggarv1.PlanRunsRequest{})
	if err == nil {
		_, err = stream.Recv()
	}
	assert.Equal(t, want, api.Describe(err), "also of a stream")
}

func TestRequestIDs(t *testing.T) {
	first, err := uuid.Parse(api.NewRequestID())
	require.NoError(t, err)
	assert.Equal(t, uuid.Version(4), first.Version())
	assert.NotEqual(t, first.String(), api.NewRequestID())
}

func TestReadKey(t *testing.T) {
	path := filepath.Join(t.TempDir(), "first.key")
	require.NoError(t, os.WriteFile(path, []byte("  secret\n"), 0o600))
	key, err := api.ReadKey(path)
	require.NoError(t, err)
	assert.Equal(t, "secret", key)

	for _, mode := range []os.FileMode{0o640, 0o604, 0o660, 0o644} {
		require.NoError(t, os.Chmod(path, mode))
		_, err = api.ReadKey(path)
		assert.ErrorContains(t, err, "chmod 600", "mode %04o", mode)
	}
	require.NoError(t, os.Chmod(path, 0o600))
	for _, text := range []string{"", "\n", "two\nlines", "two words", "sch\u00fcssel", "bell\a"} {
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		_, err = api.ReadKey(path)
		assert.ErrorContains(t, err, "one key on one line", "%q", text)
	}
	_, err = api.ReadKey(filepath.Join(t.TempDir(), "none"))
	assert.ErrorIs(t, err, os.ErrNotExist)
	assert.ErrorContains(t, err, "--key-file")
}
