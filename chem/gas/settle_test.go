package gas

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"saggar/chem/finding"
)

// drawAny draws any feed of the table's species, in plain proportions, in odd ones and in traces, over the whole range of
// temperatures and pressures; a third of the time with a list of species.
func drawAny(source *rand.Rand) Input {
	candidates := species().candidates
	in := Input{
		Celsius:     MinCelsius + source.Float64()*(MaxCelsius-MinCelsius),
		PressureBar: MinPressureBar * math.Pow(MaxPressureBar/MinPressureBar, source.Float64()),
	}
	order := source.Perm(len(candidates))
	for _, at := range order[:1+source.IntN(6)] {
		moles := float64(1 + source.IntN(4))
		switch source.IntN(3) {
		case 0:
			moles = source.Float64() + 1e-3
		case 1:
			moles = math.Pow(10, -12*source.Float64())
		}
		in.Feed = append(in.Feed, Amount{candidates[at].formula, moles})
	}
	if source.IntN(3) == 0 {
		for _, at := range source.Perm(len(candidates))[:3+source.IntN(15)] {
			in.Species = append(in.Species, candidates[at].formula)
		}
	}
	return in
}

// The conditions below are all that a least Gibbs energy of an ideal gas with pure solids asks for: the gases follow the
// potentials of the elements by construction.
func TestEveryMixtureMeetsTheConditionsOfTheLeastGibbsEnergy(t *testing.T) {
	const seed = 7
	t.Logf("seed %d", seed)
	source := rand.New(rand.NewPCG(seed, seed))
	settled := 0
	for range 5000 {
		in := drawAny(source)
		task, err := prepare(in)
		if err != nil {
			require.NotEmpty(t, finding.FaultsOf(err))
			continue // a list that cannot hold the feed
		}
		s, err := task.solved()
		if err != nil {
			require.Equal(t, "species", finding.FaultsOf(err)[0].Field, "%+v", in)
			continue
		}
		settled++
		r := task.mixture(s)
		assertBalances(t, r)
		assertFinite(t, r)
		for j := range s.species {
			absent := !s.gas[j] && !s.dead[j] && s.amount[j] == 0 && s.determined(j)
			require.False(t, absent && s.lnActivity(j) > 1e-9, "%s should form in %+v", species().candidates[task.chosen[j]].formula, in)
		}
		require.Less(t, s.steps, mostSteps/2, "%+v", in)
	}
	require.Greater(t, settled, 3000)
}
