package main

import (
	"context"
	"fmt"

	"google.golang.org/protobuf/proto"

	"saggar/client/api"
	saggarv1 "saggar/proto/saggar/v1"
)

// hintOfHits says on standard error how many booked firings a closure hits, and how to plan them again. The closure stands
// whether that can be found out or not.
func (s *shell) hintOfHits(ctx context.Context, connection *api.Connection, closure *saggarv1.Closure) {
	if err := s.countHits(ctx, connection, closure); err != nil {
		fmt.Fprintf(s.errOut, "saggar: what the closure hits was not found out (%s); 'saggar run replan' shows it\n", describe(err))
	}
}

func (s *shell) countHits(ctx context.Context, connection *api.Connection, closure *saggarv1.Closure) error {
	parent := "studios/" + s.studio
	furnaces, err := pages(func(token string) (proto.Message, string, error) {
		return furnaceKind.list(ctx, connection, parent, token)
	})
	if err != nil {
		return err
	}
	closed := closedFurnaces(furnaces.(*saggarv1.ListFurnacesResponse).GetFurnaces(), []*saggarv1.Closure{closure})
	if len(closed) == 0 {
		return nil
	}
	firings, err := pages(func(token string) (proto.Message, string, error) {
		page, err := connection.Firings.ListFirings(ctx, &saggarv1.ListFiringsRequest{
			Parent: parent, StartTime: closure.GetStartTime(), EndTime: closure.GetEndTime(), PageToken: token,
		})
		return page, page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	hits, runs := 0, map[string]bool{}
	for _, f := range firings.(*saggarv1.ListFiringsResponse).GetFirings() {
		if len(closed[f.GetFurnace()]) > 0 {
			hits++
			runs[f.GetRun()] = true
		}
	}
	if hits > 0 {
		fmt.Fprintf(s.errOut, "saggar: the closure hits %s of %s; 'saggar run replan' shows them and where they could go\n",
			counted(hits, "booked firing"), counted(len(runs), "run"))
	}
	return nil
}
