package app

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

// takeGear gives those who stand at open furnaces the respirators, and the goggles beside them, that what they would breathe there
// asks for. It goes by the air that was worked out before. Where the studio keeps no gear on record nothing is held.
func (p *prepared) takeGear(ctx context.Context, tx *store.Tx) error {
	var asks []gearAsk
	var runs []int
	p.keepHolds(domain.KindGear)
	for run := range p.charges {
		for stage := range p.runs[run].Loads {
			if p.begun(run, stage) {
				continue
			}
			if ask := p.gearAsk(run, stage); len(ask.needs) > 0 && len(ask.worn) > 0 && ask.canBe() {
				asks, runs = append(asks, ask), append(runs, run)
			}
		}
	}
	if len(asks) == 0 {
		return nil
	}
	if len(p.site.Gear) == 0 {
		p.findings = append(p.findings, asks[0].finding(finding.Note, "GEAR_NOT_RECORDED", "",
			fmt.Sprintf("respirators are needed against %s, and the studio keeps no gear on record: whether any is free is not looked at", asks[0].gases()),
			"see to it that whoever stands there has one, or have gear recorded"))
		return nil
	}
	desk := gearDesk{site: p.site}
	var err error
	if desk.holds, err = p.othersHold(ctx, tx, domain.KindGear, slices.Sorted(maps.Keys(p.site.Gear))); err != nil {
		return err
	}
	desk.holds = append(desk.holds, p.holdsOf(domain.KindGear)...)
	for i, ask := range asks {
		if ask.load.Joined && desk.isWorn(ask, p.ridersBeside(ask.load)) {
			continue
		}
		picks, found := desk.serve(ask)
		p.findings = append(p.findings, found...)
		p.wear(runs[i], &desk, ask, picks)
	}
	return nil
}

// gearAsk is what a stage of a prepared run asks those to wear who stand at its open furnace.
func (p *prepared) gearAsk(run, stage int) gearAsk {
	load, assessed := p.runs[run].Loads[stage], p.assessments[run].Stages[stage]
	ask := gearAsk{
		run: ownKey(run), field: fmt.Sprintf("%s.stage_windows[%d]", p.charges[run].at.field, stage), stage: load.Stage, clock: p.joint.clock,
	}
	if load.Firing == nil || assessed.Air == nil {
		return ask
	}
	ask.load = load
	ask.furnace, ask.person, ask.needs = load.Firing.Furnace, load.Firing.AttendedBy, overBreathed(assessed.Air.Near)
	ask.worn, ask.people = wornAt(*load.Firing)
	return ask
}

// ridersBeside are the loads in the same firing as a joined one: booked ones by their run's id, planned ones by their place in the
// request.
func (p *prepared) ridersBeside(load domain.Load) func(domain.BookedHold) bool {
	planned := map[int64]string{}
	for run := range p.runs {
		for _, other := range p.runs[run].Loads {
			if other.Firing != nil && other.Firing.ID != "" && other.Firing.ID == load.Firing.ID {
				planned[ownKey(run)] = other.Stage
			}
		}
	}
	return func(h domain.BookedHold) bool {
		return planned[h.RunKey] == h.Stage || slices.ContainsFunc(load.Firing.Riders, func(r domain.Rider) bool {
			return r.RunID == h.RunID && r.Stage == h.Stage
		})
	}
}

// isWorn reports whether whoever stands at a shared firing has what a load asks for already, through another load in it.
func (d gearDesk) isWorn(ask gearAsk, beside func(domain.BookedHold) bool) bool {
	respirators, bare, goggles := 0, 0, 0
	for _, h := range d.holds {
		g := d.site.Gear[h.ID]
		if !beside(h) || !ask.worn[0].Overlaps(h.Window) {
			continue
		}
		if g.Kind == domain.Goggles {
			goggles += h.Count
		} else if enough, needsGoggles := ask.enough(g); g.Kind == domain.Respirator && enough {
			respirators += h.Count
			if needsGoggles {
				bare += h.Count
			}
		}
	}
	return respirators >= ask.people && goggles >= bare
}

// wear holds what is picked for as long as it is worn.
func (p *prepared) wear(run int, desk *gearDesk, ask gearAsk, picks []gearPick) {
	for _, hold := range desk.give(ask, picks) {
		p.runs[run].Inputs.Holds = append(p.runs[run].Inputs.Holds, hold)
	}
}

// give counts what is picked as the stage's, and returns what it holds.
func (d *gearDesk) give(ask gearAsk, picks []gearPick) []domain.Hold {
	counts := map[string]int{}
	for _, pick := range picks {
		counts[pick.gear.ID]++
	}
	var given []domain.Hold
	for _, id := range slices.Sorted(maps.Keys(counts)) {
		g := d.site.Gear[id]
		for _, w := range ask.worn {
			given = append(given, domain.Hold{
				Kind: domain.KindGear, ID: id, Count: counts[id], Stage: ask.stage, Window: w, Alone: g.Items() == 1 && g.FittedTo == "",
			})
		}
	}
	for _, hold := range given {
		d.holds = append(d.holds, domain.BookedHold{Hold: hold, RunKey: ask.run})
	}
	return given
}
