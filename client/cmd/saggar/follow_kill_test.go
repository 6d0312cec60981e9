package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"saggar/client/api"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/pgtest"
)

// followFor is how long bookings go on; SAGGAR_FOLLOW_FOR asks for longer, as in SAGGAR_FOLLOW_FOR=10m.
func followFor(t *testing.T) time.Duration {
	const short = 6 * time.Second
	given := os.Getenv("SAGGAR_FOLLOW_FOR")
	if given == "" {
		return short
	}
	d, err := time.ParseDuration(given)
	require.NoError(t, err)
	return d
}

func raceSeed(t *testing.T) uint64 {
	seed := rand.Uint64()
	if given := os.Getenv("SAGGAR_RACE_SEED"); given != "" {
		var err error
		seed, err = strconv.ParseUint(given, 10, 64)
		require.NoError(t, err)
	}
	t.Logf("seed SAGGAR_RACE_SEED=%d", seed)
	return seed
}

// crowd is several saggards on one database, of which each may be killed at any time.
type crowd struct {
	t        *testing.T
	dir      string
	database string
	mu       sync.Mutex
	servers  []*exec.Cmd
	key      string
}

func startCrowd(t *testing.T, count int) *crowd {
	t.Helper()
	dir, err := os.MkdirTemp("", "crowd") // a socket's path must be short
	require.NoError(t, err)
	c := &crowd{t: t, dir: dir, database: pgtest.New(t), servers: make([]*exec.Cmd, count)}
	t.Cleanup(func() {
		for i := range c.servers {
			c.stop(i, syscall.SIGTERM)
		}
		assert.NoError(t, os.RemoveAll(dir))
	})
	for i := range c.servers {
		c.start(i)
		if i == 0 {
			c.signIn()
		}
	}
	return c
}

func (c *crowd) address(i int) string { return "unix:" + filepath.Join(c.dir, fmt.Sprint("s", i)) }

func (c *crowd) start(i int) {
	bin, err := binaries()
	require.NoError(c.t, err)
	server := exec.Command(filepath.Join(bin, "saggard"), "--data-dir", filepath.Join(c.dir, fmt.Sprint("d", i)), "--listen", c.address(i),
		"--clock-start", "2027-02-27T09:00:00Z", "--log-level", "error", "--calls-per-second", "10000")
	server.Env = append(os.Environ(), "SAGGARD_DATABASE="+c.database)
	server.Stderr = os.Stderr
	require.NoError(c.t, server.Start())
	c.mu.Lock()
	defer c.mu.Unlock()
	c.servers[i] = server
}

func (c *crowd) stop(i int, signal syscall.Signal) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if server := c.servers[i]; server != nil && server.ProcessState == nil {
		_ = server.Process.Signal(signal)
		_ = server.Wait()
	}
}

// signIn exchanges the first key, which the first server made.
func (c *crowd) signIn() {
	require.Eventually(c.t, func() bool {
		first, err := api.ReadKey(filepath.Join(c.dir, "d0", "first.key"))
		if err != nil {
			return false
		}
		connection, err := api.Dial(api.Options{Address: c.address(0), Key: first})
		require.NoError(c.t, err)
		defer connection.Close()
		made, err := connection.Access.ExchangeAccessKey(c.t.Context(), &saggarv1.ExchangeAccessKeyRequest{})
		c.key = made.GetSecret()
		return err == nil
	}, 60*time.Second, 50*time.Millisecond, "saggard does not serve")
}

func (c *crowd) connect(i int) *api.Connection {
	connection, err := api.Dial(api.Options{Address: c.address(i), Key: c.key, Timeout: 20 * time.Second})
	require.NoError(c.t, err)
	return connection
}

// witness follows the studio and holds what it is told against gaps and repeats.
type witness struct {
	crowd  *crowd
	random *rand.Rand
	roams  bool // goes from server to server; otherwise it stays with one
	seen   atomic.Int64
}

// run follows until the context ends; who roams gives each stream up after a moment and goes on at another server.
func (w *witness) run(ctx context.Context, t *testing.T) {
	server := w.random.IntN(len(w.crowd.servers))
	for ctx.Err() == nil {
		stay, cancel := context.WithCancel(ctx)
		if w.roams {
			server = w.random.IntN(len(w.crowd.servers))
			stay, cancel = context.WithTimeout(ctx, time.Duration(w.random.IntN(700))*time.Millisecond)
		}
		connection := w.crowd.connect(server)
		err := connection.Follow(stay, api.Follow{
			Request: &saggarv1.WatchStudioRequest{Name: "studios/marl-lane", AfterRevision: proto.Int64(w.seen.Load())},
			Each: func(answer *saggarv1.WatchStudioResponse) error {
				for _, n := range answer.GetNotices() {
					if !assert.Equal(t, w.seen.Load()+1, n.GetRevision(), "a gap or a repeat") {
						return assert.AnError
					}
					w.seen.Store(n.GetRevision())
				}
				assert.Equal(t, w.seen.Load(), answer.GetRevision())
				return nil
			},
		})
		connection.Close()
		cancel()
		if !assert.NotErrorIs(t, err, assert.AnError) {
			return
		}
		time.Sleep(time.Duration(w.random.IntN(50)) * time.Millisecond) // a server may be away at the start
	}
}

// TestNobodyWhoFollowsMissesOrRepeatsAnything lets callers book, move, call off and close furnaces at random through three servers on
// one database, kills one after the other with SIGKILL, and recomputes from scratch what must never happen: in what is stored, in
// what callers were told, in the trace, and in what twelve followers saw.
func TestNobodyWhoFollowsMissesOrRepeatsAnything(t *testing.T) {
	seed := raceSeed(t)
	c := startCrowd(t, 3)
	connection := c.connect(0)
	defer connection.Close()
	c.loadStudio()
	k := &contest{crowd: c, templates: c.templates(connection), bookings: map[string]*booking{}}

	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	var following, calling sync.WaitGroup
	witnesses := make([]*witness, 12)
	for i := range witnesses {
		w := &witness{crowd: c, random: rand.New(rand.NewPCG(seed, uint64(i))), roams: i%2 == 0}
		witnesses[i] = w
		following.Go(func() { w.run(ctx, t) })
	}
	busy, enough := context.WithTimeout(ctx, followFor(t))
	defer enough()
	for i := range 8 {
		calling.Go(func() { k.caller(busy, t, rand.New(rand.NewPCG(seed, uint64(100+i)))) })
	}
	every := max(followFor(t)/killsInAll, time.Second)
	calling.Go(func() { k.verifyNowAndThen(busy, t, every/2) })
	kills := c.killInTurn(busy, rand.New(rand.NewPCG(seed, 200)), every)
	calling.Wait()

	studio := k.verify(t, connection)
	for i, w := range witnesses {
		assert.Eventually(t, func() bool { return w.seen.Load() == int64(studio.GetRevision()) }, 30*time.Second, 10*time.Millisecond,
			"follower %d saw up to %d of %d", i, w.seen.Load(), studio.GetRevision())
	}
	cancel()
	following.Wait()
	t.Logf("seed %d: %d changes, %d servers killed, %d followers", seed, studio.GetRevision(), kills, len(witnesses))
	assert.Positive(t, kills)
}

// killsInAll is how many servers are killed in a test, one every 20 s where it lasts 5 min; in a short one each second.
const killsInAll = 15

// loadStudio puts the contested studio down.
func (c *crowd) loadStudio() {
	bin, err := binaries()
	require.NoError(c.t, err)
	keyFile := filepath.Join(c.dir, "key")
	require.NoError(c.t, os.WriteFile(keyFile, []byte(c.key), 0o600))
	command := exec.Command(filepath.Join(bin, "saggar"), "studio", "load", "testdata/contested.yaml")
	command.Env = append(os.Environ(), "SAGGAR_SERVER="+c.address(0), "SAGGAR_KEY_FILE="+keyFile, "SAGGAR_STUDIO=marl-lane")
	output, err := command.CombinedOutput()
	require.NoError(c.t, err, "%s", output)
}

// killInTurn kills a server with SIGKILL, at random which, each time so long after the last, and starts it again; until the context
// ends.
func (c *crowd) killInTurn(ctx context.Context, random *rand.Rand, every time.Duration) (kills int) {
	for {
		select {
		case <-ctx.Done():
			return kills
		case <-time.After(every):
		}
		server := random.IntN(len(c.servers))
		c.stop(server, syscall.SIGKILL)
		kills++
		time.Sleep(time.Duration(random.Int64N(int64(max(every/10, time.Millisecond)))))
		c.start(server)
	}
}
