package chem

// Caution goes with every figure on charges, off-gas, heat, air and protection.
const Caution = "A planning estimate from the stated assumptions: it replaces no measurement, no local code, " +
	"no safety officer and no licensed engineer."
