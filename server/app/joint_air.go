package app

import (
	"fmt"
	"maps"
	"slices"
	"time"

	"saggar/chem/air"
	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/server/domain"
)

// roomsTouched are the rooms whose air the planned firings change: their own, and those that these give air to.
func (j joint) roomsTouched() []string {
	touched := map[string]bool{}
	for _, p := range j.planned {
		if len(p.Releases) == 0 {
			continue
		}
		room := j.site.Furnaces[p.Furnace].Room
		touched[room] = true
		for _, t := range j.site.Rooms[room].Transfers {
			touched[t.ToRoom] = true
		}
	}
	return slices.Sorted(maps.Keys(touched))
}

// air finds rooms whose air the planned firings, together with all others, bring over a limit, and what spills over those
// who stand at the open furnace. The cautious case decides. It also says what its figures assume.
func (j joint) air() (found []finding.Finding, assumptions []string) {
	for _, room := range j.roomsTouched() {
		view, err := j.view(room)
		if err != nil {
			found = append(found, uncheckable(room, err))
			continue
		}
		assessment, err := air.CheckRoom(view.check)
		if err != nil {
			found = append(found, uncheckable(room, err))
			continue
		}
		worsened, err := j.worsened(room, view)
		if err != nil {
			found = append(found, uncheckable(room, err))
			continue
		}
		found = append(found, j.putDown(assessment.Findings, worsened, view)...)
		assumptions = append(assumptions, assessment.Assumptions...)
		for at, p := range view.planned {
			near, err := air.CheckNear(air.NearCheck{Zone: view.check.Zone, Sources: view.check.Sources, At: at})
			if err != nil {
				found = append(found, uncheckable(room, err))
				continue
			}
			found = append(found, placed(near.Findings, p, room)...)
			assumptions = append(assumptions, near.Assumptions...)
		}
	}
	return found, assumptions
}

// placed puts findings about a room down to a planned firing.
func placed(findings []finding.Finding, p plannedFiring, room string) []finding.Finding {
	var list []finding.Finding
	for _, f := range findings {
		f.Field, f.About = p.field, room
		f.Message = fmt.Sprintf("%s, %s on %s: %s", room, p.Title, p.Furnace, f.Message)
		list = append(list, f)
	}
	return list
}

// exceedsAir says only whether a room goes over a limit, without working out what would cure it.
func (j joint) exceedsAir() bool {
	for _, room := range j.roomsTouched() {
		view, err := j.view(room)
		if err != nil {
			return true
		}
		worsened, err := j.worsened(room, view)
		if err != nil || slices.ContainsFunc(worsened, func(e air.Excess) bool { return e.Limit.Severity == finding.Block }) {
			return true
		}
	}
	return false
}

// worsened lists the limits that the room goes over because of the planned firings: what the others do just as much without
// them is not put down to them.
func (j joint) worsened(room string, view roomView) ([]air.Excess, error) {
	with, err := air.Exceeds(view.check.Zone, view.check.Sources, view.check.Own)
	if err != nil || len(with) == 0 {
		return nil, err
	}
	origin, _ := j.firstInto(room)
	others := joint{site: j.site, existing: j.existing, today: j.today}
	carried, err := others.carriedInto(room, origin)
	if err != nil {
		return nil, err
	}
	without, err := air.Exceeds(view.check.Zone, append(others.sources(room, origin), carried...), view.check.Own)
	return slices.DeleteFunc(with, func(e air.Excess) bool {
		return slices.ContainsFunc(without, func(o air.Excess) bool {
			return o.Limit == e.Limit && e.PPM <= o.PPM*(1+1e-9)
		})
	}), err
}

// putDown puts findings about a room down to planned firings: those about a limit to the one that gives off the most of the
// gas at that time, with the time by the clock, and only when the planned firings worsened it; others to the first.
func (j joint) putDown(findings []finding.Finding, worsened []air.Excess, view roomView) []finding.Finding {
	var list []finding.Finding
	for _, f := range findings {
		if !aboutLimit(f) {
			list = append(list, placed([]finding.Finding{f}, view.first, view.check.Zone.ID)...)
			continue
		}
		at := slices.IndexFunc(worsened, func(e air.Excess) bool { return isAbout(f, e) })
		if at < 0 {
			continue
		}
		from := view.first.Window.Start.Add(time.Duration(worsened[at].Minute * float64(time.Minute)))
		f.Message += fmt.Sprintf(" (from %s)", j.clock(from))
		list = append(list, placed([]finding.Finding{f}, view.giver(worsened[at]), view.check.Zone.ID)...)
	}
	return list
}

// aboutLimit reports whether a finding is about a limit that the room goes over.
func aboutLimit(f finding.Finding) bool {
	return figure(f, "ratio") > 0 || figure(f, "mixture_ratio") > 0
}

// isAbout reports whether a finding is about an excess: the same code and the same figures.
func isAbout(f finding.Finding, e air.Excess) bool {
	return f.Code == e.Code() && (figure(f, "ratio") == e.Ratio || figure(f, "mixture_ratio") == e.Ratio)
}

func figure(f finding.Finding, name string) float64 {
	for _, g := range f.Figures {
		if g.Name == name {
			return g.Value
		}
	}
	return 0
}

// giver is the planned firing that gives off the most of an excess's gas in its window; the first when none does.
func (v roomView) giver(e air.Excess) plannedFiring {
	best, most := v.first, 0.0
	for at, p := range v.planned {
		grams := 0.0
		for _, r := range v.check.Sources[at].Releases {
			start, end := max(r.StartMinute, e.Minute), min(r.EndMinute, e.Minute+max(e.Limit.AveragingMinutes, 1))
			if end > start && (r.Species == e.Limit.Species || e.Limit.Species == "mixture") {
				grams += r.GramsPerMinute * (end - start)
			}
		}
		if grams > most || grams == most && grams > 0 && p.field < best.field {
			best, most = p, grams
		}
	}
	return best
}

// uncheckable refuses when a room's air cannot be worked out, since nothing then shows that it is safe.
func uncheckable(room string, err error) finding.Finding {
	return finding.Finding{
		Severity: finding.Block, Code: "AIR_UNCHECKED", About: room,
		Message: fmt.Sprintf("the air of %s cannot be worked out: %v", room, err), Cure: "mend the room's figures",
	}
}

// roomView is one room with everything that gives off gas into it, in minutes from the first planned firing's start.
type roomView struct {
	check air.RoomCheck
	// first is the planned firing that findings about the room are put down to.
	first plannedFiring
	// planned are those in the room itself, by their index among the sources.
	planned map[int]plannedFiring
}

func (j joint) view(room string) (roomView, error) {
	origin, first := j.firstInto(room)
	own := j.site.Rooms[room]
	view := roomView{first: first, planned: map[int]plannedFiring{}}
	view.check = air.RoomCheck{Zone: roomZone(j.site, own), Room: &own, OnDate: j.today, Sources: j.sources(room, origin)}
	existing := len(view.check.Sources)
	for _, p := range j.planned {
		if len(p.Releases) > 0 && j.site.Furnaces[p.Furnace].Room == room {
			view.planned[existing] = p
			view.check.Sources = append(view.check.Sources, j.source(p.Firing, origin))
			existing++
		}
	}
	carried, err := j.carriedInto(room, origin)
	view.check.Sources = append(view.check.Sources, carried...)
	return view, err
}

// firstInto is the earliest planned firing whose gas comes into a room, with its start.
func (j joint) firstInto(room string) (time.Time, plannedFiring) {
	var first plannedFiring
	for _, p := range j.planned {
		if len(p.Releases) > 0 && j.reaches(p.Firing, room) && (first.Furnace == "" || p.Window.Start.Before(first.Window.Start)) {
			first = p
		}
	}
	return first.Window.Start, first
}

// sources are the existing firings in a room.
func (j joint) sources(room string, origin time.Time) []air.Source {
	var sources []air.Source
	for _, f := range j.existing {
		if len(f.Releases) > 0 && j.site.Furnaces[f.Furnace].Room == room {
			sources = append(sources, j.source(f, origin))
		}
	}
	return sources
}

// carriedInto is what the air of other rooms brings into one.
func (j joint) carriedInto(room string, origin time.Time) ([]air.Source, error) {
	var spaces []air.Space
	transfers := false
	for _, id := range slices.Sorted(maps.Keys(j.site.Rooms)) {
		r := j.site.Rooms[id]
		transfers = transfers || len(r.Transfers) > 0
		space := air.Space{Zone: roomZone(j.site, r), Transfers: r.Transfers, Sources: j.sources(id, origin)}
		for _, p := range j.planned {
			if len(p.Releases) > 0 && j.site.Furnaces[p.Furnace].Room == id {
				space.Sources = append(space.Sources, j.source(p.Firing, origin))
			}
		}
		spaces = append(spaces, space)
	}
	if !transfers {
		return nil, nil
	}
	carried, err := air.Carry(spaces)
	return carried[room], err
}

// roomZone is a room's air with the flow that counts.
func roomZone(site *domain.Site, room air.Room) air.Zone {
	return air.Zone{
		ID: room.ID, VolumeCubicMeters: room.VolumeCubicMeters, MixingFactor: room.MixingFactor,
		Flow: air.ConstantFlow(air.RoomFlow(room, site.CircuitList())),
	}
}

// reaches reports whether a firing's gas comes into a room: from a furnace in it, or with the air that another room gives.
func (j joint) reaches(f domain.Firing, room string) bool {
	from := j.site.Furnaces[f.Furnace].Room
	return from == room || slices.ContainsFunc(j.site.Rooms[from].Transfers, func(t air.Transfer) bool { return t.ToRoom == room })
}

// source is a firing as the room that it is in sees it.
func (j joint) source(f domain.Firing, origin time.Time) air.Source {
	furnace := j.site.Furnaces[f.Furnace]
	closed, open := assess.Capture(furnace, j.site.CircuitList())
	shift := f.Window.Start.Sub(origin).Minutes()
	source := air.Source{Name: f.Title + " on " + f.Furnace, CaptureFraction: closed, DoorOpenFraction: open}
	for _, r := range f.Releases {
		r.StartMinute += shift
		r.EndMinute += shift
		source.Releases = append(source.Releases, r)
	}
	for _, p := range f.Phases {
		if p.Kind.DoorOpen() && p.Window.Start.Before(p.Window.End) {
			source.DoorOpen = append(source.DoorOpen, air.Interval{
				StartMinute: p.Window.Start.Sub(origin).Minutes(), EndMinute: p.Window.End.Sub(origin).Minutes(),
			})
		}
	}
	return source
}
