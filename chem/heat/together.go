package heat

import (
	"cmp"
	"fmt"

	"saggar/chem/finding"
)

// Codes of the findings about a charge that is to ride in the firing of others.
const (
	// CodeJoinProgram refuses a charge whose own program the firing does not meet.
	CodeJoinProgram = "JOIN_PROGRAM"
	// CodeJoinAtmosphere refuses one that asks for another atmosphere.
	CodeJoinAtmosphere = "JOIN_ATMOSPHERE"
	// CodeJoinHot refuses what is charged or fed while the furnace is hot, on either side.
	CodeJoinHot = "JOIN_HOT"
	// CodeJoinWatch refuses one that asks for a closer watch of the fire than the firing has.
	CodeJoinWatch = "JOIN_WATCH"
)

// Together finds what keeps a charge that asks for one treatment out of a firing done by another. The firing meets a program
// when it has as many segments, each to the same temperature within the furnace's tolerance, no faster and held no shorter,
// and cools the same way, opened no hotter. Atmospheres must be the same; what is charged or fed hot rides with nobody, nor
// does anybody with it; a cold load may stand closed no longer than it asks. Fields are those of the treatment asked.
func Together(fired, asked Treatment, toleranceCelsius float64) []finding.Finding {
	t := together{fired: fired, asked: asked, tolerance: toleranceCelsius}
	t.hot()
	t.segments()
	t.cooling()
	if fired.atmosphere() != asked.atmosphere() {
		t.add(CodeJoinAtmosphere, "atmosphere", fmt.Sprintf("the firing is %s, and %s is asked for", fired.atmosphere(), asked.atmosphere()),
			"join one in that atmosphere, or fire it on its own")
	}
	if asked.FireWatch.rank() > fired.FireWatch.rank() {
		t.add(CodeJoinWatch, "fire_watch", fmt.Sprintf("the fire is to be watched %s, and the firing is watched %s", watchWords(asked.FireWatch),
			watchWords(fired.FireWatch)), "fire it on its own")
	}
	return t.found
}

// together gathers what sets two treatments apart.
type together struct {
	fired, asked Treatment
	tolerance    float64
	found        []finding.Finding
}

func (t *together) add(code, field, message, cure string, figures ...finding.Figure) {
	t.found = append(t.found, finding.Finding{
		Severity: finding.Block, Code: code, Field: field, Message: message, Cure: cure, Figures: figures,
	})
}

func (t *together) hot() {
	isHot := func(treatment Treatment) bool { return treatment.chargedHot() || treatment.FeedMinutes > 0 }
	switch {
	case isHot(t.asked):
		t.add(CodeJoinHot, "charge_at_celsius", "it is charged or fed while the furnace is hot, which opens it over what others have in it",
			"fire it on its own")
	case isHot(t.fired):
		t.add(CodeJoinHot, "charge_at_celsius", "the firing is charged or fed while the furnace is hot, so nothing else may ride in it",
			"fire it on its own")
	}
}

// otherFiring is the cure of a program that is not met.
const otherFiring = "join a firing whose program meets the stage's own, or fire it on its own"

func (t *together) segments() {
	fired, asked := t.fired.Program.Segments, t.asked.Program.Segments
	if len(fired) != len(asked) {
		hottest, wanted := topOf(fired), topOf(asked)
		message := fmt.Sprintf("the firing gets to %g C (segments: %d), and %g C (segments: %d) are asked for", hottest, len(fired), wanted, len(asked))
		t.add(CodeJoinProgram, "program.segments", message, otherFiring, celsius("fired", hottest), celsius("asked", wanted))
		return
	}
	for i := range asked {
		t.segment(i, fired[i], asked[i])
	}
}

// topOf is the hottest that segments go to.
func topOf(segments []Segment) float64 {
	top := 0.0
	for _, s := range segments {
		top = max(top, s.ToCelsius)
	}
	return top
}

func (t *together) segment(i int, fired, asked Segment) {
	path := fmt.Sprintf("program.segments[%d].", i)
	if off := fired.ToCelsius - asked.ToCelsius; off > t.tolerance || -off > t.tolerance {
		t.add(CodeJoinProgram, path+"to_celsius", fmt.Sprintf("segment %d of the firing goes to %g C, and %g C is asked for, %g C off at most",
			i+1, fired.ToCelsius, asked.ToCelsius, t.tolerance), otherFiring,
			celsius("fired", fired.ToCelsius), celsius("asked", asked.ToCelsius), celsius("tolerance", t.tolerance))
	}
	if faster := fired.RateCelsiusPerHour == 0 || fired.RateCelsiusPerHour > asked.RateCelsiusPerHour; asked.RateCelsiusPerHour > 0 && faster {
		at := "at full power"
		if fired.RateCelsiusPerHour > 0 {
			at = fmt.Sprintf("at %g C/h", fired.RateCelsiusPerHour)
		}
		t.add(CodeJoinProgram, path+"rate_celsius_per_hour", fmt.Sprintf("segment %d of the firing goes %s, and at most %g C/h are asked for",
			i+1, at, asked.RateCelsiusPerHour), otherFiring, perHour("fired", fired.RateCelsiusPerHour), perHour("asked", asked.RateCelsiusPerHour))
	}
	if fired.HoldMinutes < asked.HoldMinutes {
		t.add(CodeJoinProgram, path+"hold_minutes", fmt.Sprintf("segment %d of the firing is held %g min, and %g min are asked for", i+1,
			fired.HoldMinutes, asked.HoldMinutes), otherFiring, minutes("fired", fired.HoldMinutes), minutes("asked", asked.HoldMinutes))
	}
}

func (t *together) cooling() {
	fired, asked := cmp.Or(t.fired.Program.Cooling, CoolClosed), cmp.Or(t.asked.Program.Cooling, CoolClosed)
	if fired != asked {
		t.add(CodeJoinProgram, "program.cooling", fmt.Sprintf("the firing cools %s, and it is to cool %s", fired, asked), otherFiring)
	}
	if t.fired.openBelow() > t.asked.openBelow() {
		t.add(CodeJoinProgram, "open_below_celsius", fmt.Sprintf("the firing is opened below %g C, and it is to be opened below %g C only",
			t.fired.openBelow(), t.asked.openBelow()), otherFiring, celsius("fired", t.fired.openBelow()), celsius("asked", t.asked.openBelow()))
	}
	if t.fired.MaxWaitMinutes > t.asked.MaxWaitMinutes {
		t.add(CodeJoinProgram, "max_wait_minutes", fmt.Sprintf("the firing stands cold and closed for %d min, and it may for %d min",
			t.fired.MaxWaitMinutes, t.asked.MaxWaitMinutes), otherFiring, minutes("fired", float64(t.fired.MaxWaitMinutes)),
			minutes("asked", float64(t.asked.MaxWaitMinutes)))
	}
}

func watchWords(w Watch) string {
	switch w {
	case InRoom:
		return "from in the room"
	case InReach:
		return "from in reach"
	default:
		return "by nobody"
	}
}
