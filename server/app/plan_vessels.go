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
	"saggar/server/store"
)

// readHolds reads who has which vessels and gear, without the runs that move: what of them has begun is given out again.
func (p *planner) readHolds(ctx context.Context, tx *store.Tx) error {
	p.vessels, p.gear = vesselDesk{site: p.site}, gearDesk{site: p.site}
	if len(p.site.Vessels)+len(p.site.Gear) == 0 {
		return nil
	}
	holds, err := tx.Holds(ctx, p.site.Studio.Key, store.HoldsQuery{})
	for _, h := range holds {
		if slices.ContainsFunc(p.runs, func(r *plannedRun) bool { return r.standing != nil && r.standing.Key == h.RunKey }) {
			continue
		}
		if h.Kind == domain.KindGear {
			p.gear.holds = append(p.gear.holds, h)
			continue
		}
		for _, o := range p.overran {
			if o.run.Key == h.RunKey && o.run.Loads[o.stage].Stage == h.Stage {
				h.Window.End = later(h.Window.End, cleanedAfter(p.site.Studio, *o.firing))
			}
		}
		p.vessels.holds = append(p.vessels.holds, h)
	}
	return err
}

// noVesselFits are the findings of a treatment for which the studio has vessels of the kind asked for and none that fits at
// whatever time.
func (p *planner) noVesselFits(run *plannedRun, stage int, t assess.Treatment) []finding.Finding {
	ask := p.askOf(run, stage, t.Furnace.ID)
	if ask.stage.Vessel.Kind == "" || len(p.namedBefore(run, stage)) > 0 {
		return nil
	}
	ask.span = domain.Window{Start: p.origin, End: p.origin.Add(time.Minute)}
	ask.onDate = p.today
	idle := vesselDesk{site: p.site}
	if _, found := idle.serve(ask, nil, charged{}); finding.Blocks(found) {
		for i := range found {
			found[i].Field = fmt.Sprintf("stages[%d].vessel", stage)
		}
		return found
	}
	return nil
}

func (p *planner) askOf(run *plannedRun, stage int, furnace string) vesselAsk {
	ask := newVesselAsk(p.site, run.charge, stage, furnace, run.request.Scale)
	ask.run, ask.department = ownKey(run.index), run.request.Department
	return ask
}

// namedBefore are the vessels that somebody named for a stage of a run that moves.
func (p *planner) namedBefore(run *plannedRun, stage int) []domain.VesselUse {
	if run.standing == nil {
		return nil
	}
	return run.standing.VesselsOf(run.charge.Recipe.Stages[stage].ID, true)
}

// servedStage is a stage of a plan that has what it needs, with how many holds there were once it had it.
type servedStage struct {
	placedFiring
	run   int64
	holds int
}

// vessels gives the stages of a solution their vessels as a booking would, and says whether any goes without. What would have to
// change for that is collected.
func (c *airCuts) vessels(ctx context.Context, p *planner, solution scheduler.Solution) bool {
	if len(p.site.Vessels) == 0 {
		return false
	}
	refused := false
	desk := vesselDesk{site: p.site, holds: slices.Clone(p.vessels.holds)}
	var served []servedStage
	for _, run := range p.runs {
		windows := p.windowsOf(run, solution)
		var before charged
		for stage := range run.charge.Recipe.Stages {
			ask := p.askOf(run, stage, windows[stage].Furnace)
			ask.span = vesselSpan(p.site.Studio, run.charge.Recipe.Stages, windows[:stage+1])
			ask.onDate = windows[stage].Charged().In(p.site.Zone).Format(time.DateOnly)
			if emptiesVessels(ask.stage) {
				before = charged{}
			}
			if stage < run.kept {
				before = charged{run.standing.VesselsOf(ask.stage.ID, false), ask.span}
				desk.give(ask, before)
				continue
			}
			if _, searched := run.tasks[stage]; !searched { // what rides elsewhere takes what there is, and the check of the answer judges it
				if given, _ := desk.serve(ask, p.namedBefore(run, stage), before); len(given.uses) > 0 {
					desk.give(ask, given)
					before = given
				}
				continue
			}
			one, named, kept := p.placed(run, stage, solution), p.namedBefore(run, stage), before
			given, found := desk.serve(ask, named, kept)
			if finding.Blocks(found) {
				refused = true
				p.noteRefusal(one.task, vesselReason, found)
				c.cutHeld(ctx, p, servedStage{one, ask.run, len(p.vessels.holds)}, served, func(holds, later int) bool {
					_, found := vesselDesk{site: p.site, holds: desk.holds[:holds]}.serve(ask.shifted(later), named, kept)
					return finding.Blocks(found)
				})
				continue
			}
			if len(given.uses) > 0 {
				desk.give(ask, given)
				served, before = append(served, servedStage{one, ask.run, len(desk.holds)}), given
			}
		}
	}
	return refused
}

// placed is a stage of a run as a solution places it.
func (p *planner) placed(run *plannedRun, stage int, solution scheduler.Solution) placedFiring {
	task := run.tasks[stage]
	return placedFiring{taskMode: taskMode{task, solution.Tasks[task].Mode}, placement: solution.Tasks[task]}
}

// shifted is the same later by some minutes.
func (a vesselAsk) shifted(minutes int) vesselAsk {
	by := time.Duration(minutes) * time.Minute
	a.span = domain.Window{Start: a.span.Start.Add(by), End: a.span.End.Add(by)}
	return a
}

// give counts vessels as the stage's.
func (d *vesselDesk) give(ask vesselAsk, given charged) {
	for _, use := range given.uses {
		d.holds = append(d.holds, domain.BookedHold{RunKey: ask.run, Hold: domain.Hold{
			Kind: domain.KindVessel, ID: use.Vessel, Count: use.Items(), Stage: ask.stage.ID, Window: given.span, Leaves: ask.leaves,
		}})
	}
}

// noteRefusal keeps what a stage goes without, for an answer that finds nothing.
func (p *planner) noteRefusal(task int, reason string, found []finding.Finding) {
	if p.airFindings == nil {
		p.airFindings = p.inRun(p.tasks[task].run, found)
	}
	if p.without == nil {
		p.without = map[int]string{}
	}
	p.without[task] = reason
}

// cutHeld collects what keeps a stage that goes without from where it is: starts that what is booked forbids, which are as many of
// the holds as it names, or how far it must be from the first of the plan's stages with which there is too little. refused says
// whether it goes without beside some of the holds when it is later. Other choices might do as well, so that nothing is proven from
// here on.
func (c *airCuts) cutHeld(ctx context.Context, p *planner, one servedStage, served []servedStage, refused func(holds, later int) bool) {
	p.unproven = true
	if refused(one.holds, 0) {
		from, to := p.refusedAround(ctx, one.placement.StartMinute, func(later int) bool { return refused(one.holds, later) })
		c.forbidden[one.taskMode] = append(c.forbidden[one.taskMode], scheduler.Interval{Start: from + 1, End: to})
		return
	}
	for _, other := range served {
		if other.run == one.run || !refused(other.holds, 0) {
			continue
		}
		from, to := p.refusedAround(ctx, one.placement.StartMinute, func(later int) bool { return refused(other.holds, later) })
		c.separations = append(c.separations, separation(p, other.taskMode, one.taskMode,
			from-other.placement.StartMinute, to-other.placement.StartMinute))
		return
	}
}
