package gas

import "math"

// weighCondensed works out the moles of the solids and liquids that are components, and answers the row of the one that
// falls furthest below zero; -1 when none does.
func (s *solver) weighCondensed() int {
	row, lowest := -1, 0.0
	for i := range s.rows {
		c := s.component[i]
		if s.gas[c] {
			continue
		}
		left, size := s.total[i], math.Abs(s.total[i])
		for j := range s.species {
			if s.gas[j] && !s.dead[j] && s.nu[i][j] != 0 && !s.noGas {
				part := s.nu[i][j] * math.Exp(s.lnMole[j])
				left -= part
				size += math.Abs(part)
			}
		}
		if math.Abs(left) < 10*roundingShare*size {
			left = 0
		}
		s.amount[c] = max(left, 0)
		if left < lowest {
			row, lowest = i, left
		}
	}
	return row
}

// evaporate takes the solid or liquid of a row away and makes the most abundant gas that has part in it the component;
// false when there is no such gas.
func (s *solver) evaporate(row int) bool {
	s.amount[s.component[row]] = 0
	s.spread()
	species := -1
	for j := range s.species {
		if s.gas[j] && !s.dead[j] && s.nu[row][j] != 0 && (species < 0 || s.lnMole[j] > s.lnMole[species]) {
			species = j
		}
	}
	if species < 0 {
		return false
	}
	s.swap(row, species)
	return true
}

// vapourShare is the share of the gas that the solids and liquids which are there set by themselves. From 1 on they boil:
// row is the one that has the largest part in it.
func (s *solver) vapourShare() (share float64, row int) {
	var part [maxElements]float64
	for j := range s.species {
		if !s.gas[j] || s.dead[j] || !s.isVapour(j) {
			continue
		}
		fraction := math.Exp(min(s.lnActivity(j), mostLnVapour))
		share += fraction
		for i := range s.rows {
			part[i] += fraction * math.Abs(s.nu[i][j])
		}
	}
	for i := range s.rows {
		if part[i] > part[row] {
			row = i
		}
	}
	return share, row
}

// mostLnVapour keeps a sum of vapours a number.
const mostLnVapour = 500

// isVapour tells whether a gas is made of solids and liquids alone.
func (s *solver) isVapour(species int) bool {
	for i := range s.rows {
		if s.nu[i][species] != 0 && s.gas[s.component[i]] {
			return false
		}
	}
	return true
}

// oversaturated is the absent solid or liquid that is furthest above saturation; -1 when none is.
func (s *solver) oversaturated() int {
	species, most := -1, saturation
	for j := range s.species {
		if s.gas[j] || s.dead[j] || s.rowOf(j) >= 0 {
			continue
		}
		if ln := s.lnActivity(j); ln > most && s.determined(j) {
			species, most = j, ln
		}
	}
	return species
}

// determined tells whether the components can make a species up.
func (s *solver) determined(column int) bool {
	var sum atoms
	for i := range s.rows {
		for e := range sum {
			sum[e] += s.nu[i][column] * s.columns[s.component[i]][e]
		}
	}
	return near(sum, s.columns[column])
}

func near(a, b atoms) bool {
	for e := range a {
		if math.Abs(a[e]-b[e]) > tinyCoefficient {
			return false
		}
	}
	return true
}

// express writes some atoms as a sum of the components, by elimination; false when they cannot make it up.
func (s *solver) express(wanted atoms) (share [maxElements]float64, ok bool) {
	// Gram-Schmidt on the components keeps the few rows simple and needs no choice of elements.
	var basis [maxElements]atoms
	var onto [maxElements][maxElements]float64 // of each direction, in components
	left := wanted
	for i := range s.rows {
		basis[i] = s.columns[s.component[i]]
		onto[i][i] = 1
		for k := range i {
			part := dot(basis[i], basis[k]) / dot(basis[k], basis[k])
			for e := range basis[i] {
				basis[i][e] -= part * basis[k][e]
				onto[i][e] -= part * onto[k][e]
			}
		}
		part := dot(left, basis[i]) / dot(basis[i], basis[i])
		for e := range left {
			left[e] -= part * basis[i][e]
			share[e] += part * onto[i][e]
		}
	}
	for i := range share {
		share[i] = snapped(share[i])
	}
	return share, near(left, atoms{})
}

func dot(a, b atoms) float64 {
	sum := 0.0
	for e := range a {
		sum += a[e] * b[e]
	}
	return sum
}

// condense brings a solid or liquid in, in place of the scarcest gas component that has part in it; false when there is
// no such gas.
func (s *solver) condense(species int) bool {
	row := -1
	for i := range s.rows {
		c := s.component[i]
		if s.nu[i][species] != 0 && s.gas[c] && (row < 0 || s.lnMole[c] < s.lnMole[s.component[row]]) {
			row = i
		}
	}
	if row < 0 {
		return false
	}
	s.swap(row, species)
	s.mu[row] = s.potential[species]
	return true
}

// withSolids solves for a given set of solids and liquids, a bit for each in the order of the species, and tells whether
// the answer agrees with it.
func (s *solver) withSolids(set uint) bool {
	s.guess()
	s.spread()
	for j := range s.species {
		if s.gas[j] {
			continue
		}
		wanted := set&1 != 0
		set >>= 1
		if row := s.rowOf(j); !wanted && row >= 0 && !s.evaporate(row) {
			return false
		} else if wanted && row < 0 && !s.condense(j) {
			return false
		}
	}
	if !s.settleRows() || s.gasRows() == 0 {
		return false
	}
	if vapour, _ := s.vapourShare(); vapour >= 1 {
		return false
	}
	return s.newton() && s.weighCondensed() < 0 && s.oversaturated() < 0
}
