package app

import (
	"context"
	"slices"

	"saggar/scheduler"
	"saggar/server/domain"
)

// forbidByAir looks at each planned firing with all others in the rooms. When one is refused, the starts from its own to
// the next that the air allows are forbidden to its mode, and true is returned: the plan must be sought again.
func (p *planner) forbidByAir(ctx context.Context, solution scheduler.Solution) (bool, error) {
	var placed []plannedFiring
	for task, placement := range solution.Tasks {
		firing, ok := p.firing(task, placement, 0)
		if !ok {
			continue
		}
		if !p.joint(placed, firing).exceedsAir() {
			placed = append(placed, plannedFiring{Firing: firing})
			continue
		}
		if p.airFindings == nil {
			p.airFindings = p.joint(placed, firing).air()
		}
		until, err := p.nextAllowed(ctx, placed, task, placement)
		if err != nil {
			return false, err
		}
		mode := &p.problem.Tasks[task].Modes[placement.Mode]
		mode.ForbiddenStarts = append(mode.ForbiddenStarts, scheduler.Interval{Start: placement.StartMinute, End: until})
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
	return joint{site: p.site, existing: near(others, firing), planned: []plannedFiring{{Firing: firing}}, today: p.today}
}

// near are the firings whose gas can meet that of one.
func near(others []domain.Firing, firing domain.Firing) []domain.Firing {
	reach := reachOf([]plannedFiring{{Firing: firing}})
	return slices.DeleteFunc(others, func(f domain.Firing) bool { return !f.Window.Overlaps(reach) })
}

// firing is a placement as a firing, later by some minutes; false when nothing comes off it.
func (p *planner) firing(task int, placement scheduler.Placement, laterMinutes int) (domain.Firing, bool) {
	treatment := p.modes[task][placement.Mode]
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

// nextAllowed is the first start after a refused one, on the grid, that the air allows; the horizon when there is none.
func (p *planner) nextAllowed(ctx context.Context, placed []plannedFiring, task int, placement scheduler.Placement) (int, error) {
	horizon, step := p.problem.HorizonMinutes, max(p.problem.StepMinutes, 1)
	alone, _ := p.firing(task, placement, 0)
	if (joint{site: p.site, planned: []plannedFiring{{Firing: alone}}, today: p.today}).exceedsAir() {
		return horizon, nil // whatever the time
	}
	for start := placement.StartMinute + step; start < horizon; start += step {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		firing, _ := p.firing(task, placement, start-placement.StartMinute)
		if !p.joint(placed, firing).exceedsAir() {
			return start, nil
		}
	}
	return horizon, nil
}

// localClock shows a minute in the studio's local time.
func (p *planner) localClock(minute int) string {
	return p.instant(minute).In(p.site.Zone).Format("Mon 2 Jan 15:04")
}
