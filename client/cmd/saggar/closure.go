package main

import (
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/client/api"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

func (s *shell) closureCommand() *cobra.Command {
	return group(closureKind.noun, closureKind.short,
		s.equipmentListCommand(closureKind), s.equipmentShowCommand(closureKind), s.closureAddCommand(), s.closureRemoveCommand())
}

func (s *shell) closureAddCommand() *cobra.Command {
	var subject, from, until, reason string
	var unoccupied bool
	command := &cobra.Command{
		Use:     "add ID --subject furnaces/X --from TIME --until TIME",
		Example: "  saggar closure add repair --subject furnaces/big-kiln --from '2027-03-01 08:00' --until '2027-03-02 12:00'",
		Short:   "Take equipment, a room, a circuit or a supply out of use, or close a room to people only",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				start, end, err := span(from, until, zone)
				if err != nil {
					return err
				}
				closure, err := connection.Equipment.UpdateClosure(c.Context(), &saggarv1.UpdateClosureRequest{
					AllowMissing: true, Closure: &saggarv1.Closure{
						Name: convert.Name(s.studio, "closures", args[0]), Subject: subject, Reason: reason, Unoccupied: unoccupied,
						StartTime: timestamppb.New(start), EndTime: timestamppb.New(end),
					},
				})
				if err != nil {
					return err
				}
				err = s.print(closure, func() []render.Grid { return []render.Grid{closureKind.grid(zone, closure)} })
				s.hintOfHits(c.Context(), connection, closure)
				return err
			})
		},
	}
	flags := command.Flags()
	flags.StringVar(&subject, "subject", "", "furnaces/ID, rooms/ID, extractionCircuits/ID or supplies/ID")
	flags.StringVar(&from, "from", "", "first moment, local, such as '2027-03-01 08:00', or RFC 3339")
	flags.StringVar(&until, "until", "", "first moment after it")
	flags.StringVar(&reason, "reason", "", "why")
	flags.BoolVar(&unoccupied, "unoccupied", false, "a room: closed and signed so that nobody is inside, while firings in it go on")
	for _, name := range []string{"subject", "from", "until"} {
		cobra.CheckErr(command.MarkFlagRequired(name))
	}
	return command
}

func (s *shell) closureRemoveCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "remove ID",
		Example: "  saggar closure remove repair",
		Short:   "Put back into use what a closure took out", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, _ string) error {
				_, err := connection.Equipment.DeleteClosure(c.Context(), &saggarv1.DeleteClosureRequest{
					Name: convert.Name(s.studio, "closures", args[0]),
				})
				return err
			})
		},
	}
}

// span reads --from and --until.
func span(from, until string, zone *time.Location) (start, end time.Time, err error) {
	if start, err = localTime("from", from, zone); err != nil {
		return start, end, err
	}
	end, err = localTime("until", until, zone)
	return start, end, err
}
