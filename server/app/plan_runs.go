package app

import (
	"cmp"
	"context"
	"slices"
	"time"

	"saggar/chem/finding"
	"saggar/scheduler"
	"saggar/server/domain"
)

// PlanRuns finds windows for all stages of runs at once, the best by the wish on the studio's grid, and hands each answer to
// send as it is found; the last one stands. It books nothing. Errors: finding.Faults for a request that no plan could meet;
// domain.ErrNotFound; domain.ErrTooMany when too many wait for plans already. That nothing fits is an answer, not an error.
func (a *App) PlanRuns(ctx context.Context, in PlanInput, send func(PlanAnswer) error) error {
	answer, err := a.plan(ctx, in, send)
	if err != nil {
		return err
	}
	return send(answer)
}

// plan returns the last answer and sends those before it.
func (a *App) plan(ctx context.Context, in PlanInput, send func(PlanAnswer) error) (answer PlanAnswer, err error) {
	started := time.Now()
	if err := in.check(a.now()); err != nil {
		return answer, err
	}
	waiting := func(before int) error {
		return send(PlanAnswer{Status: PlanSearching, Progress: PlanProgress{Elapsed: time.Since(started), WaitingFor: before}})
	}
	err = a.planning.inTurn(ctx, waiting, func(ctx context.Context) error {
		p, err := a.newPlanner(ctx, in)
		if err != nil {
			return err
		}
		answer.Revision, answer.Moving = p.site.Studio.Revision, p.moving
		for _, run := range p.runs {
			answer.Assumptions = append(answer.Assumptions, run.charge.Balance.Assumptions...)
		}
		answer.Assumptions = once(answer.Assumptions)
		if settled, ok := p.settled(answer); ok {
			answer = settled
			return nil
		}
		if len(p.tasks) == 0 { // all of it rides in shared firings
			answer.Status = PlanOptimal
			answer, err = a.answerOf(ctx, in, p, scheduler.Solution{}, answer)
			return err
		}
		search := &planSearch{planner: p, started: started, send: func(found PlanAnswer) error {
			found.Revision, found.Assumptions, found.Moving = answer.Revision, answer.Assumptions, p.moving
			return send(found)
		}, check: func(ctx context.Context, runs []RunRequest) (BookRunResult, error) {
			return a.checkPlanned(ctx, in, runs, p.moving)
		}}
		if len(p.runs) > 1 {
			search.threads = planThreads
		}
		answer, err = a.search(ctx, in, search, answer)
		return err
	})
	return answer, err
}

// settled is the answer where no search is needed: what no window cures.
func (p *planner) settled(answer PlanAnswer) (PlanAnswer, bool) {
	blocked := slices.ContainsFunc(p.runs, func(r *plannedRun) bool { return finding.Blocks(r.charge.Findings) })
	if p.overAir != nil && !blocked {
		answer.Status, answer.BlamesMinimal, answer.Findings = PlanInfeasible, true, p.airFindings
		answer.Blames = p.labelled([]PlanReason{p.airBlame(p.overAir.run.index, p.overAir.id())})
		answer.Assumptions = append(slices.Clone(answer.Assumptions), p.airAssumptions...)
		return answer, true
	}
	if refused := p.chargeRefusals(); len(refused) > 0 {
		return p.cannot(answer, refused), true
	}
	return answer, false
}

// cannot answers that nothing fits whatever the time, because of findings.
func (p *planner) cannot(answer PlanAnswer, refused []finding.Finding) PlanAnswer {
	answer.Status, answer.BlamesMinimal = PlanInfeasible, true
	answer.Findings = slices.Clone(refused)
	finding.SortWorstFirst(answer.Findings)
	for _, f := range answer.Findings {
		if f.Severity == finding.Block {
			blame := PlanReason{Code: f.Code, About: f.About, Message: f.Message + ": " + f.Cure}
			if run, stage := p.stageOf(f.Field); run >= 0 {
				blame.Run = run
				if recipe := p.runs[run].charge.Recipe; stage >= 0 && stage < len(recipe.Stages) {
					blame.Stage = recipe.Stages[stage].ID
				}
			}
			answer.Blames = append(answer.Blames, blame)
		}
	}
	answer.Blames = p.labelled(answer.Blames)
	return answer
}

// conclude makes what a search found into the last answer, held against everything on the path that books.
func (a *App) conclude(ctx context.Context, in PlanInput, s *planSearch, answer PlanAnswer) (PlanAnswer, error) {
	p := s.planner
	answer.Progress = s.progress()
	switch {
	case s.result.Status == scheduler.Infeasible && len(s.best.Tasks) == 0:
		answer.Status, answer.Findings = PlanInfeasible, p.airFindings
		answer.Blames, answer.BlamesMinimal = p.blames(s.result), s.result.BlameMinimal && !p.unproven
		return answer, nil
	case len(s.best.Tasks) == 0 && len(s.conflicting.Tasks) == 0:
		answer.Status = PlanUnresolved
		return answer, nil
	case len(s.best.Tasks) == 0:
		answer.Status, answer.Runs = PlanUnresolved, p.requests(s.conflicting)
		checked, err := a.checkPlanned(ctx, in, answer.Runs, p.moving)
		answer.Findings, answer.Assumptions = checked.Findings, checked.Assumptions
		return answer, err
	}
	answer, err := a.answerOf(ctx, in, p, s.best, answer)
	if err != nil || answer.Status == PlanInfeasible {
		return answer, err
	}
	answer.Status = PlanFeasible
	if s.result.Status == scheduler.Optimal && !p.unproven {
		answer.Status = PlanOptimal
	}
	answer.Reasons = p.reasons(s.best, scheduler.Explain(ctx, p.problem, s.best))
	if in.Alternatives > 0 {
		answer.Alternatives, err = a.alternatives(ctx, in, s)
	}
	return answer, err
}

// answerOf is the answer with the windows of a solution, or a refusal of what the search does not know of, such as trainings
// that the studio insists on.
func (a *App) answerOf(ctx context.Context, in PlanInput, p *planner, solution scheduler.Solution, answer PlanAnswer) (PlanAnswer, error) {
	answer.Runs = p.requests(solution)
	checked, err := a.checkPlanned(ctx, in, answer.Runs, p.moving)
	if err != nil {
		return answer, err
	}
	answer.Findings, answer.Assumptions = checked.Findings, checked.Assumptions
	answer.VisitDays, answer.KilowattHours = p.visitDays(solution), p.kilowattHours(solution)
	answer.End = drawnBy(answer.Runs)
	if !finding.Blocks(checked.Findings) {
		return answer, nil
	}
	refused := p.cannot(answer, checked.Findings)
	refused.BlamesMinimal, refused.Runs = false, nil // another time might do
	return refused, nil
}

// drawnBy is when the last of the runs is drawn.
func drawnBy(runs []RunRequest) time.Time {
	var last time.Time
	for _, run := range runs {
		for _, window := range run.Windows {
			last = later(last, window.Drawn())
		}
	}
	return last
}

// checkPlanned holds the windows against everything, on the path that books or moves them.
func (a *App) checkPlanned(ctx context.Context, in PlanInput, runs []RunRequest, moving bool) (BookRunResult, error) {
	check := Call{Caller: domain.Caller{ID: in.Maker, Role: cmp.Or(in.Role, domain.RoleTechnician)}, Method: "PlanRuns", ValidateOnly: true}
	if !moving {
		prepared, err := a.prepare(ctx, check, BookRunInput{StudioID: in.StudioID, Runs: runs})
		if err != nil {
			return BookRunResult{}, err
		}
		return prepared.result(nil), nil
	}
	moves := MoveRunsInput{StudioID: in.StudioID, Overruns: in.overruns}
	for _, run := range runs {
		moves.Moves = append(moves.Moves, RunMove{RunID: run.ID, Windows: run.Windows})
	}
	prepared, err := a.prepareMoves(ctx, check, moves)
	if err != nil {
		return BookRunResult{}, err
	}
	return prepared.result(nil), nil
}

// once leaves out repeats.
func once(list []string) []string {
	var kept []string
	for _, s := range list {
		if !slices.Contains(kept, s) {
			kept = append(kept, s)
		}
	}
	return kept
}
