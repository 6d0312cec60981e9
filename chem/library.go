package chem

import (
	"slices"
	"strings"
	"sync"

	"saggar/chem/data"
)

// library is the table of raw materials as materials, by id.
var library = sync.OnceValue(func() Materials {
	list := Materials{}
	for _, raw := range data.RawMaterials() {
		material := Material{
			ID: raw.ID, Title: raw.Title, LossOnIgnitionFraction: raw.LossOnIgnitionFraction,
			LossOnIgnitionWaterFraction:         raw.LossWaterFraction,
			LossOnIgnitionCarbonDioxideFraction: raw.LossCarbonDioxideFraction,
			LossOnIgnitionOrganicFraction:       raw.LossOrganicFraction, MoistureFraction: raw.MoistureFraction,
			PurityFraction: raw.PurityFraction, Source: string(raw.Read) + ": " + raw.Source,
		}
		for _, share := range raw.Phases {
			material.Phases = append(material.Phases, Phase(share))
		}
		for _, share := range raw.Oxides {
			material.Oxides = append(material.Oxides, Oxide(share))
		}
		for _, hazard := range raw.Hazards {
			material.Hazards = append(material.Hazards, Hazard(hazard))
		}
		list[raw.ID] = material
	}
	return list
})

// Library returns common raw materials, by id; the source of each begins with how far it can be trusted (see chem/data). They
// are what such a material typically is: a lot's own analysis, where there is one, is better. The slices in them are shared:
// do not write to them.
func Library() []Material {
	list := make([]Material, 0, len(library()))
	for _, material := range library() {
		list = append(list, material)
	}
	slices.SortFunc(list, func(a, b Material) int { return strings.Compare(a.ID, b.ID) })
	return list
}

// LibraryMaterial finds one of Library by id.
func LibraryMaterial(id string) (Material, bool) {
	material, known := library()[id]
	return material, known
}
