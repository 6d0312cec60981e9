package app

import (
	"fmt"
	"slices"
	"strings"

	"saggar/chem/heat"
	"saggar/scheduler"
)

// foldAbove is how many blames of one code are told one by one; more become one sentence.
const foldAbove = 3

// codes are the studio's words for what holds a start.
var reasonCodes = map[scheduler.Kind]string{
	scheduler.KindHorizon: "HORIZON", scheduler.KindRelease: "START_TIME", scheduler.KindOrigin: "START_TIME",
	scheduler.KindForbidden: "AIR", scheduler.KindBusy: "FURNACE_BUSY", scheduler.KindShared: "FURNACE_BUSY",
	scheduler.KindCalendar: "STAFFED_HOURS", scheduler.KindTooLong: "STAFFED_HOURS",
	scheduler.KindLagMinimum: "LAG", scheduler.KindLagMaximum: "LAG", scheduler.KindMakespan: "MAKESPAN",
	scheduler.KindSeparation: "AIR", scheduler.KindDeadline: "HORIZON",
}

// phaseWords begin a sentence about a phase that something holds back.
var phaseWords = map[heat.PhaseKind]string{
	heat.Warm: "while it warms", heat.Charge: "to charge", heat.Fire: "while it fires", heat.Feed: "to feed",
	heat.Cool: "while it cools", heat.Open: "while it stands open", heat.Wait: "while it waits", heat.Draw: "to draw",
	heat.Clear: "while it is fired clear", heat.Work: "for the work",
}

// foldedWords say of many names at once, by code, what is told of each by itself otherwise.
var foldedWords = map[string]string{
	"FURNACE_BUSY": "%s are taken", "STAFFED_HOURS": "no time fits the staffed hours of %s",
	"SUPPLY": "%s can give no more", "CREW": "the people in %s are busy", "AIR": "the air does not carry %s",
	vesselReason: withoutWords[vesselReason] + " for %s", gearReason: withoutWords[gearReason] + " for %s",
	"LAG": "no time fits what must follow each other: %s",
}

// What has no vessel, and nobody who has gear for it, has codes of their own.
const (
	vesselReason = "VESSEL"
	gearReason   = "GEAR"
)

// withoutWords say what a stage goes without, by code.
var withoutWords = map[string]string{vesselReason: "no vessel that fits is free", gearReason: "no gear that is enough is free"}

// withoutCode tells what vessels and gear forbid a task from what the air does.
func (p *planner) withoutCode(code string, task int) string {
	if reason := p.without[task]; code == "AIR" && reason != "" {
		return reason
	}
	return code
}

// code also tells supplies from crews, which the scheduler does not.
func (p *planner) code(kind scheduler.Kind, index int) string {
	if kind != scheduler.KindCumulative && kind != scheduler.KindOverDemand {
		return reasonCodes[kind]
	}
	if index < len(p.index.supply) {
		return "SUPPLY"
	}
	return "CREW"
}

// reasons say why each stage does not start earlier.
func (p *planner) reasons(solution scheduler.Solution, found []scheduler.Reason) []PlanReason {
	var reasons []PlanReason
	for _, r := range found {
		task := p.tasks[r.Task]
		reason := PlanReason{Run: task.run.index, Stage: task.id(), Code: p.code(r.Kind, r.Index), About: r.Name}
		if r.Kind == scheduler.KindForbidden && r.UntilMinute < 0 && task.latest >= 0 {
			reason.Code = "LAG"
		}
		reason.Code = p.withoutCode(reason.Code, r.Task)
		reason.Message = p.reasonMessage(reason.Code, r)
		for _, out := range p.keptOut[r.Task] {
			if r.Kind == scheduler.KindForbidden && out.Start < r.UntilMinute && r.UntilMinute <= out.End {
				reason.Code, reason.About = out.refused.Code, out.refused.About
				reason.Message = fmt.Sprintf("%s refuses it until %s", out.refused.About, p.localClock(r.UntilMinute))
			}
		}
		if r.Phase >= 0 {
			phase := p.problem.Tasks[r.Task].Modes[solution.Tasks[r.Task].Mode].Phases[r.Phase]
			reason.Message = phaseWords[heat.PhaseKind(phase.Name)] + ", " + reason.Message
		}
		reasons = append(reasons, reason)
	}
	return p.labelled(reasons)
}

// labelled names the run of each reason where there are several.
func (p *planner) labelled(reasons []PlanReason) []PlanReason {
	for i, r := range reasons {
		if len(p.runs) > 1 && r.Stage != "" {
			reasons[i].Label = p.runs[r.Run].label()
		}
	}
	return reasons
}

func (p *planner) reasonMessage(code string, r scheduler.Reason) string {
	until, next := "", ""
	if r.UntilMinute >= 0 {
		until = " until " + p.localClock(r.UntilMinute)
		next = "; next from " + p.localClock(r.UntilMinute)
	}
	switch code {
	case "FURNACE_BUSY":
		return fmt.Sprintf("%s is taken%s%s", r.Name, until, p.closedWords(r.Name))
	case "STAFFED_HOURS":
		return p.attended(r.Index, r.Name) + next
	case "SUPPLY":
		return fmt.Sprintf("%s carries no more%s", r.Name, until)
	case "CREW":
		return fmt.Sprintf("the people in %s are busy%s", r.Name, until)
	case vesselReason, gearReason:
		return withoutWords[code] + until
	case "AIR":
		if r.OtherTask >= 0 {
			return fmt.Sprintf("the air does not carry it so near to %s%s", p.problem.Tasks[r.OtherTask].Name, until)
		}
		return fmt.Sprintf("the air does not carry it%s", until)
	case "LAG":
		if r.OtherTask < 0 {
			return "a stage that has begun holds it" + until
		}
		other := p.problem.Tasks[r.OtherTask].Name
		if r.Kind == scheduler.KindLagMaximum {
			return fmt.Sprintf("%s must follow it within %d min", other, p.mostMinutes(r.Index))
		}
		return fmt.Sprintf("it waits for %s%s", other, until)
	case "MAKESPAN":
		return "an earlier start would end later"
	}
	return "nothing may start earlier than asked"
}

// attended says who must be there, by calendar.
func (p *planner) attended(calendar int, name string) string {
	if calendar == p.index.reach {
		return "somebody must be in reach"
	}
	return fmt.Sprintf("somebody must be there (%s)", name)
}

// mostMinutes is a lag's most as the recipe states it, to the charge; the problem's is shorter by the warming.
func (p *planner) mostMinutes(lag int) int { return p.lags[lag].MaxMinutes }

// blames say what together leaves no plan, the window's end first.
func (p *planner) blames(result scheduler.Result) []PlanReason {
	var blames []PlanReason
	for _, b := range asOneRoster(result.Blame) {
		blame := PlanReason{Code: p.code(b.Kind, b.Index), About: b.Name}
		switch {
		case b.Kind == scheduler.KindSeparation:
			blame = p.separationBlame(b)
		case b.Kind == scheduler.KindForbidden:
			blames = append(blames, p.startBlames(p.tasks[b.Index])...)
			continue
		case blame.Code == "LAG":
			to := p.tasks[p.problem.Lags[b.Index].To]
			blame.Run, blame.Stage = to.run.index, to.id()
			blame.Message = p.lagBlame(b)
		case b.Kind == scheduler.KindHorizon:
			blame.Message = p.horizonBlame(b)
		case b.Kind == scheduler.KindDeadline:
			blame.Run, blame.Stage = p.tasks[b.Index].run.index, p.tasks[b.Index].id()
			blame.Message = fmt.Sprintf("%s must be over by %s, by its own limits", b.Name, p.localClock(b.Have))
		case b.Kind == scheduler.KindRelease:
			blame.Run, blame.Stage = p.tasks[b.Index].run.index, p.tasks[b.Index].id()
			blame.Message = "nothing may start earlier than asked, or than what has begun lets it"
		case b.Need > b.Have:
			blame.Message = p.shortage(b)
		default:
			blame.Message = "no time fits " + p.limit(b)
			if len(result.Blame) > 1 {
				blame.Message += " together with the others named"
			}
		}
		blames = append(blames, blame)
	}
	blames = folded(blames)
	slices.SortStableFunc(blames, func(a, b PlanReason) int { return horizonFirst(a) - horizonFirst(b) })
	return p.labelled(blames)
}

func horizonFirst(r PlanReason) int {
	if r.Code == "HORIZON" {
		return 0
	}
	return 1
}

// asOneRoster makes one blame of calendars whose figures are those of all of them together.
func asOneRoster(blames []scheduler.Blame) []scheduler.Blame {
	var all []scheduler.Blame
	first := -1
	for _, b := range blames {
		together := b.Kind == scheduler.KindCalendar && b.Need > b.Have
		switch {
		case together && first >= 0:
			all[first].Name += ", " + b.Name
			all[first].Index = -1 // none by itself
			continue
		case together:
			first = len(all)
		}
		all = append(all, b)
	}
	return all
}

func (p *planner) horizonBlame(b scheduler.Blame) string {
	message := "everything must be over by " + p.localClock(b.Have)
	if b.Need >= 0 {
		message += "; with a later end it could be by " + p.localClock(b.Need)
	}
	return message
}

func (p *planner) lagBlame(b scheduler.Blame) string {
	lag := p.problem.Lags[b.Index]
	from, to := p.problem.Tasks[lag.From].Name, p.problem.Tasks[lag.To].Name
	switch {
	case b.Kind == scheduler.KindLagMaximum:
		return fmt.Sprintf("%s must be followed by %s within %d min", from, to, p.mostMinutes(b.Index))
	case lag.MinMinutes > 0:
		return fmt.Sprintf("%s may start at the earliest %d min after %s", to, lag.MinMinutes, from)
	}
	return fmt.Sprintf("%s may start only after %s", to, from)
}

// shortage says by how much something falls short of what is needed.
func (p *planner) shortage(b scheduler.Blame) string {
	switch b.Kind {
	case scheduler.KindBusy:
		return fmt.Sprintf("%s is needed for %d min at a stretch and stands free for %d at most%s", b.Name, b.Need, b.Have, p.closedWords(b.Name))
	case scheduler.KindShared:
		return fmt.Sprintf("%s is needed for %d min in all, of %d asked for", b.Name, b.Need, b.Have)
	case scheduler.KindCalendar, scheduler.KindTooLong:
		return fmt.Sprintf("%s for %d min at a stretch; the longest is %d", p.attended(b.Index, b.Name), b.Need, b.Have)
	}
	has := "can give"
	if b.Kind == scheduler.KindCumulative {
		has = "at times has no more left than"
	}
	if p.code(b.Kind, b.Index) == "SUPPLY" {
		return fmt.Sprintf("%s is needed for %.1f kW and %s %.1f kW", b.Name, kilowatts(b.Need), has, kilowatts(b.Have))
	}
	if b.Kind == scheduler.KindOverDemand {
		has = "has"
	}
	return fmt.Sprintf("%s needs %d people at once and %s %d", b.Name, b.Need, has, b.Have)
}

// limit names what is blamed where its figures by themselves would do.
func (p *planner) limit(b scheduler.Blame) string {
	switch {
	case b.Kind == scheduler.KindBusy:
		return "what is booked on " + b.Name + p.closedWords(b.Name)
	case b.Kind == scheduler.KindShared:
		return "the stages one after another on " + b.Name
	case b.Kind == scheduler.KindCalendar && b.Index == p.index.reach:
		return "the hours with somebody in reach"
	case b.Kind == scheduler.KindCalendar:
		return "the staffed hours of " + b.Name
	case p.code(b.Kind, b.Index) == "SUPPLY":
		return "what " + b.Name + " has left"
	}
	return "the people free in " + b.Name
}

// folded makes one sentence of blames with the same code where there are many, in the place of the first.
func folded(blames []PlanReason) []PlanReason {
	about := map[string][]string{}
	for _, b := range blames {
		about[b.Code] = append(about[b.Code], b.About)
	}
	var all []PlanReason
	told := map[string]bool{}
	for _, b := range blames {
		words, can := foldedWords[b.Code]
		switch {
		case !can || len(about[b.Code]) <= foldAbove:
			all = append(all, b)
		case !told[b.Code]:
			names := listed(about[b.Code])
			all = append(all, PlanReason{Code: b.Code, About: names, Message: fmt.Sprintf(words, names)})
		}
		told[b.Code] = true
	}
	return all
}

// listed is the first few names, each once, and how many more there are.
func listed(all []string) string {
	var names []string
	for _, name := range all {
		if !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	if len(names) <= foldAbove {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:foldAbove], ", "), len(names)-foldAbove)
}

// startBlames say why a stage may not start where nothing else is in its way.
func (p *planner) startBlames(t plannedTask) []PlanReason {
	var blames []PlanReason
	if t.latest >= 0 {
		blames = append(blames, p.keptBlame(t))
	}
	if p.ahead != nil && p.minuteFloor(p.ahead.Until(p.now)) < p.problem.HorizonMinutes {
		blames = append(blames, PlanReason{
			Run: t.run.index, Stage: t.id(), Code: codeTooFarAhead, About: p.ahead.ID,
			Message: fmt.Sprintf("by limit %s %s may start until %s at the latest", p.ahead.ID, t.id(), p.localClock(p.minuteFloor(p.ahead.Until(p.now)))),
		})
	}
	if t.airCut || len(blames) == 0 {
		blames = append(blames, p.airBlame(t.run.index, t.id()))
	}
	return blames
}

// airBlame says that the air does not carry a stage.
func (p *planner) airBlame(run int, stage string) PlanReason {
	named := "stage " + stage
	if len(p.runs) > 1 {
		named += " of " + p.runs[run].label()
	}
	reason := PlanReason{
		Run: run, Stage: stage, Code: "AIR", About: stage,
		Message: fmt.Sprintf("the air does not carry %s; see the findings for what would be enough", named),
	}
	task := slices.IndexFunc(p.tasks, func(t plannedTask) bool { return t.run.index == run && t.id() == stage })
	if reason.Code = p.withoutCode(reason.Code, task); reason.Code != "AIR" {
		reason.Message = fmt.Sprintf("%s for %s; see the findings", withoutWords[reason.Code], named)
	}
	return reason
}

// separationBlame says that the air does not carry two stages so near to each other, or that there is too little of something for both.
func (p *planner) separationBlame(b scheduler.Blame) PlanReason {
	second := p.tasks[p.problem.Separations[b.Index].Second]
	if code := p.withoutCode("AIR", p.problem.Separations[b.Index].Second); code != "AIR" {
		return PlanReason{
			Run: second.run.index, Stage: second.id(), Code: code, About: b.Name,
			Message: fmt.Sprintf("%s for %s near to each other; see the findings", withoutWords[code], b.Name),
		}
	}
	return PlanReason{
		Run: second.run.index, Stage: second.id(), Code: "AIR", About: b.Name,
		Message: fmt.Sprintf("the air does not carry %s near to each other; see the findings for what would be enough", b.Name),
	}
}

// keptBlame says that what has begun leaves a stage a last start, or that the air forbids what is before it.
func (p *planner) keptBlame(t plannedTask) PlanReason {
	return PlanReason{
		Run: t.run.index, Stage: t.id(), Code: "LAG", About: t.id(),
		Message: fmt.Sprintf("after what has begun %s must start by %s, and the air must carry it then", t.id(), p.localClock(t.latest)),
	}
}

// closedWords says when a furnace is out of use within the plan's window, and why; empty when it is not.
func (p *planner) closedWords(furnace string) string {
	var closed []string
	for _, c := range p.site.ClosuresOver(p.site.Furnaces[furnace], p.window.Start, p.window.End) {
		closed = append(closed, fmt.Sprintf("%s is out of use from %s to %s%s", c.SubjectID, p.localClock(p.minuteFloor(c.Start)),
			p.localClock(p.minuteCeil(c.End)), because(c.Reason)))
	}
	if len(closed) == 0 {
		return ""
	}
	return " (" + strings.Join(closed[:min(len(closed), foldAbove)], "; ") + ")"
}

func kilowatts(watts int) float64 { return float64(watts) / wattsPerKilowatt }
