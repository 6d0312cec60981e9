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

// air finds rooms whose air the planned firings, together with all others, bring over a limit. The cautious case decides.
func (j joint) air() []finding.Finding {
	var found []finding.Finding
	for _, room := range j.roomsTouched() {
		check, first := j.roomCheck(room)
		assessment, err := air.CheckRoom(check)
		if err != nil {
			found = append(found, uncheckable(room, err))
			continue
		}
		for _, f := range assessment.Findings {
			f.Field, f.About = first.field, room
			f.Message = fmt.Sprintf("%s, %s on %s: %s", room, first.Title, first.Furnace, f.Message)
			found = append(found, f)
		}
	}
	return found
}

// exceedsAir says only whether a room goes over a limit, without working out what would cure it.
func (j joint) exceedsAir() bool {
	for _, room := range j.roomsTouched() {
		check, _ := j.roomCheck(room)
		excesses, err := air.Exceeds(check.Zone, check.Sources, check.Own)
		if err != nil || slices.ContainsFunc(excesses, func(e air.Excess) bool { return e.Limit.Severity == finding.Block }) {
			return true
		}
	}
	return false
}

// uncheckable refuses when a room's air cannot be worked out, since nothing then shows that it is safe.
func uncheckable(room string, err error) finding.Finding {
	return finding.Finding{
		Severity: finding.Block, Code: "AIR_UNCHECKED", About: room,
		Message: fmt.Sprintf("the air of %s cannot be worked out: %v", room, err), Cure: "mend the room's figures",
	}
}

// roomCheck gathers everything that gives off gas into a room, in minutes from the first planned firing's start, and the
// planned firing that findings are put down to.
func (j joint) roomCheck(room string) (air.RoomCheck, plannedFiring) {
	var first plannedFiring
	for _, p := range j.planned {
		if len(p.Releases) > 0 && j.reaches(p.Firing, room) && (first.Furnace == "" || p.Window.Start.Before(first.Window.Start)) {
			first = p
		}
	}
	var sources []air.Source
	for _, f := range j.all() {
		if len(f.Releases) > 0 && j.reaches(f, room) {
			sources = append(sources, j.source(f, first.Window.Start))
		}
	}
	own := j.site.Rooms[room]
	return air.RoomCheck{
		Zone: roomZone(j.site, own), Sources: sources, Room: &own, OnDate: j.today,
	}, first
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

// source is a firing as the room sees it. What escapes in a room that gives air to this one counts here in full and at
// once, which is the cautious end.
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
