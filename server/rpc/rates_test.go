package rpc

import (
	"context"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/status"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
	"saggar/server/limit"
)

// standing is a clock that the test moves.
type standing struct{ at time.Time }

func (c *standing) now() time.Time { return c.at }

func TestACallerIsHeldToItsRateAndNobodyElseForIt(t *testing.T) {
	clock := &standing{monday}
	r := newRates(10, 5)
	r.now = clock.now
	ada, other := domain.Identity{ID: "ada", KeyID: "k1"}, domain.Identity{ID: "ada", KeyID: "k2"}
	for range 5 {
		require.NoError(t, r.admit(ada))
	}
	require.ErrorIs(t, r.admit(ada), domain.ErrTooMany, "the sixth at once")
	require.NoError(t, r.admit(other), "each key has its own")
	south, north := domain.Identity{ID: "ada", Subject: "s-1"}, domain.Identity{ID: "ada", Subject: "s-2"}
	for range 5 {
		require.NoError(t, r.admit(south))
	}
	require.ErrorIs(t, r.admit(south), domain.ErrTooMany)
	require.NoError(t, r.admit(north), "a namesake in another studio is somebody else")
	clock.at = clock.at.Add(99 * time.Millisecond)
	require.ErrorIs(t, r.admit(ada), domain.ErrTooMany)
	clock.at = clock.at.Add(time.Millisecond)
	require.NoError(t, r.admit(ada), "a tenth of a second later there is one more")
	s, known := statusOf(r.admit(ada))
	assert.True(t, known)
	assert.Equal(t, codes.ResourceExhausted, s.Code())
}

func from(ctx context.Context, address string) context.Context {
	return peer.NewContext(ctx, &peer.Peer{Addr: &net.TCPAddr{IP: net.ParseIP(address), Port: 1}})
}

func TestFailuresThrottleTheirAddressAndNeverAValidKey(t *testing.T) {
	g := newTestGate(t)
	clock := &standing{monday}
	g.rates.now, g.rates.hold = clock.now, 50*time.Millisecond
	method := saggarv1.AccessService_GetCaller_FullMethodName
	try := func(address, key string) (codes.Code, time.Duration) {
		began := time.Now()
		_, err := g.call(from(withMetadata("authorization", "Bearer "+key), address), method, &saggarv1.GetCallerRequest{},
			func(context.Context, any) (any, error) { return nil, nil })
		return status.Code(err), time.Since(began)
	}
	for range failuresAtOnce {
		code, _ := try("192.0.2.1", "guess")
		require.Equal(t, codes.Unauthenticated, code)
	}
	code, took := try("192.0.2.1", "guess")
	assert.Equal(t, codes.ResourceExhausted, code)
	assert.GreaterOrEqual(t, took, g.rates.hold, "the answer is held back")
	code, took = try("192.0.2.1", goodKey)
	assert.Equal(t, codes.OK, code, "a valid key from the same address")
	assert.Less(t, took, g.rates.hold)
	code, _ = try("192.0.2.2", "guess")
	assert.Equal(t, codes.Unauthenticated, code, "another address")
	clock.at = clock.at.Add(time.Second)
	code, _ = try("192.0.2.1", "guess")
	assert.Equal(t, codes.Unauthenticated, code, "a second later one more is told at once")
}

func TestAHeldAnswerEndsWithItsCaller(t *testing.T) {
	r := newRates(0, 0)
	r.hold = time.Hour
	r.failures = limit.New(1, 0)
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer cancel()
	assert.ErrorIs(t, r.failed(ctx, domain.ErrUnauthenticated), domain.ErrTooMany)
	for range mostHeld {
		r.held <- struct{}{}
	}
	assert.ErrorIs(t, r.failed(t.Context(), domain.ErrUnauthenticated), domain.ErrTooMany, "more than can be held are answered at once")
	assert.ErrorIs(t, r.failed(t.Context(), domain.ErrUnavailable), domain.ErrUnavailable, "a database that is away is nobody's failure")
}

func TestSitesAreToldApart(t *testing.T) {
	for address, want := range map[string]string{
		"192.0.2.1": "192.0.2.1", "::ffff:192.0.2.1": "192.0.2.1", "2001:db8:1:2:3:4:5:6": "2001:db8:1:2::/64", "2001:db8:1:2::9": "2001:db8:1:2::/64",
	} {
		assert.Equal(t, want, addressOf(from(context.Background(), address)))
	}
	assert.Equal(t, "unix", limit.Site(&net.UnixAddr{Name: "@", Net: "unix"}))
	assert.Empty(t, addressOf(context.Background()))
}

func TestConnectionsAreBoundedBySiteAndInAll(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	l := bounded(listener)
	l.mostPerSite = 2
	defer l.Close()
	accepted := make(chan net.Conn)
	go func() {
		for {
			connection, err := l.Accept()
			if err != nil {
				return
			}
			accepted <- connection
		}
	}()
	dial := func() net.Conn {
		connection, err := net.Dial("tcp", listener.Addr().String())
		require.NoError(t, err)
		t.Cleanup(func() { _ = connection.Close() })
		return connection
	}
	dial()
	first := <-accepted
	dial()
	<-accepted
	third := dial()
	require.NoError(t, third.SetReadDeadline(time.Now().Add(5*time.Second)))
	_, err = third.Read(make([]byte, 1))
	assert.ErrorContains(t, err, "EOF", "closed before anything is read")
	require.NoError(t, first.Close())
	_ = first.Close() // closing twice makes room once
	dial()
	<-accepted
	assert.Equal(t, 2, l.all)
	l.leave("127.0.0.1")
	l.leave("127.0.0.1")
	assert.Empty(t, l.bySite)
	l.most = 0
	assert.False(t, l.enter("192.0.2.1"))
}

func TestSecretsAndLineBreaksStayOutOfErrors(t *testing.T) {
	t.Parallel()
	s := serve(t)
	for name, key := range map[string]string{"a megabyte": strings.Repeat("k", 30<<10), "a guess": strings.Repeat("A", 43)} {
		_, err := saggarv1.NewAccessServiceClient(s.connection).GetCaller(
			metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+key), &saggarv1.GetCallerRequest{})
		assert.Equal(t, codes.Unauthenticated, status.Code(err), name)
		assert.NotContains(t, err.Error(), key)
	}
}
