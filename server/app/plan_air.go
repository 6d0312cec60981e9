package app

import (
	"context"
	"fmt"
	"slices"
	"time"

	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/scheduler"
	"saggar/server/domain"
)

// exactSteps is how many steps of the grid the air is asked one by one for the next start that it allows; further away every
// second is asked, then every fourth, and so on.
const exactSteps = 600

// airCuts are what the air forbids, collected while a search runs and given to the problem between two searches.
type airCuts struct {
	forbidden   map[taskMode][]scheduler.Interval
	separations []scheduler.Separation
}

// taskMode is a task in one of its modes.
type taskMode struct{ task, mode int }

func newAirCuts() *airCuts { return &airCuts{forbidden: map[taskMode][]scheduler.Interval{}} }

// apply gives what was collected to the problem.
func (c *airCuts) apply(p *planner) {
	for at, intervals := range c.forbidden {
		mode := &p.problem.Tasks[at.task].Modes[at.mode]
		mode.ForbiddenStarts = append(mode.ForbiddenStarts, intervals...)
		p.tasks[at.task].airCut = true
	}
	p.problem.Separations = append(p.problem.Separations, c.separations...)
	*c = *newAirCuts()
}

// collect looks at each placed firing with all others in the rooms, and then at vessels and gear, and says whether any is refused. What
// would have to change for that is collected.
func (c *airCuts) collect(ctx context.Context, p *planner, solution scheduler.Solution) bool {
	placed := p.placedFirings(solution)
	refused := false
	for i, one := range placed {
		if ctx.Err() != nil {
			return refused
		}
		others := slices.Delete(slices.Clone(placed), i, i+1)
		if !p.with(others, one.firing).refusesAir() {
			continue
		}
		refused = true
		if p.airFindings == nil {
			p.airFindings, p.airAssumptions = p.with(others, one.firing).air()
		}
		c.cut(ctx, p, one, others)
	}
	return refused || c.vessels(ctx, p, solution) || c.dress(ctx, p, solution)
}

// placedFiring is a task so placed as a firing.
type placedFiring struct {
	taskMode
	placement scheduler.Placement
	firing    domain.Firing
}

// placedFirings are the placed tasks from which something comes off.
func (p *planner) placedFirings(solution scheduler.Solution) []placedFiring {
	var placed []placedFiring
	for task, placement := range solution.Tasks {
		if placement.Omitted() {
			continue
		}
		if firing, ok := p.firingOf(task, placement, 0); ok {
			placed = append(placed, placedFiring{taskMode{task, placement.Mode}, placement, firing})
		}
	}
	return placed
}

// cut collects what keeps a refused firing from where it is: starts that what is booked forbids; or how far it must be from
// another of the plan, whatever the time; or else how far from the last of those that are too much together.
func (c *airCuts) cut(ctx context.Context, p *planner, one placedFiring, others []placedFiring) {
	alone := func(later int) bool { return p.with(nil, p.shifted(one, later)).refusesAir() }
	if alone(0) {
		from, to := p.refusedAround(ctx, one.placement.StartMinute, alone)
		c.forbidden[one.taskMode] = append(c.forbidden[one.taskMode], scheduler.Interval{Start: from + 1, End: to})
		return
	}
	paired := false
	for _, other := range others {
		if len(p.signedOff(plannedFiring{Firing: one.firing})) > 0 {
			break // what two do together depends on the time
		}
		pair := func(later int) bool { return p.pairRefused(p.shifted(one, later), other.firing) }
		if len(near([]domain.Firing{other.firing}, one.firing, p.reach)) == 0 || !pair(0) {
			continue
		}
		paired = true
		from, to := p.refusedAround(ctx, one.placement.StartMinute, pair)
		c.separate(p, other, one, from-other.placement.StartMinute, to-other.placement.StartMinute)
	}
	if paired {
		return
	}
	p.unproven = true // the others might move too
	culprits := p.tooMuchTogether(one, others)
	last := culprits[len(culprits)-1]
	among := func(later int) bool { return p.with(culprits, p.shifted(one, later)).refusesAir() }
	from, to := p.refusedAround(ctx, one.placement.StartMinute, among)
	c.separations = append(c.separations, separation(p, last.taskMode, one.taskMode, from-last.placement.StartMinute, to-last.placement.StartMinute))
}

// separate keeps two tasks apart, and with them all others that do the same on the same furnaces.
func (c *airCuts) separate(p *planner, first, second placedFiring, from, to int) {
	for _, a := range p.alike(first.taskMode) {
		for _, b := range p.alike(second.taskMode) {
			if a.task != b.task {
				c.separations = append(c.separations, separation(p, a, b, from, to))
			}
		}
	}
}

func separation(p *planner, first, second taskMode, from, to int) scheduler.Separation {
	return scheduler.Separation{
		Name:  fmt.Sprintf("%s and %s", p.problem.Tasks[first.task].Name, p.problem.Tasks[second.task].Name),
		First: first.task, FirstMode: first.mode, Second: second.task, SecondMode: second.mode, FromMinutes: from, ToMinutes: to,
	}
}

// alike are the tasks and modes that do the same as one: the same stage of the same charge on the same furnace.
func (p *planner) alike(one taskMode) []taskMode {
	asked := p.tasks[one.task]
	var all []taskMode
	for task, other := range p.tasks {
		if other.stage != asked.stage || other.run.chargeKey != asked.run.chargeKey {
			continue
		}
		for mode, t := range other.treatments {
			if t.Furnace.ID == asked.treatments[one.mode].Furnace.ID {
				all = append(all, taskMode{task, mode})
			}
		}
	}
	return all
}

// tooMuchTogether leaves out, one after the other, those others without which a firing is still refused.
func (p *planner) tooMuchTogether(one placedFiring, others []placedFiring) []placedFiring {
	kept := slices.Clone(others)
	for i := 0; i < len(kept); {
		fewer := slices.Delete(slices.Clone(kept), i, i+1)
		if p.with(fewer, one.firing).refusesAir() {
			kept = fewer
			continue
		}
		i++
	}
	return kept
}

// refusedAround is how far a refusal at a start reaches: the nearest starts before and after it that are allowed, on the grid
// from one step below zero to the horizon.
func (p *planner) refusedAround(ctx context.Context, start int, refused func(later int) bool) (before, after int) {
	return p.allowedFrom(ctx, start, -p.step(), refused), p.allowedFrom(ctx, start, p.step(), refused)
}

func (p *planner) allowedFrom(ctx context.Context, start, step int, refused func(later int) bool) int {
	tried := 0
	for at := start + step; at >= 0 && at < p.problem.HorizonMinutes && ctx.Err() == nil; at += step {
		if !refused(at - start) {
			return at
		}
		if tried++; tried >= exactSteps {
			tried, step = 0, 2*step
			p.unproven = true
		}
	}
	if step < 0 {
		return -p.step()
	}
	return p.problem.HorizonMinutes
}

func (p *planner) step() int { return max(p.problem.StepMinutes, 1) }

// shifted is a placed firing later by some minutes.
func (p *planner) shifted(one placedFiring, later int) domain.Firing {
	firing, _ := p.firingOf(one.task, one.placement, later)
	return firing
}

// with is one planned firing with what is booked and others of the plan counted among the existing.
func (p *planner) with(placed []placedFiring, firing domain.Firing) joint {
	others := slices.Clone(p.existing)
	for _, other := range placed {
		others = append(others, other.firing)
	}
	return joint{site: p.site, existing: near(others, firing, p.reach), planned: []plannedFiring{{Firing: firing}}, today: p.today}
}

// pairRefused says whether two firings are too much for the air with nobody else there, nothing out of use.
func (p *planner) pairRefused(one, other domain.Firing) bool {
	return joint{
		site: p.openSite, existing: []domain.Firing{other}, planned: []plannedFiring{{Firing: one}}, today: p.today,
	}.refusesAir()
}

// near are the firings whose gas can meet that of one.
func near(others []domain.Firing, firing domain.Firing, around time.Duration) []domain.Firing {
	reach := reachOf([]plannedFiring{{Firing: firing}}, around)
	return slices.DeleteFunc(others, func(f domain.Firing) bool { return !f.Window.Overlaps(reach) })
}

// firingOf is a task so placed as a firing, later by some minutes; false when nothing comes off it.
func (p *planner) firingOf(task int, placement scheduler.Placement, laterMinutes int) (domain.Firing, bool) {
	t := p.tasks[task]
	treatment := t.treatments[placement.Mode]
	if len(treatment.Cautious) == 0 {
		return domain.Firing{}, false
	}
	return *newFiring(&t.run.run, t.run.charge.Recipe.Stages[t.stage], p.windowOf(task, placement, laterMinutes), treatment), true
}

// refusedAlone are the findings of a treatment whose air refuses it whatever the time and with nobody else there: too much
// gas for the room, or no tested detector. Where rooms that its gas reaches are signed off within the plan's window it may do
// then: outside are the starts at which it would be over before or begin after.
func (p *planner) refusedAlone(run *plannedRun, stage int, t assess.Treatment) (found []finding.Finding, outside []scheduler.Interval) {
	if len(t.Cautious) == 0 {
		return nil, nil
	}
	window := domain.StageWindow{Furnace: t.Furnace.ID}
	minute, longest := 0, 0
	for _, phase := range t.Phases {
		window.Phases = append(window.Phases, domain.PhaseWindow{Kind: phase.Kind, Window: domain.Window{
			Start: p.instant(minute), End: p.instant(minute + phase.Minutes),
		}})
		minute += phase.Minutes
		longest += max(phase.Minutes, phase.MaxMinutes)
	}
	firing := newFiring(&run.run, run.charge.Recipe.Stages[stage], window, t)
	var seen assess.RoomAir
	alone := joint{site: p.openSite, planned: []plannedFiring{{Firing: *firing, seen: &seen}}, today: p.today, anyTime: true}
	found, assumptions := alone.air()
	p.gearNeeds[gearKey(run, stage, t.Furnace.ID)] = overBreathed(seen.Near)
	if !finding.Blocks(found) {
		return nil, nil
	}
	if p.airFindings == nil {
		p.airFindings, p.airAssumptions = found, assumptions
	}
	if signed := p.signedOff(alone.planned[0]); len(signed) > 0 {
		return nil, p.notDuring(signed, longest)
	}
	return found, nil
}

// signedOff are the times within the plan's window in which rooms that a firing's gas reaches are closed to people and signed.
func (p *planner) signedOff(f plannedFiring) []domain.Window {
	var signed []domain.Window
	for _, room := range (joint{site: p.site}).roomsOf(f) {
		signed = append(signed, p.site.SignedOff(room, p.window)...)
	}
	return domain.MergeWindows(signed)
}

// notDuring are the starts at which nothing that lasts so long falls into any of some times.
func (p *planner) notDuring(times []domain.Window, minutes int) []scheduler.Interval {
	var outside []scheduler.Interval
	from := 0
	for _, w := range times {
		if first := p.minuteFloor(w.Start) - minutes; first > from {
			outside = append(outside, scheduler.Interval{Start: from, End: first})
		}
		from = max(from, p.minuteCeil(w.End))
	}
	return append(outside, p.after(from-1))
}
