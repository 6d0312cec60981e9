package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/client/api"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

func (s *shell) requestCommand() *cobra.Command {
	decline := s.requestVerb("decline", "Let the next have what a request is offered; it waits on, for other time",
		func(ctx context.Context, c *api.Connection, name string) (*saggarv1.TimeRequest, error) {
			return c.Requests.DeclineTimeOffer(ctx, &saggarv1.DeclineTimeOfferRequest{Name: name})
		})
	remove := s.requestVerb("remove", "Withdraw a request; the next has what it is offered",
		func(ctx context.Context, c *api.Connection, name string) (*saggarv1.TimeRequest, error) {
			if _, err := c.Requests.DeleteTimeRequest(ctx, &saggarv1.DeleteTimeRequestRequest{Name: name}); err != nil {
				return nil, err
			}
			return c.Requests.GetTimeRequest(ctx, &saggarv1.GetTimeRequestRequest{Name: name})
		})
	return group("request", "Requests for furnace time that may fall free", s.requestAddCommand(), s.requestListCommand(), decline, remove)
}

func (s *shell) requestAddCommand() *cobra.Command {
	var from, until string
	var asked saggarv1.TimeRequest
	add := &cobra.Command{
		Use: "add --furnace FURNACE --from TIME --until TIME --minutes N --department ID", Args: cobra.NoArgs,
		Example: "  saggar request add --furnace muffle --furnace pot --from '2027-03-01 08:00' --until '2027-03-03 20:00' --minutes 240 --department glass",
		Short:   "Ask for time on any of some furnaces; when it falls free it is held for you for a while",
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
				request := proto.CloneOf(&asked)
				request.StartTime, request.EndTime = timestamppb.New(start), timestamppb.New(end)
				made, err := connection.Requests.CreateTimeRequest(c.Context(), &saggarv1.CreateTimeRequestRequest{Parent: parent, TimeRequest: request})
				if err != nil {
					return err
				}
				return s.print(made, func() []render.Grid { return []render.Grid{requestGrid([]proto.Message{made}, zone)} })
			})
		},
	}
	flags := add.Flags()
	flags.StringSliceVar(&asked.Furnaces, "furnace", nil, "a furnace or station that will do; may be given several times")
	flags.StringVar(&from, "from", "", "first moment, local, such as '2027-03-01 08:00', or RFC 3339")
	flags.StringVar(&until, "until", "", "first moment after it")
	flags.Int32Var(&asked.LeastMinutes, "minutes", 0, "the least that is of use")
	flags.StringVar(&asked.Department, "department", "", "for which department")
	flags.StringVar(&asked.Note, "note", "", "what it is for")
	for _, name := range []string{"furnace", "from", "until", "minutes", "department"} {
		cobra.CheckErr(add.MarkFlagRequired(name))
	}
	return add
}

func (s *shell) requestListCommand() *cobra.Command {
	var ended bool
	list := &cobra.Command{
		Use: "list", Short: "List requests in the order of asking: a technician's answer holds all, anybody else's their own", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				all, err := pages(func(token string) (proto.Message, string, error) {
					page, err := connection.Requests.ListTimeRequests(c.Context(), &saggarv1.ListTimeRequestsRequest{
						Parent: parent, PageToken: token, ShowEnded: ended,
					})
					return page, page.GetNextPageToken(), err
				})
				if err != nil {
					return err
				}
				return s.print(all, func() []render.Grid { return []render.Grid{requestGrid(elements(all), zone)} })
			})
		},
	}
	list.Flags().BoolVar(&ended, "show-ended", false, "also those that ended")
	return list
}

// requestVerb is a verb on one request, which it shows afterwards.
func (s *shell) requestVerb(
	verb, short string, do func(ctx context.Context, c *api.Connection, name string) (*saggarv1.TimeRequest, error),
) *cobra.Command {
	return &cobra.Command{
		Use: verb + " REQUEST", Example: "  saggar request " + verb + " t17", Short: short, Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				left, err := do(c.Context(), connection, convert.Name(s.studio, "timeRequests", args[0]))
				if err != nil {
					return err
				}
				return s.print(left, func() []render.Grid { return []render.Grid{requestGrid([]proto.Message{left}, zone)} })
			})
		},
	}
}

func requestGrid(requests []proto.Message, zone *time.Location) render.Grid {
	grid := render.Grid{Columns: []string{"request", "of", "for", "furnaces", "from", "until", "least min", "state", "held for them", "note"}}
	for _, m := range requests {
		r := m.(*saggarv1.TimeRequest)
		held := r.GetRun()
		if r.GetOffer() != nil {
			held = offerInWords(r.GetOffer(), zone)
		}
		grid.Rows = append(grid.Rows, []string{
			shortName(r.GetName()), r.GetAsker(), r.GetDepartment(), strings.Join(r.GetFurnaces(), ", "), local(r.GetStartTime(), zone),
			local(r.GetEndTime(), zone), fmt.Sprint(r.GetLeastMinutes()), render.Enum(r.GetState()), held, r.GetNote(),
		})
	}
	return grid
}

// offerInWords is what is held, and until when.
func offerInWords(o *saggarv1.TimeOffer, zone *time.Location) string {
	return o.GetFurnace() + " " + spanInWords(o.GetStartTime(), o.GetEndTime(), zone) + ", held until " + local(o.GetExpireTime(), zone)
}
