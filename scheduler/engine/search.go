package engine

import (
	"math/rand/v2"
)

// Outcome says how a search ended.
type Outcome int

// The ways that a search ends.
const (
	Stopped   Outcome = iota // a limit was reached
	Solved                   // every variable that the brancher asks for is settled, and no constraint objects
	Exhausted                // there is no solution under the assumptions; Broken says whether there is none at all
)

// Brancher is the branching that knows the problem.
type Brancher interface {
	// Next is a statement that is open, to be tried as true; True when everything is settled.
	Next(s *Solver) Lit
}

// Limits bound one search.
type Limits struct {
	Conflicts int         // 0: no limit
	Stop      func() bool // asked every fraction of a millisecond; nil: never
}

// Strategy is how a search branches and restarts. The zero value is the brancher alone, without restarts.
type Strategy struct {
	// Activity: after a restart, every other time, branching is on the most active statements first.
	Activity bool
	// AlwaysActive: branching is on activity after every restart.
	AlwaysActive bool
	// RestartConflicts is the unit of the Luby sequence of restarts; 0: none.
	RestartConflicts int
	// RandomShare is the share of activity decisions that are taken at random, by Random.
	RandomShare float64
	Random      *rand.Rand
	// Assume holds at first levels, one statement each. Hold holds after these, all at one level: that they cannot hold
	// together teaches nothing, so that they cost little.
	Assume, Hold []Lit
}

// SetPhases makes activity-based branching try values as in a solution first; by variable.
func (s *Solver) SetPhases(values []int) { s.best = append(s.best[:0], values...) }

// OnlyLower makes activity-based branching never raise a term. What others only bound from below then ends no higher than
// they ask for once all else is settled.
func (s *Solver) OnlyLower(t Term) {
	if t.View != 0 {
		s.costs[t.View/2] = t.View
	}
}

// Values are the least values of all variables now.
func (s *Solver) Values() []int {
	values := make([]int, s.Vars())
	for v := range values {
		values[v] = s.lb[2*v]
	}
	return values
}

// Assert makes l true for good; false when there is no solution then.
func (s *Solver) Assert(l Lit) bool {
	s.backTo(0)
	s.AddClause(l)
	return !s.broken
}

// Root brings the variables to the fixed point before any decision; false when there is no solution.
func (s *Solver) Root(stop func() bool) bool {
	s.backTo(0)
	s.stop, s.stopped = stop, false
	if s.broken || !s.propagate() {
		s.broken = true
		return false
	}
	return true
}

// Search looks for a solution. After Solved the variables stand at it until the next call.
func (s *Solver) Search(b Brancher, how Strategy, limits Limits) Outcome {
	s.stop = limits.Stop
	if !s.Root(limits.Stop) {
		return Exhausted
	}
	run := searching{Solver: s, brancher: b, how: how, limit: limits.Conflicts, from: s.stats.Conflicts}
	run.restart()
	for {
		if s.stopped {
			s.backTo(0)
			return Stopped
		}
		if !s.propagate() {
			if outcome, over := run.conflict(); over {
				return outcome
			}
			continue
		}
		if s.stopped {
			continue
		}
		if run.due() {
			s.backTo(run.base())
			run.restart()
			continue
		}
		if outcome, over := run.step(); over {
			return outcome
		}
	}
}

// searching is one call of Search.
type searching struct {
	*Solver
	brancher Brancher
	how      Strategy
	limit    int
	from     int // conflicts at the beginning
	next     int // conflicts at which to restart
	restarts int
	active   bool
}

// due says whether to restart now.
func (r *searching) due() bool {
	return r.how.RestartConflicts > 0 && r.stats.Conflicts >= r.next
}

// base is the level to restart from: what is assumed and held stays, unless clauses must be forgotten.
func (r *searching) base() int32 {
	if len(r.learnt) > r.allowed() {
		return 0
	}
	base := len(r.how.Assume)
	if len(r.how.Hold) > 0 {
		base++
	}
	return int32(base)
}

func (r *searching) restart() {
	r.restarts++
	r.stats.Restarts++
	r.next = r.stats.Conflicts + r.how.RestartConflicts*luby(r.restarts)
	r.active = r.how.AlwaysActive || r.how.Activity && r.restarts%2 == 0
	if r.level() > 0 {
		return
	}
	if len(r.learnt) > r.allowed() {
		r.forget()
	}
	r.atoms.thin()
}

// allowed is how many learnt clauses are kept: more as the search goes on.
func (r *searching) allowed() int { return 4000 + r.stats.Conflicts/20 }

func (r *searching) conflict() (Outcome, bool) {
	r.stats.Conflicts++
	if len(r.how.Hold) > 0 && r.conflictLevel() == int32(len(r.how.Assume))+1 {
		r.backTo(0)
		return Exhausted, true
	}
	back, ok := r.analyze()
	if !ok {
		r.broken = true
		r.backTo(0)
		return Exhausted, true
	}
	r.learn(back)
	r.atoms.decay()
	if r.broken {
		return Exhausted, true
	}
	if r.limit > 0 && r.stats.Conflicts-r.from >= r.limit {
		r.backTo(0)
		return Stopped, true
	}
	return 0, false
}

// step opens the next level.
func (r *searching) step() (Outcome, bool) {
	r.Spend(2)
	if level := int(r.level()); level < len(r.how.Assume) {
		l := r.how.Assume[level]
		if r.Fails(l) {
			r.backTo(0)
			return Exhausted, true
		}
		r.decide(l)
		return 0, false
	}
	if len(r.how.Hold) > 0 && int(r.level()) == len(r.how.Assume) {
		if !r.hold() {
			r.backTo(0)
			return Exhausted, true
		}
		return 0, false
	}
	l := True
	if r.active {
		l = r.mostActive()
	}
	if l == True {
		l = r.brancher.Next(r.Solver)
	}
	if l == True {
		return Solved, true
	}
	r.decide(l)
	return 0, false
}

// hold opens a level with all statements to be held; false when one of them fails already.
func (r *searching) hold() bool {
	r.decide(True)
	for _, l := range r.how.Hold {
		if r.Fails(l) {
			return false
		}
		r.set(l, reason{kind: byDecision})
	}
	return true
}

// mostActive is the most active open statement, as true or false as in the solution that phases are saved from, or as low
// as possible without one; True when none is open.
func (r *searching) mostActive() Lit {
	for {
		id, ok := r.atoms.pop(r.level())
		if !ok {
			return True
		}
		r.Spend(4)
		l := r.atoms.all[id].lit
		if r.Holds(l) || r.Fails(l) {
			continue
		}
		if cost := r.costs[l.View()/2]; cost != 0 {
			if cost == l.View() {
				return l.Not()
			}
			return l
		}
		up := false
		if len(r.best) > 0 {
			up = r.best[l.View()/2] >= l.Bound()
		}
		if r.how.RandomShare > 0 && r.how.Random.Float64() < r.how.RandomShare {
			up = !up
		}
		if up {
			return l
		}
		return l.Not()
	}
}

// luby is the sequence 1 1 2 1 1 2 4 ... (Luby, Sinclair and Zuckerman 1993), from 1 on.
func luby(i int) int {
	for k := 1; ; k++ {
		if i == 1<<k-1 {
			return 1 << (k - 1)
		}
		if i < 1<<k-1 {
			return luby(i - 1<<(k-1) + 1)
		}
	}
}
