package app

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/chem/hazard"
	"saggar/server/domain"
	"saggar/server/store"
)

// Codes of the findings about clearances.
const (
	codeClearanceNeeded  = "CLEARANCE_NEEDED"
	codeClearanceTooLate = "CLEARANCE_TOO_LATE"
)

// ruleCheck holds prepared runs against the rules of the studio that do not ask whether they fit.
type ruleCheck struct {
	*prepared
	tx       *store.Tx
	now      time.Time
	by       domain.Caller
	standing []domain.Run // as they stand, in the order of the prepared runs, when they are moved
	rules    []domain.BookingRule
}

// checkRules holds the prepared runs against the studio's rules, and lets those wait that need a clearance. It comes last,
// since findings can be a reason.
func (p *prepared) checkRules(ctx context.Context, tx *store.Tx, now time.Time, by domain.Caller, standing []domain.Run) error {
	rules, err := tx.BookingRules(ctx, p.site.Studio.Key)
	if err != nil || len(rules) == 0 && standing == nil {
		return err
	}
	check := ruleCheck{prepared: p, tx: tx, now: now, by: by, standing: standing, rules: rules}
	over, err := check.limits(ctx)
	if err != nil {
		return err
	}
	for i := range p.assessments { // runs after those only overran
		facts, err := check.facts(ctx, i)
		if err != nil {
			return err
		}
		facts.OverAllotments = over[i]
		check.ask(i, facts)
	}
	return nil
}

// facts are what rules ask of a run.
func (c ruleCheck) facts(ctx context.Context, index int) (domain.RunFacts, error) {
	run, charge := c.runs[index], c.assessments[index].Charge
	facts := domain.RunFacts{Hazards: hazardsOf(charge.Materials), Codes: c.codes(index)}
	for _, load := range run.Loads {
		if load.Begun(c.now) {
			continue
		}
		window := load.StageWindow()
		stage := domain.StageFacts{
			Stage: load.Stage, Furnace: window.Furnace, ChargeCelsius: chargedAt(charge.Recipe, load.Stage),
			Charged: window.Charged(), Window: load.Window, Phases: window.Phases,
		}
		switch {
		case load.Ride != nil:
			stage.Releases = load.Ride.Releases
		case load.Firing != nil:
			stage.Releases = load.Firing.Releases
		}
		facts.Stages = append(facts.Stages, stage)
	}
	if !c.asksFirstRuns() {
		return facts, nil
	}
	made, err := c.tx.HasMade(ctx, c.site.Studio.Key, run)
	facts.FirstRun = !made
	return facts, err
}

// chargedAt is at how many degrees Celsius a stage is charged, by its id, since a run may start at a later one.
func chargedAt(recipe chem.Recipe, id string) float64 {
	stage := slices.IndexFunc(recipe.Stages, func(s chem.Stage) bool { return s.ID == id })
	if stage < 0 {
		return 0
	}
	return recipe.Stages[stage].ChargeAtCelsius
}

func (c ruleCheck) asksFirstRuns() bool {
	return slices.ContainsFunc(c.rules, func(r domain.BookingRule) bool { return r.Clearance != nil && r.Clearance.FirstRun })
}

// codes are those of the findings about a run, by their field.
func (c ruleCheck) codes(index int) []string {
	var codes []string
	prefix := fieldOfRun(c.standing != nil, index)
	for _, f := range c.findings {
		if strings.HasPrefix(f.Field, prefix) {
			codes = append(codes, f.Code)
		}
	}
	return codes
}

// fieldOfRun is the path of a run in a request that books or moves.
func fieldOfRun(moving bool, index int) string {
	if moving {
		return fmt.Sprintf("moves[%d]", index)
	}
	return fmt.Sprintf("runs[%d]", index)
}

// hazardsOf are the classes of what is weighed out, as their compositions show and they declare.
func hazardsOf(materials chem.Materials) []string {
	var classes []string
	for _, m := range materials {
		for _, declared := range m.Hazards {
			classes = append(classes, string(declared))
		}
		for _, text := range formulasOf(m) {
			formula, err := chem.ParseFormula(text)
			if err != nil {
				continue // the charge was worked out with it before
			}
			for _, trait := range hazard.Of(formula) {
				classes = append(classes, string(trait))
			}
		}
	}
	return once(classes)
}

func formulasOf(m chem.Material) []string {
	var formulas []string
	for _, phase := range m.Phases {
		formulas = append(formulas, phase.Formula)
	}
	for _, oxide := range m.Oxides {
		formulas = append(formulas, oxide.Formula)
	}
	return formulas
}

// ask gives a run the clearances that the rules ask for, and says so in the findings. One that was given before holds on
// where it covers what is asked now.
func (c ruleCheck) ask(index int, facts domain.RunFacts) {
	run := &c.runs[index]
	var before []domain.Clearance
	if c.standing != nil {
		before = c.standing[index].Clearances
	}
	for _, old := range before {
		if old.State == domain.ClearanceCleared {
			run.Clearances = append(run.Clearances, old)
		}
	}
	for _, rule := range c.rules {
		if rule.Clearance == nil {
			continue
		}
		asked, needed := rule.Clearance.Asks(facts, c.site.Zone)
		if !needed {
			continue
		}
		old := slices.IndexFunc(before, func(b domain.Clearance) bool { return b.Rule == asked.Rule })
		if old >= 0 && before[old].State == domain.ClearanceCleared && before[old].Basis.Covers(asked.Basis) {
			continue
		}
		asked.AskTime = c.now
		if old >= 0 && before[old].State == domain.ClearanceWaiting {
			asked.AskTime = before[old].AskTime // moving it about does not make it wait longer
		}
		asked.ExpireTime = rule.Clearance.Until(asked.AskTime, facts)
		run.Clearances = slices.DeleteFunc(run.Clearances, func(k domain.Clearance) bool { return k.Rule == asked.Rule })
		run.Clearances = append(run.Clearances, asked)
		c.prepared.findings = append(c.prepared.findings, c.clearanceFinding(index, *rule.Clearance, asked))
	}
	*run = run.Held(c.now)
}

func (c ruleCheck) clearanceFinding(index int, rule domain.ClearanceRule, asked domain.Clearance) finding.Finding {
	f := finding.Finding{
		Severity: finding.Note, Code: codeClearanceNeeded, Field: fieldOfRun(c.standing != nil, index), About: asked.Rule,
		Message: fmt.Sprintf("%s: by rule %s it needs a clearance by %s, and waits for it until %s", asked.Reason, asked.Rule,
			asked.Who(), c.clock(asked.ExpireTime)),
		Cure: "ask them; its windows are held meanwhile",
	}
	if !asked.ExpireTime.After(c.now) {
		f.Severity, f.Code = finding.Block, codeClearanceTooLate
		f.Message = fmt.Sprintf("%s: by rule %s it needs a clearance by %s, for which it was to be booked before %s", asked.Reason,
			asked.Rule, asked.Who(), c.clock(asked.ExpireTime))
		f.Cure = fmt.Sprintf("charge it later: the rule wants the clearance %.4g h ahead of the first charge", rule.AheadOfChargeHours)
	}
	return f
}
