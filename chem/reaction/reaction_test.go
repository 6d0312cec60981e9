package reaction

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/data"
	"saggar/chem/heat"
)

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

func named(t testing.TB, name string) Reaction {
	t.Helper()
	r, ok := Named(name)
	require.True(t, ok, name)
	return r
}

// with is a reaction with the rate given, for checks of the arithmetic.
func with(t testing.TB, model string, kilojoules, perSecond float64) Reaction {
	t.Helper()
	return read(data.Reaction{Name: model, Formula: "CaCO3", Kinetics: data.Kinetics{
		Model: model, ActivationKilojoulesPerMole: kilojoules, FrequencyPerSecond: perSecond, LowCelsius: 1, HighCelsius: 2000,
	}})
}

func held(celsius, minutes float64) []heat.Point {
	return []heat.Point{{Minute: 0, Celsius: celsius}, {Minute: minutes, Celsius: celsius}}
}

// ramped goes from 20 C to a temperature at a rate in K/min and stays.
func ramped(perMinute, celsius, minutes float64) []heat.Point {
	arrived := (celsius - 20) / perMinute
	return []heat.Point{{Minute: 0, Celsius: 20}, {Minute: arrived, Celsius: celsius}, {Minute: arrived + minutes, Celsius: celsius}}
}

func TestEquations(t *testing.T) {
	for name, want := range map[string]string{
		"kaolinite":                    "Al2Si2O5(OH)4 -> Al2Si2O7 + 2 H2O",
		"calcite":                      "CaCO3 -> CaO + CO2",
		"sulfur":                       "S + O2 -> SO2",
		"anhydrite":                    "CaSO4 -> CaO + SO2 + 0.5 O2",
		"goethite":                     "FeO(OH) -> 0.5 Fe2O3 + 0.5 H2O",
		"potassium nitrate":            "KNO3 -> 0.5 K2O + NO2 + 0.25 O2",
		"iron(II) sulfate":             "FeSO4 -> 0.5 Fe2O3 + SO2 + 0.25 O2",
		"pyrite roasting":              "FeS2 + 2.75 O2 -> 0.5 Fe2O3 + 2 SO2",
		"soda with metakaolin":         "Na2CO3 + Al2Si2O7 -> 2 NaAlSiO4 + CO2",
		"charcoal with carbon dioxide": "C + CO2 -> 2 CO",
		"free water":                   "H2O -> H2O (vapour)",
		"sulfur melting":               "S -> S (liquid)",
		"sulfur boiling":               "S -> S (vapour)",
	} {
		assert.Equal(t, want, named(t, name).Equation)
	}
}

// Between reactants every element must close, oxygen too.
func TestReactionsBetweenReactantsClose(t *testing.T) {
	for _, r := range All() {
		if r.Kind != data.BetweenReactants {
			continue
		}
		left := chem.Moles{}
		for _, y := range r.Reactants {
			left.Add(tabledCounts(y.Formula), y.Moles)
		}
		for _, y := range append(append([]data.Yield{}, r.Gases...), r.Solids...) {
			left.Add(tabledCounts(y.Formula), -y.Moles)
		}
		for symbol, moles := range left {
			assert.InDelta(t, 0, moles, 1e-12, "%s: %s", r.Name, symbol)
		}
		assert.Equal(t, r.Formula, r.Reactants[0].Formula, "%s is per unit of its first reactant", r.Name)
		assert.Equal(t, 1.0, r.Reactants[0].Moles)
	}
}

func TestTheTableIsRead(t *testing.T) {
	assert.GreaterOrEqual(t, len(All()), 75)
	assert.Equal(t, []string{"kaolinite", "gibbsite", "boehmite", "brucite", "portlandite", "calcite", "sodium hydrogen carbonate"},
		Rated())
	_, known := Named("unobtainium")
	assert.False(t, known)
	for _, r := range All() {
		if r.HasRate() {
			// A rate belongs to the range: hardly anything moves in an hour at its low end, most is done in an hour at its high end.
			low, err := r.Along(Request{Profile: held(r.LowCelsius-150, 60)})
			require.NoError(t, err)
			high, err := r.Along(Request{Profile: held(r.HighCelsius+25, 60)})
			require.NoError(t, err)
			assert.Less(t, low.Conversion, 0.5, r.Name)
			assert.Greater(t, high.Conversion, 0.5, r.Name)
		}
	}
}

// testdata/kinetics-checks.csv: isothermal integral forms, Arrhenius, temperature integrals, Kissinger's condition, all
// worked out outside this package.
func TestPublishedKinetics(t *testing.T) {
	for _, row := range readCSV(t, "kinetics-checks.csv") {
		t.Run(row["id"], func(t *testing.T) {
			model := row["model"]
			if model == "" {
				model = "F1"
			}
			r := with(t, model, number(t, row["ea_kj_mol"]), number(t, row["a_per_s"]))
			want, tolerance := number(t, row["expected"]), strings.TrimSuffix(row["tolerance"], " % rel")
			switch row["quantity"] {
			case "rate constant":
				celsius := number(t, strings.TrimSuffix(row["program"], " C"))
				assert.InEpsilon(t, want, r.Rate.PerSecond(celsius), number(t, tolerance)/100)
			case "rate-peak temperature":
				assert.InDelta(t, want, ratePeak(t, r, perMinuteOf(t, row["program"])), number(t, tolerance))
			default:
				result, err := r.Along(Request{Profile: profileOf(t, row["program"])})
				require.NoError(t, err)
				assert.InDelta(t, want, result.Conversion, number(t, tolerance))
			}
		})
	}
}

func perMinuteOf(t *testing.T, program string) float64 {
	return number(t, strings.TrimSuffix(program, " K/min"))
}

// profileOf reads "450 C for 3600 s", "5 K/min from 20 C to 500 C" and ", hold 1800 s" after it.
func profileOf(t *testing.T, program string) []heat.Point {
	t.Helper()
	words := strings.Fields(strings.ReplaceAll(program, ",", ""))
	if words[1] == "C" {
		return held(number(t, words[0]), number(t, words[3])/60)
	}
	hold := 0.0
	if len(words) > 8 {
		hold = number(t, words[9]) / 60
	}
	require.Equal(t, "20", words[3])
	return ramped(number(t, words[0]), number(t, words[6]), hold)
}

// ratePeak is where the course of a ramp is steepest.
func ratePeak(t *testing.T, r Reaction, perMinute float64) float64 {
	t.Helper()
	fastest, at := 0.0, 0.0
	before := 0.0
	for celsius := 440.0; celsius < 560; celsius += 0.1 {
		result, err := r.Along(Request{Profile: ramped(perMinute, celsius, 0)})
		require.NoError(t, err)
		if rate := result.Conversion - before; before > 0 && rate > fastest {
			fastest, at = rate, celsius-0.05
		}
		before = result.Conversion
	}
	return at
}

// testdata/calcination-kinetics.csv: the published frequency factors are arithmetic only; none of them is a default.
func TestPublishedCalcinationArithmetic(t *testing.T) {
	kaolinite := named(t, "kaolinite").Kinetics
	for _, row := range readCSV(t, "calcination-kinetics.csv") {
		t.Run(row["material"]+" "+row["ea_kj_mol"], func(t *testing.T) {
			if row["a"] == "" {
				assert.NotEqual(t, number(t, row["ea_kj_mol"]), 0.0)
				return
			}
			r := with(t, row["model"][:2], number(t, row["ea_kj_mol"]), number(t, row["a"]))
			assert.Greater(t, r.Rate.PerSecond(450), 1.0, "faster than any kiln shows")
			assert.NotEqual(t, number(t, row["a"]), kaolinite.FrequencyPerSecond)
		})
	}
}

// testdata/process-windows.csv against the default rate of kaolinite.
func TestPublishedKaoliniteWindows(t *testing.T) {
	kaolinite := named(t, "kaolinite")
	rows := map[string]map[string]string{}
	for _, row := range readCSV(t, "process-windows.csv") {
		rows[row["process"]] = row
	}
	t.Run("range", func(t *testing.T) {
		row := rows["kaolinite dehydroxylation"]
		assert.Equal(t, number(t, row["low_c"]), kaolinite.LowCelsius)
		assert.Equal(t, number(t, row["high_c"]), kaolinite.HighCelsius)
		low, err := kaolinite.Along(Request{Profile: ramped(5, number(t, row["low_c"]), 0)})
		require.NoError(t, err)
		assert.Less(t, low.Conversion, 0.02, "not begun at the low end")
		high, err := kaolinite.Along(Request{Profile: ramped(5, number(t, row["high_c"]), 0)})
		require.NoError(t, err)
		assert.Greater(t, high.Conversion, 0.999, "over at the high end")
	})
	t.Run("DTA peak", func(t *testing.T) {
		assert.InDelta(t, number(t, rows["kaolinite dehydroxylation, DTA peak at 1 bar"]["low_c"]), ratePeak(t, kaolinite, 10), 0.5)
	})
	t.Run("complete after 6 h at 650 C", func(t *testing.T) {
		row := rows["metakaolin, complete at 650 C for 6 h"]
		result, err := kaolinite.Along(Request{Profile: ramped(5, number(t, row["low_c"]), 360), DepthMillimeters: 40, InitialCelsius: 20})
		require.NoError(t, err)
		assert.True(t, result.Enough())
	})
	t.Run("goethite", func(t *testing.T) {
		row := rows["goethite to hematite"]
		assert.Equal(t, number(t, row["low_c"]), named(t, "goethite").LowCelsius)
		assert.Equal(t, number(t, row["high_c"]), named(t, "goethite").HighCelsius)
	})
}

// chem/data/thermo-298.csv: the tabled enthalpies that say computed, from the formation enthalpies.
func TestPublishedEnthalpies(t *testing.T) {
	for _, r := range All() {
		if r.Enthalpy.Read != data.Computed || r.Name == "free water" || r.Name == "kaolinite" {
			continue
		}
		t.Run(r.Name, func(t *testing.T) {
			// Several sources stand in the table; their spread is the tolerance.
			low, high := formed(t, r)
			assert.GreaterOrEqual(t, r.Enthalpy.KilojoulesPerMole, low-0.01)
			assert.LessOrEqual(t, r.Enthalpy.KilojoulesPerMole, high+0.01)
		})
	}
	t.Run("kaolinite to the oxides", func(t *testing.T) {
		// README of the reference set: 143 kJ/mol, the bound by the sum of the oxides.
		assert.InDelta(t, 143, named(t, "kaolinite").Enthalpy.KilojoulesPerMole, 0.1)
	})
	t.Run("free water", func(t *testing.T) {
		assert.InDelta(t, -241.826+285.830, named(t, "free water").Enthalpy.KilojoulesPerMole, 0.005)
	})
}

// formed is the least and the most that a reaction's enthalpy may be by the sources of each compound.
func formed(t *testing.T, r Reaction) (low, high float64) {
	t.Helper()
	left := r.Reactants
	if len(left) == 0 {
		left = []data.Yield{{Formula: r.Formula, Moles: 1}}
	}
	add := func(y data.Yield, sign float64) {
		least, most := spread(t, y.Formula)
		if sign < 0 {
			least, most = most, least
		}
		low += sign * y.Moles * least
		high += sign * y.Moles * most
	}
	for _, y := range left {
		add(y, -1)
	}
	for _, y := range append(append([]data.Yield{}, r.Gases...), r.Solids...) {
		add(y, 1)
	}
	return low, high
}

func spread(t *testing.T, formula string) (low, high float64) {
	t.Helper()
	if formula == "O2" || formula == "S" || formula == "C" {
		return 0, 0
	}
	found := false
	for _, row := range readCSV(t, "../../data/thermo-298.csv") {
		if strings.ReplaceAll(row["formula"], ".", "*") != formula || row["phase"] == "l" {
			continue
		}
		value := number(t, row["hf_kj_mol"])
		if !found {
			low, high, found = value, value, true
		}
		low, high = min(low, value), max(high, value)
	}
	require.True(t, found, formula)
	return low, high
}

// chem/testdata/decomposition-checks.csv: what a formula unit loses or keeps, as the table of reactions has it.
func TestPublishedLosses(t *testing.T) {
	names := map[string]string{
		"s-01": "gypsum", "s-02": "sodium hydrogen carbonate", "s-03": "kaolinite", "s-04": "goethite", "s-09": "portlandite",
		"s-13": "copper(II) oxide",
	}
	checked := 0
	for _, row := range readCSV(t, "../../testdata/decomposition-checks.csv") {
		name, ours := names[row["id"]]
		if !ours {
			continue
		}
		checked++
		t.Run(row["id"], func(t *testing.T) {
			want := number(t, row["expected"])
			if row["quantity"] == "mass left" || row["unit"] == "g" {
				want = 100 - want
			}
			assert.InDelta(t, want, 100*named(t, name).LossFraction(), number(t, row["tolerance"]))
		})
	}
	assert.Equal(t, len(names), checked)
}
