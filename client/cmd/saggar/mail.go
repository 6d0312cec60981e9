package main

import (
	"fmt"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"saggar/client/api"
	"saggar/client/file"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

func (s *shell) mailCommand() *cobra.Command {
	return group("mail", "Letters about what others change: where to, and how often", s.mailChooseCommand(), s.mailListCommand())
}

func (s *shell) mailChooseCommand() *cobra.Command {
	var email, pace, person string
	choose := &cobra.Command{
		Use: "choose", Args: cobra.NoArgs,
		Example: "  saggar mail choose --email ada@example.edu\n  saggar mail choose --pace none",
		Short:   "Choose where you are written to, and how often: none, at_once, hourly or daily",
		RunE: func(c *cobra.Command, _ []string) error {
			choice := &saggarv1.MailChoice{Email: email}
			mask := &fieldmaskpb.FieldMask{}
			if c.Flags().Changed("email") {
				mask.Paths = append(mask.Paths, "email")
			}
			if pace != "" {
				value, err := file.EnumNumber(choice.GetPace().Descriptor(), pace)
				if err != nil {
					return badInput(fmt.Errorf("--pace: %w", err))
				}
				choice.Pace = saggarv1.MailPace(value)
				mask.Paths = append(mask.Paths, "pace")
			}
			if len(mask.Paths) == 0 {
				return badInput(fmt.Errorf("give --email, --pace or both"))
			}
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				id := person
				if id == "" {
					var err error
					if id, err = ownID(c.Context(), connection, parent); err != nil {
						return err
					}
				}
				choice.Name = convert.Name(s.studio, "mailChoices", id)
				changed, err := connection.Mail.UpdateMailChoice(c.Context(), &saggarv1.UpdateMailChoiceRequest{
					MailChoice: choice, UpdateMask: mask, AllowMissing: true,
				})
				if err != nil {
					return err
				}
				return s.print(changed, func() []render.Grid { return []render.Grid{mailGrid([]proto.Message{changed})} })
			})
		},
	}
	flags := choose.Flags()
	flags.StringVar(&email, "email", "", "your address; '' for none")
	flags.StringVar(&pace, "pace", "", "none, at_once, hourly or daily; daily until you choose")
	flags.StringVar(&person, "person", "", "somebody else's choice, for stewards")
	return choose
}

func (s *shell) mailListCommand() *cobra.Command {
	return &cobra.Command{
		Use: "list", Short: "List choices, and which letters do not arrive: a steward's answer holds all, anybody else's their own",
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				all, err := pages(func(token string) (proto.Message, string, error) {
					page, err := connection.Mail.ListMailChoices(c.Context(), &saggarv1.ListMailChoicesRequest{Parent: parent, PageToken: token})
					return page, page.GetNextPageToken(), err
				})
				if err != nil {
					return err
				}
				return s.print(all, func() []render.Grid { return []render.Grid{mailGrid(elements(all))} })
			})
		},
	}
}

func mailGrid(choices []proto.Message) render.Grid {
	grid := render.Grid{Columns: []string{"person", "email", "pace", "last sent", "failed", "given up", "why"}}
	for _, m := range choices {
		c := m.(*saggarv1.MailChoice)
		grid.Rows = append(grid.Rows, []string{
			shortName(c.GetName()), c.GetEmail(), render.Enum(c.GetPace()), universal(c.GetSentTime()), fmt.Sprint(c.GetFailedCount()),
			universal(c.GetDroppedTime()), c.GetFailure(),
		})
	}
	return grid
}
