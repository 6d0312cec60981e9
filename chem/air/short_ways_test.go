package air

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// What is left out as forgotten or too late changes nothing while the door is open.
func TestWhatIsLeftOutBesideAFurnaceIsNotMissed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		zone, sources := drawZone(t), shifted(drawSources(t, "others"), rapid.Float64Range(-3000, 3000).Draw(t, "shift"))
		check := NearCheck{Zone: zone, Sources: append(drawSources(t, "own"), sources...), ExchangeCubicMetersPerSecond: 0.2}
		if len(check.Sources) == 0 || len(check.Sources[0].DoorOpen) == 0 {
			return
		}
		some, err := check.gather(nil)
		require.NoError(t, err)
		all, err := NearField(zone, check.Sources, 0, 0.2)
		require.NoError(t, err)
		require.Len(t, some.loads, len(all))
		for _, open := range check.Sources[0].DoorOpen {
			until := math.Nextafter(open.EndMinute+shortTermMinutes, 0) // at its very end the curve is cut: what spills has gone
			minute := rapid.Float64Range(open.StartMinute-shortTermMinutes, until).Draw(t, "minute")
			for i := range all {
				peak, _ := all[i].Peak()
				got := some.while(&some.loads[i], open).At(minute)
				assert.InDelta(t, all[i].At(minute), got, 1e-9*all[i].At(minute)+1e-15*peak)
			}
		}
	})
}

// Whatever window a search for the greatest mean begins near, it finds the same.
func TestTheGreatestMeanFromAnyMinute(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		curves, err := Curves(drawZone(t), drawSources(t, "sources"))
		require.NoError(t, err)
		window := rapid.SampledFrom([]float64{0, 1, 15, 480}).Draw(t, "window")
		near := rapid.Float64Range(-100, 1000).Draw(t, "near")
		for _, curve := range curves {
			want, _ := curve.MaxMean(window)
			got, start := curve.maxMeanFrom(window, near)
			assert.InEpsilon(t, max(want, 1e-12), max(got, 1e-12), 2*rounding)
			if window > 0 {
				assert.InDelta(t, got, curve.sum(start, start+window)/window, 1e-9*got+1e-12)
			}
		}
	})
}

// The room after its fan has stopped is that of sources that end, and go on uncaptured, at that minute.
func TestAFailedFanAgainstSourcesInTwo(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		check := FanFailureCheck{Zone: drawZone(t), Sources: drawSources(t, "sources"),
			NaturalCubicMetersPerSecond: rapid.SampledFrom([]float64{0, 0.01}).Draw(t, "natural")}
		fails := float64(rapid.IntRange(-10, 600).Draw(t, "fails"))
		failing, err := check.failing(nil)
		require.NoError(t, err)
		got := failing.curves(fails)
		zone, halves := check.Zone, slices.Clone(check.Sources)
		zone.Flow = check.flow(fails)
		for i, source := range check.Sources {
			after := Source{Name: source.Name}
			halves[i].Releases = nil
			for _, r := range source.Releases {
				early, late := r, r
				early.EndMinute, late.StartMinute = math.Min(r.EndMinute, fails), math.Max(r.StartMinute, fails)
				if early.StartMinute < early.EndMinute {
					halves[i].Releases = append(halves[i].Releases, early)
				}
				if late.StartMinute < late.EndMinute {
					after.Releases = append(after.Releases, late)
				}
			}
			halves = append(halves, after)
		}
		want, err := Curves(zone, halves)
		require.NoError(t, err)
		require.Len(t, got, len(want))
		minute := rapid.Float64Range(-100, 2000).Draw(t, "minute")
		for i := range want {
			assert.InDelta(t, want[i].At(minute), got[i].At(minute), 1e-9*want[i].At(minute)+1e-12)
			window := rapid.SampledFrom([]float64{15, 480}).Draw(t, "window")
			one, ok := want[i].firstMeanAbove(fails, window, 1)
			other, also := got[i].firstMeanAbove(fails, window, 1)
			assert.Equal(t, ok, also)
			assert.InDelta(t, one, other, 1e-6*math.Abs(one)+1e-6)
		}
	})
}

// What a search for a flow leaves out as no worse than what it has found is no worse: at any steady flow, from whatever window it
// begins, the greatest mean is that of the whole curve.
func TestTheGreatestMeanOfATrialIsThatOfTheWholeCurve(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		zone := drawZone(t)
		loads, err := new(workspace).collect(&zone, slices.Concat(drawSources(t, "first"), shifted(drawSources(t, "later"), 700)))
		require.NoError(t, err)
		rates := []rateStep{{minute: math.Inf(-1), rate: rapid.Float64Range(0, 5).Draw(t, "rate")}}
		window := rapid.SampledFrom([]float64{0, 15, 60, 480}).Draw(t, "window")
		near := rapid.Float64Range(-100, 1500).Draw(t, "near")
		for i := range loads {
			l := &loads[i]
			want, _ := l.occupied.curve(l.curve(rates)).MaxMean(window)
			x := term{load: l, weight: 1, windowMinutes: window, startMinute: near}
			around := trial{zone: &zone, rates: rates}
			some := around.near(&x, shortTermMinutes)
			assert.LessOrEqual(t, some, want*(1+2*rounding)+1e-12, "a part is no more than the whole")
			got := around.everywhere(&x)
			assert.InDelta(t, want, got, 2*rounding*want+1e-12)
			if l.simple() {
				assert.Empty(t, l.mayPass(want+1, window, 1e6), "in a gale nothing comes to that")
			}
		}
	})
}
