package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"saggar/client/api"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

func (s *shell) runMoveCommand() *cobra.Command {
	o := &planOrder{run: runFlags{scale: newScaleFlags()}}
	var path string
	var acknowledge []string
	command := &cobra.Command{
		Use: "move ID (--plan FILE | --from TIME | --attended-by PERSON)",
		Example: "  saggar run move bisque-one --from '2027-03-05 08:00'\n" +
			"  saggar run move bisque-one --attended-by bisque=mira",
		Short: "Move a run that is not charged yet to other windows, or name others who attend it", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				run, err := connection.Runs.GetRun(c.Context(), &saggarv1.GetRunRequest{Name: convert.Name(s.studio, "runs", args[0])})
				if err != nil {
					return err
				}
				answer, from, err := s.windowsForMove(c.Context(), connection, o, path, run)
				if err != nil {
					return err
				}
				if err := o.attendants.apply(answer.GetRuns()); err != nil {
					return err
				}
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				moved, err := connection.Runs.MoveRun(c.Context(), &saggarv1.MoveRunRequest{
					Name: run.GetName(), StageWindows: answer.GetRuns()[0].GetStageWindows(), Etag: run.GetEtag(),
					AcknowledgedFindingCodes: acknowledge, RequestId: api.NewRequestID(),
				})
				s.warnOfUnknown(acknowledge, answer.GetFindings(), api.Findings(err))
				if err != nil {
					return from.planFaults(err)
				}
				return s.printRun(moved, zone)
			})
		},
	}
	o.run.window(command)
	o.attendants.flag(command.Flags())
	command.Flags().StringVar(&path, "plan", "", "file of one run, kept by 'run plan --save'")
	command.MarkFlagsMutuallyExclusive("plan", "from")
	command.MarkFlagsMutuallyExclusive("plan", "until")
	command.Flags().StringSliceVar(&acknowledge, "acknowledge", nil, "codes of warnings that you have read and accept")
	return command
}

// windowsForMove plans a run anew, takes a kept plan's windows, or leaves the run where it is when only others are to attend it.
func (s *shell) windowsForMove(ctx context.Context, connection *api.Connection, o *planOrder, path string, run *saggarv1.Run) (*saggarv1.PlanRunsResponse, source, error) {
	if path != "" {
		kept, from, err := s.readPlan(path)
		if n := len(kept.GetRuns()); n > 1 {
			err = badInput(fmt.Errorf("%s holds a plan of %d runs, and one is moved here: plan that one alone", path, n))
		}
		from.path = "runs[0]." // the request holds the run's windows alone
		return kept, from, err
	}
	if len(o.attendants.typed) > 0 && o.run.from == "" && o.run.until == "" {
		return &saggarv1.PlanRunsResponse{Runs: []*saggarv1.Run{run}}, source{path: "runs[0]."}, nil
	}
	zone, err := s.zone(ctx, connection, "studios/"+s.studio)
	if err != nil {
		return nil, source{}, err
	}
	again := &saggarv1.Run{ // with its name: its own windows are free to it
		Name: run.GetName(), Recipe: run.GetRecipe(), Department: run.GetDepartment(), Title: run.GetTitle(), Scale: run.GetScale(),
		StartStage: run.GetStartStage(), FromLot: run.GetFromLot(), LotDraws: run.GetLotDraws(),
	}
	request, err := o.run.request("studios/"+s.studio, zone, again)
	if err != nil {
		return nil, source{}, err
	}
	answer, err := s.plan(ctx, connection, request, o)
	if err == nil && !canBeBooked(answer) {
		err = s.printPlan(ctx, connection, answer, zone)
	}
	return answer, source{}, err
}
