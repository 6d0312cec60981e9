package hazard

import (
	"encoding/csv"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem"
	"saggar/chem/data"
)

func of(t testing.TB, text string) []Trait {
	t.Helper()
	formula, err := chem.ParseFormula(text)
	require.NoError(t, err)
	return Of(formula)
}

// compoundCase is a formula and all traits that it has, as the chemistry of the compound says.
type compoundCase struct {
	name, formula string
	traits        []string
}

// compounds reads testdata/compounds.csv.
func compounds(t testing.TB) []compoundCase {
	t.Helper()
	file, err := os.Open("testdata/compounds.csv")
	require.NoError(t, err)
	defer file.Close()
	records, err := csv.NewReader(file).ReadAll()
	require.NoError(t, err)
	var cases []compoundCase
	for _, r := range records[1:] {
		cases = append(cases, compoundCase{r[0], r[1], strings.Fields(r[2])})
	}
	return cases
}

func TestCompounds(t *testing.T) {
	cases := compounds(t)
	require.Greater(t, len(cases), 150)
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			var found []string
			for _, trait := range of(t, c.formula) {
				found = append(found, string(trait))
			}
			assert.ElementsMatch(t, c.traits, found, c.formula)
		})
	}
}

// Every spelling of a compound is the same compound.
func TestOddSpellings(t *testing.T) {
	cases := map[string][]string{
		"KNO3":          {"K(NO3)", "N1O3K1", "O3NK", "K(N(O3))", "K2N2O6", "[K][NO3]", "K₁NO₃", " KNO3 ", "(KNO3)2"},
		"Ca(NO3)2*4H2O": {"CaN2O10H8", "Ca(NO3)2.4H2O", "H8O10N2Ca", "Ca(ONO2)2*4H2O", "CaO*N2O5*4H2O"},
		"KClO3":         {"K(ClO3)", "O3ClK", "Cl1K1O3", "KCl*O3"},
		"KMnO4":         {"K(MnO4)", "O4MnK", "K2Mn2O8", "K2O*Mn2O7"},
		"K2Cr2O7":       {"KCrO3.5", "K2O*2CrO3", "O7Cr2K2", "K2(Cr2O7)"},
		"NH4NO3":        {"N2H4O3", "H4N2O3", "(NH4)(NO3)", "O3NNH4"},
		"Na2S*9H2O":     {"Na2SO9H18", "H18O9SNa2"},
		"Fe2O3":         {"FeO1.5", "O3Fe2", "FeO*FeO2"},
		"NaHSO4":        {"HNaSO4", "NaSO4H", "NaO4SH"},
		"Ba(NO3)2":      {"BaN2O6", "BaO*N2O5"},
	}
	for plain, spellings := range cases {
		for _, spelling := range spellings {
			t.Run(plain+" as "+spelling, func(t *testing.T) {
				assert.Equal(t, of(t, plain), of(t, spelling))
			})
		}
	}
}

// The groups of these formulas read like an anion that is not there.
func TestTextThatMisleads(t *testing.T) {
	for formula, not := range map[string]Trait{
		"LiCoMnO4": Permanganate, "CoAlCrO4": Chromate, "FeMnCrO4": Chromate, "ZnMnO3": Permanganate, "LaCrO3": Chromate,
		"Mg(CrO2)2": Chromate, "NH4ClO0.001": Perchlorate, "CuAl1.5Cr0.5O4": Chromate,
	} {
		assert.NotContains(t, of(t, formula), not, formula)
	}
}

func TestPermutingTheElementsChangesNothing(t *testing.T) {
	all := compounds(t)
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.SampledFrom(all).Draw(t, "compound")
		formula, err := chem.ParseFormula(c.formula)
		require.NoError(t, err)
		want := Of(formula)
		elements := rapid.Permutation(formula.Elements()).Draw(t, "order")
		var parts []string
		for _, e := range elements {
			parts = append(parts, fmt.Sprintf("%.9f%s", e.Count, e.Symbol))
		}
		permuted, err := chem.ParseFormula(strings.Join(parts, "*"))
		require.NoError(t, err, parts)
		if c.name == "nitroglycerine" || c.name == "ceric ammonium nitrate" {
			return // only the written group tells: carbon stands beside the nitrogen, or both kinds of nitrogen mix
		}
		assert.Equal(t, want, Of(permuted), parts)
	})
}

// Rounded or half-emptied subscripts, as analyses and firings leave them, do not hide an oxidiser.
func TestOxidisersSurviveRounding(t *testing.T) {
	oxidising := slices.DeleteFunc(compounds(t), func(c compoundCase) bool {
		return !slices.Contains(c.traits, "oxidiser") || slices.Contains(c.traits, "peroxide")
	})
	require.Greater(t, len(oxidising), 25)
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.SampledFrom(oxidising).Draw(t, "compound")
		formula, err := chem.ParseFormula(c.formula)
		require.NoError(t, err)
		var parts []string
		for _, e := range formula.Elements() {
			off := rapid.Float64Range(0.99, 1.01).Draw(t, e.Symbol)
			parts = append(parts, fmt.Sprintf("%.6f%s", e.Count*off, e.Symbol))
		}
		rounded, err := chem.ParseFormula(strings.Join(parts, "*"))
		require.NoError(t, err, parts)
		if formula.Count("C") > 0 || formula.Count("H") > formula.Count("O") {
			return // only the written group tells, or the rounded water hides the rest
		}
		assert.Contains(t, Of(rounded), Oxidiser, "%s as %s", c.formula, parts)
	})
}

func TestNoFormulaHasNoTraits(t *testing.T) {
	assert.Nil(t, Of(chem.Formula{}))
	assert.Empty(t, MetalKind(chem.Formula{}))
}

func TestMetalKinds(t *testing.T) {
	for formula, kind := range map[string]string{
		"Na": data.AlkaliMetal, "Ca": data.AlkaliMetal, "Mg": data.StrongReducer, "MgAl": data.EnergeticMetal,
		"Al":   data.EnergeticMetal,
		"FeSi": data.DeclaredMetal, "FeSi3": data.EnergeticMetal, "Cu7Zn3": data.BaseMetal, "CuZn3": data.EnergeticMetal,
		"Cu": data.BaseMetal,
		"Ag": data.NobleMetal, "Ag9Cu": data.BaseMetal, "AuPt": data.NobleMetal, "Fe2O3": "", "SiC": "", "C": "",
		"Pr": data.EnergeticMetal,
	} {
		parsed, err := chem.ParseFormula(formula)
		require.NoError(t, err)
		assert.Equal(t, kind, MetalKind(parsed), formula)
	}
}

// Half by mass decides, exactly half included.
func TestAlloyAtTheBoundary(t *testing.T) {
	alloy := func(aluminium float64) string {
		al, err := chem.ParseFormula("Al")
		require.NoError(t, err)
		cu, err := chem.ParseFormula("Cu")
		require.NoError(t, err)
		text := fmt.Sprintf("Al%.9fCu%.9f", aluminium*100/al.MolarMass(), (1-aluminium)*100/cu.MolarMass())
		parsed, err := chem.ParseFormula(text)
		require.NoError(t, err)
		return MetalKind(parsed)
	}
	assert.Equal(t, data.BaseMetal, alloy(0.4999))
	assert.Equal(t, data.EnergeticMetal, alloy(0.5))
	assert.Equal(t, data.EnergeticMetal, alloy(0.5001))
}

func FuzzOf(f *testing.F) {
	for _, c := range compounds(f) {
		f.Add(c.formula)
	}
	f.Fuzz(func(t *testing.T, text string) {
		formula, err := chem.ParseFormula(text)
		if err != nil {
			return
		}
		found := Of(formula)
		once := map[Trait]bool{}
		for _, trait := range found {
			require.False(t, once[trait], "%s twice in %q", trait, text)
			once[trait] = true
		}
		for _, trait := range []Trait{Nitrate, Chlorate, Perchlorate, Permanganate, Chromate, Peroxide} {
			require.True(t, !once[trait] || once[Oxidiser], "%s is no oxidiser in %q", trait, text)
		}
		require.Equal(t, found, Of(formula), "the same every time")
	})
}

func BenchmarkOf(b *testing.B) {
	formula, err := chem.ParseFormula("KAl(SO4)2*12H2O")
	require.NoError(b, err)
	for b.Loop() {
		Of(formula)
	}
}

// The bounds of the classes that ratios decide, from both sides.
func TestBoundsOfRatios(t *testing.T) {
	for _, c := range []struct {
		name, inside, outside string
		trait                 Trait
	}{
		// Ferrosilicon of 14 % silicon by mass is Fe0.7555Si0.2445 by atoms.
		{"silicon in an alloy", "Fe0.754Si0.246", "Fe0.757Si0.243", Silicide},
		// An oxygen balance of -100 % lies between trinitrotoluene, -74 %, and dinitrotoluene, -114 %.
		{"oxygen balance", "C7H5N3O6", "C7H6N2O4", Explosive},
		{"nitrogen bound to oxygen", "C6H8N2O9", "C2H8N2O4", Explosive},
		{"peroxide or water", "H2O1.2", "H2O", HydrogenPeroxide},
		{"cations of an amphibole", "Mg6.6Si8O24H2", "Mg6.5Si8O24H2", AsbestosMineral},
		{"iron of a ferrate", "K2FeO3.3", "K2FeO3.2", Ferrate},
		{"carbonate", "Na2CO2.8", "Na2CO2.6", Carbonate},
	} {
		t.Run(c.name, func(t *testing.T) {
			assert.Contains(t, of(t, c.inside), c.trait)
			assert.NotContains(t, of(t, c.outside), c.trait)
		})
	}
}
