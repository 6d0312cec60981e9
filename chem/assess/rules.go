package assess

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/data"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

const commonPractice = "common practice, no source"

// Water in a charge that goes into a hot crucible, as a share of its mass: common practice, no source.
const (
	hotWaterWarnShare  = 0.005
	hotWaterBlockShare = 0.02
)

// clash is two kinds of contents that must not meet in one charge.
type clash struct {
	code        string
	one, other  chem.Hazard
	consequence string
	cure        string
}

// clashes are refused in any heat treatment, mixing or grinding: common practice, no source.
var clashes = []clash{
	{"OXIDISER_WITH_FUEL", chem.HazardOxidiser, chem.HazardSulfur, "burns violently or explodes", "this is not furnace work"},
	{"OXIDISER_WITH_FUEL", chem.HazardOxidiser, chem.HazardCarbon, "burns violently or explodes", "this is not furnace work"},
	{"OXIDISER_WITH_FUEL", chem.HazardOxidiser, chem.HazardMetalPowder, "burns violently or explodes", "this is not furnace work"},
	{"METAL_POWDER_WITH_OXIDE", chem.HazardMetalPowder, chem.HazardMetalOxide, "can react like thermite", "this is not furnace work"},
	{"SULFIDE_WITH_ACID", chem.HazardSulfide, chem.HazardAcid, "gives off hydrogen sulfide", "keep acid away from it; wash with water"},
}

// contents are the hazards in a stage's charge with the materials that bring them.
type contents map[chem.Hazard][]string

func (c contents) has(h chem.Hazard) bool { return len(c[h]) > 0 }

// rules returns the rules of the trade that the charge breaks whatever furnace it goes into.
func (c Charge) rules() []finding.Finding {
	var found []finding.Finding
	carried := contents{}
	for i, stage := range c.Recipe.Stages {
		added := c.contentsOf(stage)
		for hazard, materials := range added {
			carried[hazard] = once(append(carried[hazard], materials...))
		}
		path := stagePath(i)
		found = append(found, clashing(stage, carried, path)...)
		found = append(found, banned(stage, added, path)...)
		found = append(found, dusty(stage, added, path)...)
		if stage.Program != nil {
			found = append(found, c.hotWater(i)...)
			found = append(found, c.sealed(i)...)
			found = append(found, c.fedHot(i)...)
			found = append(found, melting(stage, path)...)
			carried = c.leftBy(i)
		}
	}
	return found
}

// contentsOf lists the hazards that a stage's additions bring: those that a material declares, and those that its
// compounds show.
func (c Charge) contentsOf(stage chem.Stage) contents {
	found := contents{}
	for _, addition := range stage.Additions {
		material := c.Materials[addition.Material]
		hazards := slices.Clone(material.Hazards)
		for _, phase := range material.Phases {
			hazards = append(hazards, shownBy(phase.Formula)...)
		}
		for _, oxide := range material.Oxides {
			hazards = append(hazards, shownBy(oxide.Formula)...)
		}
		for _, hazard := range hazards {
			found[hazard] = once(append(found[hazard], addition.Material))
		}
	}
	return found
}

// Groups as formulas write them: of the oxidisers, and of chromium(VI), which chromium(III) never shows.
var (
	oxidisingAnions   = []string{"NO3", "ClO3", "ClO4", "MnO4"}
	chromiumSixAnions = []string{"CrO3", "CrO4", "Cr2O7"}
)

func containsAny(text string, parts []string) bool {
	return slices.ContainsFunc(parts, func(part string) bool { return strings.Contains(text, part) })
}

// toxicElements must not go into a studio's furnace unless its own rule clears them.
var toxicElements = []string{"Be", "As", "Cd", "Hg", "Tl", "Pb"}

// shownBy is what a formula alone says of its hazards.
func shownBy(text string) []chem.Hazard {
	formula, err := chem.ParseFormula(text)
	if err != nil {
		return nil
	}
	var hazards []chem.Hazard
	elements := formula.Elements()
	for _, e := range elements {
		if slices.Contains(toxicElements, e.Symbol) {
			hazards = append(hazards, chem.HazardToxic)
		}
	}
	if formula.Count("F") > 0 {
		hazards = append(hazards, chem.HazardFluoride)
	}
	if len(elements) == 1 {
		switch elements[0].Symbol {
		case "S":
			hazards = append(hazards, chem.HazardSulfur)
		case "C":
			hazards = append(hazards, chem.HazardCarbon)
		}
	}
	if len(elements) > 1 && formula.Count("S") > 0 && formula.Count("O") == 0 {
		hazards = append(hazards, chem.HazardSulfide)
	}
	if containsAny(text, oxidisingAnions) {
		hazards = append(hazards, chem.HazardOxidiser)
	}
	if containsAny(text, chromiumSixAnions) {
		hazards = append(hazards, chem.HazardToxic)
	}
	return hazards
}

// leftBy is what a firing leaves: what reacts has reacted, so it shows by the formulas of what remains and of the product.
// A product with sulfur that is no sulfate counts as a sulfide, from which acid would set hydrogen sulfide free.
func (c Charge) leftBy(index int) contents {
	left := contents{}
	for _, amount := range c.Balance.Stages[index].Remaining {
		for _, hazard := range shownBy(amount.Formula) {
			left[hazard] = once(append(left[hazard], amount.Formula))
		}
	}
	product, err := chem.ParseFormula(c.Recipe.Stages[index].Product)
	if err == nil && product.Count("S") > 0 && !strings.Contains(product.String(), "SO4") {
		left[chem.HazardSulfide] = once(append(left[chem.HazardSulfide], product.String()))
	}
	return left
}

func clashing(stage chem.Stage, c contents, path string) []finding.Finding {
	var found []finding.Finding
	for _, rule := range clashes {
		if c.has(rule.one) && c.has(rule.other) {
			found = append(found, finding.Finding{
				Severity: finding.Block, Code: rule.code, Field: path + ".additions", About: stage.ID,
				Message: fmt.Sprintf("at stage %s, %s (%s) with %s (%s) %s", stage.ID, strings.Join(c[rule.one], ", "),
					rule.one, strings.Join(c[rule.other], ", "), rule.other, rule.consequence),
				Cure: rule.cure, Source: commonPractice,
			})
		}
	}
	return found
}

// wordFor completes "holds what is".
var wordFor = map[chem.Hazard]string{chem.HazardToxic: "toxic", chem.HazardFluoride: "fluoride"}

func banned(stage chem.Stage, c contents, path string) []finding.Finding {
	var found []finding.Finding
	for _, hazard := range []chem.Hazard{chem.HazardToxic, chem.HazardFluoride} {
		if c.has(hazard) {
			found = append(found, finding.Finding{
				Severity: finding.Block, Code: "CONTENTS_" + strings.ToUpper(string(hazard)), Field: path + ".additions",
				About: stage.ID,
				Message: fmt.Sprintf("%s, added at stage %s, holds what is %s, and what that gives off is not modelled",
					strings.Join(c[hazard], ", "), stage.ID, wordFor[hazard]),
				Cure: "leave it out, or take the work to a laboratory that is set up for it", Source: commonPractice,
			})
		}
	}
	return found
}

// dusty notes crystalline silica where it becomes dust, with every limit for it. How much rises is not worked out: no figure
// for it is assumed, it must be measured.
func dusty(stage chem.Stage, c contents, path string) []finding.Finding {
	if !c.has(chem.HazardSilicaDust) {
		return nil
	}
	var words, sources []string
	var figures []finding.Figure
	for _, l := range air.StrictestFirst("SiO2") {
		if l.Kind == data.DangerousToLife {
			continue
		}
		words = append(words, fmt.Sprintf("%s %s %g", l.Authority, l.Kind, l.MilligramsPerCubicMeter))
		sources = append(sources, l.Source)
		figures = append(figures, finding.Figure{
			Name: "limit_" + strings.ToLower(l.Authority+"_"+string(l.Kind)), Value: l.MilligramsPerCubicMeter, Unit: "mg/m3",
		})
	}
	return []finding.Finding{{
		Severity: finding.Note, Code: "SILICA_DUST", Field: path + ".additions", About: stage.ID,
		Message: fmt.Sprintf("weighing, sieving and grinding %s at stage %s raises respirable crystalline silica, which no eye "+
			"sees; the limits over a shift, strictest first: %s mg/m3", strings.Join(c[chem.HazardSilicaDust], ", "), stage.ID,
			strings.Join(words, ", ")),
		Figures: figures,
		Cure: "work at the dust hood or wet, and wipe up wet; what respirator would be enough follows from a measured " +
			"concentration only",
		Source: strings.Join(once(sources), "; "),
	}}
}

// hotWater finds water, free or bound, that goes into a hot crucible.
func (c Charge) hotWater(index int) []finding.Finding {
	stage, balance := c.Recipe.Stages[index], c.Balance.Stages[index]
	if stage.ChargeAtCelsius <= heat.ColdChargeCelsius || balance.MassInGrams <= 0 {
		return nil
	}
	share := (balance.FreeWaterGrams + balance.BoundWaterGrams) / balance.MassInGrams
	return wetFinding(stage, share, stagePath(index)+".charge_at_celsius")
}

func wetFinding(stage chem.Stage, share float64, field string) []finding.Finding {
	severity := finding.Block
	switch {
	case share <= 0, share <= hotWaterWarnShare && stage.Kind != chem.Melt:
		return nil
	case share <= hotWaterBlockShare && stage.Kind != chem.Melt:
		severity = finding.Warn
	}
	return []finding.Finding{{
		Severity: severity, Code: "WATER_INTO_HOT", Field: field, About: stage.ID,
		Message: fmt.Sprintf("%.2f %% of what is charged hot at stage %s is water, free or bound; steam can throw it out",
			100*share, stage.ID),
		Figures: []finding.Figure{
			{Name: "water", Value: 100 * share, Unit: "%"}, {Name: "warn_above", Value: 100 * hotWaterWarnShare, Unit: "%"},
			{Name: "block_above", Value: 100 * hotWaterBlockShare, Unit: "%"},
		},
		Cure: "charge it cold, or dry and calcine it first", Source: commonPractice,
	}}
}

// sealed finds a tight lid over a charge that gives off gas.
func (c Charge) sealed(index int) []finding.Finding {
	stage := c.Recipe.Stages[index]
	gases := c.Balance.Stages[index].OffGasOf(chem.Cautious)
	if stage.Lid != chem.SealedLid || len(gases) == 0 {
		return nil
	}
	var grams float64
	for _, gas := range gases {
		grams += gas.MassGrams
	}
	return []finding.Finding{{
		Severity: finding.Block, Code: "SEALED_OVER_GAS", Field: stagePath(index) + ".lid", About: stage.ID,
		Message: fmt.Sprintf("stage %s gives off up to %.1f g of gas under a sealed lid, which can burst", stage.ID, grams),
		Figures: []finding.Figure{{Name: "off_gas", Value: grams, Unit: "g"}},
		Cure:    "use a loose lid", Source: commonPractice,
	}}
}

// fedHot finds what may not be put in while the furnace is hot.
func (c Charge) fedHot(index int) []finding.Finding {
	stage := c.Recipe.Stages[index]
	var found []finding.Finding
	for k, addition := range stage.Additions {
		if !addition.FedHot {
			continue
		}
		path := fmt.Sprintf("%s.additions[%d].fed_hot", stagePath(index), k)
		one := c.contentsOf(chem.Stage{Additions: []chem.Addition{addition}})
		if one.has(chem.HazardSulfur) {
			found = append(found, finding.Finding{
				Severity: finding.Block, Code: "SULFUR_FED_HOT", Field: path, About: stage.ID,
				Message: fmt.Sprintf("%s holds sulfur and is fed hot at stage %s: it flashes and burns in the face of whoever "+
					"feeds it", addition.Material, stage.ID),
				Cure: "cool, mix it in, and oxidise as a separate firing", Source: commonPractice,
			})
		}
		parts, err := c.Materials[addition.Material].Breakdown(1) // of one gram, so grams are shares
		if err == nil {
			found = append(found, wetFinding(stage, parts.WaterGrams(), path)...)
		}
	}
	return found
}

func melting(stage chem.Stage, path string) []finding.Finding {
	if stage.Kind != chem.Melt {
		return nil
	}
	return []finding.Finding{{
		Severity: finding.Warn, Code: "FUME_NOT_MODELLED", Field: path, About: stage.ID,
		Message: fmt.Sprintf("stage %s melts, and what fume that gives off is not worked out", stage.ID),
		Cure:    "have it cleared by whoever answers for the room, and acknowledge this code",
		Source:  commonPractice,
	}}
}

// wordOf is what an element in a charge may be to a furnace or to others' ware, in the words of a furnace's exclusions.
var wordOf = map[string]string{
	"S": heat.Sulfur, "F": heat.Fluoride, "Cl": heat.Chloride,
	"Zn": heat.VolatileMetal, "Pb": heat.VolatileMetal, "Cd": heat.VolatileMetal, "Bi": heat.VolatileMetal,
	"Hg": heat.VolatileMetal, "As": heat.VolatileMetal,
}

// traceShare is the share of a charge's mass up to which an element is a trace that ordinary ware also brings: common
// practice, no source.
const traceShare = 0.001

// contentWords are what a stage's charge holds in the words of a furnace's exclusions. Traces and ordinary ware do not count.
func (c Charge) contentWords(index int) []string {
	words := map[string]bool{}
	stage := c.Balance.Stages[index]
	for _, e := range stage.Elements {
		grams := chem.Moles{e.Element: e.InMoles}.Grams()
		if word, ok := wordOf[e.Element]; ok && grams > traceShare*stage.MassInGrams {
			words[word] = true
		}
	}
	if c.contentsOf(c.Recipe.Stages[index]).has(chem.HazardCarbon) {
		words[heat.Carbon] = true
	}
	return slices.Sorted(maps.Keys(words))
}
