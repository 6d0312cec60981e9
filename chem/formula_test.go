package chem

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func mustFormula(t testing.TB, text string) Formula {
	t.Helper()
	formula, err := ParseFormula(text)
	require.NoError(t, err)
	return formula
}

func TestParseFormulaCounts(t *testing.T) {
	cases := []struct {
		text string
		want Moles
	}{
		{"C", Moles{"C": 1}},
		{"Co", Moles{"Co": 1}},
		{"CO", Moles{"C": 1, "O": 1}},
		{"Al2Si2O5(OH)4", Moles{"Al": 2, "Si": 2, "O": 9, "H": 4}},
		{"Cu3(CO3)2(OH)2", Moles{"Cu": 3, "C": 2, "O": 8, "H": 2}},
		{"K4[Fe(CN)6].3H2O", Moles{"K": 4, "Fe": 1, "C": 6, "N": 6, "H": 6, "O": 3}},
		{"CaSO4.2H2O", Moles{"Ca": 1, "S": 1, "O": 6, "H": 4}},
		{"CaSO4·2H2O", Moles{"Ca": 1, "S": 1, "O": 6, "H": 4}},
		{"CaSO4*2H2O", Moles{"Ca": 1, "S": 1, "O": 6, "H": 4}},
		{"CaSO₄·2H₂O", Moles{"Ca": 1, "S": 1, "O": 6, "H": 4}},
		{"CaSO4.0.5H2O", Moles{"Ca": 1, "S": 1, "O": 4.5, "H": 1}},
		{"CaSO4.H2O", Moles{"Ca": 1, "S": 1, "O": 5, "H": 2}},
		{"CuSO4.5H2O", Moles{"Cu": 1, "S": 1, "O": 9, "H": 10}},
		{"CaCl2.6H2O", Moles{"Ca": 1, "Cl": 2, "O": 6, "H": 12}},
		{"KAl(SO4)2.12H2O", Moles{"K": 1, "Al": 1, "S": 2, "O": 20, "H": 24}},
		{"Al2O3.2SiO2.2H2O", Moles{"Al": 2, "Si": 2, "O": 9, "H": 4}},
		{"2SiO2*Al2O3", Moles{"Si": 2, "Al": 2, "O": 7}},
		{"Fe0.95O", Moles{"Fe": 0.95, "O": 1}},
		{"FeO1.5", Moles{"Fe": 1, "O": 1.5}},
		{"Na7.5Al6Si6O24S4.5", Moles{"Na": 7.5, "Al": 6, "Si": 6, "O": 24, "S": 4.5}},
		{"Mg1.8Fe0.2SiO4", Moles{"Mg": 1.8, "Fe": 0.2, "Si": 1, "O": 4}},
		{"{[(H)2]3O1.5}2", Moles{"H": 12, "O": 3}},
		{"Fe.5H2O", Moles{"Fe": 1, "H": 10, "O": 5}},
		{"MgO.2SiO2", Moles{"Mg": 1, "Si": 2, "O": 5}},
		{"C4H4O6NaK.4H2O", Moles{"C": 4, "H": 12, "O": 10, "Na": 1, "K": 1}},
		{"Ca(OH).5H2O", Moles{"Ca": 1, "O": 6, "H": 11}},
		{"CaSO4.2H2O*CaCl2.6H2O", Moles{"Ca": 2, "S": 1, "Cl": 2, "H": 16, "O": 12}},
		{"CuCO3.2Cu(OH)2", Moles{"Cu": 3, "C": 1, "O": 7, "H": 4}},
		{"CoCO3.3Co(OH)2", Moles{"Co": 4, "C": 1, "O": 9, "H": 6}},
		{"MgCl0.5(OH)1.5", Moles{"Mg": 1, "Cl": 0.5, "O": 1.5, "H": 1.5}},
		{"YBa2Cu3(O6.9)F", Moles{"Y": 1, "Ba": 2, "Cu": 3, "O": 6.9, "F": 1}},
		{" SiO2 ", Moles{"Si": 1, "O": 2}},
	}
	for _, c := range cases {
		t.Run(c.text, func(t *testing.T) {
			formula := mustFormula(t, c.text)
			require.Len(t, formula.Elements(), len(c.want))
			for symbol, count := range c.want {
				assert.InDelta(t, count, formula.Count(symbol), 1e-12, symbol)
			}
		})
	}
}

func TestParseFormulaRefuses(t *testing.T) {
	cases := []struct {
		name, text string
		position   int
		says       string
	}{
		{"empty", "", 0, "is empty"},
		{"unknown element", "CaXx2", 3, "there is no element Xx"},
		{"lower case", "caCO3", 1, "'c' is no element"},
		{"no standard weight", "TcO2", 1, "Tc (technetium) has no standard atomic weight"},
		{"bracket left open", "Ca(OH2", 3, "not closed by ')'"},
		{"wrong bracket", "Ca(OH]2", 3, "not closed by ')'"},
		{"bracket closed only", "CaOH)2", 5, "')' is unexpected"},
		{"empty bracket", "Ca()2", 4, "')' is no element"},
		{"zero subscript", "CaO0", 4, "above zero"},
		{"zero decimal", "CaO0.0", 4, "above zero"},
		{"huge subscript", "CaO99999", 4, "above 10000"},
		{"huge product", "(((O9999)9999)9999)9999", 0, "at most 10000"},
		{"minus", "CaO-2", 4, "'-' is unexpected"},
		{"space inside", "Ca O", 3, "' ' is unexpected"},
		{"ends with a dot", "CaSO4.", 7, "ends where an element is expected"},
		{"factor without part", "CaSO4*2", 8, "ends where"},
		{"two dots", "CaSO4..H2O", 7, "'.' is no element"},
		{"ambiguous dot", "CaCl2.2CaO", 6, "decimal point or join two parts"},
		{"ambiguous dot before a bracket", "AlSiO2.5(OH)2", 7, "decimal point or join two parts"},
		{"decimal point without a nought", "Fe.95O", 3, "write 0.95 for a decimal subscript, or * or ·"},
		{"feldspar without noughts", "Na.5K.5AlSi3O8", 3, "write 0.5"},
		{"illite without noughts", "K.65Al2.65Si3.35O10(OH)2", 2, "write 0.65"},
		{"no nought after oxygen", "CaO.5F", 4, "write 0.5"},
		{"no nought before a known compound", "Na.5SiO2", 3, "write 0.5"},
		{"decimal subscript of a bracket", "Mg(OH)1.5Cl0.5", 8, "decimal point or join two parts: write * or ·"},
		{"decimal subscript of a bracket before one element", "Cu2(OH)3.5Cl", 9, "decimal point or join two parts"},
		{"decimal subscript of oxygen", "YBa2Cu3O6.9F", 10, "decimal point or join two parts"},
		{"compound in no table", "Al2O3.2RuSi7", 6, "decimal point or join two parts"},
		{"fraction", "CaSO4.1/2H2O", 8, "a fraction is not read: write 0.5 in place of 1/2"},
		{"fraction without a number", "CaSO4/H2O", 6, "a decimal number such as 0.5"},
		{"fraction over nought", "CaSO4.1/0H2O", 8, "a decimal number such as 0.5"},
		{"fraction in one character", "CaSO4.½H2O", 7, "write 0.5 in place of ½"},
		{"Cyrillic letter", "CaC\u041e3", 4, "U+041E, no Latin letter"},
		{"zero width", "Ca\u200bO", 3, "U+200B cannot be seen"},
		{"byte order mark", "\ufeffCaO", 1, "U+FEFF cannot be seen"},
		{"superscript", "CaO²", 4, "(U+00B2) is unexpected"},
		{"control character", "Ca\x00O", 3, "unexpected"},
		{"not UTF-8", "Ca\xff", 0, "not UTF-8"},
		{"too long", strings.Repeat("Ca", 200), 0, "400 bytes long, at most 200"},
		{"too deep", strings.Repeat("(", 40) + "O" + strings.Repeat(")", 40), 17, "nest deeper than 16"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			_, err := ParseFormula(c.text)
			var fault *FormulaError
			require.ErrorAs(t, err, &fault)
			assert.Equal(t, c.position, fault.Position, err.Error())
			assert.ErrorContains(t, err, c.says)
		})
	}
}

// CIAAW 2021 abridged standard atomic weights; sums by hand.
func TestMolarMass(t *testing.T) {
	cases := []struct {
		text string
		mass float64
	}{
		{"H2O", 2*1.0080 + 15.999},
		{"SO2", 32.06 + 2*15.999},
		{"CaCO3", 40.078 + 12.011 + 3*15.999},
		{"Na8Al6Si6O24S4", 8*22.990 + 6*26.982 + 6*28.085 + 24*15.999 + 4*32.06},
		{"PbO", 207.2 + 15.999},
	}
	for _, c := range cases {
		assert.InDelta(t, c.mass, mustFormula(t, c.text).MolarMass(), 1e-9, c.text)
	}
}

func TestElementsComeByAtomicNumberAndFractionsMakeOne(t *testing.T) {
	list := mustFormula(t, "CaSO4.2H2O").Elements()
	symbols, fractions := "", 0.0
	for _, element := range list {
		symbols += element.Symbol + " "
		fractions += element.MassFraction
	}
	assert.Equal(t, "H O S Ca ", symbols)
	assert.InDelta(t, 1, fractions, 1e-12)
	assert.Empty(t, Formula{}.Elements())
	assert.True(t, Formula{}.IsZero())
}

func TestFormulaKeyIgnoresSpelling(t *testing.T) {
	kaolinite := mustFormula(t, "Al2Si2O5(OH)4").key()
	assert.Equal(t, kaolinite, mustFormula(t, "Al2O3.2SiO2.2H2O").key())
	assert.Equal(t, kaolinite, mustFormula(t, "AlSi(OH)2O2.5").key())
	assert.NotEqual(t, kaolinite, mustFormula(t, "Al2Si2O7").key())
}

func TestParsedFormulaSurvivesBeingWrittenAnew(t *testing.T) {
	symbols := []string{"H", "C", "O", "Na", "Al", "Si", "S", "Ca", "Fe", "Cu"}
	rapid.Check(t, func(t *rapid.T) {
		counts := rapid.MapOfN(rapid.SampledFrom(symbols), rapid.IntRange(1, 40), 1, 6).Draw(t, "counts")
		moles := Moles{}
		for symbol, count := range counts {
			moles[symbol] = float64(count)
		}
		written := Formula{}.with(moles)
		parsed, err := ParseFormula(written.String())
		require.NoError(t, err)
		require.Equal(t, moles, parsed.counts)
		require.InDelta(t, moles.Grams(), parsed.MolarMass(), 1e-9)
	})
}

func FuzzParseFormula(f *testing.F) {
	for _, seed := range []string{"CaSO4.2H2O", "CaSO4.0.5H2O", "Fe0.95O", "K4[Fe(CN)6]·3H2O", "((((", "O9.9.9", "Fe.95O", "CaSO4.1/2H2O", "Ca\u200bO", "O.5", "*", "₂"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		formula, err := ParseFormula(text)
		if err != nil {
			assert.NotEmpty(t, err.Error())
			return
		}
		fractions := 0.0
		for _, element := range formula.Elements() {
			require.Greater(t, element.Count, 0.0)
			fractions += element.MassFraction
		}
		require.InDelta(t, 1, fractions, 1e-9)
		require.Greater(t, formula.MolarMass(), 0.0)
	})
}
