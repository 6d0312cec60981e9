package main

import (
	"strconv"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/client/api"
	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

func (s *shell) openingCommand() *cobra.Command {
	var from, until string
	var furnaces []string
	var minutes int32
	list := &cobra.Command{
		Use:     "list --from TIME --until TIME",
		Example: "  saggar opening list --from '2027-03-01 08:00' --until '2027-03-08 08:00'",
		Short:   "List when furnaces stand free", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				start, end, err := span(from, until, zone)
				if err != nil {
					return err
				}
				answer, err := connection.Firings.ListOpenings(c.Context(), &saggarv1.ListOpeningsRequest{
					Parent: parent, StartTime: timestamppb.New(start), EndTime: timestamppb.New(end), Furnaces: furnaces,
					MinimumMinutes: minutes,
				})
				if err != nil {
					return err
				}
				return s.print(answer, func() []render.Grid {
					grid := render.Grid{Columns: []string{"furnace", "from", "until", "hours", "staffed hours"}}
					for _, o := range answer.GetOpenings() {
						length := o.GetEndTime().AsTime().Sub(o.GetStartTime().AsTime()).Hours()
						grid.Rows = append(grid.Rows, []string{
							o.GetFurnace(), local(o.GetStartTime(), zone), local(o.GetEndTime(), zone),
							strconv.FormatFloat(length, 'f', 1, 64), strconv.FormatFloat(float64(o.GetStaffedMinutes())/60, 'f', 1, 64),
						})
					}
					return []render.Grid{grid}
				})
			})
		},
	}
	flags := list.Flags()
	flags.StringVar(&from, "from", "", "first moment, local, such as '2027-03-01 08:00'")
	flags.StringVar(&until, "until", "", "first moment after it")
	flags.StringSliceVar(&furnaces, "furnace", nil, "only these furnaces")
	flags.Int32Var(&minutes, "minutes", 0, "only stretches of at least this length")
	for _, name := range []string{"from", "until"} {
		cobra.CheckErr(list.MarkFlagRequired(name))
	}
	return group("opening", "Openings: when furnaces stand free", list)
}
