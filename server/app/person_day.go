package app

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/domain"
)

// PersonDay is what one person breathes over a day's stays at firings: those that no averaging time divides.
type PersonDay struct {
	Person string
	Date   string // local date on which it begins
	Stays  []Stay
	air.DayAssessment
}

// Stay is a person at one firing in its room.
type Stay struct {
	Room   string
	Firing domain.Firing
	Window domain.Window
}

// stay is one while the day is put together.
type stay struct {
	Stay
	index   int // among all firings
	planned bool
	isNew   bool // planned, and not a firing that stands and is joined
	answers bool // somebody was named for it, or others' loads ride in it
}

// days finds what each person breathes who attends a planned firing, over all firings that they attend that day, and what
// others breathe at firings whose rooms the planned ones bring near a limit. What would be wrong without the planned ones too
// is not held against them.
func (j joint) days() (found []finding.Finding, days []PersonDay, assumptions []string) {
	if !slices.ContainsFunc(j.all(), func(p plannedFiring) bool { return len(p.Releases) > 0 }) {
		return nil, nil, nil
	}
	for _, person := range j.people() {
		for _, group := range j.groups(person) {
			day, findings, err := j.day(person, group)
			if err != nil {
				found = append(found, j.uncheckedDay(person, group, err))
				continue
			}
			if len(findings) > 0 {
				findings = worse(findings, j.withoutPlanned(person, group))
			}
			day.Findings = j.clocked(findings, person, group)
			found, assumptions = append(found, day.Findings...), append(assumptions, day.Assumptions...)
			if len(day.Findings) > 0 || slices.ContainsFunc(group, func(s stay) bool { return s.planned }) {
				days = append(days, day)
			}
		}
	}
	return found, days, assumptions
}

// people are those whose day is looked at, by id.
func (j joint) people() []string {
	var people []string
	for _, p := range j.planned {
		people = append(people, p.AttendedBy)
	}
	risk := j.risk(j.existing)
	for _, person := range j.besides() {
		if risk.over || risk.near || risk.loud && j.longDay(person) {
			people = append(people, person)
		}
	}
	slices.Sort(people)
	return slices.DeleteFunc(slices.Compact(people), func(id string) bool { return id == "" })
}

// besides are those who attend firings that share air with planned ones, each once.
func (j joint) besides() []string {
	var people []string
	for _, f := range j.existing {
		if !slices.Contains(people, f.AttendedBy) && j.sharesAir(f) {
			people = append(people, f.AttendedBy)
		}
	}
	return people
}

// shiftHours is the shortest averaging time over which a person's day counts whole: a longer day can be over a limit that no moment
// of it is over (29 CFR 1910.1000(d)(1)(i)).
const shiftHours = 8

// longDays reports whether anybody has one who attends a planned firing, or one that shares its air.
func (j joint) longDays() bool {
	people := j.besides()
	for _, p := range j.planned {
		people = append(people, p.AttendedBy)
	}
	return slices.ContainsFunc(people, j.longDay)
}

// longDay reports whether somebody has a day with more than a shift of stays that the planned firings can change.
func (j joint) longDay(person string) bool {
	return person != "" && slices.ContainsFunc(j.groups(person), func(group []stay) bool {
		var there time.Duration
		for _, s := range group {
			there += s.Window.End.Sub(s.Window.Start)
		}
		return there > shiftHours*time.Hour
	})
}

// sharesAir reports whether a firing stands in a room whose air a planned one changes.
func (j joint) sharesAir(f domain.Firing) bool {
	return slices.ContainsFunc(j.planned, func(p plannedFiring) bool { return slices.Contains(j.roomsOf(p), j.site.Furnaces[f.Furnace].Room) })
}

// isThere reports whether whoever attends a firing is in its room during a phase: at the bench, and while somebody must be.
func isThere(p domain.FiringPhase) bool {
	return (p.Watch == heat.InRoom || p.Kind == heat.Work) && p.Window.Start.Before(p.Window.End)
}

// stays are a person's at all firings, by start; phases that follow each other are one.
func (j joint) stays(person string) []stay {
	var stays []stay
	for i, f := range j.all() {
		if f.AttendedBy != person {
			continue
		}
		first := len(stays)
		for _, p := range f.Phases {
			last := len(stays) - 1
			switch {
			case !isThere(p):
			case last >= first && stays[last].Window.End.Equal(p.Window.Start):
				stays[last].Window.End = p.Window.End
			default:
				s := Stay{Room: j.site.Furnaces[f.Furnace].Room, Firing: f.Firing, Window: p.Window}
				planned := f.field != ""
				answers := f.named || f.Offer != nil || !planned && f.AttendedBy != f.Maker
				stays = append(stays, stay{s, i, planned, planned && !f.joined, answers})
			}
		}
	}
	slices.SortStableFunc(stays, func(a, b stay) int { return a.Window.Start.Compare(b.Window.Start) })
	return stays
}

// groups are a person's days: stays between which less than the longest averaging time lies, so that no mean reaches over two
// of them. Only those are returned that the planned firings can change: with a stay at one, or within reach of their gas.
func (j joint) groups(person string) [][]stay {
	longest := time.Duration(air.LongestAveragingMinutes()) * time.Minute
	for _, own := range j.site.Studio.OwnLimits {
		longest = max(longest, time.Duration(own.AveragingMinutes)*time.Minute)
	}
	var groups [][]stay
	var end time.Time
	for _, s := range j.stays(person) {
		if len(groups) == 0 || s.Window.Start.Sub(end) >= longest {
			groups = append(groups, nil)
		}
		last := len(groups) - 1
		groups[last] = append(groups[last], s)
		end = later(end, s.Window.End)
	}
	reach := reachOf(j.planned, airReach(j.site))
	return slices.DeleteFunc(groups, func(group []stay) bool {
		atPlanned := slices.ContainsFunc(group, func(s stay) bool { return s.planned })
		return !atPlanned && !slices.ContainsFunc(group, func(s stay) bool { return s.Window.Overlaps(reach) })
	})
}

// day works out one day.
func (j joint) day(person string, group []stay) (PersonDay, []finding.Finding, error) {
	origin := group[0].Window.Start
	check := air.DayCheck{Person: person, Spaces: j.spaces(group, origin), Own: j.site.Studio.OwnLimits}
	day := PersonDay{Person: person, Date: origin.In(j.site.Zone).Format(time.DateOnly)}
	for _, s := range j.apart(group) {
		day.Stays = append(day.Stays, s.Stay)
		presence := air.Presence{
			Room: s.Room, StartMinute: s.Window.Start.Sub(origin).Minutes(), EndMinute: s.Window.End.Sub(origin).Minutes(),
		}
		if len(s.Firing.Releases) > 0 {
			presence.At = strconv.Itoa(s.index)
		}
		check.Presences = append(check.Presences, presence)
	}
	if len(check.Presences) == 0 { // all of it while the room is signed off, which is refused elsewhere
		return day, nil, nil
	}
	assessed, err := air.CheckDay(check)
	if err == nil && len(assessed.Findings) > 0 {
		err = spillApart(check, &assessed)
	}
	day.DayAssessment = assessed
	return day, assessed.Findings, err
}

// spillApart makes less of what only the spill at open furnaces brings over a limit, since those who stand there are judged with
// the respirator that they must wear: over a shift it warns where one is enough, over a short time it is noted. What the rooms'
// air alone brings about stays as it is.
func spillApart(check air.DayCheck, assessed *air.DayAssessment) error {
	check.Presences = slices.Clone(check.Presences)
	for i := range check.Presences {
		check.Presences[i].At = ""
	}
	roomsOnly, err := air.CheckDay(check)
	if err != nil {
		return err
	}
	for i, f := range assessed.Findings {
		ofRooms := slices.ContainsFunc(roomsOnly.Findings, func(r finding.Finding) bool { return r.Code == f.Code && r.Severity == f.Severity })
		overShift := f.Code == "AIR_PERSON_SHIFT_LIMIT" || f.Code == "AIR_PERSON_MIXTURE"
		switch {
		case ofRooms:
		case f.Severity == finding.Block && overShift:
			if protectionEnough(*assessed) {
				assessed.Findings[i].Severity = finding.Warn
			}
		default:
			assessed.Findings[i].Severity = finding.Note
		}
	}
	finding.SortWorstFirst(assessed.Findings)
	return nil
}

// protectionEnough reports whether some respirator is enough at every peak over a limit that refuses.
func protectionEnough(day air.DayAssessment) bool {
	return !slices.ContainsFunc(day.Species, func(s air.DaySpecies) bool {
		return len(s.Protection) > 0 && !slices.ContainsFunc(s.Protection, func(c air.ProtectionClass) bool { return c.Enough })
	})
}

// notSaid leaves out warnings about people's days that rooms are warned of at least as badly: one word about the same air is enough.
func notSaid(ofDays, ofRooms []finding.Finding) []finding.Finding {
	return slices.DeleteFunc(slices.Clone(ofDays), func(f finding.Finding) bool {
		return f.Severity == finding.Warn && slices.ContainsFunc(ofRooms, func(r finding.Finding) bool {
			return r.Severity == finding.Warn && "AIR_PERSON_"+strings.TrimPrefix(r.Code, "AIR_") == f.Code && ratioOf(f) <= ratioOf(r)*(1+1e-9)
		})
	})
}

// spaces are all rooms with the firings whose gas can be there during a day. A source's name is the firing's place among all.
func (j joint) spaces(group []stay, origin time.Time) []air.Space {
	from, circuits := origin.Add(-airReach(j.site)), j.site.CircuitList()
	until := origin
	for _, s := range group {
		until = later(until, s.Window.End)
	}
	sources := map[string][]air.Source{}
	for i, f := range j.all() {
		if len(f.Releases) > 0 && f.Window.Overlaps(domain.Window{Start: from, End: until}) {
			source := j.source(f.Firing, circuits, origin)
			source.Name = strconv.Itoa(i)
			room := j.site.Furnaces[f.Furnace].Room
			sources[room] = append(sources[room], source)
		}
	}
	var spaces []air.Space
	for _, id := range j.site.RoomIDs() {
		room := j.site.Rooms[id]
		spaces = append(spaces, air.Space{Zone: j.roomZone(room, origin), Transfers: room.Transfers, Sources: sources[id]})
	}
	return spaces
}

// apart cuts a day's stays so that none overlap, since nobody is in two places: one at a planned firing counts before others,
// then the earlier. Nobody is in a room that is signed off.
func (j joint) apart(group []stay) []stay {
	order := slices.Clone(group)
	slices.SortStableFunc(order, func(a, b stay) int {
		if a.planned != b.planned {
			return cmp.Compare(strconv.FormatBool(b.planned), strconv.FormatBool(a.planned))
		}
		return a.Window.Start.Compare(b.Window.Start)
	})
	var apart []stay
	var taken []domain.Window
	for _, s := range order {
		free := domain.SubtractWindows([]domain.Window{s.Window}, append(j.site.SignedOff(s.Room, s.Window), taken...))
		for _, w := range free {
			one := s
			one.Window = w
			apart = append(apart, one)
		}
		taken = append(taken, s.Window)
	}
	slices.SortStableFunc(apart, func(a, b stay) int { return a.Window.Start.Compare(b.Window.Start) })
	return apart
}

// withoutPlanned is what would be found of the same day without the planned firings.
func (j joint) withoutPlanned(person string, group []stay) []finding.Finding {
	before := j
	before.planned = nil
	rest := slices.DeleteFunc(slices.Clone(group), func(s stay) bool { return s.planned })
	if len(rest) == 0 {
		return nil
	}
	_, findings, err := before.day(person, rest)
	if err != nil {
		return nil
	}
	return findings
}

// dayField is the planned firing to which a day's findings are put down: one that the person attends, else the first.
func (j joint) dayField(group []stay) string {
	all := j.all()
	for _, s := range group {
		if s.planned {
			return all[s.index].field
		}
	}
	return j.planned[0].field
}

var minuteWords = regexp.MustCompile(`minute (-?\d+)(?: to (-?\d+))?`)

// clockOf puts times by the clock in place of minutes from an instant.
func (j joint) clockOf(text string, origin time.Time) string {
	return minuteWords.ReplaceAllStringFunc(text, func(words string) string {
		parts := minuteWords.FindStringSubmatch(words)
		at := func(minutes string) string {
			n, _ := strconv.Atoi(minutes) // digits only
			return j.clock(origin.Add(time.Duration(n) * time.Minute))
		}
		if parts[2] == "" {
			return at(parts[1])
		}
		return at(parts[1]) + " to " + at(parts[2])
	})
}

// clocked puts a day's findings down to a planned firing, with times by the clock.
func (j joint) clocked(findings []finding.Finding, person string, group []stay) []finding.Finding {
	var list []finding.Finding
	origin := group[0].Window.Start
	for _, f := range findings {
		f.Field, f.About = j.dayField(group), person
		f.Message, f.Cure = j.clockOf(f.Message, origin), j.clockOf(f.Cure, origin)
		list = append(list, f)
	}
	return list
}

func (j joint) uncheckedDay(person string, group []stay, err error) finding.Finding {
	return finding.Finding{
		Severity: finding.Block, Code: "AIR_UNCHECKED", Field: j.dayField(group), About: person,
		Message: fmt.Sprintf("what %s breathes that day cannot be worked out: %v", person, err), Cure: "mend the rooms' figures",
	}
}

// inTwoPlaces refuses that somebody is in two rooms at one time who was named for either of them, or answers for others' loads there;
// a maker who names nobody may send others. A firing that is joined changes nothing of where people are.
func (j joint) inTwoPlaces() []finding.Finding {
	var found []finding.Finding
	var seen []string
	for _, p := range j.planned {
		if p.AttendedBy == "" || slices.Contains(seen, p.AttendedBy) {
			continue
		}
		seen = append(seen, p.AttendedBy)
		stays := j.stays(p.AttendedBy)
		for i, a := range stays {
			at := slices.IndexFunc(stays[i+1:], func(b stay) bool {
				return a.Window.Overlaps(b.Window) && a.Room != b.Room && (a.isNew || b.isNew) && (a.answers || b.answers)
			})
			if at < 0 {
				continue
			}
			b := stays[i+1+at]
			found = append(found, finding.Finding{
				Severity: finding.Block, Code: "PERSON_IN_TWO_ROOMS", Field: j.dayField([]stay{a, b}), About: p.AttendedBy,
				Message: fmt.Sprintf("%s would be in %s for %s and in %s for %s at %s", p.AttendedBy, a.Room, describe(a.Firing), b.Room,
					describe(b.Firing), j.clock(later(a.Window.Start, b.Window.Start))),
				Cure: "name somebody else for one of them in attended_by, or choose another time",
			})
			break
		}
	}
	return found
}

// dayRisk says quickly whether firings that came in can bring anybody's day over a limit whose day was looked at before. While
// every concentration that somebody meets stays below the strictest limit that refuses, no mean over at most an averaging time is
// above it; a day longer than a shift can be where what is met could add up to more. The risk says what the planned firings' rooms
// show, and what was found before what all others do, as long as nothing that came in touches them.
func (j joint) dayRisk(added []domain.Firing, before []PersonDay, risk airRisk) bool {
	if risk.over || risk.near || risk.loud && j.longDays() {
		return true
	}
	var judged []string
	for _, p := range j.planned {
		judged = append(judged, j.roomsOf(p)...)
	}
	touched := func(room string) bool {
		return slices.ContainsFunc(added, func(f domain.Firing) bool {
			return slices.Contains(j.roomsOf(plannedFiring{Firing: f}), room)
		})
	}
	for _, day := range before {
		loud := j.isLoud(day)
		for _, s := range day.Stays {
			if touched(s.Room) && (loud || !slices.Contains(judged, s.Room)) {
				return true
			}
		}
		for _, f := range added {
			room := j.site.Furnaces[f.Furnace].Room
			if f.AttendedBy == day.Person && (loud || !slices.Contains(judged, room)) {
				return true
			}
		}
	}
	return false
}

// isLoud reports whether somebody's day meets, at a moment, more than a limit that refuses; of a day longer than a shift, more than
// what could add up to it.
func (j joint) isLoud(day PersonDay) bool {
	share := 1.0
	if j.longDay(day.Person) {
		share = mostShifts
	}
	return slices.ContainsFunc(day.Species, func(s air.DaySpecies) bool {
		return slices.ContainsFunc(s.Limits, func(l air.LimitCheck) bool { return l.Severity == finding.Block && share*s.PeakPPM > l.PPM })
	})
}

// DayLimit is one limit against what a person breathes.
type DayLimit struct {
	Species string
	air.LimitCheck
}

// Limits are the limits of a day, nearest first. One that nothing counts against is left out.
func (d PersonDay) Limits() []DayLimit {
	var limits []DayLimit
	for _, s := range d.Species {
		for _, l := range s.Limits {
			if l.MeanPPM > 0 {
				limits = append(limits, DayLimit{s.Species, l})
			}
		}
	}
	slices.SortStableFunc(limits, func(a, b DayLimit) int { return cmp.Compare(b.Ratio, a.Ratio) })
	return limits
}

// MixtureRatio is the larger of the day's two sums of concentration over limit.
func (d PersonDay) MixtureRatio() float64 {
	return math.Max(d.ShiftMixtureRatio, d.ShortTermMixtureRatio)
}

// attendedWords says who is where, for a message.
func attendedWords(f domain.Firing, w domain.Window, clock func(time.Time) string) string {
	return strings.TrimSpace(fmt.Sprintf("%s attends %s on %s from %s to %s", cmp.Or(f.AttendedBy, "somebody"), describe(f), f.Furnace,
		clock(w.Start), clock(w.End)))
}
