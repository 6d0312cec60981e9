// Package thermo answers what a substance's heat capacity, enthalpy, entropy and Gibbs energy are at a temperature, what
// heat a charge takes up between two temperatures, and what a reaction's enthalpy and equilibrium constant are.
//
// Its figures come from the nine-coefficient sets, the mineral heat capacities and the values at 298.15 K in chem/data,
// each with its source. Enthalpies count from the elements in their usual form at 298.15 K and hold the enthalpy of
// formation; entropies and Gibbs energies are for a standard pressure of 1 bar; gases are ideal. Units stand in the names.
// Solids of one formula follow each other as polymorphs, each over its own range of temperatures.
//
// A temperature outside the range of a substance is refused as finding.Faults that name the field; nothing is
// extrapolated in silence. Only the heat content of a charge goes on beyond a range, and says so among its assumptions.
//
// Left out: solutions, melts of several oxides, glass, surface energy, pressure on solids and liquids, and any compound
// that the tables do not have. All values are safe for use by several goroutines.
package thermo
