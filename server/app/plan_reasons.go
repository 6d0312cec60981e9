package app

import (
	"fmt"

	"saggar/scheduler"
)

// codes are the studio's words for what holds a start.
var reasonCodes = map[scheduler.Kind]string{
	scheduler.KindHorizon: "HORIZON", scheduler.KindRelease: "START_TIME", scheduler.KindOrigin: "START_TIME",
	scheduler.KindForbidden: "AIR", scheduler.KindBusy: "FURNACE_BUSY", scheduler.KindShared: "FURNACE_BUSY",
	scheduler.KindCalendar: "STAFFED_HOURS", scheduler.KindTooLong: "STAFFED_HOURS",
	scheduler.KindLagMinimum: "LAG", scheduler.KindLagMaximum: "LAG", scheduler.KindMakespan: "MAKESPAN",
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
func (p *planner) reasons(result scheduler.Result) []PlanReason {
	var reasons []PlanReason
	for _, r := range result.Reasons {
		reason := PlanReason{Stage: p.problem.Tasks[r.Task].Name, Code: p.code(r.Kind, r.Index), About: r.Name}
		until := ""
		if r.UntilMinute >= 0 {
			until = " until " + p.localClock(r.UntilMinute)
		}
		switch reason.Code {
		case "FURNACE_BUSY":
			reason.Message = fmt.Sprintf("%s is taken%s", r.Name, until)
		case "STAFFED_HOURS":
			reason.Message = fmt.Sprintf("nobody is there (%s)%s", r.Name, until)
		case "SUPPLY":
			reason.Message = fmt.Sprintf("%s carries no more%s", r.Name, until)
		case "CREW":
			reason.Message = fmt.Sprintf("the people in %s are busy%s", r.Name, until)
		case "AIR":
			reason.Message = fmt.Sprintf("the air does not carry it%s", until)
		case "LAG":
			reason.Message = fmt.Sprintf("it waits for %s%s", p.otherStage(r), until)
		case "MAKESPAN":
			reason.Message = "an earlier start would end later"
		default:
			reason.Message = "nothing may start earlier than asked"
		}
		reasons = append(reasons, reason)
	}
	return reasons
}

func (p *planner) otherStage(r scheduler.Reason) string {
	if r.OtherTask < 0 {
		return r.Name
	}
	return p.problem.Tasks[r.OtherTask].Name
}

// blames say what together leaves no plan.
func (p *planner) blames(result scheduler.Result) []PlanReason {
	var blames []PlanReason
	for _, b := range result.Blame {
		blame := PlanReason{Code: p.code(b.Kind, b.Index), About: b.Name}
		switch blame.Code {
		case "HORIZON":
			blame.Message = fmt.Sprintf("everything must be drawn by %s", p.localClock(p.problem.HorizonMinutes))
			if b.Need >= 0 {
				blame.Message += fmt.Sprintf("; without that it would be by %s", p.localClock(b.Need))
			}
		case "FURNACE_BUSY":
			blame.Message = fmt.Sprintf("%s is needed for %d min at a stretch and stands free for %d at most", b.Name, b.Need, b.Have)
		case "STAFFED_HOURS":
			blame.Message = fmt.Sprintf("somebody must be there (%s) for %d min at a stretch; the longest is %d", b.Name, b.Need, b.Have)
		case "SUPPLY":
			blame.Message = fmt.Sprintf("%s is needed for %.1f kW and can give %.1f kW", b.Name, kilowatts(b.Need), kilowatts(b.Have))
		case "CREW":
			blame.Message = fmt.Sprintf("%s needs %d people at once and has %d", b.Name, b.Need, b.Have)
		case "AIR":
			blame = p.airBlame(b.Name)
		case "LAG":
			blame.Message = fmt.Sprintf("the lag between %s", b.Name)
		default:
			blame.Message = "nothing may start earlier than asked"
		}
		blames = append(blames, blame)
	}
	return blames
}

// airBlame says that the air does not carry a stage.
func (p *planner) airBlame(stage string) PlanReason {
	return PlanReason{
		Stage: stage, Code: "AIR", About: stage,
		Message: fmt.Sprintf("the air does not carry stage %s; see the findings for what would be enough", stage),
	}
}

func kilowatts(watts int) float64 { return float64(watts) / wattsPerKilowatt }
