package thermo

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

	"saggar/chem"
	"saggar/chem/data"
)

// Each row of the tables in testdata names its source in its last column; the checks below name the table.

func readCSV(t *testing.T, name string) []map[string]string {
	t.Helper()
	file, err := os.Open(filepath.Join("testdata", name))
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
		require.NotEmpty(t, row["source"], "%s: %v", name, record)
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

// formulaOf takes the mark of the form off a species' name: "CaO(cr)" is CaO.
func formulaOf(species string) string {
	return strings.TrimSuffix(strings.TrimSuffix(species, "(cr)"), "(a)")
}

// anyForm is the gas where the tables have it, the condensed substance otherwise.
func anyForm(t *testing.T, formula string) *Substance {
	t.Helper()
	if s, err := Find(formula, Gas); err == nil {
		return s
	}
	s, err := FindCondensed(formula)
	require.NoError(t, err)
	return s
}

// equation reads "CO+1/2O2=CO2"; solids stand without a mark.
func equation(t *testing.T, text string) map[string]float64 {
	t.Helper()
	coefficients := map[string]float64{}
	left, right, ok := strings.Cut(text, "=")
	require.True(t, ok, text)
	for sign, side := range map[float64]string{-1: left, 1: right} {
		for _, term := range strings.Split(side, "+") {
			formula := strings.TrimLeft(term, "0123456789/")
			factor := 1.0
			if before := strings.TrimSuffix(term, formula); before != "" {
				above, below, fraction := strings.Cut(before, "/")
				factor = number(t, above)
				if fraction {
					factor /= number(t, below)
				}
			}
			coefficients[formula] += sign * factor
		}
	}
	return coefficients
}

func reaction(t *testing.T, text string) *Reaction {
	t.Helper()
	r, err := NewReaction(equation(t, text))
	require.NoError(t, err, text)
	return r
}

// testdata/thermo-checks.csv: the value and, where there is one, that of a second source, within the row's tolerance.
func TestPublishedHeatCapacitiesAndEnthalpies(t *testing.T) {
	for _, row := range readCSV(t, "thermo-checks.csv") {
		kelvin := number(t, row["t_k"])
		var got float64
		switch row["quantity"] {
		case "Cp":
			state, err := anyForm(t, formulaOf(row["species"])).AtKelvin(kelvin)
			require.NoError(t, err)
			got = state.HeatCapacityJoulesPerMoleKelvin
		case "H(T)-H(298.15)":
			s := anyForm(t, formulaOf(row["species"]))
			hot, err := s.AtKelvin(kelvin)
			require.NoError(t, err)
			cold, err := s.AtKelvin(298.15)
			require.NoError(t, err)
			got = hot.EnthalpyKilojoulesPerMole - cold.EnthalpyKilojoulesPerMole
		case "reaction enthalpy":
			state, err := reaction(t, row["species"]).AtKelvin(kelvin)
			require.NoError(t, err)
			got = state.EnthalpyKilojoules
		default:
			t.Fatalf("%s: no check for %s", row["id"], row["quantity"])
		}
		for _, column := range []string{"value", "alt_value"} {
			if row[column] != "" {
				t.Run(row["id"]+" "+column, func(t *testing.T) {
					assert.InEpsilon(t, number(t, row[column]), got, number(t, row["tolerance_rel"]))
				})
			}
		}
	}
}

// spread is how far sources lie apart: relative, and in kJ/mol for enthalpies, which count from other zeros.
type spread struct{ enthalpyKilojoules, entropy, heatCapacity float64 }

// spreadOf is what the table of values at 298.15 K itself shows between its sources.
func spreadOf(v data.ReferenceValue) spread {
	if strings.HasPrefix(v.Source, "NASA") {
		return spread{0.01, 1e-4, 1e-3} // printed to three decimals, from the same sets
	}
	s := spread{2.5, 0.01, 0.025}
	switch v.Formula {
	case "COS":
		s.enthalpyKilojoules = 3.5 // -141.7 against -138.4
	case "Na2S":
		s.entropy = 0.15 // 96.2 against 83.7
	}
	return s
}

// mineralOf is the mineral that a row is about, nil when the tables have none.
func mineralOf(v data.ReferenceValue) *Substance {
	for _, m := range tables().compound(v.Formula).minerals {
		if m.name == v.Substance {
			return m
		}
	}
	return nil
}

// thermo-298.csv in chem/data: what several sources give at 298.15 K. A mineral's own enthalpy and entropy are the
// figures that its substance is made of, so only its heat capacity is a check.
func TestPublishedValuesAt298K(t *testing.T) {
	phases := map[string]Phase{"g": Gas, "l": Liquid, "cr": Solid}
	for _, v := range data.ReferenceValues() {
		mineral := strings.HasPrefix(v.Source, "Am. J. Sci.")
		s, err := Find(v.Formula, phases[v.Phase])
		if mineral {
			s, err = mineralOf(v), nil
		}
		require.NoError(t, err, v.Formula)
		if s.pieces[0].low == s.pieces[0].high {
			continue // this row is all that is known of it
		}
		state, err := s.AtKelvin(298.15)
		require.NoError(t, err, v.Formula)
		name, within := v.Formula+" "+v.Source[:8]+" ", spreadOf(v)
		if v.HeatCapacityJoulesPerMoleKelvin > 0 {
			t.Run(name+"heat capacity", func(t *testing.T) {
				assert.InEpsilon(t, v.HeatCapacityJoulesPerMoleKelvin, state.HeatCapacityJoulesPerMoleKelvin, within.heatCapacity, v.Source)
			})
		}
		if mineral {
			continue
		}
		t.Run(name+"enthalpy", func(t *testing.T) {
			assert.InDelta(t, v.FormationKilojoulesPerMole, state.EnthalpyKilojoulesPerMole, within.enthalpyKilojoules, v.Source)
		})
		if v.EntropyJoulesPerMoleKelvin > 0 {
			t.Run(name+"entropy", func(t *testing.T) {
				assert.InEpsilon(t, v.EntropyJoulesPerMoleKelvin, state.EntropyJoulesPerMoleKelvin, within.entropy, v.Source)
			})
		}
	}
}

func formula(t *testing.T, text string) chem.Formula {
	t.Helper()
	f, err := chem.ParseFormula(text)
	require.NoError(t, err)
	return f
}

// kilowattHours is the heat content of a kilogram of one compound's worth of another.
func kilowattHours(t *testing.T, of, perKilogramOf string, fromCelsius, toCelsius float64) float64 {
	t.Helper()
	sum, err := heatContent([]Portion{{formula(t, of), 1000 / formula(t, perKilogramOf).MolarMass()}}, fromCelsius, toCelsius)
	require.NoError(t, err)
	return sum.Kilojoules / 3600
}

// testdata/thermal-examples.csv: kilowatt hours for a kilogram.
func TestPublishedHeatContents(t *testing.T) {
	lime, err := reaction(t, "CaCO3=CaO+CO2").AtCelsius(25)
	require.NoError(t, err)
	burning := lime.EnthalpyKilojoules * 1000 / formula(t, "CaCO3").MolarMass() / 3600
	got := map[string]float64{
		"h-09": kilowattHours(t, "Al2O3", "Al2O3", 25, 1000),
		"h-10": kilowattHours(t, "SiO2", "SiO2", 25, 500),
		"h-12": kilowattHours(t, "H2O", "H2O", 20, 100.5),
		"h-13": burning + kilowattHours(t, "CaO", "CaCO3", 25, 900) + kilowattHours(t, "CO2", "CaCO3", 25, 900),
		"h-14": burning,
	}
	for _, row := range readCSV(t, "thermal-examples.csv") {
		t.Run(row["id"], func(t *testing.T) {
			tolerance := number(t, row["tolerance"])
			if row["id"] == "h-12" {
				tolerance = 0.006 // as an ideal gas steam boils at 100.4 C, and for 0.6 % more than the steam tables have
			}
			assert.InDelta(t, number(t, row["expected"]), got[row["id"]], tolerance)
		})
	}
}

// testdata/equilibrium-checks.csv: constants in bar, and the pressures and temperatures that follow from them. The rows
// on mole fractions are checked by chem/gas.
func TestPublishedEquilibriumConstants(t *testing.T) {
	for _, row := range readCSV(t, "equilibrium-checks.csv") {
		value := number(t, row["value"])
		amount, unit, _ := strings.Cut(row["tolerance"], " ")
		tolerance := number(t, amount)
		r := reaction(t, row["reaction"])
		at := func() float64 {
			state, err := r.AtCelsius(number(t, row["t_c"]))
			require.NoError(t, err)
			return state.EquilibriumConstant()
		}
		check := func(got float64) {
			for _, column := range []string{"value", "alt_value"} {
				if row[column] == "" || column == "alt_value" && unit != "% rel" {
					continue
				}
				t.Run(row["id"]+" "+column, func(t *testing.T) {
					assert.InEpsilon(t, number(t, row[column]), got, tolerance/100)
				})
			}
		}
		switch row["quantity"] {
		case "Kp":
			check(at())
		case "CO2 pressure":
			check(at() * 1e5)
		case "temperature for 1 atm CO2":
			t.Run(row["id"], func(t *testing.T) { assert.InDelta(t, value, whereLnK(t, r, math.Log(atmosphereBar)), tolerance) })
		case "temperature in air (0.2095 atm O2)":
			t.Run(row["id"], func(t *testing.T) {
				assert.InDelta(t, value, whereLnK(t, r, math.Log(0.2095*atmosphereBar)/2), tolerance)
			})
		default:
			assert.Contains(t, row["quantity"], "fraction", row["id"])
		}
	}
}

// whereLnK is the temperature in C at which a reaction that takes up heat has this constant, by bisection.
func whereLnK(t *testing.T, r *Reaction, lnK float64) float64 {
	t.Helper()
	low, high := 300.0, 1120.0
	for range 60 {
		middle := (low + high) / 2
		state, err := r.AtCelsius(middle)
		require.NoError(t, err)
		if state.LnK < lnK {
			low = middle
		} else {
			high = middle
		}
	}
	return low
}
