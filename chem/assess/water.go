package assess

import (
	"fmt"
	"strings"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/chem/hazard"
	"saggar/chem/heat"
	"saggar/chem/thermo"
)

// Water in a charge that goes into a hot crucible, as a share of its mass: common practice, no source.
const (
	hotWaterWarnShare  = 0.005
	hotWaterBlockShare = 0.02
)

// assumedCarbonMoisture is the water in carbon of which no moisture is stated: common practice. A maker's page on moisture
// by ASTM D2867 says that activated carbon usually has less than 5 % when it is packed, and takes up more in store.
const assumedCarbonMoisture = 0.05

// leastCarbonShare is how much of a dry material must be elemental carbon for it to be taken as one: common practice.
const leastCarbonShare = 0.5

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

// dryCarbon finds carbon that goes in hot as if it were dry: carbon never is.
func (c Charge) dryCarbon(index int) []finding.Finding {
	stage, balance := c.Recipe.Stages[index], c.Balance.Stages[index]
	var found []finding.Finding
	for k, addition := range stage.Additions {
		material := c.Materials[addition.Material]
		hot := addition.FedHot || stage.ChargeAtCelsius > heat.ColdChargeCelsius
		if !hot || material.MoistureFraction > 0 || !isCarbon(material) {
			continue
		}
		grams := assumedCarbonMoisture * balance.WeighOut[k].MassGrams
		share := grams / max(balance.MassInGrams, grams)
		found = append(found, finding.Finding{
			Severity: finding.Warn, Code: "CARBON_TAKEN_AS_MOIST", About: stage.ID,
			Field: fmt.Sprintf("%s.additions[%d].material", stagePath(index), k),
			Message: fmt.Sprintf("%s states no moisture and goes in hot at stage %s; carbon is never dry, so %g %% is assumed, "+
				"%.1f g of water", addition.Material, stage.ID, 100*assumedCarbonMoisture, grams),
			Figures: []finding.Figure{
				{Name: "assumed_moisture", Value: 100 * assumedCarbonMoisture, Unit: "%"},
				{Name: "water", Value: 100 * share, Unit: "%"},
			},
			Cure:   "dry it, weigh its moisture and state it, or charge it cold; otherwise acknowledge this code",
			Source: commonPractice,
		})
	}
	return found
}

// isCarbon reports a material that is mostly elemental carbon.
func isCarbon(material chem.Material) bool {
	brought := broughtBy(material, 1)
	var grams float64
	for _, p := range brought.portions {
		if p.formula.Count("C") > 0 && len(p.formula.Elements()) == 1 {
			grams += p.grams
		}
	}
	return grams >= leastCarbonShare*brought.grams && grams > 0
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
		if broughtBy(c.Materials[addition.Material], 1).has(hazard.Sulfur) {
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

func (c Charge) melting(index int, path string) []finding.Finding {
	stage := c.Recipe.Stages[index]
	if stage.Kind != chem.Melt {
		return nil
	}
	found := []finding.Finding{{
		Severity: finding.Warn, Code: "FUME_NOT_MODELLED", Field: path, About: stage.ID,
		Message: fmt.Sprintf("stage %s melts, and what fume that gives off is not worked out", stage.ID),
		Cure:    "have it cleared by whoever answers for the room, and acknowledge this code",
		Source:  commonPractice,
	}}
	if uncounted := meltsUncounted(c.Balance.Stages[index]); len(uncounted) > 0 {
		found = append(found, finding.Finding{
			Severity: finding.Note, Code: "MELTING_HEAT_NOT_COUNTED", Field: path, About: stage.ID,
			Message: fmt.Sprintf("the heat that melting itself takes at stage %s is not counted for %s, whose liquid no table has: "+
				"the furnace then needs longer, and gives more, than is worked out", stage.ID, strings.Join(uncounted, ", ")),
			Cure: "time the furnace with such a melt, and put those times into its file", Source: "chem/data/nasa9-coefficients.csv",
		})
	}
	return found
}

// meltsUncounted lists the compounds of a melt whose liquid no table has, and what the materials leave open.
func meltsUncounted(balance chem.StageBalance) []string {
	var list []string
	for _, phase := range balance.Charged {
		if phase.Moles > 0 && !thermo.HasLiquid(phase.Compound) {
			list = append(list, phase.Formula)
		}
	}
	if balance.InertGrams > 0 {
		list = append(list, "what its materials leave open")
	}
	return list
}
