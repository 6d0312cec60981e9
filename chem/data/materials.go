package data

import (
	"slices"
	"strings"
	"sync"
)

// Share is one compound of a material by mass.
type Share struct {
	Formula      string
	MassFraction float64
}

// RawMaterial is a common raw material of the trade, by phases or by an oxide analysis with its loss on ignition. Fractions
// are by mass of the dry material, moisture by mass as weighed; zero means none, or for purity that all is described.
type RawMaterial struct {
	ID, Title                                                        string
	Phases, Oxides                                                   []Share
	LossOnIgnitionFraction, LossWaterFraction                        float64
	LossCarbonDioxideFraction, LossOrganicFraction, MoistureFraction float64
	PurityFraction                                                   float64
	Hazards                                                          []string
	Read                                                             Read
	Source                                                           string
}

var rawMaterials = sync.OnceValue(func() []RawMaterial { return mustRead("materials.csv", toRawMaterial) })

// RawMaterials returns every raw material in the table's order. The slices in them are shared: do not write to them.
func RawMaterials() []RawMaterial { return slices.Clone(rawMaterials()) }

func toRawMaterial(r *row) RawMaterial {
	return RawMaterial{
		ID: r.text("id"), Title: r.text("title"), Phases: r.shares("phases"), Oxides: r.shares("oxides"),
		LossOnIgnitionFraction: r.number("loi"), LossWaterFraction: r.number("loi_water"),
		LossCarbonDioxideFraction: r.number("loi_co2"), LossOrganicFraction: r.number("loi_organic"),
		MoistureFraction: r.number("moisture"), PurityFraction: r.number("purity"), Hazards: r.words("hazards"),
		Read: Read(r.text("read")), Source: r.text("source"),
	}
}

// shares reads "SiO2:0.6;Al2O3:0.4".
func (r *row) shares(column string) []Share {
	var list []Share
	for _, part := range r.words(column) {
		formula, fraction, _ := strings.Cut(part, ":")
		list = append(list, Share{formula, r.positive(column, fraction)})
	}
	return list
}

// words reads what semicolons set apart.
func (r *row) words(column string) []string {
	if cell := r.text(column); cell != "" {
		return strings.Split(cell, ";")
	}
	return nil
}
