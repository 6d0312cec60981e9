// Package reaction answers how far a charge has reacted: along a heat program, at its surface, on average and at the core
// that the heat reaches last; how long a hold would be needed; and what weighing before and after shows.
//
// The rate is d(alpha)/dt = A exp(-E/RT) f(alpha), with the parameters of chem/data/reactions.csv. Since f does not depend
// on the temperature, alpha is a function of the kinetic time theta = integral of A exp(-E/RT) dt alone, by
// d(alpha)/d(theta) = f(alpha): models with a closed integral form are inverted, the others are integrated once.
//
// It leaves out the heat that the reaction itself takes or gives, gas that cannot leave the bed and holds the reaction back,
// and the air that burning needs. Temperatures are degrees Celsius unless a name says kelvin, times minutes, kinetic times
// seconds. Errors are finding.Faults naming the field. Nothing here is changed after it is made; all of it may be used by
// several goroutines at once.
package reaction
