package main

import (
	"slices"
	"strings"
	"time"

	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

// replanGrids show what is hit and why, and from where to where runs would move; saved is the file in which that is kept.
func replanGrids(answer *saggarv1.ReplanRunsResponse, saved string, zone *time.Location) []render.Grid {
	if len(answer.GetHits()) == 0 && len(answer.GetMoves()) == 0 {
		grids := []render.Grid{{Rows: [][]string{{"Nothing that is booked is hit by closures, hours, furnaces, supplies, people or the air of the rooms."}}}}
		if len(answer.GetOverruns()) == 0 {
			return grids
		}
		grids = append(grids, render.Grid{Title: "The overrun is not recorded yet: " + howToAccept(saved, "records it")})
		return append(grids, notes(nil, answer.GetCaution())...)
	}
	grids := []render.Grid{hitGrid(answer), causeGrid(answer.GetHits()), moveGrid(answer, zone)}
	switch answer.GetStatus() {
	case saggarv1.PlanStatus_PLAN_STATUS_INFEASIBLE:
		grids = append(grids, reasonGrid("Nothing fits. What together makes it impossible:", answer.GetStanding(), answer.GetBlames()))
	case saggarv1.PlanStatus_PLAN_STATUS_UNRESOLVED:
		grids = append(grids, render.Grid{Title: "No windows were found in the time: search longer with --search-time, or let others move with --may-move"})
	default:
		grids = append(grids, objectiveGrid(answer.GetProgress().GetObjectives()))
	}
	grids = append(grids, findingGrids(answer.GetFindings())...)
	if len(answer.GetMoves()) > 0 {
		grids = append(grids, render.Grid{Title: "Nothing is moved yet: " + howToAccept(saved, "moves all or none")})
	}
	return append(grids, notes(nil, answer.GetCaution())...)
}

// howToAccept says with which command an answer, kept in a file or not, is accepted, and what that does.
func howToAccept(saved, does string) string {
	if saved == "" {
		return "keep this with --save FILE, and 'saggar run replan --accept FILE' " + does
	}
	return "'saggar run replan --accept " + saved + "' " + does
}

func hitGrid(answer *saggarv1.ReplanRunsResponse) render.Grid {
	grid := render.Grid{Title: "Hit", Columns: []string{"run", "title", "department", "maker", "stages", "what happens to it"}}
	for _, hit := range answer.GetHits() {
		moves := slices.ContainsFunc(answer.GetMoves(), func(m *saggarv1.RunMove) bool { return m.GetName() == hit.GetName() })
		happens := "stays for now"
		switch {
		case hit.GetNotMoved() != "":
			happens = "stays: " + hit.GetNotMoved()
		case moves:
			happens = "moves"
		}
		grid.Rows = append(grid.Rows, []string{
			shortName(hit.GetName()), hit.GetTitle(), hit.GetDepartment(), hit.GetMaker(), strings.Join(hit.GetStages(), ", "), happens,
		})
	}
	return grid
}

// causeGrid tells what stands in the way of each run, the same for several of its stages once.
func causeGrid(hits []*saggarv1.RunHit) render.Grid {
	grid := render.Grid{Title: "What stands in the way", Columns: []string{"run", "what"}}
	for _, hit := range hits {
		for i, cause := range hit.GetCauses() {
			if !slices.Contains(hit.GetCauses()[:i], cause) {
				grid.Rows = append(grid.Rows, []string{shortName(hit.GetName()), cause})
			}
		}
	}
	return grid
}

// moveGrid is from where to where each stage would go; a stage that stays is left out.
func moveGrid(answer *saggarv1.ReplanRunsResponse, zone *time.Location) render.Grid {
	grid := render.Grid{Title: "Moves", Columns: []string{"run", "stage", "from", "starts", "to", "would start", "drawn by"}}
	for i, move := range answer.GetMoves() {
		if i >= len(answer.GetStanding()) {
			break
		}
		old := windowGrid(answer.GetStanding()[i], zone).Rows
		for k, row := range windowGrid(&saggarv1.Run{StageWindows: move.GetStageWindows()}, zone).Rows {
			if k >= len(old) || slices.Equal(old[k], row) {
				continue
			}
			grid.Rows = append(grid.Rows, []string{
				shortName(move.GetName()), row[0], old[k][1], old[k][2], row[1], row[2], row[3],
			})
		}
	}
	return grid
}

// movedGrids show the runs where they now stand.
func movedGrids(answer *saggarv1.MoveRunsResponse, zone *time.Location) []render.Grid {
	grids := []render.Grid{runGrid(answer.GetRuns()...), windowsGrid(answer.GetRuns(), zone)}
	grids = append(grids, findingGrids(answer.GetFindings())...)
	return append(grids, notes(nil, answer.GetCaution())...)
}
