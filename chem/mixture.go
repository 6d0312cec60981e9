package chem

import (
	"fmt"
	"maps"
	"slices"

	"saggar/chem/finding"
)

// MaxMixtureDepth is how deep mixtures may lie in each other: a mixture of plain materials is 1 deep.
const MaxMixtureDepth = 4

// Breakdown divides a mass as weighed of one of the materials, mixtures included. Errors as Material.Breakdown, and faults of
// the parts: one that is not known, a mixture that holds itself, or mixtures more than MaxMixtureDepth deep.
func (m Materials) Breakdown(id string, massGrams float64) (Breakdown, error) {
	material, faults := m.resolve(id)
	if err := faults.Err(); err != nil {
		return Breakdown{}, err
	}
	return material.Breakdown(massGrams)
}

// Resolved returns one of the materials with a mixture stated as phases, inert rest and free water, each part brought in at
// its own moisture and purity; it keeps id, version, title and source and has the hazards that its parts declare too. A
// compound below 1e-9 of the dry mass counts as inert. Errors as Breakdown.
func (m Materials) Resolved(id string) (Material, error) {
	material, faults := m.resolve(id)
	return material, faults.Err()
}

// ResolvedFor returns the materials with all mixtures that a recipe uses resolved; the others stay as they are. Materials
// that the recipe names and that are not known are the recipe's fault, not seen here. Errors as Breakdown.
func (m Materials) ResolvedFor(recipe Recipe) (Materials, error) {
	resolved, faults := m.resolveUsed(recipe)
	return resolved, faults.Err()
}

func (m Materials) resolveUsed(recipe Recipe) (Materials, finding.Faults) {
	var faults finding.Faults
	resolved := maps.Clone(m)
	for _, id := range recipe.materialIDs() {
		if _, known := m[id]; !known {
			continue
		}
		material, wrong := m.resolve(id)
		resolved[id] = material
		faults = append(faults, wrong...)
	}
	return resolved, faults
}

// materialIDs lists what the recipe's stages add, each once, in order.
func (r Recipe) materialIDs() []string {
	used := map[string]bool{}
	for _, stage := range r.Stages {
		for _, addition := range stage.Additions {
			used[addition.Material] = true
		}
	}
	return slices.Sorted(maps.Keys(used))
}

// assumptions states what the descriptions of a recipe's materials, and of their parts, leave to be assumed.
func (m Materials) assumptions(recipe Recipe) []string {
	waiting, seen := recipe.materialIDs(), map[string]bool{}
	unsplit, organic := false, false
	for len(waiting) > 0 {
		id := waiting[0]
		waiting = waiting[1:]
		if seen[id] {
			continue
		}
		seen[id] = true
		material := m[id]
		named := 0.0
		for _, loss := range material.lossLines() {
			named += loss.fraction
		}
		unsplit = unsplit || material.LossOnIgnitionFraction > named+fractionRounding
		organic = organic || material.LossOnIgnitionOrganicFraction > 0
		for _, part := range material.Parts {
			waiting = append(waiting, part.Material)
		}
	}
	var list []string
	if unsplit {
		list = append(list, "Loss on ignition that is not said to be carbon dioxide or organic matter counts as water.")
	}
	if organic {
		list = append(list, "Organic loss on ignition counts as CH2, rich in carbon, so that its carbon oxides are at the cautious "+
			"end (common practice, no source).")
	}
	return list
}

// resolve checks one material and what it is mixed of, and states a mixture as phases.
func (m Materials) resolve(id string) (Material, finding.Faults) {
	x := mixer{materials: m, done: map[string]mixed{}, open: map[string]bool{}}
	of := x.mix(id)
	material := m[id]
	if len(x.faults) > 0 || !material.IsMixture() {
		return material, x.faults
	}
	resolved := Material{
		ID: material.ID, Version: material.Version, Title: material.Title, Source: material.Source, Hazards: of.hazards,
		MoistureFraction: of.gram.freeWaterGrams(),
	}
	dry := 1 - resolved.MoistureFraction
	for _, phase := range of.gram.phases {
		if share := phase.Grams() / dry; share >= leastMassFraction {
			resolved.Phases = append(resolved.Phases, Phase{phase.Formula.String(), share})
		}
	}
	if len(resolved.Phases) > maxAnalysisLines {
		x.fault(id, "parts", fmt.Sprintf("it consists of %d compounds, more than %d", len(resolved.Phases), maxAnalysisLines),
			"mix fewer materials, or leave out the traces of their analyses")
	}
	return resolved, x.faults
}

// mixed is what one gram of a material as weighed consists of.
type mixed struct {
	gram    *charge
	depth   int // 0 for a plain material
	hazards []Hazard
}

// mixer works out materials from their parts, each once.
type mixer struct {
	materials Materials
	done      map[string]mixed
	open      map[string]bool // under way: met again, it holds itself
	faults    finding.Faults
}

func (x *mixer) fault(id, field, message, cure string) {
	var one finding.Faults
	one.Add(field, message, cure)
	x.faults.AddUnder(fmt.Sprintf("materials[%s]", shortened(id)), one)
}

func (x *mixer) mix(id string) mixed {
	if of, done := x.done[id]; done {
		return of
	}
	material := x.materials[id]
	of := mixed{gram: &charge{}, hazards: slices.Clone(material.Hazards)}
	if faults := material.Validate(); len(faults) > 0 {
		x.faults.AddUnder(fmt.Sprintf("materials[%s]", shortened(id)), faults)
	} else if material.IsMixture() {
		x.open[id] = true
		x.addParts(&of, id, material)
		delete(x.open, id)
	} else if parts, err := material.divide(1); err == nil { // the formulas were checked
		of.gram.putAll(parts)
	}
	x.done[id] = of
	return of
}

func (x *mixer) addParts(of *mixed, id string, mixture Material) {
	total := 0.0
	for _, part := range mixture.Parts {
		total += part.MassFraction
	}
	of.gram.freeWaterMoles = mixture.MoistureFraction / rules().water.MolarMass()
	for i, part := range mixture.Parts {
		field := fmt.Sprintf("parts[%d].material", i)
		_, known := x.materials[part.Material]
		switch {
		case !known:
			x.fault(id, field, fmt.Sprintf("there is no material %q", part.Material), "use the id of a material that exists")
			continue
		case x.open[part.Material]:
			x.fault(id, field, fmt.Sprintf("%s is mixed of %s, which is mixed of it", part.Material, id), "take one of them out")
			continue
		}
		inside := x.mix(part.Material)
		if of.depth = max(of.depth, inside.depth+1); inside.depth == MaxMixtureDepth {
			x.fault(id, field, fmt.Sprintf("mixtures lie more than %d deep in each other", MaxMixtureDepth),
				fmt.Sprintf("name what %s is mixed of instead", part.Material))
		}
		of.gram.putPart(inside.gram, part.MassFraction/total*(1-mixture.MoistureFraction))
		for _, hazard := range inside.hazards {
			if !slices.Contains(of.hazards, hazard) {
				of.hazards = append(of.hazards, hazard)
			}
		}
	}
}
