package assess

import (
	"saggar/chem"
	"saggar/chem/finding"
)

const commonPractice = "common practice, no source"

// traceShare is the share of a charge's mass up to which an element or compound is a trace that ordinary clays also bring:
// common practice, no source.
const traceShare = 0.001

// rules returns the rules of the trade that the charge breaks whatever furnace it goes into. What two kinds of contents do
// together is data (chem/data, charge-rules.csv), and so are the toxic elements; what has figures stands here.
func (c Charge) rules() []finding.Finding {
	var found []finding.Finding
	said := map[int]string{}
	for i, stage := range c.Recipe.Stages {
		path := stagePath(i)
		found = append(found, c.clashing(i, said)...)
		found = append(found, c.stations(i)...)
		found = append(found, c.banned(i)...)
		found = append(found, c.dusty(i)...)
		if stage.Program != nil {
			found = append(found, c.hotWater(i)...)
			found = append(found, c.dryCarbon(i)...)
			found = append(found, c.sealed(i)...)
			found = append(found, c.fuming(i)...)
			found = append(found, c.fedHot(i)...)
			found = append(found, c.besideWare(i)...)
			found = append(found, c.melting(i, path)...)
			found = append(found, c.overheated(i)...)
		}
	}
	return found
}

// firesInAir reports a heat treatment, beyond drying, that is oxidising.
func firesInAir(stage chem.Stage) bool {
	return stage.Program != nil && stage.Kind != chem.Dry && atmosphere(stage) == oxidising
}
