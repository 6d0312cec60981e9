package app

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"saggar/chem/finding"
	"saggar/scheduler"
	"saggar/server/domain"
)

// mostRefused bounds how often a plan is sent back because of what the search does not know of.
const mostRefused = 24

// leastForAnswer and mostForAnswer bound how long before the caller's deadline a search ends.
const (
	leastForAnswer = 200 * time.Millisecond
	mostForAnswer  = 2 * time.Second
)

// notByTime are the codes of refusals on the path that books that no other time cures.
var notByTime = []string{codeUnusedHours}

// search looks for the best plan that can be booked as it stands. What the problem does not state, such as allotments and what a
// person breathes in a day, refuses a plan only when it is there: its stages are then kept out of those days and the search
// goes on, while there is time. When nothing else is found the first refusal is the answer.
func (a *App) search(ctx context.Context, in PlanInput, s *planSearch, base PlanAnswer) (PlanAnswer, error) {
	end := searchEnd(ctx, time.Now(), in.SearchTime)
	var first *PlanAnswer
	for range mostRefused {
		if err := s.until(ctx, max(time.Until(end), time.Millisecond)); err != nil {
			return base, err
		}
		found, err := a.conclude(ctx, in, s, base)
		refused := err == nil && found.Status == PlanInfeasible && len(s.best.Tasks) > 0
		if err != nil || !refused && (first == nil || found.Status == PlanOptimal || found.Status == PlanFeasible) {
			return found, err
		}
		if first == nil {
			first = &found
		}
		if !refused || time.Now().After(end) || !s.keepOut(found.Findings) {
			break
		}
	}
	return *first, nil
}

// searchEnd is when a search must end so that its answer is there before the caller's deadline: a tenth of what is left for it
// ahead, but within bounds, since the answer is checked and told why.
func searchEnd(ctx context.Context, now time.Time, limit time.Duration) time.Time {
	end := now.Add(cmp.Or(max(limit, 0), defaultSearchTime))
	if deadline, ok := ctx.Deadline(); ok {
		left := deadline.Sub(now)
		ahead := min(max(left/10, leastForAnswer), mostForAnswer, left/2)
		if last := deadline.Add(-ahead); last.Before(end) {
			return last
		}
	}
	return end
}

// keptOut are starts out of which a stage is kept, and what refused it there.
type keptOut struct {
	scheduler.Interval
	refused finding.Finding
}

// keepOut forbids the stages that findings refuse the times in which they stand, and forgets the plan; false: no other time
// would do.
func (s *planSearch) keepOut(findings []finding.Finding) bool {
	some := false
	for _, f := range findings {
		task := s.taskOf(f.Field)
		if f.Severity != finding.Block || task < 0 || slices.Contains(notByTime, f.Code) {
			continue
		}
		out := s.refusedPeriod(task, f)
		s.keptOut[task] = append(s.keptOut[task], keptOut{out, f})
		for i := range s.problem.Tasks[task].Modes {
			mode := &s.problem.Tasks[task].Modes[i]
			mode.ForbiddenStarts = append(mode.ForbiddenStarts, out)
		}
		some = true
	}
	s.best, s.objectives, s.conflicting, s.unproven = scheduler.Solution{}, nil, scheduler.Solution{}, true
	return some
}

// refusedPeriod are the starts out of which a refused stage is kept: the allotment's week or term, or else its day.
func (s *planSearch) refusedPeriod(task int, f finding.Finding) scheduler.Interval {
	start := s.instant(s.best.Tasks[task].StartMinute).In(s.site.Zone)
	period := domain.Window{
		Start: time.Date(start.Year(), start.Month(), start.Day(), 0, 0, 0, 0, s.site.Zone),
		End:   time.Date(start.Year(), start.Month(), start.Day()+1, 0, 0, 0, 0, s.site.Zone),
	}
	for _, rule := range s.rules {
		if rule.Allotment != nil && f.Code == codeAllotmentSpent && rule.Allotment.ID == f.About {
			period, _ = rule.Allotment.Period(start, s.site.Zone)
		}
	}
	out := s.interval(period)
	return scheduler.Interval{Start: max(out.Start, 0), End: max(out.End, 1)}
}

// stageOf reads from a finding's field which run, and which of its stages, it is about where there are several runs; negative: none.
func (p *planner) stageOf(field string) (run, stage int) {
	for _, path := range []string{"runs[%d]", "moves[%d]"} {
		run, stage = -1, -1
		if n, _ := fmt.Sscanf(field, path+".stage_windows[%d]", &run, &stage); n < 2 {
			stage = -1
		}
		if run >= 0 && run < len(p.runs) {
			return run, stage
		}
	}
	return -1, -1
}

// taskOf is the task that a finding's field is about, a run's first where it is about the run; negative: none.
func (s *planSearch) taskOf(field string) int {
	run, stage := s.stageOf(field)
	if stage < 0 && field != fieldOfRun(s.moving, run) {
		return -1
	}
	return slices.IndexFunc(s.tasks, func(t plannedTask) bool { return t.run.index == run && (stage < 0 || t.stage == stage) })
}
