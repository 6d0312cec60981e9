package app

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

// takeVessels gives each stage the vessels that are named for it, or picks free ones where its recipe asks for a kind.
func (p *prepared) takeVessels(ctx context.Context, tx *store.Tx) error {
	if err := p.vesselsStand(); err != nil {
		return err
	}
	p.keepHolds(domain.KindVessel)
	desk := vesselDesk{site: p.site}
	if ids := p.vesselsInQuestion(); len(ids) > 0 {
		var err error
		if desk.holds, err = p.othersHold(ctx, tx, domain.KindVessel, ids); err != nil {
			return err
		}
		p.prolongVessels(desk.holds)
	}
	desk.holds = append(desk.holds, p.holdsOf(domain.KindVessel)...)
	for run := range p.charges {
		var before charged // of the stage before, while the charge stays in them
		for stage, load := range p.runs[run].Loads {
			ask := p.vesselAsk(run, stage)
			if p.begun(run, stage) {
				before = charged{p.runs[run].VesselsOf(load.Stage, false), ask.span}
				continue
			}
			if emptiesVessels(ask.stage) {
				before = charged{}
			}
			given, found := desk.serve(ask, p.charges[run].at.request.Windows[stage].Vessels, before)
			p.findings = append(p.findings, found...)
			if len(given.uses) > 0 {
				p.hold(run, &desk, ask, given)
				before = given
			}
		}
	}
	return nil
}

// vesselsStand returns the faults of vessels that are named and do not stand, or stand twice at a stage.
func (p *prepared) vesselsStand() error {
	var faults finding.Faults
	for _, charge := range p.charges {
		for stage, window := range charge.at.request.Windows {
			seen := map[string]bool{}
			for i, use := range window.Vessels {
				field := fmt.Sprintf("%s.stage_windows[%d].vessels[%d].vessel", charge.at.field, stage, i)
				if _, stands := p.site.Vessels[use.Vessel]; !stands {
					faults.Add(field, fmt.Sprintf("there is no vessel %q", use.Vessel), "name one that stands, as 'vessel list' shows them")
				}
				if seen[use.Vessel] {
					faults.Add(field, fmt.Sprintf("vessel %q stands twice at the stage", use.Vessel), "name it once with how many of it")
				}
				seen[use.Vessel] = true
			}
		}
	}
	return faults.Err()
}

// vesselsInQuestion are those that are named or had already, and all of the kinds that stages ask for.
func (p *prepared) vesselsInQuestion() []string {
	ids := idsHeld(p.holdsOf(domain.KindVessel))
	desk := vesselDesk{site: p.site}
	for _, charge := range p.charges {
		for stage, window := range charge.at.request.Windows {
			for _, use := range window.Vessels {
				ids = append(ids, use.Vessel)
			}
			if kind := charge.charge.Recipe.Stages[stage].Vessel.Kind; kind != "" {
				for _, v := range desk.ofKind(kind) {
					ids = append(ids, v.ID)
				}
			}
		}
	}
	slices.Sort(ids)
	return slices.Compact(ids)
}

// vesselAsk is what a stage of a prepared run needs in its window.
func (p *prepared) vesselAsk(run, stage int) vesselAsk {
	charge, window := p.charges[run], p.windowOf(run, stage)
	ask := newVesselAsk(p.site, charge.charge, stage, window.Furnace, charge.scale)
	ask.run, ask.department = ownKey(run), p.runs[run].Department
	ask.field = fmt.Sprintf("%s.stage_windows[%d]", charge.at.field, stage)
	windows := make([]domain.StageWindow, stage+1)
	for i := range windows {
		windows[i] = p.windowOf(run, i)
	}
	ask.span = vesselSpan(p.site.Studio, charge.charge.Recipe.Stages, windows)
	ask.onDate = window.Charged().In(p.site.Zone).Format(time.DateOnly)
	return ask
}

// vesselSpan is when the last of some stages' windows has its vessels: from the start of packing, which is a stage of its own or as
// long before the charge as charging takes, until they are cleaned after the draw.
func vesselSpan(studio domain.Studio, stages []chem.Stage, windows []domain.StageWindow) domain.Window {
	last := len(windows) - 1
	packed := windows[last].Charged().Add(-time.Duration(studio.ChargeMinutes) * time.Minute)
	if last > 0 && stages[last-1].Kind == chem.Pack {
		packed = windows[last-1].Window().Start
	}
	return domain.Window{Start: packed, End: windows[last].Drawn().Add(time.Duration(studio.CleanMinutes) * time.Minute)}
}

// emptiesVessels reports bench work for which the charge is taken out of what holds it.
func emptiesVessels(stage chem.Stage) bool {
	return stage.Program == nil && stage.Kind != chem.Pack && stage.Kind != chem.Label && stage.Kind != chem.Dry
}

// charged is what a charge is in and for how long.
type charged struct {
	uses []domain.VesselUse
	span domain.Window
}

// holds reports whether the charge is in all of some vessels already.
func (c charged) holds(uses []domain.VesselUse) bool {
	return !slices.ContainsFunc(uses, func(u domain.VesselUse) bool {
		return !slices.ContainsFunc(c.uses, func(b domain.VesselUse) bool { return b.Vessel == u.Vessel })
	})
}

// staying is an ask for vessels in which the charge stays from the stage before, so that nobody else has them in between.
func (a vesselAsk) staying(before charged) vesselAsk {
	if before.span.End.Before(a.span.Start) {
		a.span.Start = before.span.End
	}
	return a
}

// hold gives vessels to a stage. One that the run has already is not cleaned in between.
func (p *prepared) hold(run int, desk *vesselDesk, ask vesselAsk, given charged) {
	r := &p.runs[run]
	named := len(p.charges[run].at.request.Windows[ask.index].Vessels) > 0
	for _, use := range given.uses {
		for i := range r.Inputs.Holds {
			h := &r.Inputs.Holds[i]
			if h.Kind == domain.KindVessel && h.ID == use.Vessel && h.Window.Start.Before(given.span.Start) && h.Window.End.After(given.span.Start) {
				h.Window.End = given.span.Start
			}
		}
		r.Inputs.Holds = append(r.Inputs.Holds, domain.Hold{
			Kind: domain.KindVessel, ID: use.Vessel, Count: use.Items(), Stage: ask.stage.ID, Window: given.span,
			Alone: p.site.Vessels[use.Vessel].Items() == 1, Named: named, Leaves: ask.leaves, Mark: p.site.Vessels[use.Vessel].Mark,
		})
	}
	desk.give(ask, given)
}

// serve gives a stage the vessels that are named, those in which its charge is already, or free ones of the kind that its recipe
// asks for. What is wrong with them is found either way; nothing is given that does not stand free.
func (d vesselDesk) serve(ask vesselAsk, named []domain.VesselUse, before charged) (charged, []finding.Finding) {
	if len(named) > 0 {
		if before.holds(named) {
			ask = ask.staying(before)
		}
		return charged{named, ask.span}, d.judge(ask, named)
	}
	if ask.stage.Vessel.Kind == "" {
		return charged{}, nil
	}
	kept := slices.DeleteFunc(slices.Clone(before.uses), func(u domain.VesselUse) bool {
		return d.site.Vessels[u.Vessel].Kind != ask.stage.Vessel.Kind
	})
	if stays := ask.staying(before); len(kept) > 0 {
		if found := d.judge(stays, kept); !finding.Blocks(found) {
			return charged{kept, stays.span}, append(found, stays.picked(d.site, kept))
		}
	}
	all := d.ofKind(ask.stage.Vessel.Kind)
	if len(all) == 0 {
		return charged{}, []finding.Finding{ask.finding(finding.Note, "VESSEL_MISSING", string(ask.stage.Vessel.Kind),
			fmt.Sprintf("stage %s is done in a %s, and the studio keeps none on record: none is booked with it", ask.stage.ID, ask.stage.Vessel.Kind),
			"see to it that one is free, or have them recorded")}
	}
	// What the charge is in would have to be emptied for somebody else in between: another is taken, or none.
	all = slices.DeleteFunc(all, func(v domain.Vessel) bool { return len(kept) > 0 && before.holds([]domain.VesselUse{{Vessel: v.ID}}) })
	uses, why := d.pick(ask, all)
	if len(uses) == 0 {
		return charged{}, []finding.Finding{ask.finding(finding.Block, "VESSEL_MISSING", string(ask.stage.Vessel.Kind),
			fmt.Sprintf("stage %s is done in a %s, and none is free that fits: %s", ask.stage.ID, ask.stage.Vessel.Kind,
				cmp.Or(strings.Join(why, "; "), "what it is in is somebody else's in between")),
			"choose another time, make less, have one cleaned and say so, or name what else may hold it")}
	}
	return charged{uses, ask.span}, append(d.judge(ask, uses), ask.picked(d.site, uses))
}

// picked says which vessels the service took.
func (a vesselAsk) picked(site *domain.Site, uses []domain.VesselUse) finding.Finding {
	var words []string
	for _, use := range uses {
		words = append(words, fmt.Sprintf("%d of %s", use.Items(), site.Vessels[use.Vessel].Words()))
	}
	return a.finding(finding.Note, "VESSEL_PICKED", uses[0].Vessel,
		fmt.Sprintf("stage %s has %s from %s until it is cleaned at %s", a.stage.ID, strings.Join(words, " and "),
			a.clock(a.span.Start), a.clock(a.span.End)), "name others with the stage's window")
}

// pick returns the smallest that holds the charge alone, else several, and why each that is not taken is not.
func (d vesselDesk) pick(ask vesselAsk, all []domain.Vessel) (uses []domain.VesselUse, why []string) {
	var rest []domain.Vessel
	var counts []int // free, of the rest
	for _, v := range ask.candidates(all) {
		if message := firstBlock(v.found); message != "" {
			why = append(why, message)
			continue
		}
		stock := d.stock(v.Vessel, ask.run, ask.span, ask.leaves)
		if stock.free() >= v.needed && firstBlock(ask.against(v.Vessel, v.needed)) == "" {
			return []domain.VesselUse{{Vessel: v.ID, Count: v.needed}}, nil
		}
		if stock.free() > 0 {
			rest, counts = append(rest, v.Vessel), append(counts, stock.free())
		}
		why = append(why, stock.inWords(v.Vessel, ask.clock))
	}
	uses = ask.several(rest, counts)
	if len(uses) > 0 && firstBlock(d.judge(ask, uses)) != "" {
		return nil, append(why, firstBlock(d.judge(ask, uses)))
	}
	return uses, why
}

// several takes vessels one after the other until they hold the charge; none when all do not.
func (a vesselAsk) several(vessels []domain.Vessel, free []int) []domain.VesselUse {
	var uses []domain.VesselUse
	left, liters := a.crucibles, a.liters
	for i, v := range vessels {
		part := a
		part.liters = liters
		part.crucibles = left
		count := min(free[i], part.needed(v))
		uses = append(uses, domain.VesselUse{Vessel: v.ID, Count: count})
		left, liters = left-count, liters-float64(count)*v.VolumeLiters*a.fill
		if a.crucibles > 0 && left <= 0 || a.crucibles == 0 && liters <= 1e-9 {
			return uses
		}
	}
	return nil
}

// judge holds vessels against a stage and against what others have of them then.
func (d vesselDesk) judge(ask vesselAsk, uses []domain.VesselUse) []finding.Finding {
	var found []finding.Finding
	for _, use := range uses {
		v := d.site.Vessels[use.Vessel]
		of := ask.against(v, use.Items())
		if len(uses) > 1 { // together, below
			of = slices.DeleteFunc(of, func(f finding.Finding) bool { return f.Code == "VESSELS_DO_NOT_FIT" })
		}
		found = append(found, of...)
		found = append(found, d.isFree(ask, v, use.Items())...)
	}
	if len(uses) > 1 {
		found = append(found, ask.fits(uses, d.site.Vessels)...)
	}
	return append(found, ask.filled(uses, d.site.Vessels)...)
}

// isFree finds a vessel that somebody else has, or whose wall and the charge do not go together.
func (d vesselDesk) isFree(ask vesselAsk, v domain.Vessel, count int) []finding.Finding {
	stock := d.stock(v, ask.run, ask.span, ask.leaves)
	if stock.free() >= count || count > v.Items() {
		return nil
	}
	code, cure := "VESSEL_BUSY", "choose another time"
	if stock.items-stock.taken >= count {
		code, cure = "VESSEL_HELD", "have it cleaned of that and say so with 'vessel clean'"
	}
	if free := d.freeFor(ask); len(free) > 0 {
		cure += ", or take another: free then are " + strings.Join(free, ", ")
	} else {
		cure += "; no other that fits is free then"
	}
	f := ask.finding(finding.Block, code, v.ID, stock.inWords(v, ask.clock), cure)
	f.Figures = []finding.Figure{
		{Name: "asked", Value: float64(count), Unit: "1"}, {Name: "free", Value: float64(max(stock.free(), 0)), Unit: "1"},
		{Name: "there", Value: float64(stock.items), Unit: "1"},
	}
	if code == "VESSEL_HELD" {
		f.Source = "chem/data, vessel-words.csv: common practice, no source"
	}
	return []finding.Finding{f}
}

// inWords says who has a vessel until when, and what keeps the charge out of it.
func (s vesselStock) inWords(v domain.Vessel, clock func(time.Time) string) string {
	var parts []string
	for _, h := range s.held {
		parts = append(parts, fmt.Sprintf("%s has %d until %s", whose(h), h.Count, clock(h.Window.End)))
	}
	words := strings.ReplaceAll(strings.Join(s.words, ", "), "_", " ")
	switch {
	case s.spoilt > 0 && len(s.by) == 0:
		parts = append(parts, "its wall holds "+words+", which the charge does not")
	case s.spoilt > 0:
		parts = append(parts, fmt.Sprintf("%d of it would carry %s between this charge and that of %s", s.spoilt, words, whose(s.by[0])))
	}
	if len(parts) == 0 {
		parts = []string{fmt.Sprintf("%d are too few", s.items)}
	}
	return fmt.Sprintf("%s, of which there are %d: %s", v.Words(), s.items, strings.Join(parts, ", "))
}

// whose names whose a hold is; a run that is not booked may have no id yet.
func whose(h domain.BookedHold) string {
	if h.RunID == "" {
		return "another run of this request"
	}
	return "run " + h.RunID
}
