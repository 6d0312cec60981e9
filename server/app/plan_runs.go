package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/scheduler"
	"saggar/server/domain"
	"saggar/server/store"
)

// maxAirRounds bounds how often a plan is sent back because of the air.
const maxAirRounds = 200

// PlanRuns finds the earliest windows for all stages of a run at once and hands the answer to send; nothing ends earlier
// on the studio's grid. It books nothing. Errors: finding.Faults for a request that no plan could meet; domain.ErrNotFound.
// That nothing fits is an answer, not an error.
func (a *App) PlanRuns(ctx context.Context, in PlanInput, send func(PlanAnswer) error) error {
	p, err := a.newPlanner(ctx, in)
	if err != nil {
		return err
	}
	answer := PlanAnswer{Run: in.Run, Revision: p.site.Studio.Revision, Assumptions: p.charge.Balance.Assumptions}
	if p.overAir != "" && !finding.Blocks(p.charge.Findings) {
		answer.Status, answer.BlamesMinimal, answer.Findings = PlanInfeasible, true, p.airFindings
		answer.Blames = []PlanReason{p.airBlame(p.overAir)}
		answer.Assumptions = append(slices.Clone(answer.Assumptions), p.airAssumptions...)
		return send(answer)
	}
	if p.refused = p.chargeRefusals(); len(p.refused) > 0 {
		return send(p.cannot(answer))
	}
	result, err := a.solve(ctx, p)
	switch {
	case err != nil:
		return err
	case result.Status == scheduler.Infeasible:
		answer.Status = PlanInfeasible
		answer.Blames, answer.BlamesMinimal = p.blames(result), result.BlameMinimal
		answer.Findings = p.airFindings
		return send(answer)
	case result.Status == scheduler.Unknown:
		return context.DeadlineExceeded
	}
	answer.Run.Windows = p.windows(result.Solution)
	prepared, err := a.prepareAnswer(ctx, in, answer.Run, p.moving)
	if err != nil {
		return err
	}
	checked := prepared.result(nil)
	answer.Findings, answer.Assumptions = checked.Findings, checked.Assumptions
	if finding.Blocks(checked.Findings) { // what the plan does not know of, such as people beside another's open door
		p.refused = checked.Findings
		cannot := p.cannot(answer)
		cannot.BlamesMinimal = false // another time might do
		return send(cannot)
	}
	answer.Status = PlanFeasible
	if result.Status == scheduler.Optimal && !p.unproven {
		answer.Status = PlanOptimal
	}
	answer.Reasons = p.reasons(result)
	answer.End = p.instant(result.MakespanMinute)
	return send(answer)
}

// prepareAnswer holds the windows against everything, on the path that books or moves them.
func (a *App) prepareAnswer(ctx context.Context, in PlanInput, run RunRequest, moving bool) (*prepared, error) {
	check := Call{Caller: domain.Caller{ID: in.Maker, Role: domain.RoleTechnician}, Method: "PlanRuns", ValidateOnly: true}
	if moving {
		prepared, _, err := a.prepareMove(ctx, check, MoveRunInput{StudioID: in.StudioID, RunID: run.ID, Windows: run.Windows})
		return prepared, err
	}
	return a.prepare(ctx, check, BookRunInput{StudioID: in.StudioID, Runs: []RunRequest{run}})
}

// planner turns one run on one site into a scheduling problem and its solution back into windows.
type planner struct {
	site     *domain.Site
	assessor assess.Site
	charge   assess.Charge
	existing []domain.Firing
	// openSite is the site without closures: what is refused alone there is refused whatever the time.
	openSite *domain.Site
	overAir  string // a stage that the air refuses on every furnace whatever the time; "": none
	unproven bool   // something may end earlier
	origin   time.Time
	reach    time.Duration // how far apart firings may meet in the air
	moving   bool          // the run stands: its own firings are not in its way
	today    string
	run      domain.Run // as it would be, for the firings' titles
	problem  scheduler.Problem
	modes    [][]assess.Treatment // by task, in the order of its modes
	refused  []finding.Finding    // why furnaces drop out
	// airFindings are of the first start that the air refused.
	airFindings    []finding.Finding
	airAssumptions []string
	index          resourceIndex
}

// newPlanner reads everything that the plan rests on in one snapshot.
func (a *App) newPlanner(ctx context.Context, in PlanInput) (*planner, error) {
	now := a.now()
	if in.Window.Start.Before(now.Add(-time.Minute)) {
		return nil, finding.Faults{{
			Field: "start_time", Message: in.Window.Start.Format(time.RFC3339) + " is past", Cure: "plan from now on, or later",
		}}
	}
	p := &planner{}
	err := a.read(ctx, in.StudioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		site, err := readSite(ctx, tx, studio)
		if err != nil {
			return err
		}
		at := runAt{field: "runs[0]", request: in.Run}
		if err := checkDepartment(ctx, tx, studio.Key, at); err != nil {
			return err
		}
		recipe, materials, err := resolveRecipe(ctx, tx, studio.Key, at)
		if err != nil {
			return err
		}
		p.site, p.assessor, p.openSite = site, assessSite(site, now), site.WithoutClosures()
		if p.charge, err = p.assessor.NewCharge(recipe, materials, in.Run.Scale); err != nil {
			return underPath(at.field, err)
		}
		p.run = domain.Run{Title: in.Run.Title, RecipeID: recipe.ID, Department: in.Run.Department}
		p.reach = airReach(site)
		around := domain.Window{Start: in.Window.Start.Add(-p.reach), End: in.Window.End.Add(p.reach)}
		if p.existing, err = tx.FiringsOver(ctx, studio.Key, store.FiringsQuery{Window: around, WithReleases: true}); err != nil {
			return err
		}
		return p.setMovingAside(ctx, tx, in.Run.ID)
	})
	if err != nil {
		return nil, err
	}
	p.today = now.In(p.site.Zone).Format(time.DateOnly)
	step := time.Duration(p.site.Studio.StepMinutes) * time.Minute
	p.origin = in.Window.Start.Truncate(step)
	if p.origin.Before(in.Window.Start) {
		p.origin = p.origin.Add(step)
	}
	return p, p.build(in.Window)
}

// setMovingAside leaves out the firings of the run that is planned anew, when it stands.
func (p *planner) setMovingAside(ctx context.Context, tx *store.Tx, runID string) error {
	if runID == "" {
		return nil
	}
	run, err := tx.Run(ctx, p.site.Studio.Key, runID)
	if errors.Is(err, domain.ErrNotFound) {
		return nil
	}
	p.moving = err == nil && run.State() != domain.RunCancelled
	p.existing = slices.DeleteFunc(p.existing, func(f domain.Firing) bool { return p.moving && f.RunID == runID })
	return err
}

// chargeRefusals are findings that no window cures: of the charge, and of stages that no furnace can do.
func (p *planner) chargeRefusals() []finding.Finding {
	var blocking []finding.Finding
	if finding.Blocks(p.charge.Findings) {
		blocking = append(blocking, p.charge.Findings...)
	}
	for i, task := range p.problem.Tasks {
		if len(task.Modes) == 0 {
			blocking = append(blocking, finding.Finding{
				Severity: finding.Block, Code: "STAGE_NO_FURNACE", Field: fmt.Sprintf("stages[%d]", i), About: task.Name,
				Message: fmt.Sprintf("no furnace of the studio can do stage %s", task.Name),
				Cure:    "see the other findings for what keeps each furnace from it",
			})
			blocking = append(blocking, p.refused...)
		}
	}
	return blocking
}

// cannot answers that nothing fits whatever the time, because of findings.
func (p *planner) cannot(answer PlanAnswer) PlanAnswer {
	answer.Status, answer.Findings, answer.BlamesMinimal = PlanInfeasible, p.refused, true
	finding.SortWorstFirst(answer.Findings)
	for _, f := range answer.Findings {
		if f.Severity == finding.Block {
			answer.Blames = append(answer.Blames, PlanReason{Code: f.Code, About: f.About, Message: f.Message + ": " + f.Cure})
		}
	}
	return answer
}

// solve finds the earliest times that the air carries too: a start that the air refuses is forbidden, together with those
// after it up to the next one that the air allows, and the search starts again.
func (p *planner) solve(ctx context.Context) (scheduler.Result, error) {
	for range maxAirRounds {
		result, err := scheduler.Solve(ctx, p.problem, scheduler.Options{})
		if err != nil || len(result.Solution.Tasks) == 0 {
			return result, err
		}
		again, err := p.forbidByAir(ctx, result.Solution)
		if err != nil || !again {
			return result, err
		}
	}
	return scheduler.Result{}, context.DeadlineExceeded
}

// solve waits for its turn, since each plan can use a processor for as long as it may, and leaves some of the caller's time
// for the answer.
func (a *App) solve(ctx context.Context, p *planner) (scheduler.Result, error) {
	select {
	case a.planning <- struct{}{}:
		defer func() { <-a.planning }()
	case <-ctx.Done():
		return scheduler.Result{}, ctx.Err()
	}
	if deadline, ok := ctx.Deadline(); ok {
		var cancel context.CancelFunc
		ctx, cancel = context.WithDeadline(ctx, time.Now().Add(time.Until(deadline)*9/10))
		defer cancel()
	}
	return p.solve(ctx)
}

// windows turns placements into what BookRun takes.
func (p *planner) windows(solution scheduler.Solution) []domain.StageWindow {
	var windows []domain.StageWindow
	for task, placement := range solution.Tasks {
		treatment := p.modes[task][placement.Mode]
		window := domain.StageWindow{Stage: p.charge.Recipe.Stages[task].ID, Furnace: treatment.Furnace.ID}
		for k, span := range placement.Phases {
			window.Phases = append(window.Phases, domain.PhaseWindow{
				Kind: treatment.Phases[k].Kind, Window: domain.Window{Start: p.instant(span.Start), End: p.instant(span.End)},
			})
		}
		windows = append(windows, window)
	}
	return windows
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
