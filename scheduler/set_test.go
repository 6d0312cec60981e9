package scheduler

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

const most = 40 // members of random sets lie below

// drawSet draws a set that may have been cut at either end, with its members.
func drawSet(t *rapid.T, label string) (set, map[int]bool) {
	var spans []span
	at := -5
	for range rapid.IntRange(0, 5).Draw(t, label+" spans") {
		lo := at + rapid.IntRange(0, 6).Draw(t, "gap")
		at = lo + rapid.IntRange(0, 6).Draw(t, "length")
		spans = appendSpan(spans, lo, at)
		at++
	}
	lo, hi := rapid.IntRange(-6, most).Draw(t, "lo"), rapid.IntRange(-6, most).Draw(t, "hi")
	members := make(map[int]bool)
	for _, sp := range spans {
		for v := max(sp.lo, lo); v <= min(sp.hi, hi); v++ {
			members[v] = true
		}
	}
	return newSet(spans).between(lo, hi), members
}

// requireSet checks the members and that the set keeps its own rules.
func requireSet(t require.TestingT, want map[int]bool, got set) {
	members := make(map[int]bool)
	for i := range got.spans {
		sp := got.at(i)
		require.LessOrEqual(t, sp.lo, sp.hi)
		if i > 0 {
			require.Less(t, got.at(i-1).hi, sp.lo)
		}
		for v := sp.lo; v <= sp.hi; v++ {
			members[v] = true
		}
	}
	require.Equal(t, want, members)
	require.Equal(t, len(want) == 0, got.empty())
	if !got.empty() {
		require.True(t, want[got.lo] && want[got.hi], "the bounds are members")
	}
}

func filter(members map[int]bool, keep func(v int) bool) map[int]bool {
	kept := make(map[int]bool)
	for v := range members {
		if keep(v) {
			kept[v] = true
		}
	}
	return kept
}

func TestSetOperations(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, inS := drawSet(t, "s")
		u, inU := drawSet(t, "u")
		requireSet(t, inS, s)
		requireSet(t, filter(inS, func(v int) bool { return inU[v] }), intersect(s, u))
		both := filter(inU, func(int) bool { return true })
		for v := range inS {
			both[v] = true
		}
		requireSet(t, both, union(s, u))
		require.Equal(t, len(filter(inS, func(v int) bool { return !inU[v] })) == 0, s.within(u))
		require.True(t, intersect(s, s).same(s))
		require.True(t, intersect(s, single(-most, most)).same(s))
		all := make(map[int]bool)
		for v := range most {
			all[v] = true
		}
		outside := filter(all, func(v int) bool { return !inS[v] })
		requireSet(t, outside, complement(s.atLeast(0)).atMost(most-1))
	})
}

// TestShifted compares with trying every pair of values.
func TestShifted(t *testing.T) {
	for range 10 {
		rapid.Check(t, checkShifted)
	}
}

func checkShifted(t *rapid.T) {
	s, members := drawSet(t, "s")
	by := shift{lo: rapid.IntRange(-9, 9).Draw(t, "shift")}
	by.hi = by.lo + rapid.IntRange(0, 5).Draw(t, "width")
	by.from = rapid.IntRange(1, 4).Draw(t, "from")
	by.to = rapid.SampledFrom([]int{1, by.from}).Draw(t, "to")
	clip := span{rapid.IntRange(-50, 50).Draw(t, "clip lo"), rapid.IntRange(-50, 150).Draw(t, "clip hi")}
	want := make(map[int]bool)
	for v := range members {
		for minute := v*by.from + by.lo; minute <= v*by.from+by.hi; minute++ {
			if minute >= clip.lo && minute <= clip.hi && minute%by.to == 0 {
				want[minute/by.to] = true
			}
		}
	}
	requireSet(t, want, shifted(s, by, clip))
}

// TestEndless: a cycle of lags that asks for nothing can be met, one that asks for a minute cannot.
func TestEndless(t *testing.T) {
	for extra, want := range map[int]bool{-1: false, 0: false, 1: true} {
		fixed := []Mode{{Phases: []Phase{{Minutes: 10, Calendar: -1}}}, {Phases: []Phase{{Minutes: 12, Calendar: -1}}}}
		p := Problem{
			HorizonMinutes: 1000,
			Unaries:        []Unary{{}},
			Tasks:          []Task{{Modes: fixed}, {Modes: fixed}, {Modes: fixed}},
			Lags: []Lag{
				{From: 0, To: 1, MinMinutes: 5, MaxMinutes: -1},
				{From: 1, To: 2, MinMinutes: -30 + extra, MaxMinutes: -1},
				{From: 2, To: 0, MinMinutes: -5, MaxMinutes: -1},
			},
		}
		m := newMeter(t.Context())
		s := newPropagator(buildModel(newResources(&p, m), nil, nil, m), m)
		require.Equal(t, want, s.endless(s.root()), "%d", extra)
	}
}
