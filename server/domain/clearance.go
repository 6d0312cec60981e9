package domain

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// ClearanceState is where a clearance stands.
type ClearanceState string

// The states of a clearance.
const (
	ClearanceWaiting ClearanceState = "WAITING"
	ClearanceCleared ClearanceState = "CLEARED"
	ClearanceRefused ClearanceState = "REFUSED"
)

// Clearance is somebody's yes that a run needs before it is confirmed. A run has at most one for each rule.
type Clearance struct {
	Rule   string         `json:"rule"`
	Reason string         `json:"reason"` // in one sentence
	Stages []string       `json:"stages"` // none: the run as a whole
	Basis  ClearanceBasis `json:"basis"`
	State  ClearanceState `json:"state"`
	Role   Role           `json:"role"`   // the least that may decide; RoleNone: only the people
	People []string       `json:"people"` // ids of those who may, whatever their role
	// AskTime is when it was first asked for, and ExpireTime until when it waits.
	AskTime    time.Time `json:"ask_time"`
	ExpireTime time.Time `json:"expire_time"`
	DecidedBy  string    `json:"decided_by"`
	DecideTime time.Time `json:"decide_time"`
	Note       string    `json:"note"`
}

// ClearanceBasis is what a yes rests on: what else the run does may change without another.
type ClearanceBasis struct {
	Places []string `json:"places"` // stage and furnace, such as reduce on pot
	Found  []string `json:"found"`  // what was found in the charge or said of the run
	Amount float64  `json:"amount"` // how much, in the rule's own unit
	Times  []Window `json:"times"`  // outside the rule's hours
}

// Covers reports whether a yes that rests on b holds for other too: nothing new, nowhere else, no more, at no other time.
func (b ClearanceBasis) Covers(other ClearanceBasis) bool {
	within := func(some, all []string) bool {
		return !slices.ContainsFunc(some, func(s string) bool { return !slices.Contains(all, s) })
	}
	const rounding = 1 + 1e-9
	inTime := func(w Window) bool {
		return slices.ContainsFunc(b.Times, func(allowed Window) bool { return allowed.Contains(w) })
	}
	return within(other.Places, b.Places) && within(other.Found, b.Found) && other.Amount <= b.Amount*rounding &&
		!slices.ContainsFunc(other.Times, func(w Window) bool { return !inTime(w) })
}

// MayDecide reports whether somebody may say yes or no, leaving aside whose run it is.
func (c Clearance) MayDecide(caller Caller) bool {
	return c.Role != RoleNone && caller.Role >= c.Role || slices.Contains(c.People, caller.ID)
}

// roleWords are what people call a role and those above it.
var roleWords = map[Role]string{
	RoleViewer: "anybody of the studio", RoleMaker: "a maker or above", RoleTechnician: "a technician or above", RoleSteward: "a steward",
}

// Who says who may decide, for example "a technician or above, or ada".
func (c Clearance) Who() string {
	var who []string
	if words, known := roleWords[c.Role]; known {
		who = append(who, words)
	}
	return strings.Join(append(who, c.People...), ", or ")
}

// Waiting are the run's clearances that nobody has decided.
func (r Run) Waiting() []Clearance {
	var waiting []Clearance
	for _, c := range r.Clearances {
		if c.State == ClearanceWaiting {
			waiting = append(waiting, c)
		}
	}
	return waiting
}

// IsFor reports whether somebody may decide anything that the run waits for.
func (r Run) IsFor(caller Caller) bool {
	return caller.ID != r.Maker && slices.ContainsFunc(r.Waiting(), func(c Clearance) bool { return c.MayDecide(caller) })
}

// tentative reports whether any load waits for a clearance.
func (r Run) tentative() bool {
	return slices.ContainsFunc(r.Loads, func(l Load) bool { return l.State == LoadTentative })
}

// HoldExpireTime is until when the run waits for its clearances; zero when it does not wait.
func (r Run) HoldExpireTime() time.Time {
	var first time.Time
	if !r.tentative() {
		return first
	}
	for _, c := range r.Waiting() {
		if first.IsZero() || c.ExpireTime.Before(first) {
			first = c.ExpireTime
		}
	}
	return first
}

// lapsed reports whether a hold until an instant is over; zero never is.
func lapsed(until, now time.Time) bool { return !until.IsZero() && !now.Before(until) }

// Lapsed reports whether the run waited longer than it may.
func (r Run) Lapsed(now time.Time) bool { return lapsed(r.HoldExpireTime(), now) }

// AsOf is the run as it stands at an instant: what waited too long has expired, written down or not.
func (r Run) AsOf(now time.Time) Run {
	if !r.Lapsed(now) {
		return r
	}
	return r.with(LoadExpired)
}

// with is the run with every load that waits in another state, and its firing with it. One that ends gives up what it
// reserved of lots.
func (r Run) with(state LoadState) Run {
	r.Loads = slices.Clone(r.Loads)
	for i := range r.Loads {
		if r.Loads[i].State == LoadTentative {
			r.Loads[i] = r.Loads[i].as(state)
		}
	}
	if !state.Occupies() {
		r.Draws = slices.Clone(r.Draws)
		r.Release()
	}
	return r
}

func (l Load) as(state LoadState) Load {
	l.State = state
	if l.Firing != nil {
		firing := l.Firing.Following(l.Firing.RunID, state)
		l.Firing = &firing
	}
	return l
}

// Held is the run with every load that has not begun waiting, when anything of it waits for a clearance.
func (r Run) Held(now time.Time) Run {
	if len(r.Waiting()) == 0 {
		return r
	}
	r.Loads = slices.Clone(r.Loads)
	for i, load := range r.Loads {
		if !load.Begun(now) {
			r.Loads[i] = load.as(LoadTentative)
		}
	}
	return r
}

// AsOf is the firing as it stands at an instant: one that waited too long has expired, written down or not.
func (f Firing) AsOf(now time.Time) Firing {
	if f.State == LoadTentative && lapsed(f.HoldExpireTime, now) {
		f.State, f.HoldExpireTime = LoadExpired, time.Time{}
	}
	return f
}

// Decision is what somebody says to some of what a run waits for.
type Decision struct {
	By    Caller
	At    time.Time
	Rules []string // ids; none: all that waits and is theirs
	Note  string
}

// Clear is the run after a yes: confirmed once nothing waits any more. Errors: ErrWrongState when it does not wait, or waits
// no more; ErrForbidden for its own maker and for who may not; ErrNotFound for a rule that asks for nothing.
func (r Run) Clear(d Decision) (Run, error) {
	r, err := r.decided(d, ClearanceCleared)
	if err == nil && len(r.Waiting()) == 0 {
		r = r.with(LoadConfirmed)
	}
	return r, err
}

// Refuse is the run after a no: called off. Errors as Clear.
func (r Run) Refuse(d Decision) (Run, error) {
	r, err := r.decided(d, ClearanceRefused)
	if err != nil {
		return r, err
	}
	return r.with(LoadCancelled), nil
}

func (r Run) decided(d Decision, state ClearanceState) (Run, error) {
	r = r.AsOf(d.At)
	if err := r.decidable(d); err != nil {
		return r, err
	}
	r.Clearances = slices.Clone(r.Clearances)
	count := 0
	for i := range r.Clearances {
		c := &r.Clearances[i]
		named := slices.Contains(d.Rules, c.Rule)
		switch {
		case len(d.Rules) > 0 && !named:
			continue
		case c.State != ClearanceWaiting && named:
			return r, r.wrong(fmt.Sprintf("%s was decided already, by %s", c.Rule, c.DecidedBy), "leave it out")
		case c.State != ClearanceWaiting:
			continue
		case !c.MayDecide(d.By) && named:
			return r, r.forbidden(fmt.Sprintf("%s is not for %s to decide", c.Rule, d.By.ID), "it is for "+c.Who())
		case !c.MayDecide(d.By):
			continue
		}
		c.State, c.DecidedBy, c.DecideTime, c.Note = state, d.By.ID, d.At, d.Note
		count++
	}
	if count > 0 {
		return r, nil
	}
	var who []string
	for _, c := range r.Waiting() {
		who = append(who, fmt.Sprintf("%s is for %s", c.Rule, c.Who()))
	}
	return r, r.forbidden("nothing that this run waits for is for "+d.By.ID+" to decide", strings.Join(who, "; "))
}

// decidable says whether anything of the run can be decided by somebody at all.
func (r Run) decidable(d Decision) error {
	switch {
	case slices.ContainsFunc(r.Loads, func(l Load) bool { return l.State == LoadExpired }):
		return r.wrong("it waited too long and has expired", "book it again")
	case !r.tentative() && len(r.Clearances) > 0:
		return r.wrong("it waits for nothing any more: "+r.clearedBy(), "look at what stands")
	case !r.tentative():
		return r.wrong("it needs no clearance", "there is nothing to do")
	case d.By.ID == r.Maker:
		return r.forbidden("nobody clears a run of their own", r.othersWho())
	}
	for _, rule := range d.Rules {
		if !slices.ContainsFunc(r.Clearances, func(c Clearance) bool { return c.Rule == rule }) {
			return &Error{
				Kind: ErrNotFound, Subject: "runs/" + r.ID, Message: "this run asks for no clearance by rule " + rule,
				Cure: "name those that it shows",
			}
		}
	}
	return nil
}

func (r Run) othersWho() string {
	var who []string
	for _, c := range r.Waiting() {
		who = append(who, fmt.Sprintf("%s is for somebody else: %s", c.Rule, c.Who()))
	}
	return strings.Join(who, "; ")
}

// clearedBy says who decided what, for whoever comes late.
func (r Run) clearedBy() string {
	var all []string
	for _, c := range r.Clearances {
		all = append(all, fmt.Sprintf("%s was %s by %s", c.Rule, strings.ToLower(string(c.State)), c.DecidedBy))
	}
	return strings.Join(all, ", ")
}

func (r Run) wrong(message, cure string) error {
	return &Error{Kind: ErrWrongState, Subject: "runs/" + r.ID, Message: message, Cure: cure}
}

func (r Run) forbidden(message, cure string) error {
	return &Error{Kind: ErrForbidden, Subject: "runs/" + r.ID, Message: message, Cure: cure}
}
