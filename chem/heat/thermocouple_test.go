package heat

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
	"saggar/chem/finding"
)

// The points of the published tables, each both ways (testdata/thermocouple-emf.csv names the source of each).
func TestPublishedThermocouples(t *testing.T) {
	rows := readRows(t, "thermocouple-emf.csv")
	require.Len(t, rows, 49)
	for _, row := range rows {
		celsius, emf, tolerance := row.number(t, "t_c"), row.number(t, "emf_mv"), row.number(t, "tolerance_mv")
		t.Run(row["type"]+" at "+row["t_c"]+" C", func(t *testing.T) {
			of := Thermocouple(row["type"])
			got, err := of.Millivolts(celsius)
			require.NoError(t, err)
			assert.InDelta(t, emf, got, tolerance, row["source"])
			if of == "B" && celsius < uniqueAboveCelsius {
				return
			}
			back, err := of.Celsius(emf, 0)
			require.NoError(t, err)
			_, slope := references().byType[of].at(celsius)
			assert.InDelta(t, celsius, back, tolerance/slope, row["source"])
		})
	}
}

func TestThermocouplesUndoThemselves(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		of := rapid.SampledFrom(ThermocoupleTypes()).Draw(t, "type")
		r := references().byType[of]
		celsius := rapid.Float64Range(max(r.coldest, -200), r.high()).Draw(t, "celsius")
		reference := rapid.Float64Range(max(0, r.low()), 60).Draw(t, "reference")
		hot, err := of.Millivolts(celsius)
		require.NoError(t, err)
		cold, err := of.Millivolts(reference)
		require.NoError(t, err)
		back, err := of.Celsius(hot-cold, reference)
		if err != nil { // a rounding beyond the very end of the range
			assert.True(t, math.Abs(celsius-r.high()) < 1e-6 || math.Abs(celsius-r.coldest) < 1e-6, "%v", err)
			return
		}
		assert.InDelta(t, celsius, back, 2e-4, "the polynomials of neighbouring ranges meet to a microvolt only")
		if math.Abs(celsius-0) > 1 && math.Abs(celsius-630.615) > 1 && math.Abs(celsius-1064.18) > 1 && math.Abs(celsius-1664.5) > 1 {
			assert.InDelta(t, celsius, back, 1e-6)
		}
	})
}

func TestVoltagesRiseWithTheTemperature(t *testing.T) {
	for _, of := range ThermocoupleTypes() {
		r := references().byType[of]
		for celsius := r.coldest; celsius <= r.high(); celsius += 0.5 {
			_, slope := r.at(celsius)
			require.Positive(t, slope, "%s at %g C", of, celsius)
		}
	}
	r := references().byType["B"]
	coldest, _ := r.at(uniqueAboveCelsius)
	for celsius := 0.0; celsius < uniqueAboveCelsius; celsius += 0.1 {
		millivolts, _ := r.at(celsius)
		require.Less(t, millivolts, coldest, "type B at %g C", celsius)
	}
}

func TestThermocouplesNameWhatIsOutOfRange(t *testing.T) {
	field := func(_ float64, err error) string {
		faults := finding.FaultsOf(err)
		require.Len(t, faults, 1)
		return faults[0].Field
	}
	assert.Equal(t, "thermocouple", field(Thermocouple("J").Millivolts(20)))
	assert.Equal(t, "thermocouple", field(Thermocouple("k").Celsius(1, 0)))
	assert.Equal(t, "celsius", field(Thermocouple("K").Millivolts(1372.1)))
	assert.Equal(t, "celsius", field(Thermocouple("S").Millivolts(math.NaN())))
	assert.Equal(t, "millivolts", field(Thermocouple("K").Celsius(55, 0)))
	assert.Equal(t, "millivolts", field(Thermocouple("K").Celsius(math.Inf(-1), 0)))
	assert.Equal(t, "millivolts", field(Thermocouple("B").Celsius(0, 20)), "two temperatures give it")
	assert.Equal(t, "reference_celsius", field(Thermocouple("K").Celsius(4, math.NaN())))
	at, err := Thermocouple("K").Millivolts(1372)
	require.NoError(t, err)
	back, err := Thermocouple("K").Celsius(at, 0)
	require.NoError(t, err)
	assert.InDelta(t, 1372, back, 1e-6, "the very end is in range")
}

// A warm reference junction hides its own voltage: 20 C at both ends gives none.
func TestReferenceJunctionIsMadeUpFor(t *testing.T) {
	for _, of := range []Thermocouple{"K", "S", "N", "R"} {
		celsius, err := of.Celsius(0, 20)
		require.NoError(t, err)
		assert.InDelta(t, 20, celsius, 1e-6)
	}
}

func FuzzThermocouple(f *testing.F) {
	f.Add("K", 41.276, 0.0)
	f.Add("B", -0.002, 21.0)
	f.Fuzz(func(t *testing.T, letter string, millivolts, reference float64) {
		celsius, err := Thermocouple(letter).Celsius(millivolts, reference)
		if err != nil {
			require.NotEmpty(t, finding.FaultsOf(err))
			return
		}
		require.False(t, math.IsNaN(celsius) || math.IsInf(celsius, 0))
	})
}
