package chem

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
	"saggar/chem/finding"
)

const (
	// DefaultSubstituteTolerance is how far each element may be off: common practice, no source.
	DefaultSubstituteTolerance = 0.02
	// traceShare of all target moles: an element below it counts against all of them instead of its own target. Common practice,
	// no source.
	traceShare        = 0.001
	maxSubstitutes    = 60
	maxSubstituteText = 6 // elements named in a message
)

// passing are the elements that leave wholly as gas, or come from the air, in nearly every firing: they count only when named.
var passing = []string{"H", "C", "N", "O"}

// SubstituteQuestion asks for amounts of other materials in place of some.
type SubstituteQuestion struct {
	// Replace is the id of the material that is not at hand; With are those that are. One of With that a stage already adds
	// is reckoned anew with the rest.
	Replace string   `json:"replace"`
	With    []string `json:"with"`
	// Tolerance is how far each element may be off, (0, 1]; 0 means 0.02.
	Tolerance float64 `json:"tolerance"`
	// Count are elements that count although they pass off (H, C, N, O); Ignore are elements that do not count.
	Count  []string `json:"count"`
	Ignore []string `json:"ignore"`
}

// SubstituteAmount is what to weigh out of one material at one stage instead of what was.
type SubstituteAmount struct {
	Stage     string  `json:"stage"`
	Material  string  `json:"material"`
	MassGrams float64 `json:"mass_grams"` // as weighed, at the recipe's own scale
}

// ElementResidual is how near one element comes to what it was.
type ElementResidual struct {
	Stage       string  `json:"stage"`
	Element     string  `json:"element"`
	TargetMoles float64 `json:"target_moles"`
	GotMoles    float64 `json:"got_moles"`
	// Relative is the difference over the target; for an element of which the target holds less than a thousandth of all its
	// counted moles, over all of them.
	Relative float64 `json:"relative"`
}

// Substitution is the nearest that the materials come.
type Substitution struct {
	Amounts     []SubstituteAmount `json:"amounts"`
	Residual    []ElementResidual  `json:"residual"`
	Met         bool               `json:"met"`
	Tolerance   float64            `json:"tolerance"`
	Findings    []finding.Finding  `json:"findings"`
	Assumptions []string           `json:"assumptions"`
	Caution     string             `json:"caution"`
}

// Substitute replaces a material of a recipe at each stage that adds it: the amounts of the other materials, none negative,
// that keep the element moles of what they replace with the least squares of the relative differences. Met says whether each
// element is within the tolerance; when not, a finding blocks. Errors: finding.Faults of recipe, materials and question.
func Substitute(recipe Recipe, materials Materials, q SubstituteQuestion) (Substitution, error) {
	if q.Tolerance == 0 {
		q.Tolerance = DefaultSubstituteTolerance
	}
	weighed, err := WeighOut(recipe, materials, 1)
	if err != nil {
		return Substitution{}, err
	}
	per, faults := q.perGram(materials)
	if !slices.ContainsFunc(weighed, func(w WeighedMaterial) bool { return w.Material == q.Replace && w.MassGrams > 0 }) {
		faults.Add("replace", fmt.Sprintf("the recipe adds no %q", shortened(q.Replace)), "name a material that it adds")
	}
	if err := faults.Err(); err != nil {
		return Substitution{}, err
	}
	result := Substitution{Met: true, Tolerance: q.Tolerance, Findings: q.newHazards(materials),
		Assumptions: q.assumptions(), Caution: Caution}
	for _, stage := range recipe.Stages {
		if err := q.atStage(stage.ID, weighed, per, &result); err != nil {
			return Substitution{}, err
		}
	}
	return result, nil
}

// perGram is the elements in one gram as weighed of each material in question; it finds the question's faults.
func (q SubstituteQuestion) perGram(materials Materials) (map[string]Moles, finding.Faults) {
	var faults finding.Faults
	checkRange(&faults, "tolerance", q.Tolerance, bounds{leastMassFraction, 1})
	if len(q.With) == 0 || len(q.With) > maxSubstitutes {
		faults.Add("with", fmt.Sprintf("%d materials are given", len(q.With)), fmt.Sprintf("name 1 to %d", maxSubstitutes))
	}
	for _, list := range []struct {
		field   string
		symbols []string
	}{{"count", q.Count}, {"ignore", q.Ignore}} {
		for i, symbol := range list.symbols {
			if _, known := elements()[symbol]; !known {
				faults.Add(fmt.Sprintf("%s[%d]", list.field, i), fmt.Sprintf("there is no element %q", shortened(symbol)),
					"give a symbol such as C")
			}
		}
	}
	per := map[string]Moles{}
	for i, id := range append([]string{q.Replace}, q.With...) {
		field := "replace"
		if i > 0 {
			field = fmt.Sprintf("with[%d]", i-1)
		}
		if i > 1 && slices.Contains(q.With[:i-1], id) {
			faults.Add(field, fmt.Sprintf("%q stands twice", shortened(id)), "name each material once")
		}
		if _, known := materials[id]; !known {
			faults.Add(field, fmt.Sprintf("there is no material %q", shortened(id)), "use the id of a material that exists")
			continue
		}
		parts, err := materials.Breakdown(id, 1)
		faults = append(faults, finding.FaultsOf(err)...)
		per[id] = Moles{}
		for _, phase := range parts.Phases {
			per[id].Add(phase.Formula.counts, phase.Moles)
		}
	}
	return per, faults
}

func (q SubstituteQuestion) counts(symbol string) bool {
	return !slices.Contains(q.Ignore, symbol) && (slices.Contains(q.Count, symbol) || !slices.Contains(passing, symbol))
}

// atStage solves one stage; one that does not add the material is left as it is.
func (q SubstituteQuestion) atStage(stage string, weighed []WeighedMaterial, per map[string]Moles, result *Substitution) error {
	replaced, target := 0.0, Moles{}
	for _, w := range weighed {
		if w.Stage != stage || (w.Material != q.Replace && !slices.Contains(q.With, w.Material)) {
			continue
		}
		target.Add(per[w.Material], w.MassGrams)
		if w.Material == q.Replace {
			replaced += w.MassGrams
		}
	}
	if replaced == 0 {
		return nil
	}
	rows := q.rows(target, per)
	total := 0.0
	for _, symbol := range rows {
		total += target[symbol]
	}
	if total <= 0 {
		var faults finding.Faults
		faults.Add("replace", fmt.Sprintf("%s holds no element that counts: %s leave as gas and count only when named",
			q.Replace, strings.Join(passing, ", ")), "name the elements that should count")
		return faults
	}
	amounts := q.solve(rows, target, total, per)
	got := Moles{}
	for j, id := range q.With {
		got.Add(per[id], amounts[j])
		result.Amounts = append(result.Amounts, SubstituteAmount{stage, id, amounts[j]})
	}
	var off []string
	for _, symbol := range rows {
		relative := (got[symbol] - target[symbol]) / against(target[symbol], total)
		if math.Abs(relative) < gradientRounding {
			relative = 0 // rounding
		}
		result.Residual = append(result.Residual, ElementResidual{stage, symbol, target[symbol], got[symbol], relative})
		if math.Abs(relative) > q.Tolerance {
			off = append(off, fmt.Sprintf("%s %+.1f %%", symbol, 100*relative))
		}
	}
	if len(off) > 0 {
		result.Met = false
		result.Findings = append(result.Findings, q.notMet(stage, off))
	}
	return nil
}

// rows lists the elements that count, of the target and of the materials, by atomic number.
func (q SubstituteQuestion) rows(target Moles, per map[string]Moles) []string {
	all := Moles{}
	all.Add(target, 1)
	for _, id := range q.With {
		all.Add(per[id], 1)
	}
	return slices.DeleteFunc(all.Symbols(), func(symbol string) bool { return !q.counts(symbol) })
}

// against is what an element's difference is measured by.
func against(target, total float64) float64 {
	if target < traceShare*total {
		return total
	}
	return target
}

func (q SubstituteQuestion) solve(rows []string, target Moles, total float64, per map[string]Moles) []float64 {
	a, b := mat.NewDense(len(rows), len(q.With), nil), make([]float64, len(rows))
	for i, symbol := range rows {
		weight := 1 / against(target[symbol], total)
		b[i] = target[symbol] * weight
		for j, id := range q.With {
			a.Set(i, j, per[id][symbol]*weight)
		}
	}
	return nonNegative(a, b)
}

func (q SubstituteQuestion) notMet(stage string, off []string) finding.Finding {
	named := off
	if len(off) > maxSubstituteText {
		named = append(slices.Clone(off[:maxSubstituteText]), "...")
	}
	return finding.Finding{
		Severity: finding.Block, Code: "SUBSTITUTE_NOT_MET", Field: "with", About: stage,
		Message: fmt.Sprintf("at stage %s, %s cannot stand in for %s within %g %%: %s", stage, strings.Join(q.With, ", "), q.Replace,
			100*q.Tolerance, strings.Join(named, ", ")),
		Figures: []finding.Figure{{Name: "tolerance", Value: 100 * q.Tolerance, Unit: "%"}},
		Cure: "name a further material that holds what lacks, or one without what is too much; or say that an element does not " +
			"count; or allow more",
		Source: "non-negative least squares over the element moles",
	}
}

// newHazards warns of dangers that the substitutes declare and the replaced does not.
func (q SubstituteQuestion) newHazards(materials Materials) []finding.Finding {
	found := []finding.Finding{}
	before, _ := materials.Resolved(q.Replace)
	for _, id := range q.With {
		resolved, _ := materials.Resolved(id)
		for _, hazard := range resolved.Hazards {
			if slices.Contains(before.Hazards, hazard) {
				continue
			}
			found = append(found, finding.Finding{
				Severity: finding.Warn, Code: "SUBSTITUTE_NEW_HAZARD", Field: "with", About: id,
				Message: fmt.Sprintf("%s is of the class %s, and %s is not", id, hazard, q.Replace),
				Cure:    "check the changed recipe, and its air, before it is used", Source: "the materials' own hazards",
			})
		}
	}
	return found
}

func (q SubstituteQuestion) assumptions() []string {
	return []string{
		"Amounts are as weighed, each material corrected for its own moisture and purity, at the recipe's own scale.",
		fmt.Sprintf("Each element's difference is measured by its own target; where the target holds less than %g %% of its "+
			"counted moles, by all of them (common practice, no source).", 100*traceShare),
		fmt.Sprintf("%s leave as gas and count only when named.", strings.Join(passing, ", ")),
		"A substitute that the stage already adds is reckoned anew, its amount included.",
		"Only elements are kept: how fast the materials react, melt and give off gas may differ, so check the changed recipe.",
	}
}
