package chem

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
	"saggar/chem/heat"
)

// Each row of the tables in testdata names its source in its last column; the checks below name the table.

func readCSV(t *testing.T, name string) []map[string]string {
	t.Helper()
	return readCSVFile(t, filepath.Join("testdata", name))
}

func readCSVFile(t *testing.T, name string) []map[string]string {
	t.Helper()
	file, err := os.Open(name)
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
	require.NoError(t, err)
	return value
}

// CIAAW 2021, Prohaska et al., Pure Appl. Chem. 94 (2022) 573-600: the abridged weight of every element that has one lies
// within its own uncertainty, or the rounding of its last digit, of the standard value or both ends of the interval; and the weights of the elements of glazes
// and pigments are as printed in the abridged table.
func TestPublishedAtomicWeights(t *testing.T) {
	printed := map[string]float64{
		"H": 1.0080, "C": 12.011, "N": 14.007, "O": 15.999, "F": 18.998, "Na": 22.990, "Mg": 24.305, "Al": 26.982,
		"Si": 28.085, "S": 32.06, "Cl": 35.45, "K": 39.098, "Ca": 40.078, "Fe": 55.845, "Cu": 63.546, "Zn": 65.38,
	}
	for _, row := range readCSVFile(t, filepath.Join("data", "atomic-weights.csv")) {
		symbol := row["symbol"]
		if row["abridged_aw"] == "" {
			assert.Zero(t, gramsPerMole(symbol), symbol)
			continue
		}
		t.Run(symbol, func(t *testing.T) {
			_, decimals, _ := strings.Cut(row["abridged_aw"], ".")
			uncertainty := math.Max(number(t, row["abridged_u"]), math.Pow10(-len(decimals))/2)
			for _, column := range []string{"standard_aw", "interval_low", "interval_high"} {
				if row[column] != "" {
					assert.InDelta(t, number(t, row[column]), gramsPerMole(symbol), uncertainty*(1+1e-9), column)
				}
			}
			if weight, named := printed[symbol]; named {
				assert.Equal(t, weight, gramsPerMole(symbol))
			}
		})
	}
}

// testdata/molar-masses.csv: masses of formulas by an independent library, named in each row with its version.
func TestPublishedMolarMasses(t *testing.T) {
	for _, row := range readCSV(t, "molar-masses.csv") {
		t.Run(row["formula"], func(t *testing.T) {
			assert.InEpsilon(t, number(t, row["molar_mass"]), mustFormula(t, row["formula"]).MolarMass(), number(t, row["tolerance_rel"]))
		})
	}
}

// testdata/mineral-analyses.csv: ideal oxide analyses and losses on ignition, computed and as in mineral handbooks.
func TestPublishedMineralAnalyses(t *testing.T) {
	for _, row := range readCSV(t, "mineral-analyses.csv") {
		t.Run(row["mineral"]+" "+row["component"], func(t *testing.T) {
			formula := mustFormula(t, row["formula"])
			assert.InDelta(t, number(t, row["molar_mass"]), formula.MolarMass(), 5e-4)
			got := 100 * oxideShare(t, formula, row["component"])
			assert.InDelta(t, number(t, row["computed_pct"]), got, number(t, row["tolerance_pct"]))
			if row["handbook_pct"] != "" {
				assert.InDelta(t, number(t, row["handbook_pct"]), got, number(t, row["tolerance_pct"]))
			}
		})
	}
}

// oxideShare is the mass fraction of a formula that one of its oxides makes up.
func oxideShare(t *testing.T, formula Formula, component string) float64 {
	t.Helper()
	if strings.HasPrefix(component, "LOI") {
		return oxideShare(t, formula, "H2O") + oxideShare(t, formula, "CO2")
	}
	oxide := mustFormula(t, component)
	for _, element := range oxide.Elements() {
		if element.Symbol != "O" {
			return formula.Count(element.Symbol) / element.Count * oxide.MolarMass() / formula.MolarMass()
		}
	}
	return 0
}

// testdata/ppm-mgm3.csv: molar masses of gases beside the conversion factors of the NIOSH Pocket Guide.
func TestPublishedGasMolarMasses(t *testing.T) {
	for _, row := range readCSV(t, "ppm-mgm3.csv") {
		t.Run(row["formula"], func(t *testing.T) {
			mass := mustFormula(t, row["formula"]).MolarMass()
			assert.InDelta(t, number(t, row["molar_mass"]), mass, 5e-4)
			assert.InDelta(t, number(t, row["published_factor_mg_m3_per_ppm"]), mass/litersPerMole, 0.01)
		})
	}
}

// litersPerMole of an ideal gas at 298.15 K and 101.325 kPa, with R of CODATA 2018.
const litersPerMole = 8.314462618 * 298.15 / 101.325

// fired is a material's balance when fired alone to a temperature.
func fired(t *testing.T, material Material, grams, celsius float64) StageBalance {
	t.Helper()
	result, err := Balance(oneStage(celsius, heat.Oxidising, "", Addition{Material: "m", MassGrams: grams}),
		Materials{"m": material}, 1)
	require.NoError(t, err)
	return result.Stages[0]
}

func pure(formula string) Material {
	return Material{ID: "m", Phases: []Phase{{formula, 1}}}
}

func oneStage(celsius float64, atmosphere heat.Atmosphere, product string, additions ...Addition) Recipe {
	return Recipe{ID: "recipe", Stages: []Stage{{
		ID: "fire", Kind: Calcine, Additions: additions, Atmosphere: atmosphere, Product: product,
		Program: &heat.Program{Segments: []heat.Segment{{ToCelsius: celsius, HoldMinutes: 60}}},
	}}}
}

// testdata/decomposition-checks.csv: losses of single compounds, each fired above its range.
func TestPublishedDecompositions(t *testing.T) {
	loss := func(material Material, celsius float64) func(*testing.T) float64 {
		return func(t *testing.T) float64 { return 100 - fired(t, material, 100, celsius).MassOutGrams }
	}
	moist := Material{ID: "m", Phases: []Phase{{"Al2Si2O5(OH)4", 1}}, MoistureFraction: 0.02, PurityFraction: 0.92}
	checks := map[string]func(*testing.T) float64{
		"s-01": loss(pure("CaSO4.2H2O"), 160),
		"s-02": loss(pure("NaHCO3"), 300),
		"s-03": func(t *testing.T) float64 { return fired(t, pure("Al2Si2O5(OH)4"), 100, 700).MassOutGrams },
		"s-04": func(t *testing.T) float64 { return fired(t, pure("FeO(OH)"), 100, 350).MassOutGrams },
		"s-05": func(t *testing.T) float64 {
			return totalMoles(fired(t, pure("CaCO3"), 1000, 950), Likely, "CO2") * litersPerMole
		},
		"s-06": func(t *testing.T) float64 { return 25 - fired(t, moist, 25000, 700).MassOutGrams/1000 },
		"s-09": loss(pure("Ca(OH)2"), 600),
		"s-13": loss(pure("CuO"), 1150),
	}
	for _, row := range readCSV(t, "decomposition-checks.csv") {
		t.Run(row["id"]+" "+row["stage"], func(t *testing.T) {
			require.Contains(t, checks, row["id"])
			assert.InDelta(t, number(t, row["expected"]), checks[row["id"]](t), number(t, row["tolerance"]))
		})
	}
}

func totalMoles(stage StageBalance, c Case, species string) float64 {
	total := 0.0
	for _, gas := range stage.OffGasOf(c) {
		if gas.Species == species {
			total += gas.Moles
		}
	}
	return total
}
