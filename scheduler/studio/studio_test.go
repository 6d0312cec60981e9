package studio_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"saggar/scheduler/plan"
	"saggar/scheduler/studio"
)

// TestDraw: a studio is valid, of the size asked for, the same for the same seed and another for another.
func TestDraw(t *testing.T) {
	size := studio.Size{Runs: 60, Stages: 3, Furnaces: 12, Weeks: 8, Firings: 5000}
	p := studio.Draw(4, size)
	require.NoError(t, p.Validate())
	require.Len(t, p.Tasks, 180)
	require.Len(t, p.Lags, 120)
	require.Len(t, p.Unaries, 12)
	require.Equal(t, 8*7*24*60, p.HorizonMinutes)
	held := 0
	for _, unary := range p.Unaries {
		held += len(unary.Held)
		for i := 1; i < len(unary.Held); i++ {
			require.LessOrEqual(t, unary.Held[i-1].End, unary.Held[i].Start, "firings on a furnace do not overlap")
		}
	}
	require.Equal(t, 5000/12*12, held)
	require.Equal(t, p, studio.Draw(4, size))
	require.NotEqual(t, p, studio.Draw(5, size))
	require.Equal(t, []plan.Objective{plan.Lateness, plan.Completion}, p.Objectives)
}
