package app

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"saggar/chem"
	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/scheduler"
	"saggar/scheduler/plan"
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

// build states the problem over the plan's window.
func (p *planner) build(wish PlanWish) error {
	p.problem = scheduler.Problem{
		HorizonMinutes: p.minuteFloor(p.window.End), StepMinutes: p.site.Studio.StepMinutes,
	}
	if p.problem.HorizonMinutes <= 0 {
		var faults finding.Faults
		faults.Add("end_time", "the window ends before a firing could start", "give a later end")
		return faults
	}
	p.index = resourceIndex{unary: map[string]int{}, supply: map[string]int{}, crew: map[string]int{}, room: map[string]int{}}
	p.addFurnaces(p.calendarSpan())
	p.addSupplies()
	p.addCrews()
	p.addCalendars()
	treated := treatments{}
	for _, run := range p.runs {
		if err := p.addStages(run, treated); err != nil {
			return err
		}
	}
	return p.addWish(wish)
}

// treatments keeps treatments by charge, stage and furnace, since many runs of a plan are the same.
type treatments map[string]assess.Treatment

func (t treatments) of(p *planner, run *plannedRun, stage int, furnace string) (assess.Treatment, error) {
	key := fmt.Sprintf("%s %d %s", run.chargeKey, stage, furnace)
	if known, ok := t[key]; ok {
		return known, nil
	}
	treatment, err := p.assessor.Treat(run.charge, stage, furnace)
	if err != nil {
		return treatment, underPath(run.field, err)
	}
	t[key] = treatment
	return treatment, nil
}

// addStages states the stages of a run that have not begun, with their lags.
func (p *planner) addStages(run *plannedRun, treated treatments) error {
	run.tasks = map[int]int{}
	own := p.ownCalendars(run)
	for stage := run.kept; stage < len(run.charge.Recipe.Stages); stage++ {
		if _, rides := run.pinned[stage]; rides {
			continue
		}
		run.tasks[stage] = len(p.tasks)
		planned := plannedTask{run: run, stage: stage, latest: -1}
		task := scheduler.Task{Name: p.taskName(planned)}
		over := false
		for _, id := range p.assessor.Candidates(run.charge.Recipe.Stages[stage]) {
			if slices.Contains(run.limits.AvoidFurnaces, id) {
				p.refused = append(p.refused, avoided(stage, id))
				continue
			}
			treatment, err := treated.of(p, run, stage, id)
			if err != nil {
				return err
			}
			if finding.Blocks(treatment.Findings) {
				p.refused = append(p.refused, p.inRun(run, treatment.Findings)...)
				continue
			}
			refused, outside := p.refusedAlone(run, stage, treatment)
			if refused != nil {
				p.refused = append(p.refused, p.inRun(run, refused)...)
				over = true
				continue
			}
			if refused := p.noVesselFits(run, stage, treatment); refused != nil {
				p.refused = append(p.refused, p.inRun(run, refused)...)
				continue
			}
			ofStage := own
			if run.attendant(planned.id()) != "" {
				ofStage.room = nil // when the maker can be there does not matter
			}
			mode := p.mode(treatment, ofStage)
			mode.ForbiddenStarts = append(p.tooFarAhead(), outside...)
			task.Modes = append(task.Modes, mode)
			planned.treatments = append(planned.treatments, treatment)
		}
		if len(task.Modes) == 0 && over && p.overAir == nil {
			p.overAir = &planned
		}
		p.bound(run, &task)
		if p.notEarlier {
			stands := p.minuteCeil(run.standing.Loads[stage].Window.Start)
			task.ReleaseMinute = max(task.ReleaseMinute, stands)
		}
		p.problem.Tasks = append(p.problem.Tasks, task)
		p.tasks = append(p.tasks, planned)
	}
	p.addLags(run)
	return nil
}

// avoided says that a furnace is out by the maker's own limits.
func avoided(stage int, furnace string) finding.Finding {
	return finding.Finding{
		Severity: finding.Note, Code: "FURNACE_AVOIDED", Field: fmt.Sprintf("stages[%d]", stage), About: furnace,
		Message: furnace + " is not to be used, by your own limits", Cure: "leave it out of avoid_furnaces",
	}
}

// taskName names a stage as the answers do; of several runs with the run.
func (p *planner) taskName(t plannedTask) string {
	if len(p.runs) == 1 {
		return t.id()
	}
	return fmt.Sprintf("%s of %s", t.id(), t.run.label())
}

// bound keeps a task within its run's own window.
func (p *planner) bound(run *plannedRun, task *scheduler.Task) {
	if start := run.limits.Start; !start.IsZero() {
		task.ReleaseMinute = max(p.minuteCeil(start), 0)
	}
	if end := run.limits.End; !end.IsZero() {
		task.DeadlineMinute = max(p.minuteFloor(end), 1)
	}
}

func (p *planner) addFurnaces(window domain.Window) {
	busy := busyWindows(p.site, p.existing, window)
	for _, id := range slices.Sorted(maps.Keys(p.site.Furnaces)) {
		p.index.unary[id] = len(p.problem.Unaries)
		unary := scheduler.Unary{Name: id}
		for _, w := range domain.MergeWindows(append(busy[id], p.keptForOthers(id, window)...)) {
			unary.Busy = append(unary.Busy, p.interval(w))
		}
		p.problem.Unaries = append(p.problem.Unaries, unary)
	}
}

// keptForOthers are the classes on a furnace into which whoever asks does not book for any of the runs' departments.
func (p *planner) keptForOthers(furnace string, window domain.Window) []domain.Window {
	var kept []domain.Window
	for _, h := range p.taught {
		if h.On(furnace) && slices.ContainsFunc(p.runs, func(r *plannedRun) bool { return r.request.Department != h.Department }) {
			kept = append(kept, h.Kept(window, p.now, p.site.Zone)...)
		}
	}
	return kept
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
func (p *planner) addCalendars() {
	for _, id := range slices.Sorted(maps.Keys(p.site.Rooms)) {
		p.index.room[id] = p.addCalendar(id, staffedWindows(p.site, id, heat.InRoom, p.calendarSpan()))
	}
	p.index.reach = p.addCalendar("anybody in reach", staffedWindows(p.site, "", heat.InReach, p.calendarSpan()))
}

func (p *planner) calendarSpan() domain.Window {
	stages := 0
	for _, run := range p.runs {
		stages = max(stages, len(run.charge.Recipe.Stages))
	}
	return domain.Window{Start: p.window.Start, End: p.window.End.AddDate(0, 1, 7*stages)}
}

func (p *planner) addCalendar(name string, windows []domain.Window) int {
	calendar := scheduler.Calendar{Name: name}
	for _, w := range windows {
		open := scheduler.Interval{Start: p.minuteCeil(w.Start), End: p.minuteFloor(w.End)}
		if open.Start < open.End {
			calendar.Open = append(calendar.Open, open)
		}
	}
	p.problem.Calendars = append(p.problem.Calendars, calendar)
	return len(p.problem.Calendars) - 1
}

// mode is one treatment as the scheduler sees it, with a run's own calendars.
func (p *planner) mode(t assess.Treatment, own ownCalendars) scheduler.Mode {
	unary, ok := p.index.unary[t.Furnace.ID]
	if !ok {
		unary = len(p.problem.Unaries)
		p.problem.Unaries = append(p.problem.Unaries, scheduler.Unary{Name: "bench"})
	}
	mode := scheduler.Mode{Name: t.Furnace.ID, Unary: unary, Energy: wattHours(t)}
	for _, phase := range t.Phases {
		planned := scheduler.Phase{
			Name: string(phase.Kind), Minutes: phase.Minutes, MaxMinutes: max(phase.Minutes, phase.MaxMinutes), Calendar: -1,
			Visit: phase.Watch == heat.InRoom && phase.PeopleCount > 0 && phase.Minutes > 0,
		}
		planned.Calendar = p.calendarOf(t.Furnace, phase, own)
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

// calendarOf is when a phase can be. Bench work without a station has no room: somebody in reach is enough.
func (p *planner) calendarOf(furnace heat.Furnace, phase heat.Phase, own ownCalendars) int {
	room, ok := p.index.room[furnace.Room]
	switch {
	case phase.Watch == heat.InRoom && own.room != nil:
		return own.room[furnace.Room]
	case phase.Watch == heat.InRoom && ok:
		return room
	case phase.Watch != heat.WatchNone && phase.Watch != "", own.heatStaffed && phase.Kilowatts > 0:
		return p.index.reach
	default:
		return -1
	}
}

// addLags states a run's lags, which run to the charge. The scheduler knows only a firing's start, so a most is
// shortened by the longest warming of any furnace: a plan may then not be the earliest, but it is never too late.
func (p *planner) addLags(run *plannedRun) {
	index := map[string]int{}
	for i, stage := range run.charge.Recipe.Stages {
		index[stage.ID] = i
	}
	for _, lag := range allLags(run.charge.Recipe) {
		from, before := run.tasks[index[lag.FromStage]]
		task, searched := run.tasks[index[lag.ToStage]]
		if !searched {
			if before {
				p.boundByPin(run, lag, from)
			}
			continue
		}
		most := -1
		if lag.MaxMinutes > 0 {
			head := p.longestHead(task)
			most = max(lag.MaxMinutes-head, lag.MinMinutes)
			p.unproven = p.unproven || head > 0
		}
		if !before {
			p.boundByKept(run, lag, task, most)
			continue
		}
		p.problem.Lags = append(p.problem.Lags, scheduler.Lag{From: from, To: task, MinMinutes: lag.MinMinutes, MaxMinutes: most})
		p.lags = append(p.lags, lag)
	}
}

// boundByPin keeps a task before a stage that rides in a shared firing. The whole task ends by then, also what its furnace still owes;
// that it is not too early is left to the check of the answer.
func (p *planner) boundByPin(run *plannedRun, lag chem.Lag, task int) {
	window, rides := run.fixed(lag.ToStage)
	if !rides {
		return
	}
	latest := p.minuteFloor(window.Charged()) - lag.MinMinutes
	t := &p.problem.Tasks[task]
	if t.DeadlineMinute == 0 || latest < t.DeadlineMinute {
		t.DeadlineMinute = min(max(latest, 1), p.problem.HorizonMinutes)
	}
	p.unproven = true
}

// fixed is the window of a stage that is not searched: one that has begun, or that rides in a shared firing.
func (r *plannedRun) fixed(id string) (domain.StageWindow, bool) {
	stage := slices.IndexFunc(r.charge.Recipe.Stages, func(s chem.Stage) bool { return s.ID == id })
	if stage >= 0 && stage < r.kept {
		return r.standing.Loads[stage].StageWindow(), true
	}
	window, rides := r.pinned[stage]
	return window, rides
}

// boundByKept keeps a task after a stage that is not searched, and before what it allows at most.
func (p *planner) boundByKept(run *plannedRun, lag chem.Lag, task, most int) {
	window, _ := run.fixed(lag.FromStage)
	drawn := p.minuteCeil(window.Drawn())
	t := &p.problem.Tasks[task]
	t.ReleaseMinute = max(t.ReleaseMinute, drawn+lag.MinMinutes)
	if most < 0 {
		return
	}
	latest := drawn + most
	for i := range t.Modes {
		t.Modes[i].ForbiddenStarts = append(t.Modes[i].ForbiddenStarts, p.after(latest))
	}
	p.tasks[task].latest = max(latest, 0)
}

// after are the starts after a last one, without an end, since no later end of the window cures them.
func (p *planner) after(latest int) scheduler.Interval {
	return scheduler.Interval{Start: max(latest+1, 0), End: plan.MaxMinute}
}

// tooFarAhead are the starts that whoever asks may not book yet.
func (p *planner) tooFarAhead() []scheduler.Interval {
	if p.ahead == nil {
		return nil
	}
	return []scheduler.Interval{p.after(p.minuteFloor(p.ahead.Until(p.now)))}
}

// longestHead is the most minutes that any furnace warms before a stage is charged.
func (p *planner) longestHead(task int) int {
	longest := 0
	for _, t := range p.tasks[task].treatments {
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
