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
	checkNoOverlap(t, firings)
	r.checkSums(t, firings)
	r.checkAir(t, firings)
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

func checkNoOverlap(t *testing.T, firings []domain.Firing) {
	for i, a := range firings {
		for _, b := range firings[:i] {
			assert.False(t, a.Furnace == b.Furnace && a.Window.Overlaps(b.Window), "%s and %s on %s", a.ID, b.ID, a.Furnace)
		}
	}
}

// checkSums adds power and people minute by minute.
func (r *race) checkSums(t *testing.T, firings []domain.Firing) {
	power, people := map[int64]float64{}, map[int64]int{}
	for _, f := range firings {
		for _, p := range f.Phases {
			for minute := p.Window.Start.Unix() / 60; minute < p.Window.End.Unix()/60; minute++ {
				power[minute] += p.Kilowatts
				if p.Watch == "in_room" && f.Furnace != "dust-hood" {
					people[minute] += p.PeopleCount
				}
			}
		}
	}
	for minute, kilowatts := range power {
		if !assert.LessOrEqual(t, kilowatts, 12.0, "panel at %s", time.Unix(minute*60, 0).UTC()) {
			return
		}
	}
	for minute, count := range people {
		if !assert.LessOrEqual(t, count, 2, "people in the bay at %s", time.Unix(minute*60, 0).UTC()) {
			return
		}
	}
}

// checkAir integrates the bay's air with a plain forward step and holds running means against NIOSH's limits for sulfur
// dioxide (5 ppm over 15 min, 2 ppm over 10 h) and carbon monoxide (200 ppm at any time, 35 ppm over 10 h):
// NIOSH, Documentation for Immediately Dangerous to Life or Health Concentrations, May 1994.
func (r *race) checkAir(t *testing.T, firings []domain.Firing) {
	const (
		stepMinutes = 0.1
		volume      = 180.0
		flow        = 0.9 / 3 // the hood's flow, below the make-up air, over the mixing factor, m3/s
	)
	start := monday.Add(-time.Hour)
	steps := int(daysForward.Minutes()*(raceDays+8)) * 10
	limits := map[string]struct{ gramsPerMole, ceiling, quarterHour, tenHours float64 }{
		"SO2": {64.058, math.Inf(1), 5, 2}, "CO": {28.010, 200, math.Inf(1), 35},
	}
	for species, limit := range limits {
		rate := make([]float64, steps)
		for _, f := range firings {
			addEscape(rate, f, species, start, stepMinutes)
		}
		ppm, concentration := make([]float64, steps), 0.0 // mg/m3
		for i := range rate {
			concentration += stepMinutes * (rate[i]*1000/volume - concentration*flow*60/volume)
			ppm[i] = concentration * 24.45 / limit.gramsPerMole
		}
		const slack = 1.002 // the step's own error
		assert.LessOrEqual(t, slices.Max(ppm), limit.ceiling*slack, "%s at any time", species)
		assert.LessOrEqual(t, highestMean(ppm, 150), limit.quarterHour*slack, "%s over 15 min", species)
		assert.LessOrEqual(t, highestMean(ppm, 6000), limit.tenHours*slack, "%s over 10 h", species)
		t.Logf("%s: highest %.3g ppm, 15 min %.3g ppm", species, slices.Max(ppm), highestMean(ppm, 150))
	}
}

// addEscape adds what one firing lets into the room, in g/min: 5 % while closed, 30 % while open.
func addEscape(rate []float64, f domain.Firing, species string, start time.Time, stepMinutes float64) {
	for _, release := range f.Releases {
		if release.Species != species || f.Furnace == "dust-hood" {
			continue
		}
		origin := f.Window.Start.Sub(start).Minutes()
		first, last := (origin+release.StartMinute)/stepMinutes, (origin+release.EndMinute)/stepMinutes
		for i := int(math.Floor(first)); i < int(math.Ceil(last)); i++ {
			share := math.Min(float64(i+1), last) - math.Max(float64(i), first)
			at := start.Add(time.Duration((float64(i) + 0.5) * stepMinutes * float64(time.Minute)))
			escape := 0.05
			for _, p := range f.Phases {
				if p.Kind.DoorOpen() && !at.Before(p.Window.Start) && at.Before(p.Window.End) {
					escape = 0.30
				}
			}
			rate[i] += release.GramsPerMinute * share * escape
		}
	}
}

func highestMean(values []float64, width int) float64 {
	var sum, best float64
	for i, v := range values {
		sum += v
		if i >= width {
			sum -= values[i-width]
		}
		best = math.Max(best, sum/float64(width))
	}
	return best
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
