package main

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/client/api"
)

func TestFormulaMassOfGypsum(t *testing.T) {
	mass := decoded[formulaMass](t, "", "formula", "mass", "CaSO4.2H2O")
	// Abridged standard atomic weights, CIAAW 2021: Ca 40.078, S 32.06, O 15.999, H 1.008.
	assert.InDelta(t, 40.078+32.06+6*15.999+4*1.008, mass.MolarMassGramsPerMole, 1e-9)
	shares, counts := 0.0, map[string]float64{}
	for _, e := range mass.Elements {
		shares += e.MassFraction
		counts[e.Symbol] = e.Count
	}
	assert.InDelta(t, 1, shares, 1e-12)
	assert.Equal(t, map[string]float64{"Ca": 1, "S": 1, "O": 6, "H": 4}, counts)
}

// formulas draws formulas of a few elements with counts.
func formulas() *rapid.Generator[[]string] {
	element := rapid.SampledFrom([]string{"H", "C", "O", "Na", "Al", "Si", "S", "Cl", "Ca", "Fe", "Cu"})
	formula := rapid.Custom(func(t *rapid.T) string {
		var text strings.Builder
		for range rapid.IntRange(1, 4).Draw(t, "parts") {
			fmt.Fprintf(&text, "%s%d", element.Draw(t, "element"), rapid.IntRange(1, 12).Draw(t, "count"))
		}
		return text.String()
	})
	return rapid.SliceOfN(formula, 2, 6)
}

func TestSeveralFormulasEqualSingleOnes(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		asked := formulas().Draw(r, "formulas")
		together := decoded[[]formulaMass](t, "", append([]string{"formula", "mass"}, asked...)...)
		var lines strings.Builder
		for i, text := range asked {
			alone := decoded[formulaMass](t, "", "formula", "mass", text)
			if i%2 == 0 {
				fmt.Fprintf(&lines, "%q\n", text)
			} else {
				fmt.Fprintf(&lines, " {\"formula\": %q}\r\n", text)
			}
			require.Equal(r, alone, together[i])
		}
		require.Len(r, together, len(asked))
		piped := at(t, lines.String(), "formula", "mass", "--input", "-", "--output", "json")
		require.Equal(r, api.ExitOK, piped.code, piped.errOut)
		answers := strings.Split(strings.TrimSuffix(piped.out, "\n"), "\n")
		require.Len(r, answers, len(asked), "one answer a line")
		for i, answer := range answers {
			var mass formulaMass
			require.NoError(r, json.Unmarshal([]byte(answer), &mass))
			require.Equal(r, together[i], mass)
		}
	})
}

func TestNoFormulasInGiveNoneOut(t *testing.T) {
	r := at(t, "", "formula", "mass", "--input", "-", "--output", "json")
	assert.Equal(t, ran{}, r)
	r = at(t, "", "formula", "mass", "--input", "-", "--output", "yaml")
	assert.Equal(t, ran{out: "[]\n"}, r)
}
