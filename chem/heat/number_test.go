package heat

import (
	"cmp"
	"encoding/json"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
	"saggar/chem/finding"
)

// Whatever the numbers, nothing panics, every error is a list of faults, and every answer can be written as JSON, which
// has no NaN and no infinity.
func TestNoNumberBreaksIt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.OneOf(rapid.Float64(), rapid.Float64Range(-50, 2100),
			rapid.SampledFrom([]float64{0, 1e-300, 20, 25, 100, 300, 1199.9999999, 1200, 2000}))
		f := muffle()
		f.AmbientCelsius, f.TopCelsius = number.Draw(t, "ambient"), number.Draw(t, "top")
		for i := range f.HeatingTimes {
			f.HeatingTimes[i] = Timing{number.Draw(t, "from"), number.Draw(t, "to"), number.Draw(t, "minutes")}
		}
		f.CoolingTimes[0] = Timing{number.Draw(t, "from"), number.Draw(t, "to"), number.Draw(t, "minutes")}
		request := Treatment{ChargeAtCelsius: number.Draw(t, "charge"), OpenBelowCelsius: number.Draw(t, "open"),
			FeedMinutes: rapid.IntRange(-1, 99999).Draw(t, "feed"), ClearAfter: rapid.Bool().Draw(t, "clear")}
		for range rapid.IntRange(0, 3).Draw(t, "segments") {
			request.Program.Segments = append(request.Program.Segments,
				Segment{number.Draw(t, "to"), number.Draw(t, "rate"), number.Draw(t, "hold")})
		}
		for range rapid.IntRange(0, 4).Draw(t, "uptakes") {
			request.ChargeHeat = append(request.ChargeHeat, HeatUptake{number.Draw(t, "celsius"), 1000 * number.Draw(t, "taken")})
		}
		if rapid.Bool().Draw(t, "taken in order") {
			slices.SortFunc(request.ChargeHeat, func(a, b HeatUptake) int { return cmp.Compare(a.Celsius, b.Celsius) })
			if len(request.ChargeHeat) > 0 {
				request.ChargeHeat[0].Kilojoules = 0
			}
		}
		if rapid.Bool().Draw(t, "measured") {
			f = muffle()
		}
		if rapid.Bool().Draw(t, "lined") {
			f.CoolingTimes = lined().CoolingTimes
		}
		mustEncode(t, Check(f, request))
		c, err := Fit(f)
		mustEncode(t, c)
		assertFaults(t, err)
		phases, result, err := Phases(f, c, request)
		mustEncode(t, phases)
		mustEncode(t, result)
		assertFaults(t, err)
		if err != nil {
			assert.True(t, finding.Blocks(Check(f, request)), "what has no phases is blocked by Check: %v", err)
		}
	})
}

func mustEncode(t *rapid.T, value any) {
	_, err := json.Marshal(value)
	assert.NoError(t, err)
}

func assertFaults(t *rapid.T, err error) {
	if err != nil {
		assert.NotEmpty(t, finding.FaultsOf(err))
	}
}
