package main

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

const (
	muffleFile  = "testdata/muffle.yaml"
	calcineFile = "testdata/calcine.yaml"
)

func heatOf(t *testing.T, program string, flags ...string) heatTime {
	t.Helper()
	return decoded[heatTime](t, program, append([]string{"heat", "time", "--furnace", muffleFile, "--program", "-"}, flags...)...)
}

func TestARateThatTheFurnaceFollowsTakesWhatIsAsked(t *testing.T) {
	answer := heatOf(t, "segments: [{to_celsius: 600, rate_celsius_per_hour: 200, hold_minutes: 480}]")
	assert.InDelta(t, (600-20)/200.0*60+480, answer.Segments[0].DurationMinutes, 1e-9, "from the ambient 20 C")
	assert.Less(t, answer.Segments[0].PossibleMinutes, answer.Segments[0].AskedMinutes)
	assert.InDelta(t, answer.TotalMinutes, answer.Segments[0].DurationMinutes+answer.CoolingMinutes, 1e-9)
	hot := heatOf(t, "segments: [{to_celsius: 600, rate_celsius_per_hour: 200, hold_minutes: 480}]", "--start-celsius", "400")
	assert.InDelta(t, (600-400)/200.0*60+480, hot.Segments[0].DurationMinutes, 1e-9)
	assert.InDelta(t, answer.CoolingMinutes, hot.CoolingMinutes, 1e-9)
	later := heatOf(t, "segments: [{to_celsius: 600}]", "--open-below-celsius", "50")
	assert.Greater(t, later.CoolingMinutes, answer.CoolingMinutes)
}

// The furnace was timed: 20 to 900 C in 40 + 62 minutes.
func TestFullPowerTakesAboutWhatWasMeasured(t *testing.T) {
	answer := heatOf(t, "segments: [{to_celsius: 900}]")
	assert.InDelta(t, 102, answer.Segments[0].DurationMinutes, 6)
	assert.Zero(t, answer.Segments[0].AskedMinutes)
}

func TestWhatIsOutOfReachIsSaidAndLeftOut(t *testing.T) {
	within := heatOf(t, "segments: [{to_celsius: 1000, hold_minutes: 10}]")
	beyond := heatOf(t, "segments: [{to_celsius: 1000, hold_minutes: 10}, {to_celsius: 1900, hold_minutes: 10}]")
	assert.Equal(t, segmentTime{Index: 1, AskedMinutes: 10}, beyond.Segments[1])
	assert.InDelta(t, within.TotalMinutes, beyond.TotalMinutes, 1e-9)
	assert.Contains(t, beyond.Assumptions, "segment 1 cannot be reached and is left out of the sums")
	assert.NotEmpty(t, beyond.Caution)
}
