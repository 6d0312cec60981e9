package domain

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"saggar/chem/heat"
)

var loadStates = []LoadState{
	LoadTentative, LoadConfirmed, LoadUnderFire, LoadDrawn, LoadStopped, LoadMissed, LoadExpired, LoadCancelled,
}

func TestTheMovesBetweenLoadStates(t *testing.T) {
	allowed := map[[2]LoadState]bool{
		{LoadTentative, LoadConfirmed}: true, {LoadTentative, LoadExpired}: true, {LoadTentative, LoadCancelled}: true,
		{LoadConfirmed, LoadUnderFire}: true, {LoadConfirmed, LoadMissed}: true, {LoadConfirmed, LoadCancelled}: true,
		{LoadUnderFire, LoadDrawn}: true, {LoadUnderFire, LoadStopped}: true,
	}
	for _, from := range loadStates {
		for _, to := range loadStates {
			assert.Equal(t, allowed[[2]LoadState{from, to}], from.CanBecome(to), "%s to %s", from, to)
		}
	}
}

func TestWhatHoldsAFurnace(t *testing.T) {
	holds := map[LoadState]bool{
		LoadTentative: true, LoadConfirmed: true, LoadUnderFire: true, LoadDrawn: true, LoadStopped: true,
	}
	for _, s := range loadStates {
		assert.Equal(t, holds[s], s.Occupies(), s)
	}
}

func TestARunsStateFollowsItsLoads(t *testing.T) {
	cases := []struct {
		loads []LoadState
		want  RunState
	}{
		{[]LoadState{LoadConfirmed, LoadConfirmed}, RunConfirmed},
		{[]LoadState{LoadTentative, LoadConfirmed}, RunTentative},
		{[]LoadState{LoadDrawn, LoadConfirmed}, RunUnderWay},
		{[]LoadState{LoadUnderFire, LoadTentative}, RunUnderWay},
		{[]LoadState{LoadDrawn, LoadDrawn}, RunDone},
		{[]LoadState{LoadDrawn, LoadStopped}, RunCancelled},
		{[]LoadState{LoadCancelled, LoadCancelled}, RunCancelled},
		{[]LoadState{LoadConfirmed, LoadMissed}, RunCancelled},
		{[]LoadState{LoadExpired}, RunCancelled},
	}
	for _, c := range cases {
		var run Run
		for _, s := range c.loads {
			run.Loads = append(run.Loads, Load{State: s})
		}
		assert.Equal(t, c.want, run.State(), "%v", c.loads)
	}
}

func TestDrawnIsBeforeWhatTheFurnaceStillOwes(t *testing.T) {
	at := func(hour int) time.Time { return time.Date(2027, 3, 1, hour, 0, 0, 0, time.UTC) }
	w := StageWindow{Phases: []PhaseWindow{
		{heat.Charge, Window{at(8), at(9)}}, {heat.Draw, Window{at(9), at(10)}}, {heat.Clear, Window{at(10), at(14)}},
	}}
	assert.Equal(t, at(10), w.Drawn())
	assert.Equal(t, at(8), w.Charged())
	hot := StageWindow{Phases: []PhaseWindow{{heat.Warm, Window{at(6), at(8)}}, {heat.Charge, Window{at(8), at(9)}}}}
	assert.Equal(t, at(8), hot.Charged(), "warming is before")
	assert.Equal(t, Window{at(8), at(14)}, w.Window())
	bench := StageWindow{Phases: []PhaseWindow{{heat.Work, Window{at(8), at(9)}}}}
	assert.Equal(t, at(9), bench.Drawn())
	assert.Zero(t, StageWindow{}.Window())
}
