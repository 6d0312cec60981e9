package app

import (
	"context"
	"slices"
	"time"

	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/scheduler"
	"saggar/server/domain"
)

// forbidByAir looks at each planned firing with all others in the rooms. When one is refused, the starts from its own to
// the next that the air allows are forbidden to its mode, and true is returned: the plan must be sought again.
func (p *planner) forbidByAir(ctx context.Context, solution scheduler.Solution) (bool, error) {
	var placed []plannedFiring
	for task, placement := range solution.Tasks {
		treatment := p.modes[task][placement.Mode]
		firing, ok := p.firingOf(task, treatment, placement, 0)
		if !ok {
			continue
		}
		if !p.joint(placed, firing).exceedsAir() {
			placed = append(placed, plannedFiring{Firing: firing})
			continue
		}
		if p.airFindings == nil {
			p.airFindings, p.airAssumptions = p.joint(placed, firing).air()
		}
		forbidden, err := p.forbidden(ctx, placed, task, placement)
		if err != nil {
			return false, err
		}
		mode := &p.problem.Tasks[task].Modes[placement.Mode]
		mode.ForbiddenStarts = append(mode.ForbiddenStarts, forbidden)
		return true, nil
	}
	return false, nil
}

// joint is one planned firing with those already placed counted among the existing.
func (p *planner) joint(placed []plannedFiring, firing domain.Firing) joint {
	others := slices.Clone(p.existing)
	for _, f := range placed {
		others = append(others, f.Firing)
	}
	return joint{site: p.site, existing: near(others, firing, p.reach), planned: []plannedFiring{{Firing: firing}}, today: p.today}
}

// near are the firings whose gas can meet that of one.
func near(others []domain.Firing, firing domain.Firing, around time.Duration) []domain.Firing {
	reach := reachOf([]plannedFiring{{Firing: firing}}, around)
	return slices.DeleteFunc(others, func(f domain.Firing) bool { return !f.Window.Overlaps(reach) })
}

// firingOf is a treatment so placed as a firing, later by some minutes; false when nothing comes off it.
func (p *planner) firingOf(task int, treatment assess.Treatment, placement scheduler.Placement, laterMinutes int) (domain.Firing, bool) {
	if len(treatment.Cautious) == 0 {
		return domain.Firing{}, false
	}
	stage := p.charge.Recipe.Stages[task]
	window := domain.StageWindow{Stage: stage.ID, Furnace: treatment.Furnace.ID}
	for k, span := range placement.Phases {
		window.Phases = append(window.Phases, domain.PhaseWindow{Kind: treatment.Phases[k].Kind, Window: domain.Window{
			Start: p.instant(span.Start + laterMinutes), End: p.instant(span.End + laterMinutes),
		}})
	}
	return *newFiring(&p.run, stage, window, treatment), true
}

// refusedAlone are the findings of a treatment whose air refuses it whatever the time and with nobody else there: too much
// gas for the room, or no tested detector.
func (p *planner) refusedAlone(task int, t assess.Treatment) []finding.Finding {
	firing, ok := p.firingOf(task, t, placementOf(t), 0)
	if !ok {
		return nil
	}
	alone := joint{site: p.openSite, planned: []plannedFiring{{Firing: firing}}, today: p.today, anyTime: true}
	found, assumptions := alone.air()
	if !finding.Blocks(found) {
		return nil
	}
	if p.airFindings == nil {
		p.airFindings, p.airAssumptions = found, assumptions
	}
	return found
}

// placementOf is a treatment at the plan's origin, without waiting.
func placementOf(t assess.Treatment) scheduler.Placement {
	var placement scheduler.Placement
	minute := 0
	for _, phase := range t.Phases {
		placement.Phases = append(placement.Phases, scheduler.Interval{Start: minute, End: minute + phase.Minutes})
		minute += phase.Minutes
	}
	return placement
}

// forbidden are the starts from a refused one up to the next, on the grid, that the air allows. When the run's own earlier
// stages are part of why, moving those might help too: the plan is then no longer proven to be the earliest.
func (p *planner) forbidden(ctx context.Context, placed []plannedFiring, task int, placement scheduler.Placement) (scheduler.Interval, error) {
	horizon, step := p.problem.HorizonMinutes, max(p.problem.StepMinutes, 1)
	treatment := p.modes[task][placement.Mode]
	refused := scheduler.Interval{Start: placement.StartMinute, End: horizon}
	for start := placement.StartMinute; start < horizon; start += step {
		if err := ctx.Err(); err != nil {
			return refused, err
		}
		firing, _ := p.firingOf(task, treatment, placement, start-placement.StartMinute)
		if start > placement.StartMinute && !p.joint(placed, firing).exceedsAir() {
			refused.End = start
			break
		}
		if len(placed) > 0 && !p.unproven {
			p.unproven = !p.joint(nil, firing).exceedsAir()
		}
	}
	return refused, nil
}

// localClock shows a minute in the studio's local time.
func (p *planner) localClock(minute int) string {
	return p.instant(minute).In(p.site.Zone).Format("Mon 2 Jan 15:04")
}
