package gas

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// testdata/equilibrium-checks.csv: each row names its source in its last column.
func equilibriumChecks(t *testing.T) []map[string]string {
	t.Helper()
	file, err := os.Open(filepath.Join("testdata", "equilibrium-checks.csv"))
	require.NoError(t, err)
	defer file.Close()
	records, err := csv.NewReader(file).ReadAll()
	require.NoError(t, err)
	var rows []map[string]string
	for _, record := range records[1:] {
		row := map[string]string{}
		for i, column := range records[0] {
			row[column] = record[i]
		}
		require.NotEmpty(t, row["source"], record)
		rows = append(rows, row)
	}
	return rows
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	value, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err, text)
	return value
}

// atmosphere is 1 atm in bar.
const atmosphere = 1.01325

// mixtures are feeds in which the reactions of the table are at equilibrium, with the constant out of partial pressures.
var mixtures = map[string]struct {
	feed     []Amount
	constant func(p func(string) float64) float64
}{
	"C+CO2=2CO":     {[]Amount{{"CO2", 1}, {"C", 3}}, func(p func(string) float64) float64 { return p("CO") * p("CO") / p("CO2") }},
	"SO2+1/2O2=SO3": {[]Amount{{"SO2", 2}, {"O2", 1}}, func(p func(string) float64) float64 { return p("SO3") / p("SO2") / math.Sqrt(p("O2")) }},
	"CO+H2O=CO2+H2": {[]Amount{{"CO", 1}, {"H2O", 2}}, func(p func(string) float64) float64 { return p("CO2") * p("H2") / p("CO") / p("H2O") }},
	"H2S=H2+1/2S2":  {[]Amount{{"H2S", 1}}, func(p func(string) float64) float64 { return p("H2") * math.Sqrt(p("S2")) / p("H2S") }},
	"SO2+2CO=2CO2+1/2S2": {[]Amount{{"SO2", 1}, {"CO", 2}}, func(p func(string) float64) float64 {
		return p("CO2") * p("CO2") * math.Sqrt(p("S2")) / p("SO2") / p("CO") / p("CO")
	}},
}

// fraction is a gas's mole fraction.
func fraction(t testing.TB, r Result, species string) float64 {
	t.Helper()
	for _, s := range r.Species {
		if s.Species == species {
			return s.MoleFraction
		}
	}
	t.Fatalf("no %s in the mixture", species)
	return 0
}

func TestPublishedMixtures(t *testing.T) {
	for _, row := range equilibriumChecks(t) {
		mixture, ok := mixtures[row["reaction"]]
		require.True(t, ok, row["id"])
		r, err := Equilibrium(Input{Celsius: number(t, row["t_c"]), PressureBar: atmosphere, Feed: mixture.feed})
		require.NoError(t, err)
		amount, unit, _ := strings.Cut(row["tolerance"], " ")
		tolerance := number(t, amount)
		if row["quantity"] == "Kp" {
			got := mixture.constant(func(species string) float64 { return fraction(t, r, species) * atmosphere })
			for _, column := range []string{"value", "alt_value"} {
				t.Run(row["id"]+" "+column, func(t *testing.T) { assert.InEpsilon(t, number(t, row[column]), got, tolerance/100) })
			}
			continue
		}
		t.Run(row["id"], func(t *testing.T) {
			require.Equal(t, "abs", unit)
			got := fraction(t, r, "CO") / (fraction(t, r, "CO") + fraction(t, r, "CO2"))
			assert.InDelta(t, number(t, row["value"]), got, tolerance)
		})
	}
}
