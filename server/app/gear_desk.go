package app

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/server/domain"
)

// dueShare of a cartridge's hours is when it is due: before it is spent. Common practice, no source.
const dueShare = 0.8

// gearAsk is what those need who stand at a furnace while it is open.
type gearAsk struct {
	run     int64
	field   string
	stage   string
	furnace string
	person  string // who attends it
	people  int    // how many stand there
	worn    []domain.Window
	needs   []air.NearSpecies
	load    domain.Load // of a booking
	clock   func(time.Time) string
}

// gearDesk knows who has which gear, booked and planned.
type gearDesk struct {
	site  *domain.Site
	holds []domain.BookedHold
}

// gearPick is a piece of gear for one of those who stand there.
type gearPick struct {
	gear  domain.Gear
	share float64 // of its cartridge's hours that would be used, with everything that is booked; 0 without a cartridge
}

// enough reports whether a respirator is enough for its wearer against every gas, and whether goggles are needed beside it.
func (a gearAsk) enough(g domain.Gear) (enough, goggles bool) {
	for _, species := range a.needs {
		at := slices.IndexFunc(species.Protection, func(p air.ProtectionClass) bool { return p.Class == g.Class })
		if at < 0 || !species.Protection[at].Enough || g.Filters() && !slices.Contains(g.CartridgeGases, species.Species) {
			return false, false
		}
		goggles = goggles || species.Protection[at].NeedsGoggles
	}
	return true, goggles
}

// canBe reports whether any class of respirator is enough against every gas; where none is, that is said already.
func (a gearAsk) canBe() bool {
	for _, species := range a.needs {
		if !slices.ContainsFunc(species.Protection, func(p air.ProtectionClass) bool { return p.Enough }) {
			return false
		}
	}
	return true
}

// taken is how many of shared gear others have at one time of what is worn.
func (d gearDesk) taken(g domain.Gear, run int64, worn []domain.Window) int {
	most := 0
	for _, w := range worn {
		var draws []draw
		for _, h := range d.holds {
			if h.ID == g.ID && h.RunKey != run {
				draws = append(draws, drawOf(h))
			}
		}
		most = max(most, int(peakWithin(draws, w).amount))
	}
	return most
}

// hours is how long a cartridge was and will be used, by all that is booked after it was looked at and over more windows.
func (d gearDesk) hours(g domain.Gear, more []domain.Window) float64 {
	windows := slices.Clone(more)
	for _, h := range d.holds {
		if h.ID == g.ID && !h.Window.Start.Before(g.UsedTime) {
			windows = append(windows, h.Window)
		}
	}
	hours := g.UsedHours
	for _, w := range domain.MergeWindows(windows) {
		hours += w.End.Sub(w.Start).Hours()
	}
	return hours
}

// still looks again whether a planned hold, which is among the desk's, has what it takes.
func (d gearDesk) still(h domain.BookedHold) bool {
	g := d.site.Gear[h.ID]
	free := g.FittedTo != "" || d.taken(g, h.RunKey, []domain.Window{h.Window})+h.Count <= g.Items()
	return free && (len(g.CartridgeGases) == 0 || d.hours(g, nil) <= g.CartridgeHours+roundingHours)
}

// serve finds gear for all who stand at an open furnace: the attendant's own first, else shared gear that is free; for others who
// are not named, shared gear and then anybody's.
func (d gearDesk) serve(ask gearAsk) ([]gearPick, []finding.Finding) {
	var picks []gearPick
	var found []finding.Finding
	goggles := 0
	for person := range ask.people {
		pick, needsGoggles, refused := d.respirator(ask, person == 0, picks)
		if refused != nil {
			return nil, append(found, *refused)
		}
		picks = append(picks, pick)
		if pick.share >= dueShare {
			found = append(found, ask.cartridgeDue(pick))
		}
		if needsGoggles {
			goggles++
		}
	}
	for person := range goggles {
		pick, refused := d.goggles(ask, person == 0, picks)
		if refused != nil {
			return nil, append(found, *refused)
		}
		picks = append(picks, pick)
	}
	return picks, found
}

// candidates are gear of a kind in use, in the order in which it is taken by the attendant, or by somebody who is not named.
func (d gearDesk) candidates(kind domain.GearKind, ask gearAsk, attendant bool) []domain.Gear {
	rank := func(g domain.Gear) int {
		switch {
		case attendant && g.FittedTo == ask.person, !attendant && g.FittedTo == "":
			return 0
		case g.FittedTo == "":
			return 1
		default:
			return 2
		}
	}
	var list []domain.Gear
	for _, id := range slices.Sorted(maps.Keys(d.site.Gear)) {
		g := d.site.Gear[id]
		if g.Kind == kind && !g.OutOfUse && (attendant && rank(g) < 2 || !attendant && g.FittedTo != ask.person) {
			list = append(list, g)
		}
	}
	slices.SortStableFunc(list, func(a, b domain.Gear) int { return cmp.Compare(rank(a), rank(b)) })
	return list
}

// isFree reports whether a piece of gear is left beside those that are picked already.
func (d gearDesk) isFree(ask gearAsk, g domain.Gear, picks []gearPick) bool {
	mine := 0
	for _, p := range picks {
		if p.gear.ID == g.ID {
			mine++
		}
	}
	if g.FittedTo != "" {
		return mine == 0 // who wears it is in one place at a time anyway
	}
	return d.taken(g, ask.run, ask.worn)+mine < g.Items()
}

// respirator picks one that is enough, free and not spent; of those one that is not due. Else it says what is in the way.
func (d gearDesk) respirator(ask gearAsk, attendant bool, picks []gearPick) (gearPick, bool, *finding.Finding) {
	var best *gearPick
	bestGoggles := false
	var busy, spent []gearPick
	for _, g := range d.candidates(domain.Respirator, ask, attendant) {
		enough, goggles := ask.enough(g)
		if !enough {
			continue
		}
		pick := gearPick{gear: g}
		if len(g.CartridgeGases) > 0 {
			pick.share = d.hours(g, ask.worn) / g.CartridgeHours
		}
		switch {
		case !d.isFree(ask, g, picks):
			busy = append(busy, pick)
		case pick.share > 1+roundingHours:
			spent = append(spent, pick)
		case best == nil || best.share >= dueShare && pick.share < dueShare:
			best, bestGoggles = &pick, goggles
		}
	}
	switch {
	case best != nil:
		return *best, bestGoggles, nil
	case len(spent) > 0:
		f := ask.cartridgeSpent(spent[0])
		return gearPick{}, false, &f
	case len(busy) > 0:
		f := d.gearBusy(ask, busy[0].gear)
		return gearPick{}, false, &f
	default:
		f := ask.gearMissing(attendant)
		return gearPick{}, false, &f
	}
}

func (d gearDesk) goggles(ask gearAsk, attendant bool, picks []gearPick) (gearPick, *finding.Finding) {
	candidates := d.candidates(domain.Goggles, ask, attendant)
	for _, g := range candidates {
		if d.isFree(ask, g, picks) {
			return gearPick{gear: g}, nil
		}
	}
	if len(candidates) > 0 {
		f := d.gearBusy(ask, candidates[0])
		return gearPick{}, &f
	}
	f := ask.finding(finding.Block, "GEAR_MISSING", string(domain.Goggles),
		fmt.Sprintf("at the open %s in stage %s gas-tight goggles are needed beside a half mask, and the studio has none that %s may wear",
			ask.furnace, ask.stage, ask.person), "get some, or a respirator with a full facepiece")
	return gearPick{}, &f
}

func (a gearAsk) finding(severity finding.Severity, code, about, message, cure string) finding.Finding {
	return finding.Finding{Severity: severity, Code: code, Field: a.field, About: about, Message: message, Cure: cure}
}

// gases names what has to be kept out.
func (a gearAsk) gases() string {
	var list []string
	for _, species := range a.needs {
		list = append(list, species.Species)
	}
	return strings.Join(list, ", ")
}

func (a gearAsk) gearMissing(attendant bool) finding.Finding {
	who := a.person
	if !attendant {
		who = "the other who stands there"
	}
	f := a.finding(finding.Block, "GEAR_MISSING", who,
		fmt.Sprintf("at the open %s in stage %s %s needs a respirator against %s, and the studio has none fitted to them or shared that is enough",
			a.furnace, a.stage, who, a.gases()),
		"let somebody attend it who has one, get one of a class that is enough, or change the charge so that none is needed")
	f.Source = "29 CFR 1910.134(d)(3)(i) Table 1"
	return f
}

func (d gearDesk) gearBusy(ask gearAsk, g domain.Gear) finding.Finding {
	var until []string
	for _, h := range d.holds {
		if h.ID == g.ID && h.RunKey != ask.run && slices.ContainsFunc(ask.worn, h.Window.Overlaps) {
			until = append(until, fmt.Sprintf("%s until %s", whose(h), ask.clock(h.Window.End)))
		}
	}
	f := ask.finding(finding.Block, "GEAR_BUSY", g.ID,
		fmt.Sprintf("at the open %s in stage %s %s is needed, and all %d are worn then: %s", ask.furnace, ask.stage, g.Words(), g.Items(),
			strings.Join(until, ", ")),
		"choose another time, or let somebody attend it who has their own")
	f.Figures = []finding.Figure{{Name: "there", Value: float64(g.Items()), Unit: "1"}}
	return f
}

func (a gearAsk) cartridgeSpent(p gearPick) finding.Finding {
	f := a.ofCartridge(finding.Block, "CARTRIDGE_SPENT", p, "would be spent")
	f.Cure = fmt.Sprintf("put a new cartridge in and say so with 'gear renew %s', or take other gear", p.gear.ID)
	return f
}

func (a gearAsk) cartridgeDue(p gearPick) finding.Finding {
	f := a.ofCartridge(finding.Warn, "CARTRIDGE_DUE", p, "is due before it is spent")
	f.Cure = fmt.Sprintf("put a new cartridge in and say so with 'gear renew %s', or acknowledge this code", p.gear.ID)
	return f
}

func (a gearAsk) ofCartridge(severity finding.Severity, code string, p gearPick, what string) finding.Finding {
	f := a.finding(severity, code, p.gear.ID, fmt.Sprintf("the cartridge of %s %s: with what is booked it is used %.1f h of %.1f h",
		p.gear.ID, what, p.share*p.gear.CartridgeHours, p.gear.CartridgeHours), "")
	f.Figures = []finding.Figure{
		{Name: "used", Value: p.share * p.gear.CartridgeHours, Unit: "h"}, {Name: "allowed", Value: p.gear.CartridgeHours, Unit: "h"},
		{Name: "due_from", Value: dueShare, Unit: "1"},
	}
	f.Source = "the cartridge's own hours; due from 80 % of them on (common practice, no source)"
	return f
}
