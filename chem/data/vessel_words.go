package data

import (
	"slices"
	"sync"
)

// VesselWord is something that the wall of a crucible, saggar or tray may take up from its charge.
type VesselWord struct {
	Word string
	// Element is what shows it in a charge, from LeastFraction of the charge's mass on; empty: the words of a furnace's exclusions,
	// and glaze and melt, which the kind of stage shows.
	Element       string
	LeastFraction float64
	// Stays: brushing it out does not take it away, so that it spoils the next charge that holds none.
	Stays  bool
	Read   Read
	Source string
}

var vesselWords = sync.OnceValue(func() []VesselWord { return mustRead("vessel-words.csv", toVesselWord) })

// VesselWords returns what vessels take up, in the table's order.
func VesselWords() []VesselWord { return slices.Clone(vesselWords()) }

func toVesselWord(r *row) VesselWord {
	return VesselWord{
		Word: r.text("word"), Element: r.text("element"), LeastFraction: r.number("least_fraction"), Stays: r.text("stays") == "yes",
		Read: Read(r.text("read")), Source: r.text("source"),
	}
}
