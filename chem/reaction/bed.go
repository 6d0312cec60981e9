package reaction

import "math"

// bedCells is the number of layers into which a bed is cut; the slowest decay is then right to 0.05 %.
const bedCells = 20

// bed is the temperature through a packed charge, one layer a cell, the first at the heated face. Heat enters through that
// face only, whose temperature is the furnace's; through the far face, where the core lies, none leaves. It follows
// dT/dt = a d2T/dx2 by finite volumes in space and TR-BDF2 in time (Bank et al., IEEE Trans. Electron Devices 32 (1985)
// 1992-2007), of second order, whose two stages solve one tridiagonal matrix and which damps what is too quick to follow.
type bed struct {
	cells [bedCells]float64
	// perSecond is a/dx^2, the rate of exchange between neighbouring layers; 0: the bed has no depth.
	perSecond float64
	// diagonal and upper are the factors of the matrix for a step of factored seconds.
	factored        float64
	diagonal, upper [bedCells]float64
}

// stageShare is the part of a step that each implicit stage of TR-BDF2 weighs, 1-1/sqrt(2), with gamma = 2-sqrt(2).
var stageShare = 1 - 1/math.Sqrt2

// newBed is a bed of one temperature.
func newBed(celsius, depthMeters, diffusivity float64) *bed {
	b := &bed{}
	for i := range b.cells {
		b.cells[i] = celsius
	}
	if depthMeters > 0 {
		dx := depthMeters / bedCells
		b.perSecond = diffusivity / (dx * dx)
	}
	return b
}

// core is the temperature at the far face, by the parabola with no slope there.
func (b *bed) core() float64 {
	return b.cells[bedCells-1] + (b.cells[bedCells-1]-b.cells[bedCells-2])/8
}

// step goes on by seconds while the face goes evenly from one temperature to another. It returns the heat that entered
// through the face, as the rise that it would give the whole bed.
func (b *bed) step(from, to, seconds float64) float64 {
	if b.perSecond == 0 {
		return 0
	}
	b.factor(seconds)
	gamma := 2 - math.Sqrt2
	weight := stageShare * seconds
	start := b.cells
	middleFace := from + gamma*(to-from)
	var right [bedCells]float64
	for i := range right {
		right[i] = start[i] + weight*b.exchange(&start, i, from)
	}
	right[0] += weight * 2 * b.perSecond * middleFace
	middle := b.solve(right)
	before, now := (1-gamma)*(1-gamma)/(gamma*(2-gamma)), 1/(gamma*(2-gamma))
	for i := range right {
		right[i] = now*middle[i] - before*start[i]
	}
	right[0] += weight * 2 * b.perSecond * to
	b.cells = b.solve(right)
	inflow := func(face float64, first float64) float64 { return 2 * b.perSecond * (face - first) / bedCells }
	half := inflow(from, start[0]) + inflow(middleFace, middle[0])
	return now*weight*half + weight*inflow(to, b.cells[0])
}

// exchange is the rate at which a layer's temperature rises, K/s.
func (b *bed) exchange(cells *[bedCells]float64, i int, face float64) float64 {
	rate := 0.0
	if i == 0 {
		rate += 2 * (face - cells[0])
	} else {
		rate += cells[i-1] - cells[i]
	}
	if i < bedCells-1 {
		rate += cells[i+1] - cells[i]
	}
	return rate * b.perSecond
}

// factor prepares the matrix I - w A of a step, w = stageShare * seconds.
func (b *bed) factor(seconds float64) {
	if seconds == b.factored {
		return
	}
	b.factored = seconds
	off := stageShare * seconds * b.perSecond
	for i := range b.diagonal {
		own := 1 + 2*off
		switch i {
		case 0:
			own = 1 + 3*off // the face is half a layer away
		case bedCells - 1:
			own = 1 + off
		}
		if i > 0 {
			own -= off * b.upper[i-1]
		}
		b.diagonal[i] = 1 / own
		b.upper[i] = off / own
	}
}

// solve is Thomas' elimination with the prepared factors.
func (b *bed) solve(right [bedCells]float64) [bedCells]float64 {
	off := stageShare * b.factored * b.perSecond
	right[0] *= b.diagonal[0]
	for i := 1; i < bedCells; i++ {
		right[i] = (right[i] + off*right[i-1]) * b.diagonal[i]
	}
	for i := bedCells - 2; i >= 0; i-- {
		right[i] += b.upper[i] * right[i+1]
	}
	return right
}
