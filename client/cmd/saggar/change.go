package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"saggar/client/api"
	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

func (s *shell) changeCommand() *cobra.Command {
	return group("change", "Changes in the studio as they happen", s.changeFollowCommand())
}

func (s *shell) changeFollowCommand() *cobra.Command {
	var after int64
	var mine bool
	var asked saggarv1.WatchStudioRequest
	follow := &cobra.Command{
		Use: "follow", Example: "  saggar change follow --furnace pot\n  saggar change follow --mine --output json", Args: cobra.NoArgs,
		Short: "Follow changes until you interrupt it, also when the server is restarted; --output json gives a line of JSON each",
		RunE: func(c *cobra.Command, _ []string) error {
			if s.format != render.Table && s.format != render.JSON {
				return badInput(errors.New("--output: changes that are followed are shown as table, a line each, or json"))
			}
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				request := proto.CloneOf(&asked)
				request.Name = parent
				if c.Flags().Changed("after-revision") {
					request.AfterRevision = &after
				}
				if mine {
					var err error
					if request.Person, err = ownID(c.Context(), connection, parent); err != nil {
						return err
					}
				}
				return s.follow(c.Context(), connection, request)
			})
		},
	}
	flags := follow.Flags()
	flags.Int64Var(&after, "after-revision", 0, "begin after this revision, 0 for the first change; without it, from now on")
	flags.BoolVar(&mine, "mine", false, "only what is yours")
	flags.StringVar(&asked.Person, "person", "", "only what belongs to this person")
	flags.StringVar(&asked.Furnace, "furnace", "", "only what concerns this furnace or station")
	flags.StringVar(&asked.Department, "department", "", "only what concerns this department")
	flags.StringSliceVar(&asked.Kinds, "kind", nil, "only such resources, for example runs or closures; may be given several times")
	follow.MarkFlagsMutuallyExclusive("mine", "person")
	return follow
}

// ownID is who the caller is in a studio.
func ownID(ctx context.Context, connection *api.Connection, parent string) (string, error) {
	caller, err := connection.Access.GetCaller(ctx, &saggarv1.GetCallerRequest{})
	if err != nil {
		return "", err
	}
	for _, m := range caller.GetMemberships() {
		if m.GetStudio() == parent {
			return m.GetPerson(), nil
		}
	}
	return caller.GetId(), nil
}

// follow prints changes until the context ends, which is how a person ends it.
func (s *shell) follow(ctx context.Context, connection *api.Connection, request *saggarv1.WatchStudioRequest) error {
	zone, err := s.zone(ctx, connection, request.GetName())
	if err != nil {
		return err
	}
	err = connection.Follow(ctx, api.Follow{
		Request: request,
		Each: func(answer *saggarv1.WatchStudioResponse) error {
			if s.format == render.JSON {
				return writeLines(s.out, answer.GetNotices())
			}
			return s.tell(answer.GetNotices(), zone)
		},
		Lost: func(err error) {
			fmt.Fprintln(s.errOut, "saggar: the connection is lost, going on when it is back:", err)
		},
	})
	if errors.Is(err, context.Canceled) {
		return nil
	}
	return err
}

func (s *shell) tell(notices []*saggarv1.Notice, zone *time.Location) error {
	for _, n := range notices {
		if _, err := fmt.Fprintf(s.out, "%s  %s\n", local(n.GetChangeTime(), zone), render.OneLine(changeInWords(n, zone))); err != nil {
			return err
		}
	}
	return nil
}
