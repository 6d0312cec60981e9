package gas

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/thermo"
)

// The heat by another path: the feed falls apart into its elements' forms at 25 C, these are heated, and the species form
// from them at the temperature.
func TestTheHeatAgreesWithAPathOfReactions(t *testing.T) {
	const seed = 7
	t.Logf("seed %d", seed)
	source := rand.New(rand.NewPCG(seed, 2))
	for _, s := range systems {
		in, _ := s.draw(t, source)
		got, err := Equilibrium(in)
		require.NoError(t, err)
		path, size := 0.0, 0.0
		add := func(kilojoules float64) {
			path += kilojoules
			size = max(size, math.Abs(kilojoules))
		}
		for _, f := range in.Feed {
			if r, _ := formation(t, f.Formula); r != nil {
				state, err := r.AtKelvin(298.15)
				require.NoError(t, err)
				add(-f.Moles * state.EnthalpyKilojoules)
			}
		}
		for _, e := range got.Elements {
			form := elementForms[e.Symbol]
			cold, err := thermo.FindStable(form.form, 298.15)
			require.NoError(t, err)
			from, err := cold.AtKelvin(298.15)
			require.NoError(t, err)
			to, err := cold.AtCelsius(in.Celsius)
			require.NoError(t, err)
			add(e.FeedMoles / form.atoms * (to.EnthalpyKilojoulesPerMole - from.EnthalpyKilojoulesPerMole))
		}
		for _, a := range got.Species {
			if r, _ := formation(t, a.Species); r != nil {
				state, err := r.AtCelsius(in.Celsius)
				require.NoError(t, err)
				add(a.Moles * state.EnthalpyKilojoules)
			}
		}
		assert.InDelta(t, path, got.HeatKilojoules, 1e-9*size, "%s at %g C", s.name, in.Celsius)
	}
}
