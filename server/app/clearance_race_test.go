package app_test

import (
	"context"
	"errors"
	"math/rand/v2"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/app"
	"saggar/server/domain"
	"saggar/server/invariant"
	"saggar/server/pgtest"
	"saggar/server/store"
)

const (
	clearingServers = 3
	clearingCallers = 4 // on each
	clearingSteps   = 12
)

// clearanceRace is several servers on one database whose common clock runs on.
type clearanceRace struct {
	bench
	clock    atomic.Int64 // seconds since monday
	template planned
	mu       sync.Mutex
	runs     []string
	done     map[string]int // what was acknowledged, by what
}

func (r *clearanceRace) now() time.Time {
	return monday.Add(time.Duration(r.clock.Load()) * time.Second)
}

// TestSeveralServersClearRefuseAndExpireAtRandom recomputes every invariant from the trace and the database after random
// bookings, clearances, refusals, moves and expiries by several servers at once.
func TestSeveralServersClearRefuseAndExpireAtRandom(t *testing.T) {
	t.Parallel()
	seed := raceSeed(t)
	connString := pgtest.New(t)
	r := &clearanceRace{bench: benchOn(t, connString), done: map[string]int{}}
	r.rule(t, domain.ClearanceRule{ID: "first", FirstRun: true, Role: domain.RoleTechnician, ExpiresAfterHours: 2})
	r.rule(t, domain.ClearanceRule{ID: "iron", Hazards: []string{"metal_oxide"}, Furnaces: []string{"pot", "kiln"}, Role: domain.RoleSteward, ExpiresAfterHours: 1})
	r.template = r.plan(t, request("red", 1), monday.AddDate(0, 0, 3))
	require.NotEmpty(t, r.template.Run.Windows)
	var group sync.WaitGroup
	for server := range clearingServers {
		kept, err := store.Open(r.ctx, connString, store.Options{MaxConnections: 6})
		require.NoError(t, err)
		t.Cleanup(kept.Close)
		one := app.New(kept, r.now, rand.NewChaCha8([32]byte{byte(server)}))
		for i := range clearingCallers {
			group.Go(func() {
				r.caller(t, one, rand.New(rand.NewPCG(seed, uint64(server*clearingCallers+i))))
			})
		}
	}
	group.Wait()
	t.Logf("%v", r.done)
	r.check(t)
}

func (r *clearanceRace) caller(t *testing.T, server *app.App, random *rand.Rand) {
	for range clearingSteps {
		r.clock.Add(int64(random.IntN(600)))
		switch pick := random.IntN(10); {
		case pick < 4:
			r.book(t, server, random)
		case pick < 6:
			r.decide(t, "clear", server.ClearRun, random)
		case pick < 7:
			r.decide(t, "refuse", server.RefuseRun, random)
		case pick < 8:
			r.move(t, server, random)
		default:
			count, err := server.ExpireRuns(r.ctx)
			r.note(t, "expired by a sweep", err, count)
		}
	}
}

func (r *clearanceRace) windows(random *rand.Rand) []domain.StageWindow {
	windows := shifted(r.template.Run.Windows, time.Duration(random.IntN(4))*24*time.Hour)
	windows[0].Furnace = []string{"pot", "muffle-a", "muffle-b", "kiln"}[random.IntN(4)]
	return windows
}

func (r *clearanceRace) book(t *testing.T, server *app.App, random *rand.Rand) {
	request := r.template.Run
	request.Windows = r.windows(random)
	maker := []string{"ada", "ben", "eve"}[random.IntN(3)]
	result, err := server.BookRun(r.ctx, as(maker, domain.RoleMaker, "BookRun"), app.BookRunInput{
		StudioID: "test", Runs: []app.RunRequest{request}, Acknowledged: codes(r.template),
	})
	if r.note(t, "booked", err, 1) {
		r.mu.Lock()
		defer r.mu.Unlock()
		r.runs = append(r.runs, result.Runs[0].ID)
	}
}

// any is one of the runs booked so far; empty when there is none.
func (r *clearanceRace) any(random *rand.Rand) string {
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.runs) == 0 {
		return ""
	}
	return r.runs[random.IntN(len(r.runs))]
}

func (r *clearanceRace) decide(t *testing.T, what string, decide func(context.Context, app.Call, app.RunDecision) (domain.Run, error), random *rand.Rand) {
	id := r.any(random)
	if id == "" {
		return
	}
	role := []domain.Role{domain.RoleTechnician, domain.RoleSteward}[random.IntN(2)]
	_, err := decide(r.ctx, as([]string{"tom", "sue", "ada"}[random.IntN(3)], role, what), app.RunDecision{StudioID: "test", RunID: id, Note: "at random"})
	r.note(t, what, err, 1)
}

func (r *clearanceRace) move(t *testing.T, server *app.App, random *rand.Rand) {
	id := r.any(random)
	if id == "" {
		return
	}
	_, err := server.MoveRuns(r.ctx, as("tom", domain.RoleTechnician, "MoveRuns"), app.MoveRunsInput{
		StudioID: "test", Moves: []app.RunMove{{RunID: id, Windows: r.windows(random)}}, Acknowledged: codes(r.template),
	})
	r.note(t, "moved", err, 1)
}

// note counts what was done and fails the test for an error that nobody may get.
func (r *clearanceRace) note(t *testing.T, what string, err error, count int) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	var refusal *domain.Refusal
	if err == nil {
		r.done[what] += count
		return true
	}
	r.done[what+" refused"]++
	known := errors.As(err, &refusal)
	for _, kind := range []error{domain.ErrChangedMeanwhile, domain.ErrWrongState, domain.ErrForbidden} {
		known = known || errors.Is(err, kind)
	}
	assert.True(t, known, "%s: %v", what, err)
	return false
}

// check recomputes from the trace where each run must stand, and holds it against the database.
func (r *clearanceRace) check(t *testing.T) {
	r.clock.Add(int64((24 * time.Hour).Seconds())) // everything that still waits has lapsed by now
	for range 2 {
		_, err := r.App.ExpireRuns(r.ctx) // by a clock that runs behind: there is nothing to do
		require.NoError(t, err)
	}
	last := app.New(r.store, r.now, rand.NewChaCha8([32]byte{}))
	_, err := last.ExpireRuns(r.ctx)
	require.NoError(t, err)
	require.NotEmpty(t, r.runs)
	seen := map[string]int{}
	for _, id := range r.runs {
		run, err := last.GetRun(r.ctx, "test", id)
		require.NoError(t, err)
		seen[string(run.State())]++
		r.checkRun(t, run, r.steps(t, run))
	}
	t.Logf("%v", seen)
	race := &race{bench: r.bench}
	firings := race.allFirings(t)
	assert.Empty(t, invariant.Overlaps(firings))
	assert.Empty(t, invariant.Sums(testSite(t), firings))
	for _, f := range firings {
		assert.Equal(t, domain.LoadConfirmed, f.State, "%s holds its furnace", f.ID)
	}
	r.checkOccupancy(t, firings)
}

// checkRun holds a run's states against its clearances and against what the trace says was done.
func (r *clearanceRace) checkRun(t *testing.T, run domain.Run, steps []string) {
	states := states(run)
	for _, state := range states {
		assert.Equal(t, states[0], state, "%s is in two states", run.ID)
	}
	count := func(method string) (n int) {
		for _, step := range steps {
			if step[:len(method)] == method {
				n++
			}
		}
		return n
	}
	expired, refused := count("ExpireRun"), count("refuse")
	assert.LessOrEqual(t, expired+refused, 1, "%s ended twice: %v", run.ID, steps)
	switch states[0] {
	case domain.LoadExpired:
		assert.Equal(t, 1, expired, "%v", steps)
		assert.NotEmpty(t, run.Waiting(), "%s expired and waited for nothing", run.ID)
	case domain.LoadCancelled:
		assert.Equal(t, 1, refused, "%v", steps)
	case domain.LoadConfirmed:
		assert.Empty(t, run.Waiting(), "%s is confirmed and waits", run.ID)
		assert.Zero(t, expired+refused, "%v", steps)
	default:
		assert.Fail(t, "a state that nothing leads to", "%s: %v", run.ID, states)
	}
	if expired+refused > 0 {
		assert.True(t, slices.IndexFunc(steps, func(s string) bool { return s[:3] == "Exp" || s[:3] == "ref" }) == len(steps)-1, "%s went on after its end: %v", run.ID, steps)
	}
	for _, c := range run.Clearances {
		if c.State == domain.ClearanceWaiting {
			continue
		}
		assert.NotEqual(t, run.Maker, c.DecidedBy, "%s was decided by its maker", run.ID)
		assert.True(t, c.DecideTime.Before(c.ExpireTime), "%s was decided after it had expired", run.ID)
	}
}

// checkOccupancy holds what blocks furnaces in the database against the firings that stand.
func (r *clearanceRace) checkOccupancy(t *testing.T, firings []domain.Firing) {
	template := r.template.Run
	for day := range 4 {
		for _, furnace := range []string{"pot", "muffle-a", "muffle-b", "kiln"} {
			windows := shifted(template.Windows, time.Duration(day)*24*time.Hour)
			windows[0].Furnace = furnace
			taken := slices.ContainsFunc(firings, func(f domain.Firing) bool { return f.Furnace == furnace && f.Window.Overlaps(windows[0].Window()) })
			request := template
			request.Windows = windows
			result, err := r.BookRun(r.ctx, app.Call{Caller: steward, Method: "CheckRun", ValidateOnly: true},
				app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{request}})
			require.NoError(t, err)
			busy := false
			for _, f := range result.Findings {
				busy = busy || f.Code == "FURNACE_BUSY"
			}
			assert.Equal(t, taken, busy, "%s on day %d", furnace, day)
		}
	}
}
