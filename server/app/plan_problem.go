package app

import (
	"maps"
	"math"
	"slices"

	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/scheduler"
	"saggar/server/domain"
)

// wattsPerKilowatt makes whole numbers of powers: scheduler counts in watts.
const wattsPerKilowatt = 1000

// resourceIndex says where each thing of the site stands in the problem.
type resourceIndex struct {
	unary  map[string]int // by furnace id; "" has one for each task, added as needed
	supply map[string]int
	crew   map[string]int // by room id
	room   map[string]int // calendar of the room's staffed hours
	reach  int            // calendar of when anybody is in reach
}

// build states the problem over a window.
func (p *planner) build(window domain.Window) error {
	p.problem = scheduler.Problem{
		HorizonMinutes: p.minuteFloor(window.End), StepMinutes: p.site.Studio.StepMinutes,
	}
	if p.problem.HorizonMinutes <= 0 {
		var faults finding.Faults
		faults.Add("end_time", "the window ends before a firing could start", "give a later end")
		return faults
	}
	p.index = resourceIndex{unary: map[string]int{}, supply: map[string]int{}, crew: map[string]int{}, room: map[string]int{}}
	p.addFurnaces(window)
	p.addSupplies()
	p.addCrews()
	p.addCalendars(window)
	for i, stage := range p.charge.Recipe.Stages {
		task := scheduler.Task{Name: stage.ID}
		overAir := ""
		var treatments []assess.Treatment
		for _, id := range p.assessor.Candidates(stage) {
			treatment, err := p.assessor.Treat(p.charge, i, id)
			if err != nil {
				return underPath("runs[0]", err)
			}
			if finding.Blocks(treatment.Findings) {
				p.refused = append(p.refused, treatment.Findings...)
				continue
			}
			if refused := p.refusedAlone(i, treatment); refused != nil {
				p.refused = append(p.refused, refused...)
				overAir = stage.ID
				continue
			}
			task.Modes = append(task.Modes, p.mode(treatment))
			treatments = append(treatments, treatment)
		}
		if len(task.Modes) == 0 && p.overAir == "" {
			p.overAir = overAir
		}
		p.problem.Tasks = append(p.problem.Tasks, task)
		p.modes = append(p.modes, treatments)
	}
	p.addLags()
	return nil
}

func (p *planner) addFurnaces(window domain.Window) {
	busy := busyWindows(p.site, p.existing, window)
	for _, id := range slices.Sorted(maps.Keys(p.site.Furnaces)) {
		p.index.unary[id] = len(p.problem.Unaries)
		unary := scheduler.Unary{Name: id}
		for _, w := range busy[id] {
			unary.Busy = append(unary.Busy, p.interval(w))
		}
		p.problem.Unaries = append(p.problem.Unaries, unary)
	}
}

func (p *planner) addSupplies() {
	for _, id := range slices.Sorted(maps.Keys(p.site.Supplies)) {
		p.index.supply[id] = len(p.problem.Cumulatives)
		p.problem.Cumulatives = append(p.problem.Cumulatives, scheduler.Cumulative{
			Name: id, Capacity: int(math.Floor(p.site.Supplies[id].LimitKilowatts * wattsPerKilowatt)),
			Used: p.used(func(f heat.Furnace) bool { return f.Supply == id }, func(ph domain.FiringPhase) int {
				return watts(ph.Kilowatts)
			}),
		})
	}
}

func (p *planner) addCrews() {
	for _, id := range slices.Sorted(maps.Keys(p.site.Rooms)) {
		p.index.crew[id] = len(p.problem.Cumulatives)
		p.problem.Cumulatives = append(p.problem.Cumulatives, scheduler.Cumulative{
			Name: id, Capacity: max(p.site.Rooms[id].CrewCount, 1),
			Used: p.used(func(f heat.Furnace) bool { return f.Room == id }, func(ph domain.FiringPhase) int {
				if ph.Watch != heat.InRoom {
					return 0
				}
				return ph.PeopleCount
			}),
		})
	}
}

// used is what the existing firings on some furnaces take of a cumulative.
func (p *planner) used(on func(heat.Furnace) bool, amount func(domain.FiringPhase) int) []scheduler.Step {
	var steps []scheduler.Step
	for _, f := range p.existing {
		if !on(p.site.Furnaces[f.Furnace]) {
			continue
		}
		for _, phase := range f.Phases {
			if n := amount(phase); n > 0 && phase.Window.Start.Before(phase.Window.End) {
				steps = append(steps, scheduler.Step{Interval: p.interval(phase.Window), Amount: n})
			}
		}
	}
	return steps
}

// watts rounds up, so that the limit is never passed by rounding.
func watts(kilowatts float64) int { return int(math.Ceil(kilowatts * wattsPerKilowatt)) }

// addCalendars lists the staffed hours past the window's end too, a week for each stage and a month: nothing is planned
// there, but only so can an answer say what a later end would allow.
func (p *planner) addCalendars(window domain.Window) {
	window.End = window.End.AddDate(0, 1, 7*len(p.charge.Recipe.Stages))
	for _, id := range slices.Sorted(maps.Keys(p.site.Rooms)) {
		p.index.room[id] = len(p.problem.Calendars)
		p.problem.Calendars = append(p.problem.Calendars, p.calendar(id, heat.InRoom, window))
	}
	p.index.reach = len(p.problem.Calendars)
	p.problem.Calendars = append(p.problem.Calendars, p.calendar("anybody in reach", heat.InReach, window))
}

func (p *planner) calendar(name string, watch heat.Watch, window domain.Window) scheduler.Calendar {
	calendar := scheduler.Calendar{Name: name}
	for _, w := range staffedWindows(p.site, name, watch, window) {
		open := scheduler.Interval{Start: p.minuteCeil(w.Start), End: p.minuteFloor(w.End)}
		if open.Start < open.End {
			calendar.Open = append(calendar.Open, open)
		}
	}
	return calendar
}

// mode is one treatment as the scheduler sees it.
func (p *planner) mode(t assess.Treatment) scheduler.Mode {
	unary, ok := p.index.unary[t.Furnace.ID]
	if !ok {
		unary = len(p.problem.Unaries)
		p.problem.Unaries = append(p.problem.Unaries, scheduler.Unary{Name: "bench"})
	}
	mode := scheduler.Mode{Name: t.Furnace.ID, Unary: unary}
	for _, phase := range t.Phases {
		planned := scheduler.Phase{
			Name: string(phase.Kind), Minutes: phase.Minutes, MaxMinutes: max(phase.Minutes, phase.MaxMinutes), Calendar: -1,
		}
		planned.Calendar = p.calendarOf(t.Furnace, phase.Watch)
		if supply, ok := p.index.supply[t.Furnace.Supply]; ok && phase.Kilowatts > 0 {
			planned.Demands = append(planned.Demands, scheduler.Demand{Cumulative: supply, Amount: watts(phase.Kilowatts)})
		}
		if crew, ok := p.index.crew[t.Furnace.Room]; ok && phase.Watch == heat.InRoom && phase.PeopleCount > 0 {
			planned.Demands = append(planned.Demands, scheduler.Demand{Cumulative: crew, Amount: phase.PeopleCount})
		}
		mode.Phases = append(mode.Phases, planned)
	}
	mode.TailPhases = afterDraw(t.Phases)
	return mode
}

// afterDraw counts the phases in which what was fired is out already.
func afterDraw(phases []heat.Phase) int {
	drawn := slices.IndexFunc(phases, func(p heat.Phase) bool { return p.Kind == heat.Draw })
	if drawn < 0 {
		return 0
	}
	return len(phases) - 1 - drawn
}

// calendarOf is when a watch can be kept. Bench work without a station has no room: somebody in reach is enough.
func (p *planner) calendarOf(furnace heat.Furnace, watch heat.Watch) int {
	room, ok := p.index.room[furnace.Room]
	switch {
	case watch == heat.WatchNone || watch == "":
		return -1
	case watch == heat.InRoom && ok:
		return room
	default:
		return p.index.reach
	}
}

// addLags states the recipe's lags, which run to the charge. The scheduler knows only a firing's start, so a most is
// shortened by the longest warming of any furnace: a plan may then not be the earliest, but it is never too late.
func (p *planner) addLags() {
	index := map[string]int{}
	for i, stage := range p.charge.Recipe.Stages {
		index[stage.ID] = i
	}
	for _, lag := range allLags(p.charge.Recipe) {
		most := -1
		if lag.MaxMinutes > 0 {
			head := p.longestHead(index[lag.ToStage])
			most = max(lag.MaxMinutes-head, lag.MinMinutes)
			p.unproven = p.unproven || head > 0
		}
		p.problem.Lags = append(p.problem.Lags, scheduler.Lag{
			From: index[lag.FromStage], To: index[lag.ToStage], MinMinutes: lag.MinMinutes, MaxMinutes: most,
		})
	}
}

// longestHead is the most minutes that any furnace warms before a stage is charged.
func (p *planner) longestHead(task int) int {
	longest := 0
	for _, t := range p.modes[task] {
		head := 0
		for _, phase := range t.Phases {
			if phase.Kind != heat.Warm {
				break
			}
			head += phase.Minutes
		}
		longest = max(longest, head)
	}
	return longest
}
