package app_test

import (
	"errors"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/app"
	"saggar/server/domain"
)

// TestManyCallersTakeTheLastVessel lets callers book runs on all furnaces for one crucible, named or picked, and a set of two, and call
// some off again, and then counts anew.
func TestManyCallersTakeTheLastVessel(t *testing.T) {
	t.Parallel()
	seed := raceSeed(t)
	one, set := pot("one"), pot("set")
	set.Count = 2
	b, run := potted(t, one, set)
	var mu sync.Mutex
	standing := map[string]bool{}
	refused := map[string]int{}
	var group sync.WaitGroup
	for i := range 16 {
		random := rand.New(rand.NewPCG(seed, uint64(i)))
		group.Go(func() {
			for range 6 {
				asked := on(run, []string{"pot", "muffle-a", "muffle-b", "kiln"}[random.IntN(4)], time.Duration(random.IntN(4)*24*60+random.IntN(4)*30)*time.Minute)
				if random.IntN(3) == 0 {
					asked = in(asked, use([]string{"one", "set"}[random.IntN(2)]))
				}
				booked, err := b.tryTake(asked)
				if err != nil {
					var refusal *domain.Refusal
					if !errors.As(err, &refusal) {
						assert.ErrorIs(t, err, domain.ErrChangedMeanwhile)
						continue
					}
					mu.Lock()
					for _, f := range refusal.Findings {
						refused[f.Code]++
					}
					mu.Unlock()
					continue
				}
				keep := random.IntN(4) > 0
				if !keep {
					_, err := b.CancelRun(b.ctx, call("CancelRun"), app.CancelRunInput{StudioID: "test", RunID: booked[0].ID})
					assert.NoError(t, err)
				}
				mu.Lock()
				standing[booked[0].ID] = keep
				mu.Unlock()
			}
		})
	}
	group.Wait()
	t.Logf("%d runs booked, refused by %v", len(standing), refused)
	require.Positive(t, refused["VESSEL_MISSING"]+refused["VESSEL_BUSY"], "the race met no vessel that was taken: it shows nothing")
	holds, err := b.ListHolds(b.ctx, "test", app.HoldsQuery{EndsAfter: monday.AddDate(0, -1, 0)})
	require.NoError(t, err)
	byRun := map[string]int{}
	for _, h := range holds {
		byRun[h.RunID]++
		taken := 0
		for _, other := range holds { // at the moment at which h begins
			if other.ID == h.ID && !other.Window.Start.After(h.Window.Start) && other.Window.End.After(h.Window.Start) {
				taken += other.Count
			}
		}
		assert.LessOrEqual(t, taken, map[string]int{"one": 1, "set": 2}[h.ID], "%s at %s", h.ID, h.Window.Start)
	}
	for id, stands := range standing {
		assert.Equal(t, map[bool]int{true: 1, false: 0}[stands], byRun[id], "run %s", id)
	}
}
