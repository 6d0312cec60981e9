package domain

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"saggar/chem/air"
)

// DueKind is what is tested or measured again from time to time.
type DueKind string

// The kinds, each with how long it counts: see DueChecks.
const (
	DueDetector  DueKind = "DETECTOR"
	DueInterlock DueKind = "INTERLOCK"
	DueCapture   DueKind = "CAPTURE"
	DueFlow      DueKind = "FLOW"
)

// DueCheck is one test or measurement that counts until a date.
type DueCheck struct {
	Kind    DueKind
	Subject string // the resource's name within the studio
	Part    string // which gas of a room's alarms, which branch of a circuit; else empty
	Room    string // id of the room that it is about
	LastOn  string // ISO date; empty: never
	DueOn   string // the last date on which it counts; empty when it never was
	Overdue bool   // on the date asked about
	// Runs are ids of runs booked after DueOn that need it, and FirstTime when the first of them begins; zero for none.
	Runs      []string
	FirstTime time.Time
}

// DueChecks are all tests and measurements of a site as they stand on a date: function tests of gas alarms count
// air.DefaultDetectorTestDays, tests of fan interlocks as long as the studio says, measurements of capture and flow a year
// (common practice, no source). Ordered by when they fall due, what never was first.
func (s *Site) DueChecks(date string) []DueCheck {
	var all []DueCheck
	add := func(c DueCheck, until func(last time.Time) time.Time) {
		if last, err := time.Parse(time.DateOnly, c.LastOn); err == nil {
			c.DueOn = until(last).Format(time.DateOnly)
		} else {
			c.LastOn = ""
		}
		c.Overdue = c.DueOn < date
		all = append(all, c)
	}
	aYear := func(last time.Time) time.Time { return last.AddDate(1, 0, 0) }
	for _, id := range s.RoomIDs() {
		for _, d := range s.Rooms[id].Detectors {
			add(DueCheck{Kind: DueDetector, Subject: string(KindRoom) + "/" + id, Part: d.Species, Room: id, LastOn: d.TestedOn},
				func(last time.Time) time.Time { return last.AddDate(0, 0, air.DefaultDetectorTestDays) })
		}
	}
	for _, id := range slices.Sorted(maps.Keys(s.Furnaces)) {
		f := s.Furnaces[id]
		subject := string(KindFurnace) + "/" + id
		if f.Branch == "" {
			continue
		}
		if f.FanInterlock.Fitted() {
			add(DueCheck{Kind: DueInterlock, Subject: subject, Room: f.Room, LastOn: f.FanInterlock.TestedOn},
				func(last time.Time) time.Time { return last.AddDate(0, s.Studio.InterlockTestMonths, 0) })
		}
		add(DueCheck{Kind: DueCapture, Subject: subject, Room: f.Room, LastOn: f.Capture.MeasuredOn}, aYear)
	}
	for _, c := range s.CircuitList() {
		for _, b := range c.Branches {
			if !c.Recirculating {
				add(DueCheck{Kind: DueFlow, Subject: string(KindCircuit) + "/" + c.ID, Part: b.ID, Room: b.Room, LastOn: b.MeasuredOn}, aYear)
			}
		}
	}
	slices.SortStableFunc(all, func(a, b DueCheck) int { return cmp.Compare(a.DueOn, b.DueOn) })
	return all
}

// Needs reports whether a firing gives off gas that the check stands guard over when it counts no more. zone is the studio's.
func (c DueCheck) Needs(f Firing, room string, zone *time.Location) bool {
	if len(f.Releases) == 0 || room != c.Room || f.GasUntil().In(zone).Format(time.DateOnly) <= c.DueOn {
		return false
	}
	switch c.Kind {
	case DueDetector:
		return slices.ContainsFunc(f.Releases, func(r air.Release) bool { return r.Species == c.Part })
	case DueFlow:
		return true
	default:
		return c.Subject == string(KindFurnace)+"/"+f.Furnace
	}
}
