package app

import (
	"context"
	"fmt"
	"slices"
	"time"

	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/scheduler"
	"saggar/server/domain"
)

// gearKey is the same for treatments beside which the same is breathed with nobody else there.
func gearKey(run *plannedRun, stage int, furnace string) string {
	return fmt.Sprintf("%s %d %s", run.chargeKey, stage, furnace)
}

// overBreathed are the gases of which those beside an open furnace breathe too much.
func overBreathed(near air.NearAssessment) []air.NearSpecies {
	return slices.DeleteFunc(slices.Clone(near.Species), func(s air.NearSpecies) bool { return len(s.Protection) == 0 })
}

// wornAt is while a firing stands open, and how many stand there.
func wornAt(firing domain.Firing) (worn []domain.Window, people int) {
	people = 1
	for _, phase := range firing.Phases {
		if phase.Kind.DoorOpen() && phase.Window.Minutes() > 0 {
			people = max(people, phase.PeopleCount)
			worn = append(worn, phase.Window)
		}
	}
	return domain.MergeWindows(worn), people
}

// dress gives those who attend a solution's firings their gear as a booking would, and says whether anybody goes without. What would
// have to change for that is collected. What others' gas adds beside the furnace is left to the booking.
func (c *airCuts) dress(ctx context.Context, p *planner, solution scheduler.Solution) bool {
	if len(p.site.Gear) == 0 {
		return false
	}
	refused := false
	desk := gearDesk{site: p.site, holds: slices.Clone(p.gear.holds)}
	var served []servedStage
	for _, run := range p.runs {
		for stage := run.kept; stage < len(run.charge.Recipe.Stages); stage++ {
			if _, searched := run.tasks[stage]; !searched {
				continue // whoever answers for the firing that it rides in wears what is needed
			}
			one := p.placed(run, stage, solution)
			ask := p.gearAsk(run, stage, one)
			if len(ask.needs) == 0 || !ask.canBe() {
				continue
			}
			picks, found := desk.serve(ask)
			if finding.Blocks(found) {
				refused = true
				p.noteRefusal(one.task, gearReason, found)
				c.cutHeld(ctx, p, servedStage{one, ask.run, len(p.gear.holds)}, served, func(holds, later int) bool {
					_, found := gearDesk{site: p.site, holds: desk.holds[:holds]}.serve(ask.shifted(later))
					return finding.Blocks(found)
				})
				continue
			}
			desk.give(ask, picks)
			served = append(served, servedStage{one, ask.run, len(desk.holds)})
		}
	}
	return refused
}

// gearAsk is what those need who attend a placed stage.
func (p *planner) gearAsk(run *plannedRun, stage int, one placedFiring) gearAsk {
	ask := gearAsk{
		run: ownKey(run.index), field: run.field, stage: run.charge.Recipe.Stages[stage].ID, person: p.maker,
		clock: joint{site: p.site}.clock,
	}
	firing, fumes := p.firingOf(one.task, one.placement, 0)
	if !fumes {
		return ask
	}
	ask.furnace, ask.needs = firing.Furnace, p.gearNeeds[gearKey(run, stage, firing.Furnace)]
	ask.worn, ask.people = wornAt(firing)
	if run.standing != nil {
		if stands := run.standing.Loads[stage].Firing; stands != nil {
			ask.person = stands.AttendedBy
		}
	}
	return ask
}

// shifted is the same later by some minutes.
func (a gearAsk) shifted(minutes int) gearAsk {
	by := time.Duration(minutes) * time.Minute
	a.worn = slices.Clone(a.worn)
	for i, w := range a.worn {
		a.worn[i] = domain.Window{Start: w.Start.Add(by), End: w.End.Add(by)}
	}
	return a
}
