package assess

import (
	"fmt"
	"slices"
	"strings"
	"sync"

	"saggar/chem"
	"saggar/chem/data"
	"saggar/chem/finding"
	"saggar/chem/hazard"
	"saggar/chem/heat"
)

const oxidising = heat.Oxidising

func atmosphere(stage chem.Stage) heat.Atmosphere {
	if stage.Atmosphere == "" {
		return oxidising
	}
	return stage.Atmosphere
}

// chargeRules is the table, read once.
var chargeRules = sync.OnceValue(data.ChargeRules)

// clashing holds a stage's charge against the table of what it must not hold. A rule that was said of the same materials at
// the stage before is not said again; said keeps what was, by the rule's row.
func (c Charge) clashing(index int, said map[int]string) []finding.Finding {
	stage, all := c.Recipe.Stages[index], c.held[index].all
	var found []finding.Finding
	for row, rule := range chargeRules() {
		one, other := all.names(hazard.Trait(rule.One)), all.names(hazard.Trait(rule.Other))
		broken := len(one) > 0 && (rule.Other == "" || len(other) > 0)
		if rule.When == data.FiredOxidising && !firesInAir(stage) {
			broken = false
		}
		who := strings.Join(one, ", ") + " with " + strings.Join(other, ", ")
		if !broken || said[row] == who {
			if !broken {
				delete(said, row)
			}
			continue
		}
		said[row] = who
		message := fmt.Sprintf("at stage %s, %s (%s) with %s (%s) %s", stage.ID, strings.Join(one, ", "), worded(rule.One),
			strings.Join(other, ", "), worded(rule.Other), rule.Consequence)
		if rule.Other == "" {
			message = fmt.Sprintf("at stage %s, %s %s", stage.ID, strings.Join(one, ", "), rule.Consequence)
		}
		found = append(found, finding.Finding{
			Severity: finding.Severity(rule.Severity), Code: rule.Code, Field: stagePath(index) + ".additions", About: stage.ID,
			Message: message, Cure: rule.Cure, Source: sourced(rule.Source, rule.Read),
		})
	}
	return found
}

// worded is a trait as a reader sees it.
func worded(trait string) string { return strings.ReplaceAll(trait, "_", " ") }

// sourced says of a source that was not read itself how its value came here.
func sourced(source string, read data.Read) string {
	if read == data.SecondHand || read == data.FromMemory {
		return fmt.Sprintf("%s (%s)", source, read)
	}
	return source
}

// stations finds a bench station on which a recipe works sulfur at one stage and an oxidiser at another: what is left in a
// mortar is enough. What the station last held for other recipes is not known here.
func (c Charge) stations(index int) []finding.Finding {
	stage := c.Recipe.Stages[index]
	if !isWorkedOn(stage) {
		return nil
	}
	here := c.held[index].all
	for j, earlier := range c.Recipe.Stages[:index] {
		shared := slices.DeleteFunc(slices.Clone(earlier.Furnaces), func(id string) bool {
			return !slices.Contains(stage.Furnaces, id)
		})
		if !isWorkedOn(earlier) || len(shared) == 0 {
			continue
		}
		there := c.held[j].all
		both := here.has(hazard.Oxidiser) && here.has(hazard.Sulfur) // then it is a clash
		meet := there.has(hazard.Oxidiser) && here.has(hazard.Sulfur) || there.has(hazard.Sulfur) && here.has(hazard.Oxidiser)
		if both || !meet {
			continue
		}
		return []finding.Finding{{
			Severity: finding.Block, Code: "STATION_OXIDISER_AND_SULFUR", Field: stagePath(index) + ".furnaces", About: stage.ID,
			Message: fmt.Sprintf("%s works an oxidiser and sulfur, at stages %s and %s; what is left of one burns with the other",
				strings.Join(shared, ", "), earlier.ID, stage.ID),
			Cure: "give each its own station", Source: commonPractice,
		}}
	}
	return nil
}

// isWorkedOn reports bench work in which friction can light what is left on a station.
func isWorkedOn(stage chem.Stage) bool {
	return stage.Program == nil && (stage.Kind == chem.Grind || stage.Kind == chem.Mix)
}
