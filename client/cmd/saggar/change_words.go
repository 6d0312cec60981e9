package main

import (
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	saggarv1 "saggar/proto/saggar/v1"
)

// changeInWords is a sentence such as "ada moved run blue-7 (blue, ceramics): reduce on pot to Tue 2 Mar 08:00 - 17:00".
func changeInWords(n *saggarv1.Notice, zone *time.Location) string {
	sentence := n.GetCaller() + " " + changeVerb(n) + " " + subjectInWords(n.GetSubject())
	switch {
	case n.GetRunAfter() != nil || n.GetRunBefore() != nil:
		return sentence + runInWords(n, zone)
	case n.GetFiring() != nil:
		f := n.GetFiring()
		return sentence + fmt.Sprintf(" (%s on %s, attended by %s): %s", f.GetTitle(), f.GetFurnace(), f.GetAttendedBy(),
			spanInWords(f.GetStartTime(), f.GetEndTime(), zone))
	case n.GetClosure() != nil:
		c := n.GetClosure()
		sentence += ": " + subjectInWords(c.GetSubject()) + ", " + spanInWords(c.GetStartTime(), c.GetEndTime(), zone)
		if c.GetReason() != "" {
			sentence += ", " + c.GetReason()
		}
	case n.GetTimeOffer() != nil:
		sentence += ": " + offerInWords(n.GetTimeOffer(), zone)
	}
	return sentence
}

// changeVerb is what was done, in the words of the command line where it has some.
func changeVerb(n *saggarv1.Notice) string {
	switch n.GetMethod() {
	case "BookRun", "BookFiring":
		return "booked"
	case "CancelRun":
		return "called off"
	case "CancelFiring":
		if n.GetFiring() != nil {
			return "called off"
		}
		return "left without a firing"
	case "DeleteTimeRequest":
		return "withdrew"
	case "DeclineTimeOffer":
		return "declined what was held for"
	case "RevokeAccessKey", "RevokeFeed":
		return "revoked"
	}
	if isMoved(n) {
		return "moved"
	}
	switch n.GetAction() {
	case saggarv1.ChangeAction_CHANGE_ACTION_CREATED:
		return "added"
	case saggarv1.ChangeAction_CHANGE_ACTION_REMOVED:
		return "removed"
	default:
		return "changed"
	}
}

// isMoved reports whether a run stands at other times or places than before, by whichever method.
func isMoved(n *saggarv1.Notice) bool {
	return n.GetRunBefore() != nil && n.GetRunAfter() != nil && n.GetRunAfter().GetState() != saggarv1.RunState_RUN_STATE_CANCELLED
}

// subjectNouns are what people call one resource of a collection.
var subjectNouns = map[string]string{
	"studios": "studio", "rooms": "room", "extractionCircuits": "extraction circuit", "supplies": "supply", "furnaces": "furnace",
	"staffedHours": "staffed hours of room", "closures": "closure", "materials": "material", "recipes": "recipe",
	"departments": "department", "people": "person", "accessKeys": "key", "runs": "run", "feeds": "feed", "firings": "firing",
	"vessels": "vessel", "gear": "gear", "timeRequests": "request for time", "readings": "reading",
}

// subjectInWords turns "furnaces/pot" into "furnace pot".
func subjectInWords(subject string) string {
	collection, id, _ := strings.Cut(subject, "/")
	if noun := subjectNouns[collection]; noun != "" {
		return noun + " " + id
	}
	return subject
}

// runInWords says whose run it is, and the stages that the change is about: all of a new or ended one, of a moved one those
// whose place or time is another.
func runInWords(n *saggarv1.Notice, zone *time.Location) string {
	run, before := n.GetRunAfter(), n.GetRunBefore()
	if run == nil {
		run = before
	}
	var stages []string
	for i, load := range run.GetLoads() {
		if isMoved(n) && i < len(before.GetLoads()) && sameplace(before.GetLoads()[i], load) {
			continue
		}
		stages = append(stages, loadInWords(n, load, zone))
	}
	about := " (" + strings.Join(nonEmpty(run.GetRecipe(), run.GetDepartment()), ", ") + ")"
	if run.GetMaker() != "" && run.GetMaker() != n.GetCaller() {
		about += " of " + run.GetMaker()
	}
	if len(stages) == 0 {
		return about
	}
	return about + ": " + strings.Join(stages, "; ")
}

func loadInWords(n *saggarv1.Notice, load *saggarv1.NoticedLoad, zone *time.Location) string {
	text := load.GetStage()
	if load.GetFurnace() != "" {
		text += " on " + load.GetFurnace()
	}
	if load.GetJoinedFiring() != "" {
		text += " in firing " + load.GetJoinedFiring()
	}
	if isMoved(n) {
		text += " to"
	}
	return text + " " + spanInWords(load.GetStartTime(), load.GetEndTime(), zone)
}

func sameplace(a, b *saggarv1.NoticedLoad) bool {
	return a.GetStage() == b.GetStage() && a.GetFurnace() == b.GetFurnace() &&
		a.GetStartTime().AsTime().Equal(b.GetStartTime().AsTime()) && a.GetEndTime().AsTime().Equal(b.GetEndTime().AsTime())
}

// spanInWords names the end's day where it is another than the start's.
func spanInWords(start, end *timestamppb.Timestamp, zone *time.Location) string {
	from, to := start.AsTime().In(zone), end.AsTime().In(zone)
	layout := "Mon 2 Jan 15:04"
	if from.Format(time.DateOnly) == to.Format(time.DateOnly) {
		layout = "15:04"
	}
	return from.Format("Mon 2 Jan 15:04") + " - " + to.Format(layout)
}

func nonEmpty(texts ...string) (kept []string) {
	for _, text := range texts {
		if text != "" {
			kept = append(kept, text)
		}
	}
	return kept
}
