package main

import (
	"cmp"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"saggar/client/api"
	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

func (s *shell) roomCommand() *cobra.Command {
	room := s.equipmentCommand(roomKind)
	room.AddCommand(s.roomDueCommand())
	return room
}

func (s *shell) roomDueCommand() *cobra.Command {
	var until string
	due := &cobra.Command{
		Use: "due", Example: "  saggar room due --until 2027-06-30", Args: cobra.NoArgs,
		Short: "List what is to be tested or measured again: gas alarms, fan interlocks, capture, flow",
		RunE: func(c *cobra.Command, _ []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				answer, err := connection.Reports.GetDueChecks(c.Context(), &saggarv1.GetDueChecksRequest{Name: parent + "/dueChecks", Until: until})
				if err != nil {
					return err
				}
				return s.print(answer, func() []render.Grid { return []render.Grid{dueGrid(answer.GetChecks(), zone)} })
			})
		},
	}
	due.Flags().StringVar(&until, "until", "", "last day, YYYY-MM-DD; without it, 30 days from now")
	return due
}

// dueGrid is what is to be done again, with the runs that need it.
func dueGrid(checks []*saggarv1.DueCheck, zone *time.Location) render.Grid {
	grid := render.Grid{Columns: []string{"what", "of", "room", "last done", "counts until", "overdue", "needed from", "by runs"}}
	for _, c := range checks {
		overdue, needed := "", "-"
		if c.GetOverdue() {
			overdue = "yes"
		}
		if c.GetFirstTime() != nil {
			needed = local(c.GetFirstTime(), zone)
		}
		grid.Rows = append(grid.Rows, []string{
			render.Enum(c.GetKind()), strings.Join(nonEmpty(c.GetSubject(), c.GetPart()), ", "), c.GetRoom(), cmp.Or(c.GetLastOn(), never),
			cmp.Or(c.GetDueOn(), "-"), overdue, needed, strings.Join(c.GetRuns(), ", "),
		})
	}
	return grid
}
