package app

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/domain"
)

// plannedFiring is a firing that is not booked yet, with the path of the input that asks for it.
type plannedFiring struct {
	domain.Firing
	field string // for example "runs[0].stage_windows[1]"
	named bool   // who attends it was named, and is not only the maker
	// joined says that it stands, and takes the planned loads on board.
	joined bool
	// seen, where given, takes the air of the firing's own room as it is found.
	seen *assess.RoomAir
}

// joint holds planned firings against everything that they share with each other and with what is booked: the furnace,
// the supply, the people in the room and the room's air. It does not change what it is given.
type joint struct {
	site     *domain.Site
	existing []domain.Firing // occupying, within reach of the planned ones' gas and averaging times
	planned  []plannedFiring
	// overran are firings that hold their furnaces longer than booked, among the existing ones too: what they take is so,
	// but nothing else may be booked in their place.
	overran []plannedFiring
	today   string // ISO date in the studio's zone, for the age of measurements
	// anyTime says that the planned windows stand for any time: findings then count minutes instead of naming a clock time.
	anyTime bool
}

// findings returns everything that the planned firings break together. Firings that stand in their way on the same furnace
// are named once and left out of the sums, since both can never run. It also returns what the figures on air assume.
func (j joint) findings() ([]finding.Finding, []string) {
	found := j.furnaces()
	rest := j.withoutClashes()
	air, assumptions := rest.air()
	return slices.Concat(found, rest.supplies(), rest.crews(), rest.inTwoPlaces(), air), assumptions
}

// withoutClashes leaves out existing firings that a planned one overlaps on its furnace.
func (j joint) withoutClashes() joint {
	j.existing = slices.DeleteFunc(slices.Clone(j.existing), func(f domain.Firing) bool {
		return slices.ContainsFunc(j.planned, func(p plannedFiring) bool {
			return p.Furnace == f.Furnace && p.Window.Overlaps(f.Window)
		})
	})
	return j
}

// all returns existing and planned firings together; existing ones have no field.
func (j joint) all() []plannedFiring {
	var all []plannedFiring
	for _, f := range j.existing {
		all = append(all, plannedFiring{Firing: f})
	}
	return append(all, j.planned...)
}

// furnaces finds two firings on one furnace at one time.
func (j joint) furnaces() []finding.Finding {
	var found []finding.Finding
	for i, p := range j.planned {
		others := slices.Clone(j.existing)
		for _, other := range j.planned[:i] {
			others = append(others, other.Firing)
		}
		for _, other := range others {
			if other.Furnace == p.Furnace && other.Window.Overlaps(p.Window) {
				found = append(found, j.clash(p, other))
			}
		}
	}
	for _, o := range j.overran {
		for _, other := range j.existing {
			if other.Furnace == o.Furnace && other.Key != o.Key && other.Window.Overlaps(o.Window) {
				found = append(found, j.inTheWay(o, other))
			}
		}
	}
	return found
}

// inTheWay is a firing that cannot begin where another overran.
func (j joint) inTheWay(o plannedFiring, other domain.Firing) finding.Finding {
	f := j.clash(o, other)
	f.About = other.RunID
	f.Cure = fmt.Sprintf("move run %s as well, which a new plan for what is hit does, or call it off", other.RunID)
	return f
}

func (j joint) clash(p plannedFiring, other domain.Firing) finding.Finding {
	return finding.Finding{
		Severity: finding.Block, Code: "FURNACE_BUSY", Field: p.field, About: p.Furnace,
		Message: fmt.Sprintf("%s is taken from %s to %s by %s", p.Furnace, j.clock(other.Window.Start),
			j.clock(other.Window.End), describe(other)),
		Figures: []finding.Figure{{Name: "overlap", Value: overlapMinutes(p.Window, other.Window), Unit: "min"}},
		Cure: fmt.Sprintf("start at or after %s, be drawn and done by %s, or use another furnace",
			j.clock(other.Window.End), j.clock(other.Window.Start)),
	}
}

func overlapMinutes(a, b domain.Window) float64 {
	start, end := a.Start, a.End
	if b.Start.After(start) {
		start = b.Start
	}
	if b.End.Before(end) {
		end = b.End
	}
	return end.Sub(start).Minutes()
}

// describe names a firing as people know it.
func describe(f domain.Firing) string {
	switch {
	case f.RunID != "":
		return fmt.Sprintf("%s (run %s, stage %s)", f.Title, f.RunID, f.Stage)
	default:
		return f.Title
	}
}

// clock shows an instant in the studio's local time.
func (j joint) clock(t time.Time) string { return t.In(j.site.Zone).Format("Mon 2 Jan 15:04") }

// draw is an amount that a firing takes over a window.
type draw struct {
	firing *plannedFiring
	window domain.Window
	amount float64
}

// peak is the most that is taken at once, when, and by whom.
type peak struct {
	at     time.Time
	amount float64
	by     []draw
}

// step is a change of a sum at an instant.
type step struct {
	at     time.Time
	change float64
}

// peakWithin returns the highest sum of the draws at an instant within the window, the earliest such instant.
func peakWithin(draws []draw, window domain.Window) peak {
	steps := make([]step, 0, 2*len(draws))
	for _, d := range draws {
		if d.window.Overlaps(window) {
			steps = append(steps, step{later(d.window.Start, window.Start), d.amount}, step{d.window.End, -d.amount})
		}
	}
	slices.SortFunc(steps, func(a, b step) int { // what ends at an instant is gone before what starts then
		return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.change, b.change))
	})
	var best peak
	var sum float64
	for i, s := range steps {
		sum += s.change
		last := i+1 == len(steps) || !steps[i+1].at.Equal(s.at)
		if last && sum > best.amount && s.at.Before(window.End) {
			best = peak{at: s.at, amount: sum}
		}
	}
	return best
}

// takers are the draws that run at an instant.
func takers(draws []draw, at time.Time) []draw {
	return slices.DeleteFunc(slices.Clone(draws), func(d draw) bool {
		return d.window.Start.After(at) || !at.Before(d.window.End)
	})
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// draws lists what all firings take of what their furnaces share, by its id.
func (j joint) draws(shared func(heat.Furnace) string, amount func(domain.FiringPhase) float64) map[string][]draw {
	draws := map[string][]draw{}
	all := j.all()
	for i := range all {
		id := shared(j.site.Furnaces[all[i].Furnace])
		for _, p := range all[i].Phases {
			if taken := amount(p); id != "" && taken > 0 {
				draws[id] = append(draws[id], draw{&all[i], p.Window, taken})
			}
		}
	}
	return draws
}

// roundingKilowatts is below anything that a supply notices and above what adding up loses.
const roundingKilowatts = 1e-9

// supplies finds supplies that carry more than their limit at once.
func (j joint) supplies() []finding.Finding {
	var found []finding.Finding
	draws := j.draws(func(f heat.Furnace) string { return f.Supply }, func(p domain.FiringPhase) float64 { return p.Kilowatts })
	for _, p := range j.planned {
		supply, ok := j.site.Supplies[j.site.Furnaces[p.Furnace].Supply]
		if !ok {
			continue
		}
		top := peakWithin(draws[supply.ID], p.Window)
		if top.amount <= supply.LimitKilowatts+roundingKilowatts {
			continue
		}
		top.by = takers(draws[supply.ID], top.at)
		found = append(found, finding.Finding{
			Severity: finding.Block, Code: "SUPPLY_LIMIT", Field: p.field, About: supply.ID,
			Message: fmt.Sprintf("%s would carry %.1f kW at %s, its limit is %.1f kW; drawn by %s", supply.ID, top.amount,
				j.clock(top.at), supply.LimitKilowatts, names(top.by)),
			Figures: []finding.Figure{
				{Name: "peak", Value: top.amount, Unit: "kW"}, {Name: "limit", Value: supply.LimitKilowatts, Unit: "kW"},
			},
			Cure:   j.whenPast(top, p),
			Source: "the studio's own figure for the supply",
		})
	}
	return found
}

// crews finds rooms in which more people are needed at once than can be there.
func (j joint) crews() []finding.Finding {
	var found []finding.Finding
	draws := j.draws(func(f heat.Furnace) string { return f.Room }, func(p domain.FiringPhase) float64 {
		if p.Watch != heat.InRoom {
			return 0
		}
		return float64(p.PeopleCount)
	})
	for _, p := range j.planned {
		room := j.site.Rooms[j.site.Furnaces[p.Furnace].Room]
		can := max(room.CrewCount, 1)
		top := peakWithin(draws[room.ID], p.Window)
		if top.amount <= float64(can) {
			continue
		}
		top.by = takers(draws[room.ID], top.at)
		found = append(found, finding.Finding{
			Severity: finding.Block, Code: "CREW_LIMIT", Field: p.field, About: room.ID,
			Message: fmt.Sprintf("%s would need %.0f people in the room at %s and has %d; needed by %s", room.ID, top.amount,
				j.clock(top.at), can, names(top.by)),
			Figures: []finding.Figure{
				{Name: "needed", Value: top.amount, Unit: "people"}, {Name: "there", Value: float64(can), Unit: "people"},
			},
			Cure: j.whenPast(top, p),
		})
	}
	return found
}

// whenPast says when the others that share a peak are done.
func (j joint) whenPast(top peak, p plannedFiring) string {
	var others []draw
	for _, d := range top.by {
		if d.firing.field != p.field {
			others = append(others, d)
		}
	}
	if len(others) == 0 {
		return "use another furnace: this firing alone is too much"
	}
	first := slices.MinFunc(others, func(a, b draw) int { return a.window.End.Compare(b.window.End) })
	return fmt.Sprintf("let this part of the firing begin at or after %s, when %s is past it, or use another furnace",
		j.clock(first.window.End), describe(first.firing.Firing))
}

func names(draws []draw) string {
	var list []string
	for _, d := range draws {
		list = append(list, fmt.Sprintf("%s on %s", describe(d.firing.Firing), d.firing.Furnace))
	}
	slices.SortFunc(list, cmp.Compare[string])
	return strings.Join(slices.Compact(list), ", ")
}
