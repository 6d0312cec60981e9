package app

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"saggar/chem/air"
	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/server/domain"
)

// air finds rooms whose air a planned firing, together with all others, brings over a limit while its gas is there, and what
// spills over those who stand at its open furnace or at one whose air it makes worse. The cautious case decides. It also
// says what its figures assume.
func (j joint) air() (found []finding.Finding, assumptions []string) {
	for _, p := range j.planned {
		for _, room := range j.roomsOf(p) {
			findings, assumed, err := j.airOf(p, room)
			if err != nil {
				found = append(found, uncheckable(p, room, err))
				continue
			}
			found = append(found, findings...)
			assumptions = append(assumptions, assumed...)
		}
	}
	return found, assumptions
}

// refusesAir says only whether a room goes over a limit that refuses, or somebody at an open furnace does, without working
// out what would cure it.
func (j joint) refusesAir() bool {
	for _, p := range j.planned {
		for _, room := range j.roomsOf(p) {
			view, err := j.view(p, room)
			if err != nil {
				return true
			}
			judged, err := air.Judge(view.Zone, view.Standing, view.Sources, view.Own)
			if err != nil || slices.ContainsFunc(judged.Excesses, func(e air.Excess) bool {
				return e.Limit.Severity == finding.Block
			}) {
				return true
			}
			near, _, err := j.near(p, view, judged.HeadroomPPM)
			if err != nil || finding.Blocks(near) {
				return true
			}
		}
	}
	return false
}

// roomsOf are the rooms whose air a firing changes: its own, and those that this one gives air to, near and far.
func (j joint) roomsOf(p plannedFiring) []string {
	if len(p.Releases) == 0 {
		return nil
	}
	rooms := []string{j.site.Furnaces[p.Furnace].Room}
	for i := 0; i < len(rooms); i++ {
		for _, t := range j.site.Rooms[rooms[i]].Transfers {
			if !slices.Contains(rooms, t.ToRoom) {
				rooms = append(rooms, t.ToRoom)
			}
		}
	}
	return rooms
}

func (j joint) airOf(p plannedFiring, room string) ([]finding.Finding, []string, error) {
	view, err := j.view(p, room)
	if err != nil {
		return nil, nil, err
	}
	assessment, err := air.CheckRoom(view)
	if err != nil {
		return nil, nil, err
	}
	if p.seen != nil && room == j.site.Furnaces[p.Furnace].Room {
		flow := air.RoomFlow(j.site.Rooms[room], j.running(p.Window.Start))
		*p.seen = assess.RoomAir{Room: room, FlowCubicMetersPerSecond: flow, Assessment: assessment}
	}
	near, assumed, err := j.near(p, view, headroom(assessment))
	return j.putDown(append(assessment.Findings, near...), p, room), append(assessment.Assumptions, assumed...), err
}

// worse keeps the findings that are not among others at least as bad.
func worse(findings, others []finding.Finding) []finding.Finding {
	return slices.DeleteFunc(slices.Clone(findings), func(f finding.Finding) bool {
		return slices.ContainsFunc(others, func(o finding.Finding) bool {
			return o.Code == f.Code && o.Severity == f.Severity && ratioOf(f) <= ratioOf(o)*(1+1e-9)
		})
	})
}

// putDown puts findings about a room down to a planned firing, with the time by the clock instead of minutes.
func (j joint) putDown(findings []finding.Finding, p plannedFiring, room string) []finding.Finding {
	var list []finding.Finding
	for _, f := range findings {
		if minute, ok := figure(f, "begins"); ok {
			from := "from " + j.clock(p.Window.Start.Add(time.Duration(minute*float64(time.Minute))))
			if j.anyTime {
				from = fmt.Sprintf("from minute %.0f of the firing", minute)
			}
			f.Message = strings.Replace(f.Message, fmt.Sprintf("from minute %.0f", minute), from, 1)
		}
		if f.Code == "AIR_REENTRY" || f.Code == "AIR_OPENED_WHILE_SIGNED" {
			f.Message, f.Cure = j.clockOf(f.Message, p.Window.Start), j.clockOf(f.Cure, p.Window.Start)
		}
		f.Field, f.About = p.field, room
		f.Message = fmt.Sprintf("%s, %s on %s: %s", room, p.Title, p.Furnace, f.Message)
		list = append(list, f)
	}
	return list
}

// ratioOf is how far over its limit, or over those of a mixture, a finding is.
func ratioOf(f finding.Finding) float64 {
	if ratio, ok := figure(f, "ratio"); ok {
		return ratio
	}
	ratio, _ := figure(f, "mixture_ratio")
	return ratio
}

func figure(f finding.Finding, name string) (float64, bool) {
	for _, g := range f.Figures {
		if g.Name == name {
			return g.Value, true
		}
	}
	return 0, false
}

// uncheckable refuses when a room's air cannot be worked out, since nothing then shows that it is safe.
func uncheckable(p plannedFiring, room string, err error) finding.Finding {
	return finding.Finding{
		Severity: finding.Block, Code: "AIR_UNCHECKED", Field: p.field, About: room,
		Message: fmt.Sprintf("the air of %s cannot be worked out: %v", room, err), Cure: "mend the room's figures",
	}
}

// view is one room as a planned firing finds it, in minutes from that firing's start: it is asked about, all others stand.
func (j joint) view(p plannedFiring, room string) (air.RoomCheck, error) {
	own := j.site.Rooms[room]
	check := air.RoomCheck{
		Zone: j.roomZone(own, p.Window.Start), Room: &own, OnDate: j.today, Own: j.site.Studio.OwnLimits, CureOnly: true,
	}
	if !j.anyTime {
		check.FiringDate = p.GasUntil().In(j.site.Zone).Format(time.DateOnly)
	}
	others := near(j.others(p), p.Firing, airReach(j.site))
	home := j.site.Furnaces[p.Furnace].Room
	check.Standing = j.sources(others, room, p.Window.Start)
	if home == room {
		check.Sources = []air.Source{j.source(p.Firing, j.site.CircuitList(), p.Window.Start)}
	}
	if !j.transfers() {
		return check, nil
	}
	carried, err := j.carried(others, p.Window.Start)
	if err != nil {
		return check, err
	}
	check.Standing = append(check.Standing, carried[room]...)
	if home != room {
		mine, err := j.carried([]domain.Firing{p.Firing}, p.Window.Start)
		if err != nil {
			return check, err
		}
		check.Sources = mine[room]
	}
	return check, nil
}

// others are all firings but one.
func (j joint) others(p plannedFiring) []domain.Firing {
	others := slices.Clone(j.existing)
	for _, other := range j.planned {
		if other.field != p.field {
			others = append(others, other.Firing)
		}
	}
	return others
}

// roomZone is a room's air with the flow that counts at each time, since a circuit that is closed draws nothing then, and with
// the times for which it is signed off.
func (j joint) roomZone(room air.Room, origin time.Time) air.Zone {
	zone := air.Zone{
		ID: room.ID, VolumeCubicMeters: room.VolumeCubicMeters, MixingFactor: room.MixingFactor, Flow: j.flow(room, origin),
	}
	for _, w := range j.site.SignedOff(room.ID, domain.Window{
		Start: origin.Add(-farMinutes * time.Minute), End: origin.Add(farMinutes * time.Minute),
	}) {
		zone.Unoccupied = append(zone.Unoccupied, air.Interval{
			StartMinute: w.Start.Sub(origin).Minutes(), EndMinute: w.End.Sub(origin).Minutes(),
		})
	}
	return zone
}

// farMinutes bounds how far from a firing a closure's ends are looked at: ten years.
const farMinutes = 10 * 366 * 24 * 60

// flow lists the flow through a room from each minute on at which a circuit stops or starts again.
func (j joint) flow(room air.Room, origin time.Time) []air.FlowStep {
	first, last := origin.Add(-farMinutes*time.Minute), origin.Add(farMinutes*time.Minute)
	changes := []time.Time{first}
	for _, c := range j.site.Closures {
		if c.SubjectKind == domain.KindCircuit && c.Start.Before(last) && first.Before(c.End) {
			changes = append(changes, later(c.Start, first), c.End)
		}
	}
	if len(changes) == 1 {
		return air.ConstantFlow(air.RoomFlow(room, j.site.CircuitList()))
	}
	slices.SortFunc(changes, time.Time.Compare)
	changes = slices.CompactFunc(changes, time.Time.Equal)
	var steps []air.FlowStep
	for _, at := range changes {
		if at.Before(last) {
			steps = append(steps, air.FlowStep{
				StartMinute: at.Sub(origin).Minutes(), CubicMetersPerSecond: air.RoomFlow(room, j.running(at)),
			})
		}
	}
	return steps
}

// running are the circuits that no closure stops at an instant.
func (j joint) running(at time.Time) []air.Circuit {
	return slices.DeleteFunc(j.site.CircuitList(), func(c air.Circuit) bool {
		return slices.ContainsFunc(j.site.Closures, func(closure domain.Closure) bool {
			return closure.SubjectKind == domain.KindCircuit && closure.SubjectID == c.ID &&
				!at.Before(closure.Start) && at.Before(closure.End)
		})
	})
}

// sources are the firings in a room that give something off.
func (j joint) sources(firings []domain.Firing, room string, origin time.Time) []air.Source {
	sources, circuits := make([]air.Source, 0, len(firings)+1), j.site.CircuitList()
	for _, f := range firings {
		if len(f.Releases) > 0 && j.site.Furnaces[f.Furnace].Room == room {
			sources = append(sources, j.source(f, circuits, origin))
		}
	}
	return sources
}

func (j joint) transfers() bool {
	for _, room := range j.site.Rooms {
		if len(room.Transfers) > 0 {
			return true
		}
	}
	return false
}

// carried is what the air of other rooms brings into each.
func (j joint) carried(firings []domain.Firing, origin time.Time) (map[string][]air.Source, error) {
	var spaces []air.Space
	for _, id := range slices.Sorted(maps.Keys(j.site.Rooms)) {
		room := j.site.Rooms[id]
		spaces = append(spaces, air.Space{
			Zone: j.roomZone(room, origin), Transfers: room.Transfers, Sources: j.sources(firings, id, origin),
		})
	}
	return air.Carry(spaces)
}

// source is a firing as the room that it is in sees it.
func (j joint) source(f domain.Firing, circuits []air.Circuit, origin time.Time) air.Source {
	closed, open := assess.Capture(j.site.Furnaces[f.Furnace], circuits)
	shift := f.Window.Start.Sub(origin).Minutes()
	source := air.Source{Name: f.Title + " on " + f.Furnace, CaptureFraction: closed, DoorOpenFraction: open}
	source.Releases = slices.Clone(f.Releases)
	for i := range source.Releases {
		source.Releases[i].StartMinute += shift
		source.Releases[i].EndMinute += shift
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

const (
	// leastReach covers the longest averaging time (10 h); mostReach is how long gas is followed in a room without any air.
	leastReach = 24 * time.Hour
	mostReach  = 366 * 24 * time.Hour
)

// airReach is how far apart two firings may lie and still meet in a room of the site: the longest averaging time and until
// a ten-thousandth of the gas is left in the slowest room, longer by all the time that circuits are closed; at least a day and
// at most a year.
func airReach(site *domain.Site) time.Duration {
	reach, averaging := leastReach, air.LongestAveragingMinutes()
	for _, own := range site.Studio.OwnLimits {
		averaging = max(averaging, own.AveragingMinutes)
	}
	for _, room := range site.Rooms {
		flow := air.RoomFlow(room, site.CircuitList())
		if flow <= 0 {
			return mostReach
		}
		minutes := averaging + math.Log(1e4)*room.MixingFactor*room.VolumeCubicMeters/(60*flow)
		reach = max(reach, time.Duration(math.Min(minutes, farMinutes)*float64(time.Minute)))
	}
	var closed []domain.Window
	for _, c := range site.Closures {
		if c.SubjectKind == domain.KindCircuit {
			closed = append(closed, domain.Window{Start: c.Start, End: c.End})
		}
	}
	for _, w := range domain.MergeWindows(closed) {
		reach += min(w.End.Sub(w.Start), mostReach)
		if reach >= mostReach {
			return mostReach
		}
	}
	return min(reach, mostReach)
}

// airRisk is what a quick look at the air after something came in shows.
type airRisk struct {
	over bool // a room is over a limit
	near bool // people at the open furnace of a planned firing, or of one that came in, could be over one
	// loud says that a day longer than a shift could be over a limit which no moment of it is over.
	loud bool
}

// mostShifts is how many averaging times of a shift a day has at most: 24 hours over 8.
const mostShifts = 3

// risk looks quickly at what firings that came in have changed. Where what spills at an open furnace fits into what the room leaves,
// nobody there is over a limit.
func (j joint) risk(added []domain.Firing) airRisk {
	var risk airRisk
	for _, p := range j.planned {
		for _, room := range j.roomsOf(p) {
			view, err := j.view(p, room)
			if err != nil {
				return airRisk{true, true, true}
			}
			judged, err := air.Judge(view.Zone, view.Standing, view.Sources, view.Own)
			if err != nil || len(judged.Excesses) > 0 || len(view.Zone.Unoccupied) > 0 {
				return airRisk{true, true, true} // whether people may come in again is for the whole check
			}
			risk.loud = risk.loud || mostShifts*judged.ShiftShare > 1
			if room == j.site.Furnaces[p.Furnace].Room {
				risk.near = risk.near || spillsOver(append(j.sources(added, room, p.Window.Start), view.Sources...), judged.HeadroomPPM)
			}
		}
	}
	return risk
}
