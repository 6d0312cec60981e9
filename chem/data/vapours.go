package data

import (
	"slices"
	"sync"
)

// Vapour is a compound that leaves as vapour, or sets oxygen free, when it is heated, though no reaction in the table of
// reactions gives that off.
type Vapour struct {
	Formula, Name string
	// OxygenMoles are the moles of O2 that a mole of formula units sets free; 0 for what leaves as vapour itself.
	OxygenMoles float64
	// FumesCelsius is where its vapour has a pressure of about 1 mmHg (133 Pa), so that it fumes; for oxygen as LeavesCelsius.
	FumesCelsius float64
	// LeavesCelsius is the boiling or sublimation point at 1 atm, or where it gives its oxygen off.
	LeavesCelsius float64
	Read          Read
	Source        string
}

var vapours = sync.OnceValue(func() []Vapour { return mustRead("vapours.csv", toVapour) })

// Vapours returns what leaves as vapour or sets oxygen free, in the table's order.
func Vapours() []Vapour { return slices.Clone(vapours()) }

func toVapour(r *row) Vapour {
	return Vapour{
		Formula: r.text("formula"), Name: r.text("name"), OxygenMoles: r.number("oxygen_mol"), FumesCelsius: r.number("fumes_c"),
		LeavesCelsius: r.number("leaves_c"), Read: Read(r.text("read")), Source: r.text("source"),
	}
}
