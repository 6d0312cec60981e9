package app

import (
	"context"
	"slices"
	"time"

	"saggar/scheduler"
	"saggar/server/domain"
)

// forbidByAir looks at each planned firing with all others in the rooms. When one is refused, the starts from its own to
// the next that the air allows are forbidden to its mode, or the mode is dropped when it is too much even with nobody else
// there; true is returned: the plan must be sought again.
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
			p.airFindings, p.airAssumptions = p.joint(placed, firing).air()
		}
		if p.tooMuchAlone(firing) {
			p.dropMode(task, placement.Mode)
			return true, nil
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

// tooMuchAlone reports whether the air refuses a firing whatever the time.
func (p *planner) tooMuchAlone(firing domain.Firing) bool {
	return joint{site: p.site, planned: []plannedFiring{{Firing: firing}}, today: p.today}.exceedsAir()
}

func (p *planner) dropMode(task, mode int) {
	p.problem.Tasks[task].Modes = slices.Delete(p.problem.Tasks[task].Modes, mode, mode+1)
	p.modes[task] = slices.Delete(p.modes[task], mode, mode+1)
}

// overAir is a stage that the air refuses on every furnace whatever the time, or "".
func (p *planner) overAir() string {
	for _, task := range p.problem.Tasks {
		if len(task.Modes) == 0 {
			return task.Name
		}
	}
	return ""
}

// forbidden are the starts from a refused one up to the next, on the grid, that the air allows.
func (p *planner) forbidden(ctx context.Context, placed []plannedFiring, task int, placement scheduler.Placement) (scheduler.Interval, error) {
	horizon, step := p.problem.HorizonMinutes, max(p.problem.StepMinutes, 1)
	refused := scheduler.Interval{Start: placement.StartMinute, End: horizon}
	for start := placement.StartMinute + step; start < horizon; start += step {
		if err := ctx.Err(); err != nil {
			return refused, err
		}
		firing, _ := p.firing(task, placement, start-placement.StartMinute)
		if !p.joint(placed, firing).exceedsAir() {
			refused.End = start
			break
		}
	}
	return refused, nil
}

// localClock shows a minute in the studio's local time.
func (p *planner) localClock(minute int) string {
	return p.instant(minute).In(p.site.Zone).Format("Mon 2 Jan 15:04")
}
