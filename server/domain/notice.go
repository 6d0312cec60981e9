package domain

import (
	"cmp"
	"encoding/json"
	"slices"
	"strings"
	"time"
)

// ChangeAction is what a change did to its subject.
type ChangeAction int

// The actions.
const (
	ActionNone ChangeAction = iota
	ActionCreated
	ActionChanged
	ActionRemoved
)

// Notice is one change of a studio without what only stewards may see of it. It is made once and never changed, so that all
// who follow the studio can share it.
type Notice struct {
	Revision int64
	Time     time.Time
	Caller   string
	Method   string
	Subject  string // the resource's name within the studio
	Action   ChangeAction
	// RunBefore and RunAfter are set for runs, as far as they stood.
	RunBefore, RunAfter *RunSummary
	// FiringBefore and FiringAfter are set for shared firings, as far as they stood.
	FiringBefore, FiringAfter *FiringSummary
	// Closure is set for closures: as it stands now, or as it was when it is gone.
	Closure *Closure
	// TimeRequest is set for requests for time, as it stands after the change.
	TimeRequest *TimeRequest
	// Reading is set for readings, as it stands after the change.
	Reading *Reading
	// LotBefore and LotAfter are set for lots, as far as they stood.
	LotBefore, LotAfter *LotNotice
	// Owner is whose it is: a run's maker, the holder of a key or feed, who asked for time, a person themselves; empty for what is nobody's.
	Owner string
}

// NoticeOf leaves out of a change what is not for every member. A body that cannot be read, from before its form was what it
// is now, is left out too: that something happened is told all the same.
func NoticeOf(c Change) *Notice {
	n := &Notice{Revision: c.Revision, Time: c.Time, Caller: c.Caller, Method: c.Method, Subject: withinStudio(c.Subject), Action: actionOf(c)}
	switch kind, id, _ := strings.Cut(n.Subject, "/"); kind {
	case "runs":
		n.RunBefore, n.RunAfter = readBody[RunSummary](c.Before), readBody[RunSummary](c.After)
		if run := n.Run(); run != nil {
			n.Owner = run.Maker
		}
	case "firings":
		n.FiringBefore, n.FiringAfter = readBody[FiringSummary](c.Before), readBody[FiringSummary](c.After)
		if firing := n.Firing(); firing != nil {
			n.Owner = firing.By
		}
	case string(KindClosure):
		n.Closure = cmp.Or(readBody[Closure](c.After), readBody[Closure](c.Before))
	case "lots":
		n.LotBefore, n.LotAfter = readBody[LotNotice](c.Before), readBody[LotNotice](c.After)
	case "people":
		n.Owner = id
	case "readings":
		n.Reading = readBody[Reading](c.After)
	case "timeRequests":
		if n.TimeRequest = readBody[TimeRequest](c.After); n.TimeRequest != nil {
			n.Owner = n.TimeRequest.Asker
		}
	case "accessKeys", "feeds", "mailChoices":
		type held struct {
			Caller string `json:"caller"`
		}
		if key := cmp.Or(readBody[held](c.After), readBody[held](c.Before)); key != nil {
			n.Owner = key.Caller
		}
	}
	return n
}

// withinStudio leaves the studio out of a full name, as keys have it; a studio's own stays.
func withinStudio(name string) string {
	if parts := strings.SplitN(name, "/", 3); len(parts) == 3 && parts[0] == "studios" {
		return parts[2]
	}
	return name
}

func actionOf(c Change) ChangeAction {
	switch {
	case c.Before == nil:
		return ActionCreated
	case c.After == nil:
		return ActionRemoved
	default:
		return ActionChanged
	}
}

// readBody reads what the log keeps of a resource; nothing, and what cannot be read, is nil.
func readBody[T any](body any) *T {
	if body == nil {
		return nil
	}
	raw, stored := body.(json.RawMessage)
	if !stored {
		raw, _ = json.Marshal(body) // what cannot be written cannot be read either
	}
	value := new(T)
	if json.Unmarshal(raw, value) != nil {
		return nil
	}
	return value
}

// Kind is the collection of the subject, for example "runs".
func (n *Notice) Kind() string {
	kind, _, _ := strings.Cut(n.Subject, "/")
	return kind
}

// PrivateTo is the least role that may know of the subject besides its owner; RoleNone: every member may.
func (n *Notice) PrivateTo() Role { return privateKinds[n.Kind()] }

var privateKinds = map[string]Role{
	"accessKeys": RoleSteward, "feeds": RoleSteward, "mailChoices": RoleSteward, "timeRequests": RoleTechnician,
}

// Run is the run as it stands after the change, or as it stood before; nil for another subject.
func (n *Notice) Run() *RunSummary {
	if n.RunAfter != nil {
		return n.RunAfter
	}
	return n.RunBefore
}

// Firing is the shared firing as it stands after the change, or as it stood before; nil for another subject.
func (n *Notice) Firing() *FiringSummary { return cmp.Or(n.FiringAfter, n.FiringBefore) }

// AttendedBy reports whether somebody attends a stage of a run, or did before the change.
func (n *Notice) AttendedBy(person string) bool {
	for _, run := range []*RunSummary{n.RunBefore, n.RunAfter} {
		if run != nil && slices.ContainsFunc(run.Loads, func(l LoadSummary) bool { return l.By == person }) {
			return true
		}
	}
	return false
}

// clearance is what a run needed by a rule before the change; waiting for nothing where it needed none.
func (n *Notice) clearance(rule string) Clearance {
	if n.RunBefore != nil {
		for _, c := range n.RunBefore.Clearances {
			if c.Rule == rule {
				return c
			}
		}
	}
	return Clearance{}
}

// WaitsSince are the clearances for which a run waits since the change, and did not before.
func (n *Notice) WaitsSince() []Clearance { return n.became(ClearanceWaiting) }

// Decided are the clearances that the change gave or refused.
func (n *Notice) Decided() []Clearance {
	if n.RunBefore == nil {
		return nil
	}
	return n.became(ClearanceCleared, ClearanceRefused)
}

// became are a run's clearances in one of some states, in which they were not before.
func (n *Notice) became(states ...ClearanceState) []Clearance {
	if n.RunAfter == nil {
		return nil
	}
	var all []Clearance
	for _, c := range n.RunAfter.Clearances {
		if slices.Contains(states, c.State) && n.clearance(c.Rule).State != c.State {
			all = append(all, c)
		}
	}
	return all
}

// Moved reports whether a run stands at other times or places than before, by whichever method.
func (n *Notice) Moved() bool {
	return n.RunBefore != nil && n.RunAfter != nil && n.RunAfter.State != RunCancelled
}

// NoticeFilter says which notices are asked for. What is empty lets everything pass.
type NoticeFilter struct {
	Person, Furnace, Department string
	Kinds                       []string
}

// Passes reports whether a notice is asked for.
func (f NoticeFilter) Passes(n *Notice) bool {
	return (len(f.Kinds) == 0 || slices.Contains(f.Kinds, n.Kind())) &&
		(f.Person == "" || n.Owner == f.Person) &&
		(f.Furnace == "" || n.concernsFurnace(f.Furnace)) &&
		(f.Department == "" || n.concernsDepartment(f.Department))
}

func (n *Notice) concernsFurnace(id string) bool {
	if n.Subject == "furnaces/"+id || n.Closure != nil && n.Closure.SubjectKind == KindFurnace && n.Closure.SubjectID == id {
		return true
	}
	if firing := n.Firing(); firing != nil && firing.Furnace == id {
		return true
	}
	for _, run := range []*RunSummary{n.RunBefore, n.RunAfter} {
		if run != nil && slices.ContainsFunc(run.Loads, func(l LoadSummary) bool { return l.Furnace == id }) {
			return true
		}
	}
	return false
}

func (n *Notice) concernsDepartment(id string) bool {
	run := n.Run()
	return n.Subject == "departments/"+id || run != nil && run.Department == id || n.TimeRequest != nil && n.TimeRequest.Department == id
}
