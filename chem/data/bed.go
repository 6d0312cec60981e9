package data

import (
	"slices"
	"sync"
)

// Property is one figure of a packed charge, in the unit stated.
type Property struct {
	Quantity string
	Value    float64
	Unit     string
	Read     Read
	Source   string
}

var bedProperties = sync.OnceValue(func() []Property { return mustRead("bed-properties.csv", toProperty) })

// BedProperties returns what is known of packed charges, in the table's order.
func BedProperties() []Property { return slices.Clone(bedProperties()) }

func toProperty(r *row) Property {
	return Property{
		Quantity: r.text("quantity"),
		Value:    r.number("value"),
		Unit:     r.text("unit"),
		Read:     Read(r.text("read")),
		Source:   r.text("source"),
	}
}
