package domain

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/heat"
)

var noon = time.Date(2027, 3, 1, 12, 0, 0, 0, time.UTC)

func at(hour int) time.Time { return noon.Add(time.Duration(hour) * time.Hour) }

func TestAYesCoversNothingNew(t *testing.T) {
	given := ClearanceBasis{Places: []string{"a on pot", "b on pot"}, Found: []string{"sulfur"}, Amount: 2, Times: []Window{{at(8), at(12)}}}
	for name, c := range map[string]struct {
		asked ClearanceBasis
		want  bool
	}{
		"the same":            {given, true},
		"less":                {ClearanceBasis{Places: []string{"a on pot"}, Amount: 1.5, Times: []Window{{at(9), at(10)}}}, true},
		"another place":       {ClearanceBasis{Places: []string{"a on kiln"}}, false},
		"something else":      {ClearanceBasis{Found: []string{"chromate"}}, false},
		"more":                {ClearanceBasis{Amount: 2.001}, false},
		"a minute later":      {ClearanceBasis{Times: []Window{{at(8), at(12).Add(time.Minute)}}}, false},
		"a part at each side": {ClearanceBasis{Times: []Window{{at(8), at(9)}, {at(11), at(13)}}}, false},
	} {
		assert.Equal(t, c.want, given.Covers(c.asked), name)
	}
}

// waiting is a run that waits for two rules until an instant.
func waiting(until time.Time) Run {
	return Run{
		ID: "blue-1", Maker: "ada",
		Loads: []Load{{Stage: "pack", State: LoadTentative, Window: Window{at(90), at(91)}}, {
			Stage: "fire", State: LoadTentative, Window: Window{at(92), at(99)}, Firing: &Firing{State: LoadTentative, HoldExpireTime: until},
		}},
		Clearances: []Clearance{
			{Rule: "air", State: ClearanceWaiting, Role: RoleTechnician, ExpireTime: until},
			{Rule: "hours", State: ClearanceWaiting, People: []string{"ben"}, ExpireTime: until.Add(time.Hour)},
		},
	}
}

func TestTheShortestWaitCountsUntilItIsCleared(t *testing.T) {
	run := waiting(at(5))
	assert.Equal(t, at(5), run.HoldExpireTime())
	cleared, err := run.Clear(Decision{By: Caller{ID: "tom", Role: RoleTechnician}, At: at(4)})
	require.NoError(t, err)
	assert.Equal(t, at(6), cleared.HoldExpireTime(), "the other rule waits longer")
	assert.Equal(t, LoadTentative, run.Loads[1].Firing.State, "what was given stays as it was")
	assert.Equal(t, RunTentative, cleared.AsOf(at(6).Add(-time.Second)).State())
	expired := cleared.AsOf(at(6))
	assert.Equal(t, LoadExpired, expired.Loads[0].State)
	assert.Equal(t, LoadExpired, expired.Loads[1].Firing.State)
	assert.Zero(t, expired.HoldExpireTime())
	_, err = cleared.Clear(Decision{By: Caller{ID: "ben"}, At: at(6)})
	assert.ErrorIs(t, err, ErrWrongState)
	done, err := cleared.Clear(Decision{By: Caller{ID: "ben"}, At: at(6).Add(-time.Second)})
	require.NoError(t, err)
	assert.Equal(t, RunConfirmed, done.State())
	assert.Zero(t, done.HoldExpireTime())
	assert.Equal(t, done, done.AsOf(at(1000)), "what is confirmed never expires")
}

func TestARunWaitsNeverIntoWhatItDoes(t *testing.T) {
	facts := RunFacts{Stages: []StageFacts{
		{Stage: "pack", Charged: at(20), Window: Window{at(20), at(21)}},
		{Stage: "fire", Furnace: "pot", Charged: at(40), Window: Window{at(39), at(60)}},
	}}
	for name, c := range map[string]struct {
		rule  ClearanceRule
		stage int
		want  time.Time
	}{
		"as long as the rule says":   {ClearanceRule{ExpiresAfterHours: 7.5}, 0, at(7).Add(30 * time.Minute)},
		"until the bench work":       {ClearanceRule{ExpiresAfterHours: 30}, 0, at(20)},
		"three days by default":      {ClearanceRule{}, 2, at(72)},
		"until the furnace is warm":  {ClearanceRule{}, 1, at(39)},
		"hours ahead of the charge":  {ClearanceRule{AheadOfChargeHours: 12}, 1, at(28)},
		"ahead counts to the charge": {ClearanceRule{AheadOfChargeHours: 30}, 0, at(10)},
	} {
		some := facts
		some.Stages = facts.Stages[c.stage:]
		assert.Equal(t, c.want, c.rule.Until(noon, some), name)
	}
}

// TestOutsideAgainstMinutes holds what lies outside hours against a count minute by minute.
func TestOutsideAgainstMinutes(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 1))
	window := func() Window {
		start := noon.Add(time.Duration(random.IntN(60)) * time.Minute)
		return Window{start, start.Add(time.Duration(1+random.IntN(30)) * time.Minute)}
	}
	within := func(windows []Window, minute time.Time) bool {
		return slices.ContainsFunc(windows, func(w Window) bool { return !minute.Before(w.Start) && minute.Before(w.End) })
	}
	for range 2000 {
		var others []Window
		for range random.IntN(4) {
			others = append(others, window())
		}
		others = MergeWindows(others)
		asked := window()
		left := Outside(asked, others)
		for minute := range 100 {
			instant := noon.Add(time.Duration(minute) * time.Minute)
			want := within([]Window{asked}, instant) && !within(others, instant)
			require.Equal(t, want, within(left, instant), "%v without %v at %v", asked, others, instant)
		}
	}
}

func TestAWeekIsSevenLocalDaysAlsoWhenClocksChange(t *testing.T) {
	lisbon, err := LoadZone("Europe/Lisbon") // summer time begins on 28 March 2027 at 01:00
	require.NoError(t, err)
	week := Allotment{FurnaceHours: 1}
	local := func(day, hour int) time.Time { return time.Date(2027, 3, day, hour, 0, 0, 0, lisbon) }
	for name, instant := range map[string]time.Time{
		"its first minute": local(22, 0), "in it": local(25, 13), "its last hour": local(28, 23),
	} {
		period, counts := week.Period(instant, lisbon)
		assert.True(t, counts, name)
		assert.True(t, period.Start.Equal(local(22, 0)), "%s: %v", name, period.Start)
		assert.True(t, period.End.Equal(local(29, 0)), "%s: %v", name, period.End)
		assert.InDelta(t, 7*24-1, period.End.Sub(period.Start).Hours(), 1e-9)
	}
	term := Allotment{FurnaceHours: 1, FirstDate: "2027-03-25", LastDate: "2027-03-28"}
	for instant, want := range map[time.Time]bool{local(24, 23): false, local(25, 0): true, local(28, 23): true, local(29, 0): false} {
		_, counts := term.Period(instant, lisbon)
		assert.Equal(t, want, counts, "%v", instant)
	}
}

func TestTheUseOfAFiring(t *testing.T) {
	f := Firing{Window: Window{at(0), at(10)}, Phases: []FiringPhase{
		{Kind: heat.Charge, Window: Window{at(0), at(1)}}, {Kind: heat.Fire, Window: Window{at(1), at(5)}, Kilowatts: 5},
		{Kind: heat.Cool, Window: Window{at(5), at(10)}},
	}}
	assert.Equal(t, Use{FurnaceHours: 10, KilowattHours: 20}, f.Use())
}

func TestWhoMayDecideIsSaid(t *testing.T) {
	for want, c := range map[string]Clearance{
		"a technician or above, or ada, or ben": {Role: RoleTechnician, People: []string{"ada", "ben"}},
		"a steward":                             {Role: RoleSteward},
		"ada":                                   {People: []string{"ada"}},
	} {
		assert.Equal(t, want, c.Who())
		for role := RoleNone; role <= RoleSteward; role++ {
			assert.Equal(t, c.Role != RoleNone && role >= c.Role, c.MayDecide(Caller{ID: "eve", Role: role}), fmt.Sprint(want, role))
		}
	}
}
