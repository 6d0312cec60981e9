package rpc

import (
	"bytes"
	"context"
	"io"
	"net"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/http2"
	"golang.org/x/net/http2/hpack"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"

	"saggar/server/app"
	"saggar/server/domain"
)

// rough is a caller that speaks HTTP/2 by hand.
type rough struct {
	t *testing.T
	net.Conn
	*http2.Framer
	headers *bytes.Buffer
	encoder *hpack.Encoder
}

// besieged is a server on a loopback port, without a database.
type besieged struct {
	*Server
	address string
}

func besiege(t *testing.T, options Options) besieged {
	t.Helper()
	options.App = new(app.App)
	server, err := New(options)
	require.NoError(t, err)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- server.Serve(ctx, listener) }()
	t.Cleanup(func() {
		cancel()
		assert.NoError(t, <-done)
	})
	return besieged{server, listener.Addr().String()}
}

// answers reports whether an honest caller is served within a second.
func (b besieged) answers(t *testing.T) {
	t.Helper()
	connection, err := grpc.NewClient("passthrough:"+b.address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	require.NoError(t, err)
	defer connection.Close()
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
	defer cancel()
	_, err = healthpb.NewHealthClient(connection).Check(ctx, &healthpb.HealthCheckRequest{})
	assert.NoError(t, err, "others are served meanwhile")
}

func (b besieged) dial(t *testing.T) *rough {
	t.Helper()
	connection, err := net.Dial("tcp", b.address)
	require.NoError(t, err)
	t.Cleanup(func() { _ = connection.Close() })
	require.NoError(t, connection.SetDeadline(time.Now().Add(time.Minute)))
	r := &rough{t: t, Conn: connection, Framer: http2.NewFramer(connection, connection), headers: new(bytes.Buffer)}
	r.encoder = hpack.NewEncoder(r.headers)
	return r
}

// hello begins HTTP/2.
func (r *rough) hello(settings ...http2.Setting) {
	r.t.Helper()
	_, err := io.WriteString(r.Conn, http2.ClientPreface)
	require.NoError(r.t, err)
	require.NoError(r.t, r.WriteSettings(settings...))
}

// request encodes the headers of a call, with more of them.
func (r *rough) request(more ...hpack.HeaderField) []byte {
	r.t.Helper()
	r.headers.Reset()
	for _, field := range append([]hpack.HeaderField{
		{Name: ":method", Value: "POST"}, {Name: ":scheme", Value: "http"}, {Name: ":path", Value: "/saggar.v1.AccessService/GetCaller"},
		{Name: ":authority", Value: "kiln"}, {Name: "content-type", Value: "application/grpc"}, {Name: "te", Value: "trailers"},
	}, more...) {
		require.NoError(r.t, r.encoder.WriteField(field))
	}
	return bytes.Clone(r.headers.Bytes())
}

// drain reads until the server closes the connection, and returns the error code with which it said good-bye.
func (r *rough) drain() http2.ErrCode {
	r.t.Helper()
	last := http2.ErrCodeNo
	for {
		frame, err := r.ReadFrame()
		if err != nil {
			var late net.Error
			assert.False(r.t, asTimeout(err, &late), "the server does not close the connection")
			return last
		}
		if away, ok := frame.(*http2.GoAwayFrame); ok {
			last = away.ErrCode
		}
	}
}

func asTimeout(err error, target *net.Error) bool {
	timeout, ok := err.(net.Error)
	*target = timeout
	return ok && timeout.Timeout()
}

// TestRapidResetsDoNotPileUp opens streams and gives each up at once (CVE-2023-44487), against look-ups that do not end:
// however many come, no more than the limit are worked at.
func TestRapidResetsDoNotPileUp(t *testing.T) {
	t.Parallel()
	b := besiege(t, Options{})
	var running, most atomic.Int64
	release := make(chan struct{})
	b.gate.authenticate = func(context.Context, string) (domain.Identity, error) {
		now := running.Add(1)
		defer running.Add(-1)
		for seen := most.Load(); now > seen && !most.CompareAndSwap(seen, now); seen = most.Load() {
		}
		<-release
		return domain.Identity{}, domain.ErrUnauthenticated
	}
	r := b.dial(t)
	r.hello()
	go io.Copy(io.Discard, r.Conn)
	block := r.request(hpack.HeaderField{Name: "authorization", Value: "Bearer " + goodKey})
	again := r.request(hpack.HeaderField{Name: "authorization", Value: "Bearer " + goodKey})
	for i := range 5000 {
		id := uint32(2*i + 1)
		if i == 1 {
			block = again
		}
		if err := r.WriteHeaders(http2.HeadersFrameParam{StreamID: id, BlockFragment: block, EndHeaders: true}); err != nil {
			break // the server may have had enough
		}
		if err := r.WriteData(id, true, make([]byte, 5)); err != nil {
			break
		}
		if err := r.WriteRSTStream(id, http2.ErrCodeCancel); err != nil {
			break
		}
		if i%500 == 0 {
			require.NoError(t, r.SetWriteDeadline(time.Now().Add(500*time.Millisecond)))
		}
	}
	b.answers(t)
	assert.LessOrEqual(t, most.Load(), int64(mostStreams))
	assert.Positive(t, most.Load())
	close(release)
	assert.Eventually(t, func() bool { return running.Load() == 0 }, 10*time.Second, 10*time.Millisecond)
}

// TestHeaderFloods sends one header block after the other without end, and one that is too large in itself.
func TestHeaderFloods(t *testing.T) {
	t.Parallel()
	b := besiege(t, Options{})
	r := b.dial(t)
	r.hello()
	filler := r.request(hpack.HeaderField{Name: "x-filler", Value: strings.Repeat("f", 15<<10)})
	require.NoError(t, r.WriteHeaders(http2.HeadersFrameParam{StreamID: 1, BlockFragment: filler, EndStream: true}))
	sent := 0
	go r.drain()
	for ; sent < 100<<20; sent += len(filler) {
		r.headers.Reset()
		require.NoError(t, r.encoder.WriteField(hpack.HeaderField{Name: "x-filler", Value: strings.Repeat("f", 15<<10), Sensitive: true}))
		if r.WriteContinuation(1, false, r.headers.Bytes()) != nil {
			break
		}
	}
	assert.Less(t, sent, 8<<20, "a flood of continuations ends with the connection")
	b.answers(t)

	r = b.dial(t)
	r.hello()
	block := r.request(hpack.HeaderField{Name: "x-filler", Value: strings.Repeat("f", mostHeaderBytes)})
	first, rest := block[:16<<10], block[16<<10:]
	require.NoError(t, r.WriteHeaders(http2.HeadersFrameParam{StreamID: 1, BlockFragment: first, EndStream: true}))
	require.NoError(t, r.WriteContinuation(1, true, rest))
	refused := false
	for !refused {
		frame, err := r.ReadFrame()
		if err != nil {
			refused = true // the connection is gone, which is fine too
			break
		}
		switch f := frame.(type) {
		case *http2.RSTStreamFrame:
			refused = true
		case *http2.HeadersFrame:
			t.Errorf("headers above the limit are answered: %v", f)
			refused = true
		}
	}
	b.answers(t)
}

// TestSlowCallers begin and say nothing, or take no answers.
func TestSlowCallers(t *testing.T) {
	t.Parallel()
	t.Run("that do not begin", func(t *testing.T) {
		t.Parallel()
		b := besiege(t, Options{ConnectPatience: 200 * time.Millisecond})
		r := b.dial(t)
		_, err := io.WriteString(r.Conn, http2.ClientPreface[:10])
		require.NoError(t, err)
		began := time.Now()
		_, err = io.Copy(io.Discard, r.Conn)
		assert.NoError(t, err, "the server closes")
		assert.Less(t, time.Since(began), 10*time.Second)
		b.answers(t)
	})
	t.Run("that take no answers", func(t *testing.T) {
		t.Parallel()
		b := besiege(t, Options{ConnectionAge: 300 * time.Millisecond, Grace: 300 * time.Millisecond})
		r := b.dial(t)
		r.hello(http2.Setting{ID: http2.SettingInitialWindowSize, Val: 0})
		for i := range 2 * mostStreams {
			require.NoError(t, r.WriteHeaders(http2.HeadersFrameParam{
				StreamID: uint32(2*i + 1), BlockFragment: r.request(), EndHeaders: true,
			}))
			_ = r.WriteData(uint32(2*i+1), true, make([]byte, 5))
		}
		b.answers(t)
		began := time.Now()
		r.drain()
		assert.Less(t, time.Since(began), 20*time.Second, "the connection's age ends it")
		b.answers(t)
	})
	t.Run("that ping without end", func(t *testing.T) {
		t.Parallel()
		b := besiege(t, Options{})
		r := b.dial(t)
		r.hello()
		go func() {
			for r.WritePing(false, [8]byte{}) == nil {
				time.Sleep(time.Millisecond)
			}
		}()
		assert.Equal(t, http2.ErrCodeEnhanceYourCalm, r.drain())
		b.answers(t)
	})
}

// TestCallsOnOneConnectionAreBounded opens more streams at once than one connection may.
func TestCallsOnOneConnectionAreBounded(t *testing.T) {
	t.Parallel()
	b := besiege(t, Options{})
	var running atomic.Int64
	release := make(chan struct{})
	b.gate.authenticate = func(context.Context, string) (domain.Identity, error) {
		running.Add(1)
		<-release
		return domain.Identity{}, domain.ErrUnauthenticated
	}
	r := b.dial(t)
	r.hello()
	for i := range 2 * mostStreams {
		id := uint32(2*i + 1)
		require.NoError(t, r.WriteHeaders(http2.HeadersFrameParam{
			StreamID: id, BlockFragment: r.request(hpack.HeaderField{Name: "authorization", Value: "Bearer " + goodKey}), EndHeaders: true,
		}))
		require.NoError(t, r.WriteData(id, true, make([]byte, 5)))
	}
	refused := 0
	for refused < mostStreams {
		frame, err := r.ReadFrame()
		require.NoError(t, err)
		if reset, ok := frame.(*http2.RSTStreamFrame); ok {
			assert.Equal(t, http2.ErrCodeRefusedStream, reset.ErrCode)
			refused++
		}
	}
	b.answers(t)
	assert.Eventually(t, func() bool { return running.Load() == mostStreams }, 10*time.Second, 10*time.Millisecond)
	close(release)
}
