// Package gas answers what a mixture of gases, with solid carbon and sulfur, comes to at a temperature and pressure: the
// moles of every tabled species, the oxygen pressure, how reducing it is, and the heat that it takes to get there from the
// feed. For a charge that is starved of air it says how its sulfur and carbon leave.
//
// The answer is the least Gibbs energy of an ideal gas mixture and pure solids and liquids, with figures from chem/thermo.
// Temperatures are 25 to 2000 C, pressures a millionth of a bar to 1000 bar. It is exact in traces too: an oxygen pressure
// of 1e-30 bar is as good as the figures that it rests on.
//
// Left out: time (a real gas below about 600 C, or one that has just been given off, need not have come to equilibrium),
// species that the tables do not have (methane, ammonia, sulfur vapour other than S2 and S8, sulfur monoxide, chlorine,
// fluorine, atoms and radicals, all metals), water and acid that would condense, solutions, and the departure from an ideal
// gas. Input that cannot be used is refused as finding.Faults that name the field and the cure. Nothing is ever NaN or
// infinite.
package gas
