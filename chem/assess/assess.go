// Package assess puts chemistry, heat and air together: what a recipe at a scale is, how long each stage takes on a given
// furnace, what leaves the crucible when, what that does to the room, and which rules of the trade it breaks.
// It is pure and books nothing; who else is in the room is the caller's to add. Masses are grams, times minutes.
package assess

import (
	"cmp"
	"fmt"
	"slices"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

// Site is the part of a studio that an assessment needs. It is not changed.
type Site struct {
	Furnaces []heat.Furnace
	Rooms    map[string]air.Room
	Circuits []air.Circuit
	Practice chem.Practice
	// ChargeMinutes and DrawMinutes hold for stages that do not say; 0 means 20.
	ChargeMinutes       int
	DrawMinutes         int
	OnDate              string // ISO date, for the age of measurements and detector tests
	InterlockTestMonths int    // for how long a test of a fan interlock counts; 0 means DefaultInterlockTestMonths
	// OwnLimits are limits of air that the studio sets for itself.
	OwnLimits []air.OwnLimit
}

// Charge is a recipe at a scale, before any furnace is chosen.
type Charge struct {
	Recipe    chem.Recipe
	Materials chem.Materials // those that the recipe uses with mixtures resolved
	Factor    float64
	Balance   chem.BalanceResult
	// Findings are the rules that the charge breaks whatever it is fired in.
	Findings []finding.Finding
	held     []stageContents // of each stage
	taken    []chargeHeat    // by each stage
	starved  []starvation    // of each stage
	stated   chem.Materials  // with mixtures as they are
	scaled   []finding.Finding
	// converted is what the rates are known to convert in stages whose furnace is chosen.
	converted chem.Converted
}

// NewCharge works out the charge. Errors: finding.Faults of recipe, materials and scale.
func (s Site) NewCharge(recipe chem.Recipe, materials chem.Materials, scale chem.Scale) (Charge, error) {
	factor, err := s.Practice.ScaleFactor(recipe, materials, scale)
	if err != nil {
		return Charge{}, err
	}
	return s.worked(Charge{Recipe: recipe, Factor: factor, stated: materials, scaled: scale.Findings(s.Practice)})
}

// worked is the charge with all that follows from its recipe, materials and factor.
func (s Site) worked(c Charge) (Charge, error) {
	var err error
	if c.Balance, err = s.Practice.BalanceConverted(c.Recipe, c.stated, c.Factor, c.converted); err != nil {
		return Charge{}, err
	}
	if c.Materials, err = c.stated.ResolvedFor(c.Recipe); err != nil {
		return Charge{}, err
	}
	c.held = c.follow()
	if err := c.follows(); err != nil {
		return Charge{}, err
	}
	c.Findings = slices.Concat(c.Balance.Findings, c.scaled, c.rules())
	return c, nil
}

// Assessment is everything about a recipe on a studio's equipment with nobody else there.
type Assessment struct {
	Charge   Charge
	Stages   []StageAssessment
	Findings []finding.Finding // worst first
	// Assumptions are those of the charge, the heat and the air, each once.
	Assumptions []string
	Caution     string
}

// StageAssessment is one stage on the first furnace that can do it, if there is one without harm to the air.
type StageAssessment struct {
	Stage string
	// Treatment is nil when no furnace can do it; the findings say why.
	Treatment *Treatment
	// Air is of the furnace's room in the cautious case; nil when nothing comes off.
	Air *RoomAir
}

// RoomAir is a room while one firing runs in it alone.
type RoomAir struct {
	Room                     string
	FlowCubicMetersPerSecond float64
	air.Assessment
	// Near is what people breathe beside the open furnace.
	Near air.NearAssessment
	// Failure is what follows when the extraction stops at the worst minute.
	Failure air.FanFailure
}

// Recipe assesses a recipe at a scale. Errors: finding.Faults.
func (s Site) Recipe(recipe chem.Recipe, materials chem.Materials, scale chem.Scale) (Assessment, error) {
	charge, err := s.NewCharge(recipe, materials, scale)
	if err != nil {
		return Assessment{}, err
	}
	a := Assessment{Caution: chem.Caution}
	var assumptions []string
	for i := range recipe.Stages {
		stage, found := s.firstFit(charge, i)
		a.Findings = append(a.Findings, found...)
		if stage.Treatment != nil {
			assumptions = append(assumptions, stage.Treatment.Assumptions...)
			if charge, err = s.after(charge, *stage.Treatment); err != nil {
				return Assessment{}, err
			}
		}
		if stage.Air != nil {
			assumptions = append(assumptions, stage.Air.Assumptions...)
			a.Findings = append(a.Findings, at(stage.Air.Findings, stagePath(i))...)
		}
		a.Stages = append(a.Stages, stage)
	}
	a.Charge = charge
	a.Findings = slices.Concat(charge.Findings, a.Findings)
	a.Assumptions = once(slices.Concat(charge.Balance.Assumptions, assumptions))
	finding.SortWorstFirst(a.Findings)
	return a, nil
}

// firstFit treats a stage on the first furnace, by id, that neither a rule nor the air of its room forbids, else on the
// first that no rule forbids. When none fits, the findings of all are returned.
func (s Site) firstFit(charge Charge, index int) (StageAssessment, []finding.Finding) {
	stage := StageAssessment{Stage: charge.Recipe.Stages[index].ID}
	candidates := s.Candidates(charge.Recipe.Stages[index])
	var refused []finding.Finding
	for _, id := range candidates {
		t, err := s.Treat(charge, index, id)
		if err != nil {
			refused = append(refused, asFindings(err, stagePath(index), id)...)
			continue
		}
		if finding.Blocks(t.Findings) {
			refused = append(refused, t.Findings...)
			continue
		}
		roomAir := s.roomAir(t)
		clean := roomAir == nil || !finding.Blocks(roomAir.Findings)
		if stage.Treatment == nil || clean {
			stage.Treatment, stage.Air = &t, roomAir
		}
		if clean {
			break
		}
	}
	if stage.Treatment != nil {
		return stage, stage.Treatment.Findings
	}
	if len(candidates) == 0 {
		refused = append(refused, finding.Finding{
			Severity: finding.Block, Code: "STAGE_NO_FURNACE", Field: stagePath(index) + ".furnaces", About: stage.Stage,
			Message: fmt.Sprintf("no furnace of the studio is meant for stage %s", stage.Stage),
			Cure:    "add a furnace, or name one that stands in the stage's furnaces",
		})
	}
	return stage, append(refused, s.unjudgedAir(charge, index, candidates)...)
}

// Candidates lists the furnaces on which a stage may be tried, by id: those that it names, or all heated ones for a heat
// treatment. Bench work that names no station needs none, which is the one candidate "".
func (s Site) Candidates(stage chem.Stage) []string {
	var ids []string
	for _, f := range s.Furnaces {
		named := slices.Contains(stage.Furnaces, f.ID)
		meant := len(stage.Furnaces) == 0 && f.Source != heat.Bench && stage.Program != nil
		if named || meant {
			ids = append(ids, f.ID)
		}
	}
	if stage.Program == nil && len(stage.Furnaces) == 0 {
		ids = []string{""}
	}
	slices.SortFunc(ids, cmp.Compare[string])
	return ids
}

func (s Site) furnace(id string) (heat.Furnace, bool) {
	i := slices.IndexFunc(s.Furnaces, func(f heat.Furnace) bool { return f.ID == id })
	if i < 0 {
		return heat.Furnace{}, false
	}
	return s.Furnaces[i], true
}

func stagePath(index int) string { return fmt.Sprintf("stages[%d]", index) }

// at puts findings that have no field of their own under a path.
func at(findings []finding.Finding, path string) []finding.Finding {
	placed := slices.Clone(findings)
	for i := range placed {
		if placed[i].Field == "" {
			placed[i].Field = path
		}
	}
	return placed
}

// once leaves out repeats, keeping the order.
func once(list []string) []string {
	var kept []string
	for _, s := range list {
		if !slices.Contains(kept, s) {
			kept = append(kept, s)
		}
	}
	return kept
}
