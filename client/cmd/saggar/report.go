package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/client/api"
	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

// reportDimensions are what --by takes.
var reportDimensions = map[string]saggarv1.ReportDimension{
	"department": saggarv1.ReportDimension_REPORT_DIMENSION_DEPARTMENT,
	"furnace":    saggarv1.ReportDimension_REPORT_DIMENSION_FURNACE,
	"month":      saggarv1.ReportDimension_REPORT_DIMENSION_MONTH,
	"maker":      saggarv1.ReportDimension_REPORT_DIMENSION_MAKER,
}

func (s *shell) reportCommand() *cobra.Command {
	var from, until string
	var by []string
	command := &cobra.Command{
		Use:     "report [--from D] [--until D] [--by WHAT]",
		Example: "  saggar report --from 2027-01-01 --until 2028-01-01 --by department,month --output csv",
		Short:   "Add up how furnaces were used: hours, energy, people, what was missed, cost", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			groups, err := dimensions(by)
			if err != nil {
				return badInput(err)
			}
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				start, end, err := reportWindow(from, until, zone)
				if err != nil {
					return err
				}
				report, err := connection.Reports.GetReport(c.Context(), &saggarv1.GetReportRequest{
					Name: parent + "/report", StartTime: timestamppb.New(start), EndTime: timestamppb.New(end), GroupBy: groups,
				})
				if err != nil {
					return err
				}
				return s.print(report, func() []render.Grid { return reportGrids(report, by) })
			})
		},
	}
	flags := command.Flags()
	flags.StringVar(&from, "from", "", "first day, YYYY-MM-DD (default: the first of this month)")
	flags.StringVar(&until, "until", "", "day after the last, YYYY-MM-DD (default: the first of the month after --from)")
	flags.StringSliceVar(&by, "by", []string{"furnace"}, "what the rows are by: department, maker, furnace, month, or several")
	return command
}

func dimensions(by []string) ([]saggarv1.ReportDimension, error) {
	var groups []saggarv1.ReportDimension
	for _, word := range by {
		group, known := reportDimensions[word]
		if !known || slices.Contains(groups, group) {
			return nil, fmt.Errorf("--by takes department, maker, furnace and month, each once, not %q", strings.Join(by, ","))
		}
		groups = append(groups, group)
	}
	return groups, nil
}

// reportWindow is from the first instant of a local day to that of another.
func reportWindow(from, until string, zone *time.Location) (start, end time.Time, err error) {
	now := time.Now().In(zone)
	start = time.Date(now.Year(), now.Month(), 1, 0, 0, 0, 0, zone)
	if from != "" {
		if start, err = localDate("from", from, zone); err != nil {
			return start, end, err
		}
	}
	end = time.Date(start.Year(), start.Month()+1, 1, 0, 0, 0, 0, zone)
	if until != "" {
		end, err = localDate("until", until, zone)
	}
	return start, end, err
}

// reportGrids are the rows and the total in one grid, so that CSV has it all.
func reportGrids(report *saggarv1.Report, by []string) []render.Grid {
	grid := render.Grid{Columns: append(slices.Clone(by), "firings", "hours held", "of all %", "staffed h held", "of staffed %", "kWh",
		"in the room h", "in reach h", "missed h", "cancelled h", "cost")}
	unknown := report.GetTotal().GetUnknownEnergyCount()
	for _, row := range append(slices.Clone(report.GetRows()), report.GetTotal()) {
		cells := reportKeys(row, by)
		if row == report.GetTotal() && len(by) > 0 {
			cells = append([]string{"all"}, make([]string, len(by)-1)...)
		}
		grid.Rows = append(grid.Rows, append(cells, reportFigures(row)...))
	}
	grids := []render.Grid{grid}
	if unknown > 0 {
		grids = append(grids, render.Grid{Rows: [][]string{
			{fmt.Sprintf("the energy of %d firings was not kept when they were booked; it is in neither kWh nor cost", unknown)},
		}})
	}
	return append(grids, notes(report.GetAssumptions(), "")[0])
}

func reportKeys(row *saggarv1.ReportRow, by []string) []string {
	keys := map[string]string{"department": row.GetDepartment(), "maker": row.GetMaker(), "furnace": row.GetFurnace(), "month": row.GetMonth()}
	var cells []string
	for _, word := range by {
		if keys[word] == "" {
			keys[word] = "(bench)"
		}
		cells = append(cells, keys[word])
	}
	return cells
}

func reportFigures(row *saggarv1.ReportRow) []string {
	percent := func(fraction *float64) string {
		if fraction == nil {
			return "-"
		}
		return render.Number(100 * *fraction)
	}
	cost := "-"
	if row.Cost != nil {
		cost = fmt.Sprintf("%.2f", row.GetCost())
	}
	return []string{
		fmt.Sprint(row.GetFiringCount()), render.Number(row.GetHeldHours()), percent(row.HeldFraction),
		render.Number(row.GetHeldStaffedHours()), percent(row.HeldStaffedFraction), render.Number(row.GetEnergyKilowattHours()),
		render.Number(row.GetInRoomPersonHours()), render.Number(row.GetInReachPersonHours()), render.Number(row.GetMissedHours()),
		render.Number(row.GetCancelledHours()), cost,
	}
}
