package app

import (
	"context"
	"fmt"
	"runtime"
	"sync/atomic"
	"time"

	"saggar/scheduler"
	"saggar/server/domain"
)

const (
	// maxAirRounds bounds how often a plan is sent back because of the air.
	maxAirRounds = 500
	// defaultSearchTime is how long a plan is made better when nobody says.
	defaultSearchTime = 10 * time.Second
	// planThreads search for plans of several runs.
	planThreads = 2
	// mostWaiting plans wait for their turn.
	mostWaiting = 64
	// tellWaiting is how often somebody who waits is told.
	tellWaiting = time.Second
	// tellProgress is the least time between two answers while a search goes on.
	tellProgress = 100 * time.Millisecond
	// checkShare times as long as answers take to check is searched between them.
	checkShare = 10
)

// planQueue lets a few plans be worked out at one time, the others in the order in which they came.
type planQueue struct {
	places  chan struct{}
	waiting atomic.Int64
}

func newPlanQueue() *planQueue {
	return &planQueue{places: make(chan struct{}, max(1, runtime.GOMAXPROCS(0)/planThreads))}
}

// inTurn waits for a place and then works. Who waits is told how many
// are before them. Errors: domain.ErrTooMany; the context's; waiting's and work's.
func (q *planQueue) inTurn(ctx context.Context, waiting func(before int) error, work func(ctx context.Context) error) error {
	before := q.waiting.Add(1) - 1
	if before >= mostWaiting {
		q.waiting.Add(-1)
		return &domain.Error{
			Kind: domain.ErrTooMany, Subject: "plans", Message: fmt.Sprintf("%d plans wait already", mostWaiting), Cure: "ask again in a minute",
		}
	}
	err := q.enter(ctx, func() error { return waiting(int(max(min(before, q.waiting.Load()-1), 1))) })
	q.waiting.Add(-1)
	if err != nil {
		return err
	}
	defer func() { <-q.places }()
	return work(ctx)
}

// enter takes a place as soon as there is one, and tells now and then that there is none yet.
func (q *planQueue) enter(ctx context.Context, tell func() error) error {
	ticks := time.NewTicker(tellWaiting)
	defer ticks.Stop()
	for {
		select {
		case q.places <- struct{}{}:
			return nil
		case <-ticks.C:
			if err := tell(); err != nil {
				return err
			}
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// planSearch looks for the best plan that the air carries too. What the air refuses goes back into the problem as starts
// forbidden and as separations of tasks, and the search starts again.
type planSearch struct {
	*planner
	started time.Time
	threads int
	send    func(PlanAnswer) error // nil: nobody is told
	// check holds runs with their windows against everything, on the path that books.
	check  func(ctx context.Context, runs []RunRequest) (BookRunResult, error)
	told   time.Time     // when the last answer was sent
	pause  time.Duration // before the next one
	failed error         // of the last send
	// best is the best plan found that the air carries, with what it amounts to.
	best       scheduler.Solution
	objectives []scheduler.ObjectiveValue
	// conflicting is the last plan found that the air does not carry.
	conflicting scheduler.Solution
	result      scheduler.Result // of the last round
	rounds      int
}

// until searches for at most so long; 0 means defaultSearchTime. Its findings stand in the search.
func (s *planSearch) until(ctx context.Context, limit time.Duration) error {
	if limit <= 0 {
		limit = defaultSearchTime
	}
	within, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	for s.rounds = 0; s.rounds < maxAirRounds; s.rounds++ {
		again, err := s.round(within)
		if err != nil || !again {
			return err
		}
		if within.Err() != nil {
			return nil
		}
	}
	return nil
}

// round solves once, until a plan comes up that the air refuses; true: search again.
func (s *planSearch) round(ctx context.Context) (again bool, err error) {
	solving, stop := context.WithCancel(ctx)
	defer stop()
	refused := false
	options := scheduler.Options{Threads: s.threads, SkipWhy: true, OnImprove: func(found scheduler.Progress) {
		if refused || len(found.Solution.Tasks) == 0 {
			return
		}
		if refused = s.cuts.collect(ctx, s.planner, found.Solution); refused {
			s.conflicting = found.Solution
			stop()
			return
		}
		s.take(ctx, found.Solution, found.Objectives)
	}}
	if len(s.best.Tasks) > 0 {
		options.Start = &s.best
	}
	if s.result, err = scheduler.Solve(solving, s.problem, options); err != nil {
		return false, err
	}
	if !refused && len(s.result.Solution.Tasks) > 0 {
		if refused = s.cuts.collect(ctx, s.planner, s.result.Solution); refused {
			s.conflicting = s.result.Solution
		} else if !better(s.objectives, s.result.Objectives) { // with what is proven of it
			s.best, s.objectives = s.result.Solution, s.result.Objectives
		}
	}
	if s.failed != nil {
		return false, s.failed
	}
	if refused {
		s.result.Status = scheduler.Unknown // of the problem with what is now cut off nothing is proven
		s.cuts.apply(s.planner)
		return true, nil
	}
	if s.result.Status != scheduler.Infeasible || len(s.best.Tasks) > 0 {
		return false, nil
	}
	blamed, err := scheduler.Solve(ctx, s.problem, scheduler.Options{Threads: s.threads}) // again, with what is to blame
	if err == nil && blamed.Status == scheduler.Infeasible {
		s.result = blamed
	}
	return false, err
}

// take keeps a plan that is better than the best so far, and tells of it, with what still refuses it.
func (s *planSearch) take(ctx context.Context, solution scheduler.Solution, objectives []scheduler.ObjectiveValue) {
	if len(s.best.Tasks) > 0 && !better(objectives, s.objectives) {
		return
	}
	s.best, s.objectives = solution, objectives
	began := time.Now()
	if s.send == nil || s.failed != nil || len(s.runs) == 1 && len(s.problem.Objectives) == 0 || began.Sub(s.told) < s.pause {
		return // one run is found at once
	}
	runs := s.requests(solution)
	checked, err := s.check(ctx, runs)
	switch {
	case ctx.Err() != nil:
		return
	case err != nil:
		s.failed = err
		return
	}
	s.told = time.Now()
	s.pause = max(tellProgress, checkShare*s.told.Sub(began))
	s.failed = s.send(PlanAnswer{
		Status: PlanSearching, Runs: runs, Findings: checked.Findings, Progress: s.progress(), End: drawnBy(runs),
		VisitDays: s.visitDays(solution), KilowattHours: s.kilowattHours(solution),
	})
}

// better compares two plans by their objectives, the first that differs.
func better(a, b []scheduler.ObjectiveValue) bool {
	for i := range min(len(a), len(b)) {
		if a[i].Value != b[i].Value {
			return a[i].Value < b[i].Value
		}
	}
	return false
}

func (s *planSearch) progress() PlanProgress {
	progress := PlanProgress{Elapsed: time.Since(s.started), AirRounds: s.rounds}
	for _, o := range s.objectives {
		progress.Objectives = append(progress.Objectives, inUnits(o))
	}
	return progress
}
