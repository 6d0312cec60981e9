package app

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/scheduler"
)

// alternativeShare is the part of the search time that each alternative gets.
const alternativeShare = 4

// alternatives looks for plans of the same run that differ from the first in more than times: on other furnaces, with fewer
// days to come, with nothing heated while nobody is in reach, with less energy.
func (a *App) alternatives(ctx context.Context, in PlanInput, first *planSearch) ([]PlanAlternative, error) {
	var found []PlanAlternative
	known := []trait{first.traitOf(first.best)}
	limit := in.SearchTime
	if limit <= 0 {
		limit = defaultSearchTime
	}
	end := searchEnd(ctx, time.Now(), limit)
	for _, other := range first.otherwise() {
		left := time.Until(end)
		if len(found) >= in.Alternatives || left <= 0 {
			break
		}
		if slices.ContainsFunc(other.problem.Tasks, func(t scheduler.Task) bool { return len(t.Modes) == 0 }) {
			continue
		}
		search := &planSearch{planner: other, started: first.started}
		if err := search.until(ctx, min(limit/alternativeShare, left)); err != nil {
			return nil, err
		}
		if len(search.best.Tasks) == 0 || slices.ContainsFunc(known, search.traitOf(search.best).same) {
			continue
		}
		answer, err := a.answerOf(ctx, in, other, search.best, PlanAnswer{})
		if err != nil {
			return nil, err
		}
		if finding.Blocks(answer.Findings) {
			continue
		}
		mine := search.traitOf(search.best)
		known = append(known, mine)
		found = append(found, PlanAlternative{
			Run: answer.Runs[0], Summary: mine.against(known[0]), End: answer.End,
			VisitDays: answer.VisitDays, KilowattHours: answer.KilowattHours, Findings: answer.Findings,
		})
	}
	return found, nil
}

// otherwise are planners for the same run with another aim or without what the first plan uses.
func (s *planSearch) otherwise() []*planner {
	var all []*planner
	for task := range s.tasks {
		if len(s.problem.Tasks[task].Modes) > 1 {
			all = append(all, s.withoutMode(task, s.best.Tasks[task].Mode))
		}
	}
	for _, wish := range []PlanWish{WishFewestVisits, WishLeastEnergy} {
		other := s.copied()
		other.problem.Objectives = nil
		if other.addWish(wish) == nil {
			all = append(all, other)
		}
	}
	staffed := s.copied()
	for task := range staffed.tasks {
		for mode := range staffed.problem.Tasks[task].Modes {
			phases := staffed.problem.Tasks[task].Modes[mode].Phases
			for k := range phases {
				if phases[k].Calendar < 0 && staffed.tasks[task].treatments[mode].Phases[k].Kilowatts > 0 {
					phases[k].Calendar = staffed.index.reach
				}
			}
		}
	}
	return append([]*planner{staffed}, all...)
}

// copied is the planner with a problem of its own, as far as alternatives change it.
func (p *planner) copied() *planner {
	other := *p
	other.cuts = newAirCuts()
	other.problem.Tasks = slices.Clone(p.problem.Tasks)
	other.problem.Separations = slices.Clone(p.problem.Separations)
	other.tasks = slices.Clone(p.tasks)
	for i := range other.problem.Tasks {
		modes := slices.Clone(p.problem.Tasks[i].Modes)
		for m := range modes {
			modes[m].Phases = slices.Clone(modes[m].Phases)
			modes[m].ForbiddenStarts = slices.Clone(modes[m].ForbiddenStarts)
		}
		other.problem.Tasks[i].Modes = modes
	}
	return &other
}

// withoutMode is a planner in which a task cannot be done as in one of its modes.
func (p *planner) withoutMode(task, mode int) *planner {
	other := p.copied()
	other.problem.Tasks[task].Modes = slices.Delete(other.problem.Tasks[task].Modes, mode, mode+1)
	other.tasks[task].treatments = slices.Delete(slices.Clone(p.tasks[task].treatments), mode, mode+1)
	other.problem.Separations = slices.DeleteFunc(other.problem.Separations, func(s scheduler.Separation) bool {
		return s.First == task || s.Second == task // its modes have other numbers now; the air says so again
	})
	return other
}

// trait is what tells plans of one run apart.
type trait struct {
	furnaces         []string // by stage
	visits           int
	kilowattHours    float64
	unstaffedMinutes int // with the heat on and nobody in reach
	end              time.Time
}

func (s *planSearch) traitOf(solution scheduler.Solution) trait {
	t := trait{visits: s.visitDays(solution), kilowattHours: s.kilowattHours(solution), end: s.instant(solution.MakespanMinute())}
	for task, placement := range solution.Tasks {
		treatment := s.tasks[task].treatments[placement.Mode]
		t.furnaces = append(t.furnaces, treatment.Furnace.ID)
		for k, span := range placement.Phases {
			if treatment.Phases[k].Kilowatts > 0 && treatment.Phases[k].Kind != heat.Work {
				t.unstaffedMinutes += s.unstaffed(span)
			}
		}
	}
	return t
}

// unstaffed are the minutes of an interval in which nobody is in reach.
func (p *planner) unstaffed(span scheduler.Interval) int {
	minutes := span.Minutes()
	for _, open := range p.problem.Calendars[p.index.reach].Open {
		minutes -= max(min(open.End, span.End)-max(open.Start, span.Start), 0)
	}
	return minutes
}

func (t trait) same(o trait) bool {
	return slices.Equal(t.furnaces, o.furnaces) && t.visits == o.visits && (t.unstaffedMinutes == 0) == (o.unstaffedMinutes == 0)
}

// against says in one sentence how a plan differs from the first.
func (t trait) against(first trait) string {
	parts := []string{laterWords(t.end.Sub(first.end))}
	for i, furnace := range t.furnaces {
		if furnace != first.furnaces[i] {
			parts = append(parts, fmt.Sprintf("on %s instead of %s", furnace, first.furnaces[i]))
		}
	}
	switch fewer := first.visits - t.visits; {
	case fewer > 0:
		parts = append(parts, counted(fewer, "day")+" fewer to come")
	case fewer < 0:
		parts = append(parts, counted(-fewer, "day")+" more to come")
	}
	switch {
	case t.unstaffedMinutes == 0 && first.unstaffedMinutes > 0:
		parts = append(parts, "nothing heated while nobody is in reach")
	case t.unstaffedMinutes > 0 && first.unstaffedMinutes == 0:
		parts = append(parts, "heated while nobody is in reach")
	}
	if less := first.kilowattHours - t.kilowattHours; math.Abs(less) >= 0.05*first.kilowattHours {
		word := "less"
		if less < 0 {
			word = "more"
		}
		parts = append(parts, fmt.Sprintf("%.1f kWh %s", math.Abs(less), word))
	}
	return strings.Join(parts, ", ")
}

// laterWords says by how much something ends later or earlier.
func laterWords(d time.Duration) string {
	word := "later"
	if d < 0 {
		word, d = "earlier", -d
	}
	switch hours := int(d.Round(time.Hour) / time.Hour); {
	case d == 0:
		return "over at the same time"
	case hours == 0:
		return fmt.Sprintf("over %s %s", counted(int(d/time.Minute), "minute"), word)
	case hours < 36:
		return fmt.Sprintf("over %s %s", counted(hours, "hour"), word)
	default:
		return fmt.Sprintf("over %s %s", counted((hours+12)/24, "day"), word)
	}
}

func counted(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}
