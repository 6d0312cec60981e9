package gas

import "math"

// solver looks for the potentials of the components at which the equations below hold. With gas moles N, component
// potentials mu and pure potentials g (all over RT), a gas holds ln n = ln N + sum(nu mu) - g, a solid or liquid that is
// there has mu = g, and
//
//	each gas component:  ln(what is there and adds to its total) = ln(what takes from it, and the total)
//	the gas:             sum(n) = N
//
// The logarithms keep a component that is there in traces only as exact as the others, and make the equations nearly
// straight lines far from the answer. Newton steps with damping solve them; the components are changed on the way so that
// they stay the most abundant species. White, Johnson and Dantzig (1958) state the minimum, Smith and Missen, Chemical
// Reaction Equilibrium Analysis (1982), the choice of components (both from memory).
type solver struct {
	tableau
	mu     [maxElements]float64
	lnGas  float64             // ln N
	lnMole [maxSpecies]float64 // of live gases
	noGas  bool
	// amount is the moles of solids and liquids that are there.
	amount [maxSpecies]float64
	steps  int
}

const (
	mostSteps        = 400
	mostPhaseChanges = 20
	nearEnough       = 1e-10 // one more Newton step from here is as exact as the numbers are
	exactEnough      = 1e-10 // what that last step must reach
	longestStep      = 12.0  // of a logarithm
	startTrace       = 1e-6  // share of the gas at which a component without a total starts
	saturation       = 1e-11 // how far above saturation a solid may be held absent
)

// solve finds the equilibrium. It answers false when that does not settle, which was seen only where a species is fed in
// less than 1e-15 of the rest.
func (s *solver) solve() bool {
	start := *s
	if s.guess(); s.inTurns() {
		return true
	}
	*s = start
	if s.guessPlain(); s.inTurns() {
		return true
	}
	for set := range 1 << len(condensedSpecies) {
		*s = start
		if s.withSolids(uint(set)) {
			return true
		}
	}
	return false
}

// inTurns takes solids and liquids away and brings them in as the answer so far asks for, one at a time.
func (s *solver) inTurns() bool {
	for range mostPhaseChanges {
		if !s.settleRows() {
			return false
		}
		vapour, boiling := s.vapourShare()
		switch {
		case s.gasRows() == 0 && vapour <= 1:
			s.noGas = true
			return s.weighCondensed() < 0
		case vapour >= 1:
			if !s.evaporate(boiling) {
				return false
			}
			continue
		}
		if !s.newton() {
			return false
		}
		if gone := s.weighCondensed(); gone >= 0 {
			if !s.evaporate(gone) {
				return false
			}
			continue
		}
		oversaturated := s.oversaturated()
		if oversaturated < 0 {
			return true
		}
		if !s.condense(oversaturated) {
			return false
		}
	}
	return false
}

// guess starts from the amounts of the components without mixing.
func (s *solver) guess() {
	sum := 0.0
	for i := range s.rows {
		if s.gas[s.component[i]] {
			sum += max(s.total[i], 0)
		}
	}
	sum = max(sum, startTrace)
	s.lnGas = math.Log(sum)
	for i := range s.rows {
		s.mu[i] = s.potential[s.component[i]]
		if s.gas[s.component[i]] {
			s.mu[i] += math.Log(max(s.total[i]/sum, startTrace))
		}
	}
}

// guessPlain starts from the potentials of the pure components: worse for what is plentiful, but no other species is then
// above its own.
func (s *solver) guessPlain() {
	s.guess()
	for i := range s.rows {
		s.mu[i] = s.potential[s.component[i]]
	}
}

// gasRows counts the components that are gases.
func (s *solver) gasRows() int {
	count := 0
	for i := range s.rows {
		if s.gas[s.component[i]] {
			count++
		}
	}
	return count
}

// lnActivity is a species' potential above that of the pure species, as the components set it.
func (s *solver) lnActivity(species int) float64 {
	sum := -s.potential[species]
	for i := range s.rows {
		if c := s.nu[i][species]; c != 0 {
			sum += c * s.mu[i]
		}
	}
	return sum
}

// spread works out the moles of every live gas.
func (s *solver) spread() {
	for j := range s.species {
		if s.gas[j] && !s.dead[j] {
			s.lnMole[j] = s.lnGas + s.lnActivity(j)
		}
	}
}

// swap makes a species the component of a row, with the potential that it has.
func (s *solver) swap(row, species int) {
	s.mu[row] = s.lnActivity(species) + s.potential[species]
	s.pivot(row, species)
}

// preferAbundant changes components until none takes part in a more abundant gas.
func (s *solver) preferAbundant() {
	for range 4 * maxElements {
		row, species, most := -1, -1, math.Ln2
		for i := range s.rows {
			if !s.gas[s.component[i]] {
				continue
			}
			own := s.lnMole[s.component[i]]
			for j := range s.species {
				if s.nu[i][j] != 0 && s.gas[j] && !s.dead[j] && s.lnMole[j]-own > most {
					row, species, most = i, j, s.lnMole[j]-own
				}
			}
		}
		if row < 0 {
			return
		}
		s.swap(row, species)
	}
}

// settleRows finds rows that nothing feeds: a solid that would makes its row its own; without one, all that adds to the
// row must be absent.
func (s *solver) settleRows() bool {
	for i := 0; i < s.rows; i++ {
		if !s.gas[s.component[i]] || s.isFed(i) {
			continue
		}
		if s.total[i] < -roundingOfAll {
			return false
		}
		s.total[i] = 0
		if solid := s.feedingSolid(i); solid >= 0 {
			s.swap(i, solid)
			s.mu[i] = s.potential[solid]
			continue
		}
		for j := range s.species {
			if s.nu[i][j] > 0 {
				s.dead[j] = true
			}
		}
		s.mu[i] = s.mu[s.rows-1]
		s.dropRow(i)
		i = -1 // the absence of these may starve another row
	}
	return true
}

// isFed tells whether anything takes from a row's component or adds to its total.
func (s *solver) isFed(row int) bool {
	if s.total[row] > 0 {
		return true
	}
	for j := range s.species {
		if s.nu[row][j] < 0 && s.gas[j] && !s.dead[j] {
			return true
		}
	}
	return false
}

func (s *solver) feedingSolid(row int) int {
	for j := range s.species {
		if !s.gas[j] && !s.dead[j] && s.nu[row][j] < 0 && s.rowOf(j) < 0 {
			return j
		}
	}
	return -1
}
