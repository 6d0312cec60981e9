package main

import (
	"context"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"saggar/client/api"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

func (s *shell) feedCommand() *cobra.Command {
	return group("feed", "Calendars to subscribe to with a calendar program", s.feedCreateCommand(), s.feedReadCommand(), s.feedListCommand(),
		s.feedRevokeCommand())
}

func (s *shell) feedCreateCommand() *cobra.Command {
	var what shown
	var label, out string
	create := &cobra.Command{
		Use: "create", Example: "  saggar feed create --label phone\n  saggar feed create --furnace pot --label 'screen by the door'",
		Short: "Make a calendar; its address is shown once, and whoever knows it reads the calendar", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				subject, err := what.subject(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				made, err := connection.Feeds.CreateFeed(c.Context(), &saggarv1.CreateFeedRequest{
					Parent: parent, Feed: &saggarv1.Feed{Subject: subject, Label: label},
				})
				if err != nil {
					return err
				}
				return s.showAddress(made, out)
			})
		},
	}
	flags := create.Flags()
	flags.StringVar(&what.person, "person", "", "the runs of this person; without any of the three, your own")
	flags.StringVar(&what.furnace, "furnace", "", "what is fired in this furnace, or done at this station")
	flags.StringVar(&what.department, "department", "", "the runs of this department")
	flags.StringVar(&label, "label", "", "what it is for, such as phone")
	flags.StringVar(&out, "address-file", "", "write the address to this new file, mode 0600, instead of showing it")
	create.MarkFlagsMutuallyExclusive("person", "furnace", "department")
	return create
}

// showAddress prints a calendar that was just made, or puts its address into a file.
func (s *shell) showAddress(made *saggarv1.Feed, path string) error {
	column, address := "address (shown once)", made.GetAddress()
	if s.keptSecret(path, address, "address") {
		made = proto.CloneOf(made)
		made.Address = ""
		column, address = "address in", path
	}
	return s.print(made, func() []render.Grid {
		return []render.Grid{{
			Columns: []string{"feed", "shows", column}, Rows: [][]string{{shortName(made.GetName()), made.GetSubject(), address}},
		}}
	})
}

// shown is what a calendar is to show; nothing: the caller's own runs.
type shown struct{ person, furnace, department string }

func (w shown) subject(ctx context.Context, connection *api.Connection, parent string) (string, error) {
	switch {
	case w.furnace != "":
		return "furnaces/" + w.furnace, nil
	case w.department != "":
		return "departments/" + w.department, nil
	case w.person != "":
		return "people/" + w.person, nil
	}
	own, err := ownID(ctx, connection, parent)
	return "people/" + own, err
}

func (s *shell) feedListCommand() *cobra.Command {
	var ended bool
	list := &cobra.Command{
		Use: "list", Short: "List calendars: a steward's answer holds all, anybody else's their own", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				all, err := pages(func(token string) (proto.Message, string, error) {
					page, err := connection.Feeds.ListFeeds(c.Context(), &saggarv1.ListFeedsRequest{Parent: parent, PageToken: token, ShowEnded: ended})
					return page, page.GetNextPageToken(), err
				})
				if err != nil {
					return err
				}
				return s.print(all, func() []render.Grid { return []render.Grid{feedGrid(elements(all))} })
			})
		},
	}
	list.Flags().BoolVar(&ended, "show-ended", false, "also those that were revoked")
	return list
}

func feedGrid(feeds []proto.Message) render.Grid {
	grid := render.Grid{Columns: []string{"feed", "shows", "label", "of", "made", "last read", "revoked"}}
	for _, m := range feeds {
		f := m.(*saggarv1.Feed)
		grid.Rows = append(grid.Rows, []string{
			shortName(f.GetName()), f.GetSubject(), f.GetLabel(), f.GetOwner(), universal(f.GetCreateTime()), universal(f.GetLastReadTime()),
			universal(f.GetRevokeTime()),
		})
	}
	return grid
}

func (s *shell) feedRevokeCommand() *cobra.Command {
	return &cobra.Command{
		Use: "revoke FEED", Example: "  saggar feed revoke f3f9c2a17e0b4d855",
		Short: "Revoke a calendar for good; 'saggar feed list' names them", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				name := convert.Name(strings.TrimPrefix(parent, "studios/"), "feeds", args[0])
				revoked, err := connection.Feeds.RevokeFeed(c.Context(), &saggarv1.RevokeFeedRequest{Name: name})
				if err != nil {
					return err
				}
				return s.print(revoked, func() []render.Grid { return []render.Grid{feedGrid([]proto.Message{revoked})} })
			})
		},
	}
}
