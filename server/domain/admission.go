package domain

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"saggar/chem/finding"
	"saggar/chem/heat"
)

// Codes of the findings about who and what may join a shared firing.
const (
	CodeJoinNotShared    = "JOIN_NOT_SHARED"
	CodeJoinNotStanding  = "JOIN_NOT_STANDING"
	CodeJoinTooLate      = "JOIN_TOO_LATE"
	CodeJoinDepartment   = "JOIN_DEPARTMENT"
	CodeJoinNoRoom       = "JOIN_NO_ROOM"
	CodeJoinTooHeavy     = "JOIN_TOO_HEAVY"
	CodeJoinContaminates = "JOIN_CONTAMINATES"
)

const commonPractice = "common practice, no source"

// Admission holds a load that wants to join a shared firing against what is offered and what rides in it already: whether it
// may, its room and mass, and what either side would do to the other. Each finding refuses; none: it may join. Times are shown in the zone.
func (f Firing) Admission(r Rider, now time.Time, zone *time.Location) []finding.Finding {
	a := admission{firing: f, rider: r, clock: func(t time.Time) string { return t.In(zone).Format("Mon 2 Jan 15:04") }}
	switch {
	case f.State != LoadConfirmed:
		a.refuse(CodeJoinNotStanding, fmt.Sprintf("firing %s is %s, and only one that is CONFIRMED can be joined", f.ID, f.State), otherOne)
		return a.found
	case f.Offer == nil:
		a.refuse(CodeJoinNotShared, fmt.Sprintf("firing %s is not shared", f.ID),
			fmt.Sprintf("ask %s, who attends it, to share it, or take a furnace of its own", f.AttendedBy))
		return a.found
	case len(f.Riders) == 0 && f.Offer.OpenedBy == "":
		a.refuse(CodeJoinNotStanding, fmt.Sprintf("the run whose firing %s is waits no longer, and it ends with that", f.ID), otherOne)
		return a.found
	case !now.Before(f.Offer.Until):
		a.refuse(CodeJoinTooLate, fmt.Sprintf("firing %s could be joined until %s", f.ID, a.clock(f.Offer.Until)), otherOne)
	}
	if of := f.Offer.Departments; len(of) > 0 && !slices.Contains(of, r.Department) {
		a.refuse(CodeJoinDepartment, fmt.Sprintf("firing %s is for runs of %s, and this is one of %s", f.ID, strings.Join(of, ", "), r.Department),
			fmt.Sprintf("ask %s, who attends it, to let %s in, or join another one", f.AttendedBy, r.Department))
	}
	a.room()
	a.mass()
	for _, other := range f.Riders {
		a.beside(other)
	}
	if f.Offer.OpenedBy != "" {
		a.beside(Rider{Ride: Ride{Ware: true}})
	}
	return a.found
}

const otherOne = "join another firing, as 'firing list --joinable' shows them, or take a furnace of its own"

// admission gathers what keeps a load out of a firing.
type admission struct {
	firing Firing
	rider  Rider
	clock  func(t time.Time) string
	found  []finding.Finding
}

func (a *admission) refuse(code, message, cure string, figures ...finding.Figure) {
	a.found = append(a.found, finding.Finding{
		Severity: finding.Block, Code: code, About: a.firing.ID, Message: message, Cure: cure, Figures: figures,
	})
}

func (a *admission) room() {
	free, asked := a.firing.FreeLiters(), a.rider.Liters
	if asked <= free+rounding*a.firing.Offer.Liters {
		return
	}
	a.refuse(CodeJoinNoRoom, fmt.Sprintf("it takes %.4g l, and %.4g l of firing %s are free", asked, max(free, 0), a.firing.ID),
		"make less of it, or "+otherOne, finding.Figure{Name: "asked", Value: asked, Unit: "l"},
		finding.Figure{Name: "free", Value: max(free, 0), Unit: "l"}, finding.Figure{Name: "offered", Value: a.firing.Offer.Liters, Unit: "l"})
}

func (a *admission) mass() {
	free, asked := a.firing.FreeGrams(), a.rider.Grams
	if asked <= free+rounding*a.firing.Offer.Grams {
		return
	}
	a.refuse(CodeJoinTooHeavy, fmt.Sprintf("it weighs, or takes heat as, %.6g g of ware, and %.6g g of firing %s are free", asked, max(free, 0),
		a.firing.ID), "make less of it, or "+otherOne, finding.Figure{Name: "asked", Value: asked, Unit: "g"},
		finding.Figure{Name: "free", Value: max(free, 0), Unit: "g"}, finding.Figure{Name: "offered", Value: a.firing.Offer.Grams, Unit: "g"})
}

// beside refuses two loads of which one would spoil the other.
func (a *admission) beside(other Rider) {
	whose := "ware that firing " + a.firing.ID + " is open for"
	if other.RunID != "" {
		whose = fmt.Sprintf("run %s of %s (stage %s)", other.RunID, other.Maker, other.Stage)
	}
	if words := spoils(a.rider.Ride, other.Ride); len(words) > 0 {
		a.contaminates(fmt.Sprintf("it gives off %s, which spoils %s", inPlainWords(words), whose))
	}
	if words := spoils(other.Ride, a.rider.Ride); len(words) > 0 {
		a.contaminates(fmt.Sprintf("%s gives off %s, which spoils it", whose, inPlainWords(words)))
	}
}

func (a *admission) contaminates(message string) {
	for _, f := range a.found {
		if f.Message == message {
			return
		}
	}
	a.refuse(CodeJoinContaminates, message, "fire the two apart")
	a.found[len(a.found)-1].Source = commonPractice
}

func inPlainWords(words []string) string {
	return strings.ReplaceAll(strings.Join(words, ", "), "_", " ")
}

// spoils is what one load gives off that harms another: on ware and glaze all that settles on it or reduces it, on any other
// load what it does not give off itself (common practice, no source; the cautious end).
func spoils(from, on Ride) []string {
	var words []string
	for _, word := range from.Contents {
		harms := on.Ware || word != heat.Carbon && !slices.Contains(on.Contents, word)
		if harms {
			words = append(words, word)
		}
	}
	return words
}
