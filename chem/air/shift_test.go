package air

import (
	"math"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem/finding"
)

// The earliest later time passes, and the grid's steps before it are refused.
func TestTheLaterTimeIsEnoughAndTheEarliest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		check := RoomCheck{
			Zone: ventilated, ShiftHorizonMinutes: 600, ShiftStepMinutes: 20,
			Standing: []Source{burstAt(float64(rapid.IntRange(-50, 300).Draw(t, "standing")), rapid.Float64Range(0.1, 1).Draw(t, "grams"))},
			Sources:  []Source{burstAt(0, rapid.Float64Range(0.1, 0.8).Draw(t, "added"))},
		}
		if rapid.Bool().Draw(t, "signed") {
			check.Zone.Unoccupied = []Interval{{200, 420}}
		}
		got, err := CheckRoom(check)
		require.NoError(t, err)
		blocked := func(later float64) bool {
			moved := check
			moved.ShiftHorizonMinutes, moved.Sources = 0, shifted(check.Sources, later)
			one, err := CheckRoom(moved)
			require.NoError(t, err)
			return finding.Blocks(one.Findings)
		}
		until := 601.0
		if got.LaterMinutesEnough != nil {
			until = *got.LaterMinutesEnough
			assert.False(t, blocked(until))
		}
		for later := 0.0; later < until; later += 20 {
			assert.True(t, blocked(later), "%v min later", later)
		}
	})
}

func TestALaterTimeIsNamedAsACure(t *testing.T) {
	check := RoomCheck{Zone: ventilated, ShiftHorizonMinutes: 600, Standing: []Source{burstAt(0, 0.3)}, Sources: []Source{burstAt(0, 0.3)}}
	got, err := CheckRoom(check)
	require.NoError(t, err)
	require.NotNil(t, got.LaterMinutesEnough)
	assert.Equal(t, 0.0, math.Mod(*got.LaterMinutesEnough, defaultShiftStepMinutes))
	assert.Contains(t, got.Findings[0].Cure, "the same "+strconv.FormatFloat(*got.LaterMinutesEnough, 'f', 0, 64)+" min later")
	require.NotNil(t, got.Species[0].ProtectionEnough)
	assert.Equal(t, 5.0, got.Species[0].ProtectionEnough.AssignedProtectionFactor)

	check.Sources = []Source{burstAt(0, 30)}
	got, err = CheckRoom(check)
	require.NoError(t, err)
	assert.Nil(t, got.LaterMinutesEnough, "too much at any time")
	check.Standing = nil
	got, err = CheckRoom(check)
	require.NoError(t, err)
	assert.Nil(t, got.LaterMinutesEnough, "an empty room is the same at all times")
	check.ShiftHorizonMinutes, check.ShiftStepMinutes = -1, math.NaN()
	_, err = CheckRoom(check)
	require.Error(t, err)
	assert.ElementsMatch(t, []string{"shift_step_minutes", "shift_horizon_minutes"},
		[]string{finding.FaultsOf(err)[0].Field, finding.FaultsOf(err)[1].Field})
}
