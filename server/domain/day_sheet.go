package domain

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/chem/heat"
)

// BenchWork is a stage that is done at the bench without a station, so without a firing.
type BenchWork struct {
	RunID      string
	Department string
	Maker      string
	Stage      string
	State      LoadState
	Window     Window
}

// DaySheet is what somebody who looks after the furnaces has before them on one local day.
type DaySheet struct {
	StudioID, Title string
	Zone            *time.Location
	Date            string // YYYY-MM-DD
	Room            string // the only one that it is for; empty: all
	Day             Window
	AsOf            time.Time
	Revision        int64
	Jobs            []DayJob   // by start
	Due             []DueCheck // tests and measurements that count no more after this day
	Rooms           []DayRoom
	Closed          []string // what is out of use, a sentence each
	Assumptions     []string
}

// DayJob is one stage of one run that lies on the day, at least in part, or a firing for others in which nothing rides yet: its
// run is then empty.
type DayJob struct {
	Mark string
	Run  Run
	Load Load
	// Stage is that of the recipe's version. Its id is empty when the recipe could not be read.
	Stage          chem.Stage
	Furnace        heat.Furnace // zero for bench work without a station
	DamperPosition string
	WeighOut       []chem.WeighedMaterial
	MassInGrams    float64
	MassOutGrams   float64
	// Air is the furnace's room with everything that is booked; nil when nothing comes off.
	Air        *assess.RoomAir
	Unattended []UnattendedHeat
	Next       *Load // nil: the last stage
	Findings   []finding.Finding
	Missing    []string // what is not known, a sentence each
	Vessels    []VesselUse
	GearWorn   []string // while it stands open, a few words each
}

// DayTask is one phase of a job.
type DayTask struct {
	Job   *DayJob
	Phase FiringPhase
}

// UnattendedHeat is heat that is on while nobody who answers for the room is there.
type UnattendedHeat struct {
	Window Window
	Watch  heat.Watch
}

// DayRoom is a room on the day.
type DayRoom struct {
	Room                     air.Room
	Staffed                  []Window
	NeededCount              int // the most people that the jobs need in it at once
	FlowCubicMetersPerSecond float64
	Detectors                []DayDetector
	Missing                  []string
}

// DayDetector is a gas alarm with the last date on which its test counts; empty when there was none.
type DayDetector struct {
	air.Detector
	DueOn   string
	Overdue bool
}

// The years of which days and months are asked for.
const firstYear, lastYear = 2000, 2099

// LocalDay is the local day of a date, from its first instant to that of the next. Errors: finding.Faults under field for what
// is no date.
func LocalDay(field, date string, zone *time.Location) (Window, error) {
	day, err := time.Parse(time.DateOnly, date)
	if err != nil || day.Year() < firstYear || day.Year() > lastYear {
		return Window{}, finding.Faults{{
			Field: field, Message: fmt.Sprintf("%q is no date of the years %d to %d", date, firstYear, lastYear),
			Cure: "give a day of the calendar as YYYY-MM-DD",
		}}
	}
	return Window{localMinute(day, 0, zone), localMinute(day.AddDate(0, 0, 1), 0, zone)}, nil
}

// Mark is the mark of the job at an index: A to Z, then AA and on.
func Mark(index int) string {
	mark := string(rune('A' + index%26))
	if index >= 26 {
		return Mark(index/26-1) + mark
	}
	return mark
}

// Phases are those of the job's firing. Bench work without a station is one, for which somebody must be in reach.
func (j DayJob) Phases() []FiringPhase {
	if j.Load.Firing != nil {
		return j.Load.Firing.Phases
	}
	return []FiringPhase{{Kind: heat.Work, Window: j.Load.Window, Watch: heat.InReach, PeopleCount: 1}}
}

// OpenBelowCelsius is how cold a heat treatment must be before the furnace is opened.
func (j DayJob) OpenBelowCelsius() float64 {
	return cmp.Or(j.Stage.OpenBelowCelsius, heat.DefaultOpenBelowCelsius)
}

// Clearing is when the furnace burns off what the job leaves in it, with the time it takes to cool again.
func (j DayJob) Clearing() (Window, bool) {
	phases := j.Phases()
	at := slices.IndexFunc(phases, func(p FiringPhase) bool { return p.Kind == heat.Clear })
	if at < 0 {
		return Window{}, false
	}
	return Window{phases[at].Window.Start, phases[len(phases)-1].Window.End}, true
}

// Tasks are the phases of all jobs that lie on the day, by start, then by mark. Those of no length are left out, and what a
// shared firing asks for is said once, with its first load.
func (s *DaySheet) Tasks() []DayTask {
	var tasks []DayTask
	said := map[int64]bool{}
	for i := range s.Jobs {
		if firing := s.Jobs[i].Load.Firing; firing != nil && firing.Offer != nil {
			if said[firing.Key] {
				continue
			}
			said[firing.Key] = true
		}
		for _, phase := range s.Jobs[i].Phases() {
			if phase.Window.Overlaps(s.Day) && phase.Window.Minutes() > 0 {
				tasks = append(tasks, DayTask{&s.Jobs[i], phase})
			}
		}
	}
	slices.SortStableFunc(tasks, func(a, b DayTask) int { return a.Phase.Window.Start.Compare(b.Phase.Window.Start) })
	return tasks
}

// PeopleAtOnce is the most people that must be in a room at one time of the day.
func (s *DaySheet) PeopleAtOnce(room string) int {
	most := 0
	tasks := s.Tasks()
	for _, at := range tasks {
		start := at.Phase.Window.Start
		if start.Before(s.Day.Start) {
			start = s.Day.Start
		}
		people := 0
		for _, other := range tasks {
			in := other.Job.Furnace.Room == room && other.Phase.Watch == heat.InRoom
			if in && !start.Before(other.Phase.Window.Start) && start.Before(other.Phase.Window.End) {
				people += other.Phase.PeopleCount
			}
		}
		most = max(most, people)
	}
	return most
}

// Unattended returns the stretches in which heat is on outside the staffed windows, by start; only those that touch the day.
// Staffed are in order and do not overlap.
func Unattended(phases []FiringPhase, staffed []Window, day Window) []UnattendedHeat {
	var left []UnattendedHeat
	add := func(w Window, watch heat.Watch) {
		switch last := len(left) - 1; {
		case !w.Start.Before(w.End) || !w.Overlaps(day):
		case last >= 0 && left[last].Watch == watch && left[last].Window.End.Equal(w.Start):
			left[last].Window.End = w.End
		default:
			left = append(left, UnattendedHeat{w, watch})
		}
	}
	for _, p := range phases {
		if p.Kilowatts <= 0 || p.Kind == heat.Work {
			continue
		}
		from := p.Window.Start
		for _, w := range staffed {
			if !w.Overlaps(p.Window) {
				continue
			}
			add(Window{from, w.Start}, p.Watch)
			from = w.End
		}
		add(Window{from, p.Window.End}, p.Watch)
	}
	return left
}

// DetectorsOn are a room's gas alarms as they are on a date, each test counting as long as chem/air says, by species.
func DetectorsOn(room air.Room, date string) []DayDetector {
	var list []DayDetector
	for _, d := range room.Detectors {
		shown := DayDetector{Detector: d, Overdue: true}
		if tested, err := time.Parse(time.DateOnly, d.TestedOn); err == nil {
			shown.DueOn = tested.AddDate(0, 0, air.DefaultDetectorTestDays).Format(time.DateOnly)
			shown.Overdue = shown.DueOn < date || date < d.TestedOn
		}
		list = append(list, shown)
	}
	slices.SortStableFunc(list, func(a, b DayDetector) int { return cmp.Compare(a.Species, b.Species) })
	return list
}

// Sentence is a closure as people read it, with its local times.
func (c Closure) Sentence(zone *time.Location) string {
	const clock = "Mon 2 Jan 15:04"
	text := fmt.Sprintf("%s is closed from %s to %s", c.SubjectID, c.Start.In(zone).Format(clock), c.End.In(zone).Format(clock))
	if reason := strings.TrimSpace(c.Reason); reason != "" {
		text += ": " + reason
	}
	return text
}
