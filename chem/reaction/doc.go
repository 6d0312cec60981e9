// Package reaction answers how far a charge has reacted: along a heat program, at its surface, on average and at the core
// that the heat reaches last; how long a hold would be needed; and what weighing before and after shows.
//
// The rate is that of chem/kinetics, followed at every place of the bed along its own temperatures.
//
// It leaves out the heat that the reaction itself takes or gives, gas that cannot leave the bed and holds the reaction back,
// and the air that burning needs. Temperatures are degrees Celsius unless a name says kelvin, times minutes, kinetic times
// seconds. Errors are finding.Faults naming the field. Nothing here is changed after it is made; all of it may be used by
// several goroutines at once.
package reaction
