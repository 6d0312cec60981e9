package data

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var known = []Read{WasRead, SecondHand, FromMemory, Computed, CommonPractice}

func TestAtomicWeights(t *testing.T) {
	rows, err := readTable("atomic-weights.csv", toAtomicWeight)
	require.NoError(t, err)
	require.Len(t, rows, 118)
	weighted := 0
	for i, row := range rows {
		assert.Equal(t, i+1, row.AtomicNumber)
		assert.NotEmpty(t, row.Symbol)
		if row.GramsPerMole > 0 {
			weighted++
			assert.Greater(t, row.UncertaintyGramsPerMole, 0.0, row.Symbol)
		}
	}
	// CIAAW 2021: 84 elements have a standard atomic weight.
	assert.Equal(t, 84, weighted)
}

func TestExposureLimits(t *testing.T) {
	rows, err := readTable("exposure-limits.csv", toExposureLimit)
	require.NoError(t, err)
	kinds := []LimitKind{TimeWeighted, ShortTerm, Ceiling, Peak, ActionLevel, DangerousToLife, NoLimit}
	for _, row := range rows {
		assert.Contains(t, kinds, row.Kind, row.Substance)
		assert.Contains(t, known, row.Read, row.Substance)
		assert.Equal(t, strings.Contains(row.Source, "read second-hand"), row.Read == SecondHand, row.Substance)
		assert.Contains(t, []string{"OSHA", "NIOSH", "EU", "Ontario", "ACGIH"}, row.Authority)
		stated := row.PPM > 0 || row.MilligramsPerCubicMeter > 0
		assert.Equal(t, row.Kind != NoLimit, stated, "%s %s %s", row.Substance, row.Authority, row.Kind)
		if row.Kind == TimeWeighted || row.Kind == ShortTerm {
			assert.Positive(t, row.AveragingMinutes, "%s %s", row.Substance, row.Authority)
		}
	}
}

// The values below stand in the sources named beside them.
func TestExposureLimitsAgainstTheirSources(t *testing.T) {
	cases := []struct {
		formula, authority string
		kind               LimitKind
		ppm                float64
		source             string
	}{
		{"SO2", "OSHA", TimeWeighted, 5, "29 CFR 1910.1000 Table Z-1"},
		{"CO", "OSHA", TimeWeighted, 50, "29 CFR 1910.1000 Table Z-1"},
		{"CO2", "OSHA", TimeWeighted, 5000, "29 CFR 1910.1000 Table Z-1"},
		{"SO2", "NIOSH", DangerousToLife, 100, "NIOSH IDLH documentation, May 1994"},
		{"CO", "NIOSH", DangerousToLife, 1200, "NIOSH IDLH documentation, May 1994"},
	}
	for _, c := range cases {
		t.Run(c.formula+" "+c.authority+" "+string(c.kind), func(t *testing.T) {
			at := slices.IndexFunc(ExposureLimits(), func(l ExposureLimit) bool {
				return l.Formula == c.formula && l.Authority == c.authority && l.Kind == c.kind
			})
			require.GreaterOrEqual(t, at, 0)
			assert.Equal(t, c.ppm, ExposureLimits()[at].PPM, c.source)
		})
	}
}

func TestProtectionFactors(t *testing.T) {
	rows, err := readTable("respirator-apf.csv", toProtectionFactor)
	require.NoError(t, err)
	require.Len(t, rows, 20)
	for _, row := range rows {
		assert.LessOrEqual(t, row.Factor, row.EvidencedFactor)
		if row.Type == "papr" && row.Facepiece == "helmet_hood" {
			// 29 CFR 1910.134(d)(3)(i)(A) Table 1, note 4: 25 unless the maker has evidence for 1,000.
			assert.Equal(t, 25.0, row.Factor)
			assert.Equal(t, 1000.0, row.EvidencedFactor)
		}
	}
}

func TestTablesAreCopies(t *testing.T) {
	AtomicWeights()[0].GramsPerMole = -1
	assert.Positive(t, AtomicWeights()[0].GramsPerMole)
}

func TestIncomingAirNamesItsSource(t *testing.T) {
	require.NotEmpty(t, IncomingAir())
	for _, row := range IncomingAir() {
		assert.Positive(t, row.PPM, row.Species)
		assert.Contains(t, known, row.Read, row.Species)
		assert.NotEmpty(t, row.Source, row.Species)
	}
}

func TestReadTableNamesTheFault(t *testing.T) {
	_, err := readTable("respirator-apf.csv", func(r *row) float64 { return r.number("mode") })
	assert.ErrorContains(t, err, `respirator-apf.csv line 2 column mode: "negative pressure" is not a number`)
	_, err = readTable("respirator-apf.csv", func(r *row) string { return r.text("colour") })
	assert.ErrorContains(t, err, "no such column")
	_, err = readTable("absent.csv", toAtomicWeight)
	assert.Error(t, err)
}

func TestThermocoupleTerms(t *testing.T) {
	rows, err := readTable("thermocouple-coefficients.csv", toThermocoupleTerm)
	require.NoError(t, err)
	reach := map[string]float64{}
	for _, row := range rows {
		assert.Contains(t, []string{"K", "S", "N", "R", "B"}, row.Type)
		assert.Equal(t, WasRead, row.Read)
		assert.Less(t, row.LowCelsius, row.HighCelsius)
		assert.Regexp(t, `^(c[0-9]+|a[0-2])$`, row.Coefficient)
		if row.Coefficient == "c0" {
			before, seen := reach[row.Type]
			assert.True(t, !seen || before == row.LowCelsius, "%s has a gap below %g C", row.Type, row.LowCelsius)
			reach[row.Type] = row.HighCelsius
		}
	}
	assert.Equal(t, map[string]float64{"K": 1372, "S": 1768.1, "N": 1300, "R": 1768.1, "B": 1820}, reach)
}
