package app

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/scheduler"
	"saggar/server/domain"
	"saggar/server/store"
)

// planner turns runs on one site into a scheduling problem and its solutions back into windows.
type planner struct {
	site     *domain.Site
	assessor assess.Site
	existing []domain.Firing // of others, within reach
	// openSite is the site without closures: what is refused alone there is refused whatever the time.
	openSite *domain.Site
	role     domain.Role          // of whoever asks
	rules    []domain.BookingRule // of the studio
	taught   []domain.TaughtHours // that bind them
	ahead    *domain.BookingLimit // on how far ahead they book; nil: any time
	window   domain.Window
	origin   time.Time
	reach    time.Duration // how far apart firings may meet in the air
	overran  []*overran
	// notEarlier: nothing moves to before where it stands.
	notEarlier bool
	moving     bool // the runs stand: their own firings are not in the way
	now        time.Time
	today      string
	runs       []*plannedRun
	tasks      []plannedTask // in the order of the problem's
	problem    scheduler.Problem
	lags       []chem.Lag // in the order of the problem's
	index      resourceIndex
	refused    []finding.Finding // why furnaces drop out
	overAir    *plannedTask      // a stage that the air refuses on every furnace whatever the time
	// unproven: the search was given limits that not every plan must keep, so that a better one may exist.
	unproven bool
	// airFindings are of the first placement that the air refused.
	airFindings    []finding.Finding
	airAssumptions []string
	cuts           *airCuts
	vessels        vesselDesk // who has what of those that are booked
	gear           gearDesk
	maker          string // who would book, and attend what nobody else is named for
	// gearNeeds is what has to be kept out beside the open furnace, by gearKey, with nobody else there.
	gearNeeds map[string][]air.NearSpecies
	// without are the tasks that went without a vessel or gear in some solution, with the reason's code.
	without map[int]string
	keptOut map[int][]keptOut // by task
}

// plannedRun is one run to be placed.
type plannedRun struct {
	index   int
	field   string // of the input
	request RunRequest
	charge  assess.Charge
	// chargeKey is the same for runs with the same charge.
	chargeKey string
	run       domain.Run // as it would be, for the firings' titles
	limits    domain.PlanLimits
	standing  *domain.Run // nil: new
	kept      int         // of the first stages, those that have begun and stay
	// pinned are the windows of stages that ride in shared firings, by stage; nothing of them is searched.
	pinned map[int]domain.StageWindow
	tasks  map[int]int // of each stage that is searched
}

// label is what to call the run among others.
func (r *plannedRun) label() string { return cmp.Or(r.request.ID, r.request.Title, r.field) }

// attendant is who attends a stage instead of the run's maker; empty: the maker.
func (r *plannedRun) attendant(stage string) string {
	for _, w := range r.request.Windows {
		if w.Stage == stage && w.AttendedBy != "" {
			return w.AttendedBy
		}
	}
	if r.standing == nil {
		return ""
	}
	for _, load := range r.standing.Loads {
		if load.Stage == stage && load.Firing != nil && load.Firing.AttendedBy != r.standing.Maker {
			return load.Firing.AttendedBy
		}
	}
	return ""
}

// plannedTask is one stage of one run.
type plannedTask struct {
	run        *plannedRun
	stage      int                // index in the recipe
	treatments []assess.Treatment // in the order of the task's modes
	// latest is the last start that a stage already begun leaves it, as a window's start; negative: any.
	latest int
	airCut bool // the air forbids it starts
}

func (t plannedTask) id() string { return t.run.charge.Recipe.Stages[t.stage].ID }

// newPlanner reads everything that the plan rests on in one snapshot.
func (a *App) newPlanner(ctx context.Context, in PlanInput) (*planner, error) {
	p := &planner{
		now: a.now(), role: in.Role, maker: in.Maker, gearNeeds: map[string][]air.NearSpecies{}, window: in.Window, cuts: newAirCuts(),
		keptOut: map[int][]keptOut{}, notEarlier: in.notEarlier,
	}
	p.window.Start = later(p.window.Start, p.now.Truncate(time.Minute).Add(time.Minute)) // it may have waited for its turn
	err := a.read(ctx, in.StudioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		if err := p.readStudio(ctx, tx, studio, in.Maker); err != nil {
			return err
		}
		var err error
		if p.overran, err = a.readOverruns(ctx, tx, Call{}, studio.Key, in.overruns); err != nil {
			return err
		}
		var faults finding.Faults
		charges := chargeMemo{}
		for i, request := range in.Runs {
			run := &plannedRun{index: i, field: fmt.Sprintf("runs[%d]", i), request: request, limits: in.limitsOf(i)}
			err := p.addRun(ctx, tx, run, charges)
			if err != nil && !collect(&faults, err) {
				return err
			}
		}
		if err := faults.Err(); err != nil {
			return err
		}
		if err := p.checkMoving(); err != nil {
			return err
		}
		if err := p.readHolds(ctx, tx); err != nil {
			return err
		}
		return p.readExisting(ctx, tx)
	})
	if err != nil {
		return nil, err
	}
	return p, p.build(in.Wish)
}

// check returns what is wrong with the request by itself.
func (in PlanInput) check(now time.Time) error {
	var faults finding.Faults
	if in.Window.Start.Before(now.Add(-time.Minute)) {
		faults.Add("start_time", in.Window.Start.Format(time.RFC3339)+" is past", "plan from now on, or later")
	}
	if n := len(in.Limits); n > 1 && n != len(in.Runs) {
		faults.Add("limits", fmt.Sprintf("%d are given for %d runs", n, len(in.Runs)), "give none, one for all, or one for each run")
	}
	if in.Alternatives > 0 && len(in.Runs) > 1 {
		faults.Add("alternative_count", "there are none for several runs at once", "ask for one run, or for none")
	}
	for i, limits := range in.Limits {
		faults = append(faults, limitFaults(fmt.Sprintf("limits[%d]", i), limits)...)
	}
	ids := map[string]bool{}
	for i, run := range in.Runs {
		if run.ID != "" && ids[run.ID] {
			faults.Add(fmt.Sprintf("runs[%d].name", i), fmt.Sprintf("run %q stands twice in the request", run.ID), "plan each run once")
		}
		ids[run.ID] = true
	}
	return faults.Err()
}

// limitsOf are the limits of one of the runs.
func (in PlanInput) limitsOf(run int) domain.PlanLimits {
	switch {
	case len(in.Limits) == 0:
		return domain.PlanLimits{}
	case len(in.Limits) == 1:
		return in.Limits[0]
	default:
		return in.Limits[run]
	}
}

func (p *planner) readStudio(ctx context.Context, tx *store.Tx, studio domain.Studio, maker string) error {
	site, err := readSite(ctx, tx, studio)
	if err != nil {
		return err
	}
	p.site, p.assessor, p.openSite = site, assessSite(site, p.now), site.WithoutClosures()
	if p.rules, err = tx.BookingRules(ctx, studio.Key); err != nil {
		return err
	}
	if err := holdOffered(ctx, tx, site, maker, p.now); err != nil {
		return err
	}
	p.taught, p.ahead = taughtFor(p.rules, p.role), aheadFor(p.rules, p.role)
	p.reach = airReach(site)
	p.today = p.now.In(site.Zone).Format(time.DateOnly)
	step := time.Duration(studio.StepMinutes) * time.Minute
	p.origin = p.window.Start.Truncate(step)
	if p.origin.Before(p.window.Start) {
		p.origin = p.origin.Add(step)
	}
	return nil
}

// chargeMemo keeps charges by what they are made of, since many runs of a plan are the same.
type chargeMemo map[string]assess.Charge

// addRun resolves one run, and what of it has begun when it stands.
func (p *planner) addRun(ctx context.Context, tx *store.Tx, run *plannedRun, charges chargeMemo) error {
	at := runAt{field: run.field, request: run.request}
	if err := checkDepartment(ctx, tx, p.site.Studio.Key, at); err != nil {
		return err
	}
	if run.standing == nil && run.request.ID != "" {
		standing, err := p.standing(ctx, tx, run.request.ID)
		if err != nil {
			return err
		}
		run.standing = standing
	}
	at.standing = run.standing
	if err := p.settleLimits(run); err != nil {
		return err
	}
	inputs, err := readRun(ctx, tx, p.site.Studio.Key, p.assessor.Practice, at)
	if err != nil {
		return err
	}
	recipe, key := inputs.recipe, inputs.key()
	charge, known := charges[key]
	if !known {
		worked, err := inputs.workOut(p.assessor)
		if err != nil {
			return err
		}
		charge = worked.charge
		charges[key] = charge
	}
	run.charge, run.chargeKey, run.request.RecipeVersion = charge, key, recipe.Version
	run.run = domain.Run{Title: run.request.Title, RecipeID: recipe.ID, Department: run.request.Department}
	if run.standing != nil {
		if err := movable(*run.standing, p.now); err != nil {
			return err
		}
		run.kept = runAt{standing: run.standing}.keptCount(p.now)
	}
	if run.pinned, err = p.pins(ctx, tx, run); err != nil {
		return err
	}
	p.runs = append(p.runs, run)
	return nil
}

// pins are the windows of the stages that the request has ride in shared firings. Errors: finding.Faults for a firing or a stage that
// does not stand.
func (p *planner) pins(ctx context.Context, tx *store.Tx, run *plannedRun) (map[int]domain.StageWindow, error) {
	pinned := map[int]domain.StageWindow{}
	var faults finding.Faults
	for i, window := range run.request.Windows {
		if window.JoinFiring == "" {
			continue
		}
		path := fmt.Sprintf("%s.stage_windows[%d]", run.field, i)
		stage := slices.IndexFunc(run.charge.Recipe.Stages, func(s chem.Stage) bool { return s.ID == window.Stage })
		if stage < 0 {
			faults.Add(path+".stage", fmt.Sprintf("the recipe has no stage %q", window.Stage), "name one of its stages")
			continue
		}
		firing, err := tx.Firing(ctx, p.site.Studio.Key, window.JoinFiring)
		if errors.Is(err, domain.ErrNotFound) {
			faults.Add(path+".join_firing", fmt.Sprintf("there is no firing %q", window.JoinFiring), "name one that stands, as 'firing list --joinable' shows them")
			continue
		}
		if err != nil {
			return nil, err
		}
		faults.AddUnder(path, fillFrom(&window, firing))
		if run.standing == nil && firing.State.Occupies() && firing.Window.Start.After(p.now) && !p.window.Contains(firing.Window) {
			clock := joint{site: p.site}.clock
			faults.Add(path+".join_firing", fmt.Sprintf("firing %s is from %s to %s, and the run may be from %s to %s", firing.ID,
				clock(firing.Window.Start), clock(firing.Window.End), clock(p.window.Start), clock(p.window.End)),
				"join another firing, or give an earlier start or a later end")
		}
		pinned[stage] = window
	}
	return pinned, faults.Err()
}

// standing is the run of an id, when it stands and has not ended.
func (p *planner) standing(ctx context.Context, tx *store.Tx, id string) (*domain.Run, error) {
	run, err := tx.Run(ctx, p.site.Studio.Key, id)
	if errors.Is(err, domain.ErrNotFound) {
		return nil, nil
	}
	if err != nil || run.State() == domain.RunCancelled {
		return nil, err
	}
	for _, o := range p.overran {
		run = o.applied(run)
	}
	return &run, nil
}

// settleLimits gives a run the limits asked for, or else those that it is given or stands with.
func (p *planner) settleLimits(run *plannedRun) error {
	field := fmt.Sprintf("limits[%d]", run.index)
	if !run.limits.Any() {
		field = run.field + ".limits"
		run.limits = run.request.Limits
	}
	asked := run.limits
	if !asked.Any() && run.standing != nil {
		run.limits = run.standing.Inputs.Limits
	}
	run.request.Limits = run.limits
	faults := append(limitFaults(field, asked), avoidFaults(field, asked, p.site)...)
	return faults.Err()
}

// checkMoving refuses a mixture of new runs, which are booked, and standing ones, which are moved.
func (p *planner) checkMoving() error {
	p.moving = p.runs[0].standing != nil
	for _, run := range p.runs {
		if (run.standing != nil) != p.moving {
			return finding.Faults{{
				Field: run.field + ".name", Message: "some of the runs stand and others are new",
				Cure: "plan those that stand and those that are new one after the other",
			}}
		}
	}
	return nil
}

// readExisting reads the firings of others within reach, without those that move.
func (p *planner) readExisting(ctx context.Context, tx *store.Tx) error {
	around := domain.Window{Start: p.window.Start.Add(-p.reach), End: p.calendarSpan().End.Add(p.reach)} // see addCalendars
	found, err := tx.FiringsOver(ctx, p.site.Studio.Key, store.FiringsQuery{Window: around, WithReleases: true})
	if err != nil {
		return err
	}
	moving := map[int64]bool{}
	for _, run := range p.runs {
		if run.standing == nil {
			continue
		}
		for i, load := range run.standing.Loads {
			if i < run.kept {
				continue
			}
			if load.Firing != nil && !load.Firing.Without(run.standing.ID, domain.LoadCancelled).State.Occupies() {
				moving[load.Firing.Key] = true // a shared firing stands on for the others in it
			}
		}
	}
	for _, o := range p.overran {
		moving[o.run.Loads[o.stage].Firing.Key] = true
		p.existing = append(p.existing, *o.firing)
	}
	p.existing = append(p.existing, slices.DeleteFunc(found, func(f domain.Firing) bool { return moving[f.Key] })...)
	return nil
}

// chargeRefusals are findings that no window cures: of a charge, and of stages that no furnace can do.
func (p *planner) chargeRefusals() []finding.Finding {
	var blocking []finding.Finding
	for _, run := range p.runs {
		if finding.Blocks(run.charge.Findings) {
			blocking = append(blocking, p.inRun(run, run.charge.Findings)...)
		}
	}
	for i, task := range p.problem.Tasks {
		if len(task.Modes) == 0 {
			blocking = append(blocking, p.inRun(p.tasks[i].run, []finding.Finding{{
				Severity: finding.Block, Code: "STAGE_NO_FURNACE", Field: fmt.Sprintf("stages[%d]", p.tasks[i].stage), About: p.tasks[i].id(),
				Message: fmt.Sprintf("no furnace of the studio can do stage %s", p.tasks[i].id()),
				Cure:    "see the other findings for what keeps each furnace from it",
			}})...)
			blocking = append(blocking, p.refused...)
		}
	}
	return blocking
}

// inRun puts findings about a recipe under their run where there are several.
func (p *planner) inRun(run *plannedRun, findings []finding.Finding) []finding.Finding {
	if len(p.runs) == 1 {
		return findings
	}
	return under(findings, run.field+".recipe.")
}

// requests are the runs with the windows of a solution.
func (p *planner) requests(solution scheduler.Solution) []RunRequest {
	requests := make([]RunRequest, 0, len(p.runs))
	for _, run := range p.runs {
		request := run.request
		request.Windows = p.windowsOf(run, solution)
		requests = append(requests, request)
	}
	return requests
}

// windowsOf turns placements into what BookRun takes; stages that have begun keep their windows.
func (p *planner) windowsOf(run *plannedRun, solution scheduler.Solution) []domain.StageWindow {
	var windows []domain.StageWindow
	for stage := range run.charge.Recipe.Stages {
		task, searched := run.tasks[stage]
		switch {
		case stage < run.kept:
			windows = append(windows, run.standing.Loads[stage].StageWindow())
		case searched:
			windows = append(windows, p.windowOf(task, solution.Tasks[task], 0))
		default:
			windows = append(windows, run.pinned[stage])
		}
	}
	return windows
}

// windowOf is a task so placed, later by some minutes.
func (p *planner) windowOf(task int, placement scheduler.Placement, laterMinutes int) domain.StageWindow {
	treatment := p.tasks[task].treatments[placement.Mode]
	window := domain.StageWindow{Stage: p.tasks[task].id(), Furnace: treatment.Furnace.ID, AttendedBy: p.tasks[task].run.attendant(p.tasks[task].id())}
	for k, span := range placement.Phases {
		window.Phases = append(window.Phases, domain.PhaseWindow{Kind: treatment.Phases[k].Kind, Window: domain.Window{
			Start: p.instant(span.Start + laterMinutes), End: p.instant(span.End + laterMinutes),
		}})
	}
	return window
}

func (p *planner) instant(minute int) time.Time {
	return p.origin.Add(time.Duration(minute) * time.Minute)
}

// minuteFloor and minuteCeil count whole minutes from the origin.
func (p *planner) minuteFloor(t time.Time) int {
	minutes := int(t.Sub(p.origin) / time.Minute)
	if p.instant(minutes).After(t) {
		minutes--
	}
	return minutes
}

func (p *planner) minuteCeil(t time.Time) int {
	minutes := p.minuteFloor(t)
	if p.instant(minutes).Before(t) {
		minutes++
	}
	return minutes
}

func (p *planner) interval(w domain.Window) scheduler.Interval {
	return scheduler.Interval{Start: p.minuteFloor(w.Start), End: p.minuteCeil(w.End)}
}

// localClock shows a minute in the studio's local time.
func (p *planner) localClock(minute int) string {
	return p.instant(minute).In(p.site.Zone).Format("Mon 2 Jan 15:04")
}
