package main

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"saggar/client/api"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

// bookOrder is what 'run book' is asked for: a plan made as 'run plan' makes one, or a kept plan.
type bookOrder struct {
	planOrder
	path        string
	acknowledge []string
	vessels     vesselsFlag
}

func (s *shell) runBookCommand() *cobra.Command {
	o := &bookOrder{planOrder: planOrder{run: runFlags{scale: newScaleFlags()}}}
	command := &cobra.Command{
		Use:     "book (--plan FILE | RECIPE --department D)",
		Example: "  saggar run book --plan bisque.json",
		Short:   "Book all stages of a run, or of all runs of a kept plan, or none", Args: cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if err := o.fits(args); err != nil {
				return badInput(err)
			}
			return s.inStudio(c.Context(), func(connection *api.Connection, _ string) error {
				return s.book(c.Context(), connection, o, args)
			})
		},
	}
	o.run.flags(command)
	flags := command.Flags()
	o.how.flags(flags)
	flags.StringVar(&o.path, "plan", "", "file kept by 'run plan --save'; all its runs are booked; only --id can differ from it, for a single run")
	flags.Int32Var(&o.take, "take", 0, "with --plan: book this one of its alternatives")
	settled := slices.Concat(ofOneRun, []string{"from", "until", "wish", "attend", "heat-only-while-staffed", "avoid", "search-time"})
	for _, flag := range settled {
		if flag != "id" {
			command.MarkFlagsMutuallyExclusive("plan", flag)
		}
	}
	o.attendants.flag(flags)
	flags.Var(&o.vessels, "vessel", "VESSEL that holds the charge of a STAGE, with :COUNT of a set (default: a free one that fits, where the recipe asks for one); may be repeated")
	flags.StringSliceVar(&o.acknowledge, "acknowledge", nil, "codes of warnings that you have read and accept")
	return command
}

func (o *bookOrder) fits(args []string) error {
	switch {
	case (o.path == "") == (len(args) == 0):
		return errors.New("give either a recipe to plan and book, or --plan FILE")
	case o.path == "" && o.run.department == "":
		return errors.New("--department: say for which department the run is")
	case o.path == "" && o.take != 0:
		return errors.New("--take: it is an alternative of a kept plan: give --plan FILE too")
	case o.path == "":
		if err := checkArgument("RECIPE", args[0]); err != nil {
			return err
		}
	}
	return o.how.fits()
}

func (s *shell) book(ctx context.Context, connection *api.Connection, o *bookOrder, args []string) error {
	answer, from, err := s.planToBook(ctx, connection, o, args)
	if err == nil && answer.GetMovesStanding() {
		err = badInput(errors.New("what is planned stands already, and would be moved: " + howToMove(answer.GetRuns())))
	}
	if err == nil {
		err = o.attendants.apply(answer.GetRuns())
	}
	if err == nil {
		err = o.vessels.apply(answer.GetRuns())
	}
	if err != nil {
		return err
	}
	parent := "studios/" + s.studio
	zone, err := s.zone(ctx, connection, parent)
	if err != nil {
		return err
	}
	booked, err := connection.Runs.BookRun(ctx, &saggarv1.BookRunRequest{
		Parent: parent, Runs: answer.GetRuns(), Revision: answer.GetRevision(),
		AcknowledgedFindingCodes: o.acknowledge, RequestId: api.NewRequestID(),
	})
	s.warnOfUnknown(o.acknowledge, answer.GetFindings(), booked.GetFindings(), api.Findings(err))
	if err != nil {
		return refreshHint(from.planFaults(err), o.path)
	}
	return s.print(booked, func() []render.Grid { return bookGrids(booked, zone) })
}

// refreshHint says below a refusal how to plan again what others have overtaken.
func refreshHint(err error, path string) error {
	if path == "" || !wasOvertaken(err) {
		return err
	}
	return hinted{err, fmt.Sprintf("'saggar run plan --refresh %s --save %s' plans it again, as near to its windows as can be", path, path)}
}

func wasOvertaken(err error) bool {
	return slices.ContainsFunc(api.Findings(err), func(f *saggarv1.Finding) bool { return f.GetCode() == "PLAN_OVERTAKEN" })
}

// planToBook reads a kept plan, and gives its run another id when asked, or makes a plan; one that does not fit is printed
// and refused.
func (s *shell) planToBook(ctx context.Context, connection *api.Connection, o *bookOrder, args []string) (*saggarv1.PlanRunsResponse, source, error) {
	if o.path != "" {
		return s.keptToBook(o)
	}
	zone, err := s.zone(ctx, connection, "studios/"+s.studio)
	if err != nil {
		return nil, source{}, err
	}
	request, _, err := s.planRequest(ctx, connection, &o.planOrder, args, zone)
	if err != nil {
		return nil, source{}, err
	}
	answer, err := s.plan(ctx, connection, request, &o.planOrder)
	if err == nil && !canBeBooked(answer) {
		err = s.printPlan(ctx, connection, answer, zone)
	}
	return answer, source{}, err
}

func (s *shell) keptToBook(o *bookOrder) (*saggarv1.PlanRunsResponse, source, error) {
	kept, from, err := s.readPlan(o.path)
	if err != nil {
		return nil, from, err
	}
	if kept, err = taken(kept, o.take); err != nil {
		return nil, from, badInput(err)
	}
	if o.take > 0 {
		from.path = fmt.Sprintf("alternatives[%d].", o.take-1)
	}
	if o.run.id == "" {
		return kept, from, nil
	}
	if n := len(kept.GetRuns()); n > 1 {
		return nil, from, badInput(fmt.Errorf("--id: the plan holds %d runs, and an id is for one: name them in the file of runs", n))
	}
	kept.GetRuns()[0].Name = convert.Name(s.studio, "runs", string(o.run.id))
	delete(from.lines, from.path+"runs[0].name") // a fault in it is the flag's
	return kept, from, nil
}
