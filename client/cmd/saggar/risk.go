package main

import (
	"cmp"
	"io"
	"time"

	"github.com/spf13/cobra"

	"saggar/client/api"
	"saggar/client/paper"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

func (s *shell) runRiskCommand() *cobra.Command {
	var page string
	command := &cobra.Command{
		Use:     "risk ID",
		Example: "  saggar run risk bisque-one --html bisque-one.html",
		Short:   "Show what a booked run can do to people and what stands against it, and print it to sign", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, _ string) error {
				answer, err := connection.Reports.GetRiskAssessment(c.Context(), &saggarv1.GetRiskAssessmentRequest{
					Name: convert.Name(s.studio, "runs", args[0]) + "/riskAssessment",
				})
				if err != nil {
					return err
				}
				zone, err := time.LoadLocation(answer.GetTimeZone())
				if err != nil {
					return err
				}
				if err := writePage(page, func(w io.Writer) error { return paper.Risk(w, answer) }); err != nil {
					return err
				}
				return s.print(answer, func() []render.Grid { return riskGrids(answer, zone) })
			})
		},
	}
	pageFlag(command, &page)
	return command
}

func riskGrids(answer *saggarv1.RiskAssessment, zone *time.Location) []render.Grid {
	grids := []render.Grid{runGrid(answer.GetRun()), windowGrid(answer.GetRun(), zone)}
	grids = append(grids, heldGrids([]*saggarv1.Run{answer.GetRun()})...)
	grids = append(grids, findingGrids(answer.GetAssessment().GetFindings())...)
	grids = append(grids, newRecipeCheck(answer.GetAssessment(), source{}).figureGrids("Stages",
		"Air with everything that is booked, cautious case: the nearest limits")...)
	grids = append(grids, acknowledgedGrid(answer, zone))
	missing := render.Grid{Columns: []string{"not known"}}
	for _, sentence := range answer.GetMissing() {
		for _, line := range wrap(sentence, tableWidth) {
			missing.Rows = append(missing.Rows, []string{line})
		}
	}
	grids = append(grids, missing)
	return append(grids, notes(nil, answer.GetAssessment().GetCaution())...)
}

func acknowledgedGrid(answer *saggarv1.RiskAssessment, zone *time.Location) render.Grid {
	grid := render.Grid{Title: "Warnings", Columns: []string{"warning", "accepted by", "when", "now"}}
	for _, a := range answer.GetAcknowledgements() {
		row := []string{a.GetCode(), cmp.Or(a.GetCaller(), "-"), "-", "no longer found"}
		if a.GetAcknowledgeTime() != nil {
			row[2] = localWithYear(a.GetAcknowledgeTime(), zone)
		}
		if a.GetStands() {
			row[3] = "stands"
		}
		grid.Rows = append(grid.Rows, row)
	}
	for _, code := range answer.GetOpenFindingCodes() {
		grid.Rows = append(grid.Rows, []string{code, "nobody", "-", "stands"})
	}
	return grid
}
