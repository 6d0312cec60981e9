package app

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"saggar/chem/air"
	"saggar/server/domain"
)

// Whoever answers for a shared firing wears one respirator, whatever rides in it: a load that joins asks for no second one.
func TestALoadThatJoinsAsksForNoSecondMask(t *testing.T) {
	t.Parallel()
	const half, full = "half", "full"
	site := &domain.Site{Gear: map[string]domain.Gear{
		"half-1": {ID: "half-1", Kind: domain.Respirator, Class: half}, "full-1": {ID: "full-1", Kind: domain.Respirator, Class: full},
		"goggles": {ID: "goggles", Kind: domain.Goggles, Count: 4},
	}}
	charge := domain.Window{Start: time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC), End: time.Date(2027, 3, 1, 8, 20, 0, 0, time.UTC)}
	before := domain.Window{Start: charge.Start.Add(-time.Hour), End: charge.Start}
	joins := domain.Load{Joined: true, Firing: &domain.Firing{ID: "f1", Riders: []domain.Rider{{RunID: "host", Stage: "bisque"}}}}
	hold := func(run, stage, id string, w domain.Window) domain.BookedHold {
		return domain.BookedHold{RunID: run, RunKey: 7, Hold: domain.Hold{Kind: domain.KindGear, ID: id, Count: 1, Stage: stage, Window: w}}
	}
	asks := func(people int) gearAsk {
		return gearAsk{people: people, worn: []domain.Window{charge}, load: joins, needs: []air.NearSpecies{{
			Species: "SO2", Protection: []air.ProtectionClass{{Class: half, Enough: true, NeedsGoggles: true}, {Class: full, Enough: true}},
		}}}
	}
	for name, c := range map[string]struct {
		people int
		holds  []domain.BookedHold
		want   bool
	}{
		"nobody has any":                {1, nil, false},
		"the host's mask":               {1, []domain.BookedHold{hold("host", "bisque", "full-1", charge)}, true},
		"two stand there and have one":  {2, []domain.BookedHold{hold("host", "bisque", "full-1", charge)}, false},
		"a mask that wants goggles":     {1, []domain.BookedHold{hold("host", "bisque", "half-1", charge)}, false},
		"with them":                     {1, []domain.BookedHold{hold("host", "bisque", "half-1", charge), hold("host", "bisque", "goggles", charge)}, true},
		"the host's at another stage":   {1, []domain.BookedHold{hold("host", "glaze", "full-1", charge)}, false},
		"the host's at another time":    {1, []domain.BookedHold{hold("host", "bisque", "full-1", before)}, false},
		"somebody's at another furnace": {1, []domain.BookedHold{hold("other", "bisque", "full-1", charge)}, false},
	} {
		p := prepared{runs: []domain.Run{{Loads: []domain.Load{joins}}}}
		desk := gearDesk{site: site, holds: c.holds}
		assert.Equal(t, c.want, desk.isWorn(asks(c.people), p.ridersBeside(joins)), name)
	}
}
