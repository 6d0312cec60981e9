package main

import (
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

// saveAnswer keeps an answer in a file as JSON, for a later command.
func saveAnswer(path string, answer proto.Message) error {
	f, err := os.Create(path)
	if err != nil {
		return badInput(err)
	}
	defer f.Close()
	if err := render.Write(f, render.JSON, answer, nil); err != nil {
		return err
	}
	return f.Close()
}

// planGrids show a plan, its weeks when there is a chart of them, why it is so, and how good it is.
func planGrids(answer *saggarv1.PlanRunsResponse, chart *week, zone *time.Location) []render.Grid {
	var grids []render.Grid
	runs := answer.GetRuns()
	if answer.GetMovesStanding() {
		grids = append(grids, render.Grid{Title: "This plans a move of what stands already, and changes nothing: " + howToMove(runs)})
	}
	switch answer.GetStatus() {
	case saggarv1.PlanStatus_PLAN_STATUS_INFEASIBLE:
		grids = append(grids, reasonGrid("Nothing fits. What together makes it impossible:", runs, answer.GetBlames()))
	case saggarv1.PlanStatus_PLAN_STATUS_UNRESOLVED:
		grids = append(grids, render.Grid{Title: "Nothing was found in the time that can be booked: search longer with --search-time, or ask for less"})
		if len(runs) > 0 {
			grids = append(grids, windowsGrid(runs, zone))
		}
	default:
		grids = append(grids, windowsGrid(runs, zone))
		if chart != nil {
			grids = append(grids, chart.planGrid())
		}
		grids = append(grids, reasonGrid("Why not earlier:", runs, answer.GetReasons()), figuresGrid(answer, zone),
			objectiveGrid(answer.GetProgress().GetObjectives()), alternativeGrid(answer.GetAlternatives(), zone))
	}
	grids = append(grids, findingGrids(answer.GetFindings())...)
	return append(grids, notes(answer.GetAssumptions(), answer.GetCaution())...)
}

// howToMove says with which command runs that stand are moved as planned.
func howToMove(runs []*saggarv1.Run) string {
	if len(runs) == 1 {
		return fmt.Sprintf("keep it with --save FILE, and 'saggar run move %s --plan FILE' moves it", shortName(runs[0].GetName()))
	}
	return "'saggar run move' moves one at a time, by a plan of it alone"
}

// reasonGrid tells reasons in the order of the stages; of several runs each is named.
func reasonGrid(title string, runs []*saggarv1.Run, reasons []*saggarv1.PlanReason) render.Grid {
	grid := render.Grid{Title: title, Columns: []string{"stage", "code", "what"}}
	several := len(runs) > 1 || slices.ContainsFunc(reasons, func(r *saggarv1.PlanReason) bool { return r.GetRunLabel() != "" })
	if several {
		grid.Columns = append([]string{"run"}, grid.Columns...)
	}
	for _, r := range reasons {
		row := []string{r.GetStage(), r.GetCode(), r.GetMessage()}
		if several {
			label := r.GetRunLabel()
			if r.GetStage() != "" && len(runs) > 1 {
				label = runLabel(runs, int(r.GetRunIndex()))
			}
			row = append([]string{label}, row...)
		}
		grid.Rows = append(grid.Rows, row)
	}
	return grid
}

// statusWords say how good a plan is.
var statusWords = map[saggarv1.PlanStatus]string{
	saggarv1.PlanStatus_PLAN_STATUS_OPTIMAL:   "nothing is better by the wish",
	saggarv1.PlanStatus_PLAN_STATUS_FEASIBLE:  "something may be better",
	saggarv1.PlanStatus_PLAN_STATUS_SEARCHING: "the search broke off",
}

// figuresGrid is what a plan comes to.
func figuresGrid(answer *saggarv1.PlanRunsResponse, zone *time.Location) render.Grid {
	grid := render.Grid{Columns: []string{"over by", "days to come", "kWh", "how good"}}
	if answer.GetEndTime() == nil {
		return grid
	}
	grid.Rows = [][]string{{
		local(answer.GetEndTime(), zone), strconv.Itoa(int(answer.GetVisitDays())), render.Number(answer.GetEnergyKilowattHours()),
		statusWords[answer.GetStatus()],
	}}
	return grid
}

// objectiveGrid is what was made least, in that order, and how far it may be from the least.
func objectiveGrid(objectives []*saggarv1.PlanObjective) render.Grid {
	grid := render.Grid{Columns: []string{"made least", "found", "cannot be below", "gap"}}
	for _, o := range objectives {
		gap := "none"
		if o.GetGapFraction() > 0 {
			gap = gapWords(o.GetGapFraction())
		}
		grid.Rows = append(grid.Rows, []string{objectiveName(o), amount(o.GetValue(), o.GetUnit()), amount(o.GetBound(), o.GetUnit()), gap})
	}
	return grid
}

// alternativeGrid offers other plans of the same run.
func alternativeGrid(alternatives []*saggarv1.PlanAlternative, zone *time.Location) render.Grid {
	grid := render.Grid{Title: "Alternatives, for --take", Columns: []string{"take", "over by", "days to come", "kWh", "on", "how it differs"}}
	for i, a := range alternatives {
		var on []string
		for _, w := range a.GetRun().GetStageWindows() {
			if w.GetFurnace() != "" {
				on = append(on, w.GetFurnace())
			}
		}
		grid.Rows = append(grid.Rows, []string{
			strconv.Itoa(i + 1), local(a.GetEndTime(), zone), strconv.Itoa(int(a.GetVisitDays())), render.Number(a.GetEnergyKilowattHours()),
			strings.Join(on, ", "), a.GetSummary(),
		})
	}
	return grid
}
