package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/client/api"
	"saggar/client/file"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

// replanOrder is what 'run replan' is asked for: to look, or to accept what a former look kept.
type replanOrder struct {
	how                   planFlags
	overruns, mayMove     []string
	until, save, accepted string
	acknowledge           []string
}

func (s *shell) runReplanCommand() *cobra.Command {
	o := &replanOrder{}
	command := &cobra.Command{
		Use: "replan",
		Example: "  saggar run replan --save moves.json\n" +
			"  saggar run replan --overrun 'blue-one/calcine=2027-03-02 14:20' --save moves.json\n" +
			"  saggar run replan --accept moves.json",
		Short: "Find windows for runs that closures and overruns stand in the way of; moves nothing until --accept", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := o.how.fits(); err != nil {
				return badInput(err)
			}
			return s.inStudio(c.Context(), func(connection *api.Connection, _ string) error {
				zone, err := s.zone(c.Context(), connection, "studios/"+s.studio)
				if err != nil {
					return err
				}
				if o.accepted != "" {
					return s.acceptMoves(c.Context(), connection, o, zone)
				}
				return s.replan(c.Context(), connection, o, zone)
			})
		},
	}
	flags := command.Flags()
	flags.StringArrayVar(&o.overruns, "overrun", nil, "stage that holds its furnace longer, and the local time until which: RUN/STAGE=TIME;\nmay be given several times")
	flags.StringSliceVar(&o.mayMove, "may-move", nil, "ids of further runs that may be moved to make room")
	flags.StringVar(&o.until, "until", "", "everything is drawn by this local time (default: four weeks from now, or after the last that is hit)")
	o.how.search(flags)
	flags.StringVar(&o.save, "save", "", "also keep the moves in this file, for --accept")
	flags.StringVar(&o.accepted, "accept", "", "move all runs as this file, kept by --save, says, or none; records what overran")
	flags.StringSliceVar(&o.acknowledge, "acknowledge", nil, "with --accept: codes of warnings that you have read and accept")
	for _, look := range []string{"overrun", "may-move", "until", "search-time", "save", "progress"} {
		command.MarkFlagsMutuallyExclusive("accept", look)
	}
	return command
}

// replan shows what is hit and where it could go, and keeps it when asked.
func (s *shell) replan(ctx context.Context, connection *api.Connection, o *replanOrder, zone *time.Location) error {
	if len(o.acknowledge) > 0 {
		return badInput(errors.New("--acknowledge: nothing is moved without --accept: give it then"))
	}
	request, err := s.replanRequest(ctx, connection, o, zone)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, s.searching(o.how.searchTime))
	defer cancel()
	stream, err := connection.Runs.ReplanRuns(ctx, request)
	if err != nil {
		return err
	}
	tell := s.teller(o.how.progress)
	var best *saggarv1.ReplanRunsResponse
	answer, broken := lastOf(stream.Recv, func(answer *saggarv1.ReplanRunsResponse) error {
		tell.tell(answer.GetProgress())
		if len(answer.GetMoves()) > 0 {
			best = answer
		}
		return nil
	})
	tell.end()
	switch {
	case broken != nil && best == nil:
		return broken
	case broken != nil:
		answer, broken = best, brokenOff(broken, true)
	case answer.GetStatus() == saggarv1.PlanStatus_PLAN_STATUS_UNSPECIFIED:
		return errors.New("the server ended without an answer; its log says why")
	}
	if o.save != "" && holdsMoves(answer) {
		if err := saveAnswer(o.save, answer); err != nil {
			return err
		}
	}
	if err := s.print(answer, func() []render.Grid { return replanGrids(answer, o.save, zone) }); err != nil {
		return err
	}
	switch answer.GetStatus() {
	case saggarv1.PlanStatus_PLAN_STATUS_INFEASIBLE, saggarv1.PlanStatus_PLAN_STATUS_UNRESOLVED:
		return errRefused
	}
	return broken
}

func holdsMoves(answer *saggarv1.ReplanRunsResponse) bool {
	return len(answer.GetMoves()) > 0 || len(answer.GetOverruns()) > 0
}

func (s *shell) replanRequest(ctx context.Context, connection *api.Connection, o *replanOrder, zone *time.Location) (*saggarv1.ReplanRunsRequest, error) {
	request := &saggarv1.ReplanRunsRequest{Parent: "studios/" + s.studio, SearchLimit: o.how.duration()}
	for _, id := range o.mayMove {
		if err := file.CheckID(id); err != nil {
			return nil, badInput(fmt.Errorf("--may-move: %w", err))
		}
		request.MayMove = append(request.MayMove, convert.Name(s.studio, "runs", id))
	}
	end, err := localTime("until", o.until, zone)
	if err != nil {
		return nil, err
	}
	if !end.IsZero() {
		request.EndTime = timestamppb.New(end)
	}
	for _, text := range o.overruns {
		overrun, err := s.overrun(ctx, connection, text, zone)
		if err != nil {
			return nil, err
		}
		request.Overruns = append(request.Overruns, overrun)
	}
	return request, nil
}

// overrun reads RUN/STAGE=TIME and finds the firing that carries the stage.
func (s *shell) overrun(ctx context.Context, connection *api.Connection, text string, zone *time.Location) (*saggarv1.Overrun, error) {
	load, clock, timed := strings.Cut(text, "=")
	run, stage, ok := strings.Cut(load, "/")
	if !timed || !ok || file.CheckID(run) != nil || file.CheckID(stage) != nil {
		return nil, badInput(fmt.Errorf("--overrun: %q: give RUN/STAGE=TIME, such as 'blue-one/calcine=2027-03-02 14:20'", text))
	}
	end, err := localTime("overrun", clock, zone)
	if err != nil {
		return nil, err
	}
	if end.IsZero() {
		return nil, badInput(fmt.Errorf("--overrun: %q says no time: give RUN/STAGE=TIME", text))
	}
	found, err := connection.Runs.GetRun(ctx, &saggarv1.GetRunRequest{Name: convert.Name(s.studio, "runs", run)})
	if err != nil {
		return nil, err
	}
	var stages []string
	for _, l := range found.GetLoads() {
		if stages = append(stages, shortName(l.GetName())); stages[len(stages)-1] != stage {
			continue
		}
		if l.GetFiring() == "" {
			return nil, badInput(fmt.Errorf("--overrun: stage %s of %s has no furnace or station to hold", stage, run))
		}
		return &saggarv1.Overrun{Firing: l.GetFiring(), EndTime: timestamppb.New(end)}, nil
	}
	return nil, badInput(fmt.Errorf("--overrun: run %s has no stage %s: give one of %s", run, stage, strings.Join(stages, ", ")))
}

// acceptMoves moves all runs as a kept answer says, or none.
func (s *shell) acceptMoves(ctx context.Context, connection *api.Connection, o *replanOrder, zone *time.Location) error {
	kept := &saggarv1.ReplanRunsResponse{}
	from, err := s.decode(o.accepted, kept, nil)
	if err == nil && !holdsMoves(kept) {
		err = fmt.Errorf("%s holds no moves: make them with 'run replan --save %s'", o.accepted, o.accepted)
	}
	if err != nil {
		return badInput(err)
	}
	moved, err := connection.Runs.MoveRuns(ctx, &saggarv1.MoveRunsRequest{
		Parent: "studios/" + s.studio, Moves: kept.GetMoves(), Overruns: kept.GetOverruns(), Revision: kept.GetRevision(),
		AcknowledgedFindingCodes: o.acknowledge, RequestId: api.NewRequestID(),
	})
	s.warnOfUnknown(o.acknowledge, kept.GetFindings(), moved.GetFindings(), api.Findings(err))
	if err != nil {
		return replanHint(from.planFaults(err), o.accepted)
	}
	return s.print(moved, func() []render.Grid { return movedGrids(moved, zone) })
}

// replanHint says below a refusal of moves that are out of date how to look again.
func replanHint(err error, path string) error {
	if !wasOvertaken(err) && !api.IsStale(err) {
		return err
	}
	return hinted{err, fmt.Sprintf("'saggar run replan --save %s' looks for other moves", path)}
}
