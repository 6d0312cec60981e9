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

// readVessels reads who has which vessels, without the runs that move: what of them has begun is given out again.
func (p *planner) readVessels(ctx context.Context, tx *store.Tx) error {
	p.vessels = vesselDesk{site: p.site}
	if len(p.site.Vessels) == 0 {
		return nil
	}
	holds, err := tx.Holds(ctx, p.site.Studio.Key, store.HoldsQuery{Kind: domain.KindVessel})
	p.vessels.holds = slices.DeleteFunc(holds, func(h domain.BookedHold) bool {
		return slices.ContainsFunc(p.runs, func(r *plannedRun) bool { return r.standing != nil && r.standing.Key == h.RunKey })
	})
	for i, h := range p.vessels.holds {
		for _, o := range p.overran {
			if o.run.Key == h.RunKey && o.run.Loads[o.stage].Stage == h.Stage {
				p.vessels.holds[i].Window.End = later(h.Window.End, cleanedAfter(p.site.Studio, *o.firing))
			}
		}
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
	if _, found := idle.serve(ask, nil, nil); finding.Blocks(found) {
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

// plannedVessels are a placed stage with what it asks of vessels.
type plannedVessels struct {
	placedFiring
	ask           vesselAsk
	named, before []domain.VesselUse
}

// shifted is the stage later by some minutes.
func (v plannedVessels) shifted(minutes int) vesselAsk {
	ask, by := v.ask, time.Duration(minutes)*time.Minute
	ask.span = domain.Window{Start: ask.span.Start.Add(by), End: ask.span.End.Add(by)}
	return ask
}

// refused says whether a desk cannot serve the stage when it is later by some minutes.
func (v plannedVessels) refused(d vesselDesk, minutes int) bool {
	_, found := d.serve(v.shifted(minutes), v.named, v.before)
	return finding.Blocks(found)
}

// vessels gives the stages of a solution their vessels as a booking would, and says whether any goes without. What would have to
// change for that is collected: starts that what is booked forbids, or how far from the last of the plan's that has them.
func (c *airCuts) vessels(ctx context.Context, p *planner, solution scheduler.Solution) bool {
	if len(p.site.Vessels) == 0 {
		return false
	}
	refused := false
	desk := vesselDesk{site: p.site, holds: slices.Clone(p.vessels.holds)}
	var served []plannedVessels
	for _, run := range p.runs {
		windows := p.windowsOf(run, solution)
		var before []domain.VesselUse
		for stage := range run.charge.Recipe.Stages {
			ask := p.askOf(run, stage, windows[stage].Furnace)
			ask.span = vesselSpan(p.site.Studio, run.charge.Recipe.Stages, windows[:stage+1])
			ask.onDate = windows[stage].Charged().In(p.site.Zone).Format(time.DateOnly)
			if emptiesVessels(ask.stage) {
				before = nil
			}
			if stage < run.kept {
				before = run.standing.VesselsOf(ask.stage.ID, false)
				desk.give(ask, before)
				continue
			}
			task := run.first + stage - run.kept
			one := plannedVessels{
				placedFiring: placedFiring{taskMode: taskMode{task, solution.Tasks[task].Mode}, placement: solution.Tasks[task]},
				ask:          ask, named: p.namedBefore(run, stage), before: before,
			}
			uses, found := desk.serve(ask, one.named, before)
			if finding.Blocks(found) {
				refused = true
				p.noteRefusal(task, found)
				c.cutVessels(ctx, p, one, served)
				continue
			}
			if len(uses) > 0 {
				desk.give(ask, uses)
				served, before = append(served, one), uses
			}
		}
	}
	return refused
}

// give counts vessels as the stage's.
func (d *vesselDesk) give(ask vesselAsk, uses []domain.VesselUse) {
	for _, use := range uses {
		d.holds = append(d.holds, domain.BookedHold{RunKey: ask.run, Hold: domain.Hold{
			Kind: domain.KindVessel, ID: use.Vessel, Count: use.Items(), Stage: ask.stage.ID, Window: ask.span, Leaves: ask.leaves,
		}})
	}
}

// noteRefusal keeps what the first stage went without, for an answer that finds nothing.
func (p *planner) noteRefusal(task int, found []finding.Finding) {
	if p.airFindings == nil {
		p.airFindings = p.inRun(p.tasks[task].run, found)
	}
	if p.withoutVessel == nil {
		p.withoutVessel = map[int]bool{}
	}
	p.withoutVessel[task] = true
}

// cutVessels collects what keeps a stage without vessels from where it is. Other choices of vessels, and for the other stages,
// might do as well, so that nothing is proven from here on.
func (c *airCuts) cutVessels(ctx context.Context, p *planner, one plannedVessels, served []plannedVessels) {
	p.unproven = true
	if one.refused(p.vessels, 0) {
		from, to := p.refusedAround(ctx, one.placement.StartMinute, func(later int) bool { return one.refused(p.vessels, later) })
		c.forbidden[one.taskMode] = append(c.forbidden[one.taskMode], scheduler.Interval{Start: from + 1, End: to})
		return
	}
	// The last of the plan's stages without which there would be enough.
	desk := vesselDesk{site: p.site, holds: slices.Clone(p.vessels.holds)}
	for _, other := range served {
		if other.ask.run == one.ask.run {
			continue
		}
		uses, _ := desk.serve(other.ask, other.named, other.before)
		desk.give(other.ask, uses)
		if !one.refused(desk, 0) {
			continue
		}
		from, to := p.refusedAround(ctx, one.placement.StartMinute, func(later int) bool { return one.refused(desk, later) })
		c.separations = append(c.separations, separation(p, other.taskMode, one.taskMode,
			from-other.placement.StartMinute, to-other.placement.StartMinute))
		return
	}
}
