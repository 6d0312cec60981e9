package app_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"regexp"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/finding"
	"saggar/server/app"
	"saggar/server/domain"
	"saggar/server/invariant"
	"saggar/server/store"
)

const (
	racers       = 32
	movesOfEach  = 8
	raceDays     = 6
	daysForward  = 24 * time.Hour
	raceSeedName = "SAGGAR_RACE_SEED"
)

// raceSeed is printed, and taken from SAGGAR_RACE_SEED to repeat a run.
func raceSeed(t *testing.T) uint64 {
	seed := rand.Uint64()
	if given := os.Getenv(raceSeedName); given != "" {
		var err error
		seed, err = strconv.ParseUint(given, 10, 64)
		require.NoError(t, err)
	}
	t.Logf("seed %s=%d", raceSeedName, seed)
	return seed
}

// race is what 32 callers did and were told.
type race struct {
	bench
	templates []planned
	mu        sync.Mutex
	booked    map[string]bool // acknowledged, by run id; false once cancelled
	refusals  []finding.Finding
}

// TestManyCallersBookMoveAndCancelAtRandom lets 32 callers loose and then recomputes every invariant from scratch.
func TestManyCallersBookMoveAndCancelAtRandom(t *testing.T) {
	t.Parallel()
	seed := raceSeed(t)
	r := &race{bench: newBench(t), booked: map[string]bool{}}
	for _, request := range []app.RunRequest{request("red", 1), request("blue", r.largestAllowed(t))} {
		answer := r.plan(t, request, monday)
		require.NotEmpty(t, answer.Run.Windows)
		r.templates = append(r.templates, answer)
	}
	var group sync.WaitGroup
	for i := range racers {
		group.Go(func() { r.caller(t, rand.New(rand.NewPCG(seed, uint64(i)))) })
	}
	group.Wait()
	t.Logf("%d runs acknowledged, %d refusals", len(r.booked), len(r.refusals))
	require.NotEmpty(t, r.booked)
	require.NotEmpty(t, r.refusals, "the race met no refusal: it shows nothing")
	firings := r.allFirings(t)
	r.checkPresence(t)
	assert.Empty(t, invariant.Overlaps(firings))
	site := testSite(t)
	assert.Empty(t, invariant.Sums(site, firings))
	wrong, highest := invariant.Air(site, "bay", firings)
	assert.Empty(t, wrong)
	t.Logf("highest in the bay, ppm: %v", highest)
	r.checkBlockers(t)
}

// largestAllowed is the largest whole scale of the sulfur recipe that the air allows alone, so that two at once are too much.
func (r *race) largestAllowed(t *testing.T) float64 {
	for factor := 12; factor > 1; factor-- {
		answer := r.plan(t, request("blue", float64(factor)), monday)
		if answer.Status == app.PlanOptimal {
			return float64(factor)
		}
	}
	return 1
}

func (r *race) caller(t *testing.T, random *rand.Rand) {
	var own []string
	for range movesOfEach {
		switch pick := random.IntN(10); {
		case pick < 6 || len(own) == 0:
			if id, ok := r.bookOne(t, random); ok {
				own = append(own, id)
			}
		case pick < 8:
			r.moveOne(t, random, own[random.IntN(len(own))])
		default:
			r.cancelOne(t, own[random.IntN(len(own))])
		}
	}
}

// windowsAt shifts a template to another day, furnace and hour.
func (r *race) windowsAt(random *rand.Rand, answer planned) []domain.StageWindow {
	by := time.Duration(random.IntN(raceDays))*daysForward + time.Duration(random.IntN(8))*15*time.Minute
	windows := shifted(answer.Run.Windows, by)
	if len(windows) == 1 {
		windows[0].Furnace = []string{"pot", "muffle-a", "muffle-b", "kiln"}[random.IntN(4)]
	}
	return windows
}

func (r *race) bookOne(t *testing.T, random *rand.Rand) (string, bool) {
	template := r.templates[random.IntN(len(r.templates))]
	request := template.Run
	request.Windows = r.windowsAt(random, template)
	c := app.Call{Caller: steward, Method: "BookRun", RequestID: uuid.NewString()}
	result, err := r.BookRun(r.ctx, c, app.BookRunInput{
		StudioID: "test", Runs: []app.RunRequest{request}, Acknowledged: codes(template),
	})
	if !r.note(t, err) {
		return "", false
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.booked[result.Runs[0].ID] = true
	return result.Runs[0].ID, true
}

func (r *race) moveOne(t *testing.T, random *rand.Rand, id string) {
	run, err := r.GetRun(r.ctx, "test", id)
	require.NoError(t, err)
	template := r.templates[slices.IndexFunc(r.templates, func(a planned) bool { return a.Run.RecipeID == run.RecipeID })]
	_, err = r.MoveRuns(r.ctx, call("MoveRun"), app.MoveRunsInput{
		StudioID: "test", Moves: []app.RunMove{{RunID: id, Windows: r.windowsAt(random, template)}}, Acknowledged: codes(template),
	})
	if errors.Is(err, domain.ErrWrongState) {
		return // it was called off before
	}
	r.note(t, err)
}

func (r *race) cancelOne(t *testing.T, id string) {
	_, err := r.CancelRun(r.ctx, call("CancelRun"), app.CancelRunInput{StudioID: "test", RunID: id, ExpectRevision: 0})
	if errors.Is(err, domain.ErrWrongState) {
		return
	}
	if assert.NoError(t, err) {
		r.mu.Lock()
		defer r.mu.Unlock()
		r.booked[id] = false
	}
}

// note keeps a refusal and fails the test for any other error.
func (r *race) note(t *testing.T, err error) bool {
	var refusal *domain.Refusal
	switch {
	case err == nil:
		return true
	case errors.As(err, &refusal):
		r.mu.Lock()
		defer r.mu.Unlock()
		r.refusals = append(r.refusals, refusal.Findings[0])
	case errors.Is(err, domain.ErrChangedMeanwhile):
	default:
		assert.NoError(t, err)
	}
	return false
}

func (r *race) allFirings(t *testing.T) []domain.Firing {
	var firings []domain.Firing
	require.NoError(t, r.store.InSnapshot(r.ctx, func(ctx context.Context, tx *store.Tx) error {
		studio, err := tx.Studio(ctx, "test")
		if err != nil {
			return err
		}
		firings, err = tx.FiringsOver(ctx, studio.Key, store.FiringsQuery{
			Window: domain.Window{Start: monday.AddDate(0, 0, -30), End: monday.AddDate(0, 0, 60)}, WithReleases: true,
		})
		return err
	}))
	return firings
}

func (r *race) checkPresence(t *testing.T) {
	for id, standing := range r.booked {
		run, err := r.GetRun(r.ctx, "test", id)
		if assert.NoError(t, err, "acknowledged run %s is lost", id) {
			assert.Equal(t, standing, run.State() == domain.RunConfirmed, "run %s", id)
		}
	}
}

var runName = regexp.MustCompile(`\(run ([a-z0-9-]+), stage`)

// checkBlockers finds each run that a refusal names in the change log.
func (r *race) checkBlockers(t *testing.T) {
	known := map[string]bool{}
	require.NoError(t, r.store.InSnapshot(r.ctx, func(ctx context.Context, tx *store.Tx) error {
		studio, err := tx.Studio(ctx, "test")
		if err != nil {
			return err
		}
		changes, err := tx.ListChanges(ctx, studio.Key, 0, math.MaxInt32)
		for i, c := range changes {
			known[c.Subject] = true
			assert.Equal(t, int64(i+1), c.Revision, "the log has a gap")
		}
		return err
	}))
	named := 0
	for _, f := range r.refusals {
		for _, match := range runName.FindAllStringSubmatch(f.Message, -1) {
			named++
			assert.True(t, known["runs/"+match[1]], "%s was never there", match[1])
		}
		assert.NotEmpty(t, fmt.Sprint(f.About, f.Field), "a refusal about nothing: %+v", f)
	}
	assert.Positive(t, named, "no refusal named a blocker")
}
