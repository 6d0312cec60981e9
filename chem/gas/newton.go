package gas

import "math"

// equations are the residuals of the logarithmic equations and their slopes; the last unknown is ln N.
type equations struct {
	size     int
	row      [maxElements]int // of the tableau, for each unknown potential
	residual [maxElements + 1]float64
	slope    [maxElements + 1][maxElements + 1]float64
}

// newton solves for the potentials of the gas components and ln N; false when it does not settle.
func (s *solver) newton() bool {
	var eq equations
	s.spread()
	s.preferAbundant()
	last := false
	for range mostSteps {
		s.steps++
		if !s.settleRows() {
			return false
		}
		s.linearise(&eq)
		error0 := eq.worst()
		if last {
			return error0 < exactEnough
		}
		last = error0 < nearEnough
		step, ok := eq.solved()
		if !ok {
			return false
		}
		s.walk(&eq, step, error0)
		s.preferAbundant()
	}
	return false
}

// walk takes the step, shortened until the residuals do not grow much.
func (s *solver) walk(eq *equations, step [maxElements + 1]float64, before float64) {
	share := 1.0
	for i := range eq.size {
		share = min(share, longestStep/max(math.Abs(step[i]), longestStep))
	}
	mu, lnGas := s.mu, s.lnGas
	var trial equations
	for range 6 {
		for i := range eq.size - 1 {
			s.mu[eq.row[i]] = mu[eq.row[i]] + share*step[i]
		}
		s.lnGas = lnGas + share*step[eq.size-1]
		s.spread()
		if before < 1e-3 {
			return
		}
		s.linearise(&trial)
		if trial.worst() <= before*(1-share/10) {
			return
		}
		share /= 2
	}
}

// linearise sets up the equations at the present potentials.
func (s *solver) linearise(eq *equations) {
	n := 0
	for i := range s.rows {
		if s.gas[s.component[i]] {
			eq.row[n] = i
			n++
		}
	}
	eq.size = n + 1
	for k := range n {
		s.balanceRow(eq, k)
	}
	s.gasRow(eq)
}

// The sides of a component's balance.
const (
	adds   = 0
	takes  = 1
	absent = -1
)

// side tells on which side of a row's balance a species stands, and how many moles of the component are in one of it.
func (s *solver) side(row, species int) (side int, size float64) {
	c := s.nu[row][species]
	switch {
	case c == 0 || !s.gas[species] || s.dead[species]:
		return absent, 0
	case c < 0:
		return takes, -c
	}
	return adds, c
}

// totalSide is takes for a total above zero, since the balance is written as what adds = what takes and the total.
func (s *solver) totalSide(row int) int {
	switch {
	case s.total[row] > 0:
		return takes
	case s.total[row] < 0:
		return adds
	}
	return absent
}

// balanceRow is ln(adds) - ln(takes and total) of one component.
func (s *solver) balanceRow(eq *equations, k int) {
	row := eq.row[k]
	var sides [2]weighing
	for j := range s.species {
		if side, _ := s.side(row, j); side != absent {
			sides[side].note(s.lnMole[j])
		}
	}
	total, lnTotal := s.totalSide(row), 0.0
	if total != absent {
		lnTotal = math.Log(math.Abs(s.total[row]))
		sides[total].note(lnTotal)
		sides[total].sum = math.Exp(lnTotal - sides[total].most)
	}
	for j := range s.species {
		if side, size := s.side(row, j); side != absent {
			s.weigh(&sides[side], eq, j, size)
		}
	}
	eq.residual[k] = sides[adds].ln() - sides[takes].ln()
	for i := range eq.size {
		eq.slope[k][i] = sides[adds].slope[i]/sides[adds].sum - sides[takes].slope[i]/sides[takes].sum
	}
}

// gasRow is ln(sum of moles) - ln N.
func (s *solver) gasRow(eq *equations) {
	var all weighing
	for j := range s.species {
		if s.gas[j] && !s.dead[j] {
			all.note(s.lnMole[j])
		}
	}
	for j := range s.species {
		if s.gas[j] && !s.dead[j] {
			s.weigh(&all, eq, j, 1)
		}
	}
	last := eq.size - 1
	eq.residual[last] = all.ln() - s.lnGas
	for i := range last {
		eq.slope[last][i] = all.slope[i] / all.sum
	}
	eq.slope[last][last] = 0
}

// weighing is a sum of exponentials, kept in terms of its largest, with its slopes.
type weighing struct {
	noted     bool
	most, sum float64
	slope     [maxElements + 1]float64
}

func (w *weighing) note(ln float64) {
	if !w.noted || ln > w.most {
		w.noted, w.most = true, ln
	}
}

func (w *weighing) ln() float64 { return w.most + math.Log(w.sum) }

// weigh adds some moles of a gas, times a coefficient.
func (s *solver) weigh(w *weighing, eq *equations, species int, coefficient float64) {
	part := coefficient * math.Exp(s.lnMole[species]-w.most)
	w.sum += part
	last := eq.size - 1
	for i := range last {
		w.slope[i] += part * s.nu[eq.row[i]][species]
	}
	w.slope[last] += part
}

func (eq *equations) worst() float64 {
	most := 0.0
	for i := range eq.size {
		most = max(most, math.Abs(eq.residual[i]))
	}
	return most
}

// solved is the Newton step, by elimination with the largest pivot of each column; false when the equations are not
// independent.
func (eq *equations) solved() (step [maxElements + 1]float64, ok bool) {
	a, n := &eq.slope, eq.size
	for i := range n {
		step[i] = -eq.residual[i]
	}
	for k := range n {
		best := k
		for i := k + 1; i < n; i++ {
			if math.Abs(a[i][k]) > math.Abs(a[best][k]) {
				best = i
			}
		}
		if math.Abs(a[best][k]) < 1e-14 {
			return step, false
		}
		a[k], a[best] = a[best], a[k]
		step[k], step[best] = step[best], step[k]
		for i := k + 1; i < n; i++ {
			share := a[i][k] / a[k][k]
			for j := k; j < n; j++ {
				a[i][j] -= share * a[k][j]
			}
			step[i] -= share * step[k]
		}
	}
	for k := n - 1; k >= 0; k-- {
		for j := k + 1; j < n; j++ {
			step[k] -= a[k][j] * step[j]
		}
		step[k] /= a[k][k]
	}
	return step, true
}
