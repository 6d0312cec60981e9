package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/client/api"
	saggarv1 "saggar/proto/saggar/v1"
)

// binariesDir is where the programs were built; empty until a test needs them.
var binariesDir string

// binaries builds both programs once.
var binaries = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "saggar-bin")
	if err != nil {
		return "", err
	}
	binariesDir = dir
	output, err := exec.Command("go", "build", "-o", dir+"/", "saggar/server/cmd/saggard", "saggar/client/cmd/saggar").CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("%w: %s", err, output)
	}
	return dir, nil
})

func TestMain(m *testing.M) {
	code := m.Run()
	if binariesDir != "" {
		os.RemoveAll(binariesDir)
	}
	os.Exit(code)
}

// service is a saggard on a private database on disk, with fsync as in use.
type service struct {
	t       *testing.T
	dir     string
	process *exec.Cmd
}

func startService(t *testing.T) *service {
	t.Helper()
	dir, err := os.MkdirTemp("/var/tmp", "saggar-service")
	require.NoError(t, err)
	require.NoError(t, os.Chmod(dir, 0o711)) // PostgreSQL, as its own user, must pass
	s := &service{t: t, dir: dir}
	t.Cleanup(func() {
		s.stop(syscall.SIGTERM)
		os.RemoveAll(dir)
	})
	s.start()
	return s
}

func (s *service) address() string { return "unix:" + filepath.Join(s.dir, "s.sock") }
func (s *service) keyFile() string { return filepath.Join(s.dir, "steward.key") }

// start runs saggard and waits until it serves.
func (s *service) start() {
	s.t.Helper()
	bin, err := binaries()
	require.NoError(s.t, err)
	s.process = exec.Command(filepath.Join(bin, "saggard"), "--data-dir", filepath.Join(s.dir, "data"),
		"--listen", s.address(), "--clock-start", "2027-02-27T09:00:00Z", "--log-level", "error")
	s.process.Stderr = os.Stderr
	require.NoError(s.t, s.process.Start())
	require.Eventually(s.t, func() bool {
		s.exchangeFirstKey()
		connection, err := s.connect()
		if err != nil {
			return false
		}
		defer connection.Close()
		_, err = connection.Access.GetCaller(context.Background(), &saggarv1.GetCallerRequest{})
		return err == nil
	}, 30*time.Second, 50*time.Millisecond, "saggard does not serve")
}

// exchangeFirstKey keeps the steward's key once the first one is there.
func (s *service) exchangeFirstKey() {
	first, err := api.ReadKey(filepath.Join(s.dir, "data", "first.key"))
	if _, done := os.Stat(s.keyFile()); err != nil || done == nil {
		return
	}
	connection, err := api.Dial(api.Options{Address: s.address(), Key: first, Timeout: 20 * time.Second})
	require.NoError(s.t, err)
	defer connection.Close()
	if made, err := connection.Access.ExchangeAccessKey(s.t.Context(), &saggarv1.ExchangeAccessKeyRequest{}); err == nil {
		require.NoError(s.t, os.WriteFile(s.keyFile(), []byte(made.GetSecret()), 0o600))
	}
}

// stop ends saggard with a signal and waits for it.
func (s *service) stop(signal syscall.Signal) {
	if s.process.ProcessState == nil {
		_ = s.process.Process.Signal(signal)
		_ = s.process.Wait()
	}
}

func (s *service) connect() (*api.Connection, error) {
	key, err := api.ReadKey(s.keyFile())
	if err != nil {
		return nil, err
	}
	return api.Dial(api.Options{Address: s.address(), Key: key, Timeout: 20 * time.Second})
}

// killPostgres ends the private PostgreSQL, by the id in its own file, as a crash would.
func (s *service) killPostgres() {
	found, err := filepath.Glob(filepath.Join(s.dir, "data", "postgres", "*", "postmaster.pid"))
	require.NoError(s.t, err)
	require.Len(s.t, found, 1, "no PostgreSQL runs")
	text, err := os.ReadFile(found[0])
	require.NoError(s.t, err)
	first, _, _ := strings.Cut(string(text), "\n")
	pid, err := strconv.Atoi(first)
	if assert.NoError(s.t, err) {
		assert.NoError(s.t, syscall.Kill(pid, syscall.SIGKILL))
	}
}

// saggar runs the command line's binary and returns its output and exit code.
func (s *service) saggar(args ...string) (string, int) {
	s.t.Helper()
	bin, err := binaries()
	require.NoError(s.t, err)
	command := exec.Command(filepath.Join(bin, "saggar"), args...)
	command.Env = append(os.Environ(), "SAGGAR_SERVER="+s.address(), "SAGGAR_KEY_FILE="+s.keyFile(), "SAGGAR_STUDIO=marl-lane")
	output, err := command.CombinedOutput()
	if err != nil && command.ProcessState == nil {
		s.t.Fatal(err)
	}
	return string(output), command.ProcessState.ExitCode()
}

func (s *service) loadDemo() {
	s.t.Helper()
	output, code := s.saggar("studio", "load", "../../../deploy/demo/studio.yaml", "../../../deploy/demo/materials.yaml", "../../../deploy/demo/recipes.yaml")
	require.Zero(s.t, code, output)
}

// load books as fast as it can until the context ends, and keeps what was acknowledged.
type load struct {
	connection *api.Connection
	template   *saggarv1.Run
	codes      []string
	mu         sync.Mutex
	next       int
	names      []string
}

func (l *load) number() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.next++
	return l.next
}

func (l *load) run(ctx context.Context) {
	for ctx.Err() == nil {
		request := &saggarv1.BookRunRequest{
			Parent: "studios/marl-lane", Runs: []*saggarv1.Run{later(l.template, l.number())},
			AcknowledgedFindingCodes: l.codes, RequestId: api.NewRequestID(),
		}
		// The same request is sent until it is answered: the id makes it one booking however often it arrives.
		for ctx.Err() == nil {
			answer, err := l.connection.Runs.BookRun(ctx, request)
			if err == nil {
				l.mu.Lock()
				l.names = append(l.names, answer.GetRuns()[0].GetName())
				l.mu.Unlock()
				break
			}
			if api.ExitCode(err) != api.ExitUnreachable {
				return
			}
			time.Sleep(20 * time.Millisecond)
		}
	}
}

// later is a run so many weeks later.
func later(run *saggarv1.Run, weeks int) *saggarv1.Run {
	moved := proto.Clone(run).(*saggarv1.Run)
	for _, window := range moved.GetStageWindows() {
		for _, p := range window.GetPhases() {
			p.StartTime = timestamppb.New(p.GetStartTime().AsTime().AddDate(0, 0, 7*weeks))
			p.EndTime = timestamppb.New(p.GetEndTime().AsTime().AddDate(0, 0, 7*weeks))
		}
	}
	return moved
}

// TestNothingAcknowledgedIsLostWhenServerOrDatabaseIsKilled kills PostgreSQL, then saggard, under load, and counts.
func TestNothingAcknowledgedIsLostWhenServerOrDatabaseIsKilled(t *testing.T) {
	s := startService(t)
	s.loadDemo()
	connection, err := s.connect()
	require.NoError(t, err)
	defer connection.Close()
	l := &load{connection: connection}
	// A cold week without clock change between plan and booking: UTC and Lisbon agree in winter, so weeks are whole.
	stream, err := connection.Runs.PlanRuns(context.Background(), &saggarv1.PlanRunsRequest{
		Parent: "studios/marl-lane", StartTime: timestamppb.New(time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC)),
		Runs: []*saggarv1.Run{{Recipe: "studios/marl-lane/recipes/red-oxide", Department: "conservation"}},
	})
	require.NoError(t, err)
	answer, err := lastOf(stream.Recv, func(*saggarv1.PlanRunsResponse) error { return nil })
	require.NoError(t, err)
	l.template = answer.GetRuns()[0]
	for _, f := range answer.GetFindings() {
		l.codes = append(l.codes, f.GetCode())
	}

	ctx, cancel := context.WithCancel(context.Background())
	var group sync.WaitGroup
	for range 8 {
		group.Go(func() { l.run(ctx) })
	}
	acknowledged := func() int {
		l.mu.Lock()
		defer l.mu.Unlock()
		return len(l.names)
	}
	progress := func(than int, what string) {
		require.Eventually(t, func() bool { return acknowledged() > than+20 }, 60*time.Second, 20*time.Millisecond, what)
	}
	progress(0, "no booking gets through")
	s.killPostgres()
	progress(acknowledged(), "bookings do not go on after PostgreSQL was killed")
	s.stop(syscall.SIGKILL)
	s.start()
	progress(acknowledged(), "bookings do not go on after saggard was killed")
	s.killPostgres()
	time.Sleep(100 * time.Millisecond)
	s.stop(syscall.SIGKILL)
	s.start()
	progress(acknowledged(), "bookings do not go on after both were killed")
	cancel()
	group.Wait()

	stored := map[string]int{}
	for token := ""; ; {
		page, err := connection.Runs.ListRuns(context.Background(), &saggarv1.ListRunsRequest{
			Parent: "studios/marl-lane", PageSize: 1000, PageToken: token,
		})
		require.NoError(t, err)
		for _, run := range page.GetRuns() {
			stored[run.GetName()]++
		}
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	for _, name := range l.names {
		assert.Equal(t, 1, stored[name], "%s was acknowledged", name)
	}
	t.Logf("%d bookings acknowledged, %d stored, two kills of PostgreSQL and two of saggard", len(l.names), len(stored))
}
