package main

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	saggarv1 "saggar/proto/saggar/v1"
)

// fakeServer answers every method of the contract with what a test put there, and keeps what it was asked. What a real
// server does is tested with one; here the question is what the command line asks and how it shows the answer.
type fakeServer struct {
	t        *testing.T
	dir      string
	mu       sync.Mutex
	seen     []proto.Message
	metadata metadata.MD // of the last call
	// answers are by method; each call takes the first, and the last stays. An error or a message, or several for a stream.
	answers map[string][]any
	// streams answer a stream's request, which tests may want to see; they win over answers.
	streams map[string]func(request proto.Message) []any
}

func newFakeServer(t *testing.T) *fakeServer {
	t.Helper()
	dir, err := os.MkdirTemp("", "cli") // a socket's path must be short
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, os.RemoveAll(dir)) })
	require.NoError(t, os.WriteFile(filepath.Join(dir, "key"), []byte("secret\n"), 0o600))
	f := &fakeServer{t: t, dir: dir, streams: map[string]func(proto.Message) []any{}, answers: map[string][]any{
		"GetStudio": {&saggarv1.Studio{Name: "studios/marl-lane", Title: "Marl Lane", TimeZone: "Europe/Lisbon", StepMinutes: 5, Revision: 7}},
		// what the chart of a plan reads
		"ListFurnaces": {&saggarv1.ListFurnacesResponse{Furnaces: []*saggarv1.Furnace{
			{Name: "studios/marl-lane/furnaces/big-kiln", Room: "kiln-hall"}, {Name: "studios/marl-lane/furnaces/muffle", Room: "bay"},
			{Name: "studios/marl-lane/furnaces/pot", Room: "bay"},
		}}},
		"ListClosures": {&saggarv1.ListClosuresResponse{}}, "ListFirings": {&saggarv1.ListFiringsResponse{}},
	}}
	listener, err := net.Listen("unix", filepath.Join(dir, "s"))
	require.NoError(t, err)
	server := grpc.NewServer(grpc.UnknownServiceHandler(f.handle))
	go func() { _ = server.Serve(listener) }()
	t.Cleanup(server.Stop)
	return f
}

// answer puts the answers to a method's calls, in their order.
func (f *fakeServer) answer(method string, answers ...any) { f.answers[method] = answers }

// stream puts what answers the requests of a streaming method.
func (f *fakeServer) stream(method string, answer func(request proto.Message) []any) {
	f.streams[method] = answer
}

func (f *fakeServer) handle(_ any, stream grpc.ServerStream) error {
	full, _ := grpc.MethodFromServerStream(stream)
	name := strings.ReplaceAll(strings.TrimPrefix(full, "/"), "/", ".")
	descriptor, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(name))
	if err != nil {
		return status.Error(codes.Unimplemented, name)
	}
	method := descriptor.(protoreflect.MethodDescriptor)
	kind, err := protoregistry.GlobalTypes.FindMessageByName(method.Input().FullName())
	if err != nil {
		return status.Error(codes.Internal, err.Error())
	}
	request := kind.New().Interface()
	if err := stream.RecvMsg(request); err != nil {
		return err
	}
	f.mu.Lock()
	f.metadata = metadataOf(metadata.FromIncomingContext(stream.Context()))
	f.mu.Unlock()
	for _, answer := range f.next(string(method.Name()), request, method.IsStreamingServer()) {
		if err, failed := answer.(error); failed {
			return err
		}
		if err := stream.SendMsg(answer); err != nil {
			return err
		}
	}
	return nil
}

// next takes a method's next answer; a stream gets them all.
func (f *fakeServer) next(method string, request proto.Message, all bool) []any {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.seen = append(f.seen, request)
	answers := f.answers[method]
	if stream := f.streams[method]; stream != nil {
		return stream(request)
	}
	switch {
	case len(answers) == 0:
		return []any{status.Error(codes.Unimplemented, "the test has no answer for "+method)}
	case all:
		return answers
	case len(answers) > 1:
		f.answers[method] = answers[1:]
	}
	return answers[:1]
}

// run runs a command line against the server as a user who set server, studio and key by environment.
func (f *fakeServer) run(args ...string) ran { return f.runWith("", args...) }

func (f *fakeServer) runWith(input string, args ...string) ran {
	f.t.Helper()
	return f.runIn(f.t.Context(), input, args...)
}

func (f *fakeServer) runIn(ctx context.Context, input string, args ...string) ran {
	f.t.Helper()
	env := map[string]string{
		"SAGGAR_SERVER": "unix:" + filepath.Join(f.dir, "s"), "SAGGAR_STUDIO": "marl-lane",
		"SAGGAR_KEY_FILE": filepath.Join(f.dir, "key"),
	}
	var out, errOut strings.Builder
	s := &shell{
		in: strings.NewReader(input), out: &out, errOut: &errOut,
		lookupEnv: func(name string) (string, bool) { value, ok := env[name]; return value, ok },
	}
	code := s.run(ctx, args)
	return ran{out.String(), errOut.String(), code}
}

// succeed runs a command line that must exit with 0 and returns what it printed.
func (f *fakeServer) succeed(args ...string) string {
	f.t.Helper()
	r := f.run(args...)
	require.Equal(f.t, 0, r.code, "%v: %s", args, r.errOut)
	assert.Empty(f.t, r.errOut, "%v", args)
	return r.out
}

// asked returns the last request of a kind; the test ends when there was none.
func asked[M proto.Message](f *fakeServer) M {
	f.t.Helper()
	f.mu.Lock()
	defer f.mu.Unlock()
	for i := len(f.seen) - 1; i >= 0; i-- {
		if m, ok := f.seen[i].(M); ok {
			return m
		}
	}
	var none M
	require.Fail(f.t, "not asked", "the server got no %T", none)
	return none
}

// requests says how many requests of a kind there were.
func requests[M proto.Message](f *fakeServer) (n int) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, m := range f.seen {
		if _, ok := m.(M); ok {
			n++
		}
	}
	return n
}
