package main

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestASharedWeekIsPlannedBookedAndMovedOnARealServer goes the whole way on saggard and PostgreSQL: runs of three departments
// planned together and booked, one plan overtaken and refreshed, alternatives, a closure, and the moves that it asks for.
func TestASharedWeekIsPlannedBookedAndMovedOnARealServer(t *testing.T) {
	s := startService(t)
	s.loadDemo()
	does := func(want int, says string, args ...string) string {
		t.Helper()
		output, code := s.saggar(args...)
		require.Equal(t, want, code, "%v: %s", args, output)
		require.Contains(t, output, says, "%v", args)
		return output
	}
	demo := "../../../deploy/demo/"
	kept := t.TempDir()
	week, later, other, moves := filepath.Join(kept, "week"), filepath.Join(kept, "later"), filepath.Join(kept, "other"), filepath.Join(kept, "moves")
	does(0, "sodalite-blue", "recipe", "add", demo+"sodalite-blue.yaml")

	does(0, "bisque  big-kiln", "run", "plan", "bisque", "--department", "sculpture", "--from", "2027-03-01 08:00", "--save", later)
	planned := does(0, "planned: O people at it", "run", "plan", "--runs", demo+"shared-week.yaml", "--from", "2027-03-01 08:00",
		"--until", "2027-03-07 18:00", "--search-time", "3s", "--save", week)
	for _, row := range []string{
		`(?m)^bisque-one +bisque +big-kiln +Mon 1 Mar 08:00`, `(?m)^big-kiln +\|\.\.O@@@==\|======`, `(?m)^blue-one +reduce +LAG +it waits for pack`,
		`(?m)^red-one +calcine +muffle-two`,
	} {
		assert.Regexp(t, row, planned)
	}
	assert.NotRegexp(t, `glaze-one +glaze +\S+ +(Mon 1|Tue 2) Mar`, planned, "not before its own limit")

	does(3, "must be acknowledged", "run", "book", "--plan", week)
	assert.Equal(t, "none\n", does(0, "", "run", "list"), "a refused booking books none of them")
	does(0, "CONFIRMED", "run", "book", "--plan", week, "--acknowledge", "AIR_SHORT_TERM_LIMIT,HEAT_OPENED_REDUCING")
	for _, id := range []string{"bisque-one", "glaze-one", "egypt-one", "red-one"} {
		does(0, "CONFIRMED", "run", "show", id)
	}
	does(0, "TENTATIVE", "run", "show", "blue-one") // waits for a clearance

	does(3, "'saggar run plan --refresh "+later, "run", "book", "--plan", later)
	does(0, "change of starts", "run", "plan", "--refresh", later, "--search-time", "3s", "--save", later)
	does(0, "CONFIRMED", "run", "book", "--plan", later)

	does(0, "on muffle-two instead of muffle-one", "run", "plan", "egyptian-blue", "--department", "painting", "--from", "2027-03-15 08:00",
		"--attend", "mon-fri 08:00-18:00", "--alternatives", "3", "--save", other)
	does(0, "sinter  muffle-two", "run", "book", "--plan", other, "--take", "1", "--id", "egypt-two")

	does(0, "the closure hits 1 booked firing of 1 run", "closure", "add", "door-seal", "--subject", "furnaces/muffle-two",
		"--from", "2027-03-02 06:00", "--until", "2027-03-03 20:00", "--reason", "door seal")
	before := does(0, "muffle-two", "run", "show", "egypt-one")
	does(0, "egypt-one  sinter  muffle-two  Tue 2 Mar 08:00", "run", "replan", "--search-time", "3s", "--save", moves)
	assert.Equal(t, before, does(0, "", "run", "show", "egypt-one"), "nothing moves until it is accepted")
	does(0, "egypt-one", "run", "replan", "--accept", moves)
	assert.NotContains(t, does(0, "", "run", "show", "egypt-one"), "muffle-two")
	does(0, "Nothing that is booked is hit by closures, hours, furnaces, supplies, people or the air of the rooms.", "run", "replan")
	does(2, "", "run", "replan", "--accept", moves)

	does(2, "there is no furnace", "run", "plan", "bisque", "--department", "ceramics", "--avoid", "nowhere")
	does(2, "has not begun", "run", "replan", "--overrun", "glaze-one/glaze=2027-03-08 12:00")
}
