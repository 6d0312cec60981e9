package gas

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem/thermo"
)

// The route below finds the same equilibrium another way: partial pressures from constants of formation out of graphite,
// O2, S2 and H2, and nested searches, one within the other, for the amount of gas and the potential of each element at
// which its balance holds. N2 takes part in nothing.

// elementForms are what species are formed from, with the atoms in one of them.
var elementForms = map[string]struct {
	form  string
	atoms float64
}{"C": {"C", 1}, "O": {"O2", 2}, "S": {"S2", 2}, "H": {"H2", 2}, "N": {"N2", 2}}

// formed is one species by the route.
type formed struct {
	name  string
	atoms map[string]float64
	lnK   float64
	gas   bool
	inert bool
}

// formation is the reaction of one mole of a species from its elements' forms; nil for such a form itself.
func formation(t testing.TB, name string) (*thermo.Reaction, map[string]float64) {
	t.Helper()
	f, err := thermo.FindStable(name, 1000)
	require.NoError(t, err)
	atoms, coefficients := map[string]float64{}, map[string]float64{}
	for _, e := range f.Formula().Elements() {
		atoms[e.Symbol] = e.Count
		coefficients[elementForms[e.Symbol].form] -= e.Count / elementForms[e.Symbol].atoms
	}
	coefficients[name]++
	if coefficients[name] == 0 {
		return nil, atoms
	}
	r, err := thermo.NewReaction(coefficients)
	require.NoError(t, err)
	return r, atoms
}

func formedSpecies(t testing.TB, names []string, celsius float64) []formed {
	t.Helper()
	var list []formed
	for _, name := range names {
		r, atoms := formation(t, name)
		s := formed{name: name, atoms: atoms, gas: name != "C" && name != "S", inert: name == "N2"}
		if r != nil {
			state, err := r.AtCelsius(celsius)
			require.NoError(t, err)
			s.lnK = state.LnK
		}
		list = append(list, s)
	}
	return list
}

// route holds what one search knows.
type route struct {
	species  []formed
	pressure float64
	total    map[string]float64 // moles of atoms
	free     []string           // elements whose potential is sought, outermost first
	u        map[string]float64 // ln of potential, per atom
	lnN      float64
}

func (r *route) lnPressure(s formed) float64 {
	sum := s.lnK
	for e, count := range s.atoms {
		sum += count * r.u[e]
	}
	return sum
}

func (r *route) moles(s formed) float64 {
	if s.inert {
		return r.total["N"] / 2
	}
	return math.Exp(r.lnN + r.lnPressure(s) - math.Log(r.pressure))
}

func (r *route) held(element string) float64 {
	sum := 0.0
	for _, s := range r.species {
		if s.gas && s.atoms[element] > 0 {
			sum += s.atoms[element] * r.moles(s)
		}
	}
	return sum
}

// settle solves the balances of the free elements from the given one on.
func (r *route) settle(from int) {
	if from == len(r.free) {
		return
	}
	e := r.free[from]
	r.u[e] = rising(r.u[e], func(u float64) float64 {
		r.u[e] = u
		r.settle(from + 1)
		return math.Log(r.held(e)) - math.Log(r.total[e])
	})
	r.settle(from + 1)
}

// search finds the amount of gas.
func (r *route) search() {
	r.lnN = rising(r.lnN, func(lnN float64) float64 {
		r.lnN = lnN
		r.settle(0)
		sum := 0.0
		for _, s := range r.species {
			if s.gas {
				sum += r.moles(s)
			}
		}
		return lnN - math.Log(sum)
	})
	r.settle(0)
}

// rising finds the root of a rising function near a guess: a bracket that grows, then the rule of Illinois within it.
func rising(guess float64, f func(float64) float64) float64 {
	low, high, step := guess-0.01, guess+0.01, 0.01
	fl, fh := f(low), f(high)
	for fl > 0 {
		step *= 3
		high, fh = low, fl
		low -= step
		fl = f(low)
	}
	for fh < 0 {
		step *= 3
		low, fl = high, fh
		high += step
		fh = f(high)
	}
	for side := 0; high-low > 1e-13*max(1, math.Abs(low)); {
		middle := within(low, high, fl, fh)
		fm := f(middle)
		switch {
		case middle == low || math.Abs(fm) < 1e-14:
			return middle
		case fm < 0:
			low, fl = middle, fm
			if side == -1 {
				fh /= 2
			}
			side = -1
		default:
			high, fh = middle, fm
			if side == 1 {
				fl /= 2
			}
			side = 1
		}
	}
	return low + (high-low)/2
}

// within is where the chord crosses zero, or the middle where it has no such place inside.
func within(low, high, fl, fh float64) float64 {
	chord := (low*fh - high*fl) / (fh - fl)
	if chord > low && chord < high {
		return chord
	}
	return low + (high-low)/2
}

// condensedSets are tried in turn until one contradicts nothing.
var condensedSets = [][]string{nil, {"C"}, {"S"}, {"C", "S"}}

// byConstants is the equilibrium by the route: moles by species; C and S where they are there.
func byConstants(t testing.TB, in Input, elements []string, total map[string]float64) map[string]float64 {
	t.Helper()
	species := formedSpecies(t, in.Species, in.Celsius)
	for _, condensed := range condensedSets {
		if answer := tryCondensed(species, in, elements, total, condensed); answer != nil {
			return answer
		}
	}
	t.Fatalf("the route finds no set of solids for %+v", in)
	return nil
}

func tryCondensed(species []formed, in Input, elements []string, total map[string]float64, condensed []string) map[string]float64 {
	r := &route{species: species, pressure: in.PressureBar, total: total, u: map[string]float64{}}
	for _, e := range elements {
		r.u[e] = -5
	}
	pure := map[string]formed{}
	for _, s := range species {
		if !s.gas {
			pure[s.name] = s
		}
	}
	fixed := map[string]bool{}
	for _, name := range condensed {
		s, tabled := pure[name]
		if !tabled {
			return nil
		}
		fixed[name], r.u[name] = true, -s.lnK
	}
	for _, e := range elements {
		if !fixed[e] && e != "N" {
			r.free = append(r.free, e)
		}
	}
	r.search()
	answer := map[string]float64{}
	for _, s := range species {
		switch {
		case s.gas:
			answer[s.name] = r.moles(s)
		case fixed[s.name]:
			answer[s.name] = total[s.name] - r.held(s.name)
			if answer[s.name] < 0 {
				return nil
			}
		case s.lnK+r.u[s.name] > 1e-12:
			return nil
		}
	}
	return answer
}

// system is a set of species and feeds whose amounts are drawn.
type system struct {
	name     string
	species  []string
	feeds    []string
	elements string
	low      float64 // C
	high     float64
}

var systems = []system{
	{"C-O", []string{"CO", "CO2", "O2", "C"}, []string{"CO2", "O2", "C"}, "CO", 400, 1600},
	{"C-O with N2", []string{"CO", "CO2", "O2", "N2", "C"}, []string{"CO2", "CO", "C", "N2"}, "CON", 400, 1600},
	{"C-O-H", []string{"CO", "CO2", "O2", "H2", "H2O", "C"}, []string{"CO2", "H2O", "C", "H2"}, "COH", 400, 1600},
	{"C-O-H with N2", []string{"CO", "CO2", "O2", "H2", "H2O", "N2", "C"}, []string{"CO", "H2O", "O2", "N2"}, "COHN", 300, 1600},
	{"S-O", []string{"SO2", "SO3", "S2", "S8", "O2", "S"}, []string{"SO2", "O2", "S2"}, "SO", 400, 1600},
	{"S-O with N2", []string{"SO2", "SO3", "S2", "S8", "O2", "N2", "S"}, []string{"SO2", "S", "N2"}, "SON", 150, 1600},
	{"C-O-S", []string{"CO", "CO2", "COS", "CS2", "SO2", "SO3", "S2", "S8", "O2", "C", "S"}, []string{"CO2", "SO2", "C", "S"}, "COS", 400, 1600},
	{"H-S", []string{"H2", "H2S", "S2", "S8", "S"}, []string{"H2S", "H2", "S"}, "HS", 200, 1600},
	{"H-S with N2", []string{"H2", "H2S", "S2", "S8", "N2", "S"}, []string{"H2S", "S", "N2"}, "HSN", 150, 1600},
	{"cold S with N2", []string{"S2", "S8", "N2", "S"}, []string{"S", "N2"}, "SN", 120, 500},
	{"cold S-O with N2", []string{"SO2", "SO3", "S2", "S8", "O2", "N2", "S"}, []string{"SO2", "S", "N2"}, "SON", 150, 450},
	{"C-O-H-S", []string{
		"CO", "CO2", "COS", "CS2", "H2", "H2O", "H2S", "SO2", "S2", "O2", "N2", "C",
	}, []string{"CO2", "C", "H2O", "S2", "N2"}, "COHSN", 600, 1600},
}

// draw makes an input of the system; total holds its moles of atoms.
func (s system) draw(t testing.TB, source *rand.Rand) (in Input, total map[string]float64) {
	t.Helper()
	in = Input{
		Celsius: s.low + (s.high-s.low)*source.Float64(), PressureBar: math.Pow(10, -1+2*source.Float64()), Species: s.species,
	}
	total = map[string]float64{}
	for _, feed := range s.feeds {
		moles := 0.05 + 2*source.Float64()
		in.Feed = append(in.Feed, Amount{feed, moles})
		form, err := thermo.FindStable(feed, 298.15)
		require.NoError(t, err)
		for _, e := range form.Formula().Elements() {
			total[e.Symbol] += e.Count * moles
		}
	}
	return in, total
}

// points is how many are drawn of each system.
const points = 8

func TestTheMixtureAgreesWithEquilibriumConstants(t *testing.T) {
	const seed = 20261125
	t.Logf("seed %d", seed)
	source := rand.New(rand.NewPCG(seed, 1))
	compared, saturated := 0, map[string]int{}
	for _, s := range systems {
		for k := range points {
			in, total := s.draw(t, source)
			name := fmt.Sprintf("%s %d at %.0f C %.2f bar", s.name, k, in.Celsius, in.PressureBar)
			t.Run(name, func(t *testing.T) {
				got, err := Equilibrium(in)
				require.NoError(t, err)
				want := byConstants(t, in, strings.Split(s.elements, ""), total)
				compare(t, got, want)
				assertBalances(t, got)
				for _, solid := range []string{"C", "S"} {
					if want[solid] > 0 {
						saturated[solid]++
					}
				}
				compared++
			})
		}
	}
	t.Logf("%d points, with solid carbon %d, with condensed sulfur %d", compared, saturated["C"], saturated["S"])
	assert.GreaterOrEqual(t, compared, 50)
	assert.Positive(t, saturated["C"])
	assert.Positive(t, saturated["S"])
}

// compare holds every mole fraction above 1e-12 to a millionth.
func compare(t *testing.T, got Result, want map[string]float64) {
	t.Helper()
	gas := 0.0
	for name, moles := range want {
		if name != "C" && name != "S" {
			gas += moles
		}
	}
	assert.InEpsilon(t, gas, got.GasMoles, 1e-8)
	for _, s := range got.Species {
		if s.Phase != GasPhase {
			assert.InDelta(t, want[s.Species], s.Moles, 1e-8, "%s", s.Species)
			continue
		}
		if fraction := want[s.Species] / gas; fraction > 1e-12 {
			assert.InEpsilon(t, fraction, s.MoleFraction, 1e-6, "%s", s.Species)
		}
	}
}

// assertBalances holds elements, fractions and heat to what they must add up to.
func assertBalances(t rapid.TB, r Result) {
	t.Helper()
	for _, e := range r.Elements {
		assert.LessOrEqual(t, math.Abs(e.ResidualMoles), 1e-9*e.FeedMoles, e.Symbol)
	}
	sum := 0.0
	for _, s := range r.Species {
		if s.Phase == GasPhase {
			sum += s.MoleFraction
		}
	}
	if r.GasMoles > 0 {
		assert.InDelta(t, 1, sum, 1e-9)
	}
	assert.InDelta(t, r.ProductKilojoules-r.FeedKilojoules, r.HeatKilojoules, 1e-9*math.Abs(r.ProductKilojoules)+1e-12)
}
