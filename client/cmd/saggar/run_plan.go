package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"saggar/client/api"
	"saggar/client/file"
	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

// planOrder is what 'run plan' is asked for.
type planOrder struct {
	run                 runFlags
	how                 planFlags
	runs, refresh, save string
	alternatives, take  int32
	everyAnswer         bool
	attendants          attendantsFlag
}

func (s *shell) runPlanCommand() *cobra.Command {
	o := &planOrder{run: runFlags{scale: newScaleFlags()}}
	command := &cobra.Command{
		Use: "plan (RECIPE --department D | --runs FILE | --refresh FILE)",
		Example: "  saggar run plan bisque --department ceramics --save bisque.json\n" +
			"  saggar run plan --runs week.yaml --wish fewest-visits --save week.json",
		Short: "Find the windows of all stages of one or many runs at once; books nothing", Args: cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if err := o.fits(args, s.format); err != nil {
				return badInput(err)
			}
			return s.inStudio(c.Context(), func(connection *api.Connection, _ string) error {
				return s.planAndShow(c.Context(), connection, o, args)
			})
		},
	}
	o.run.flags(command)
	flags := command.Flags()
	o.how.flags(flags)
	flags.StringVar(&o.runs, "runs", "", "file with runs to plan together: runs: and a list, each with recipe, department, and if need\n"+
		"be name, title, scale and limits (attendance, heat_only_while_staffed, avoid_furnaces, start_time, end_time)")
	flags.StringVar(&o.refresh, "refresh", "", "kept plan that others have overtaken: plan its runs again, as near to its windows as can be,\n"+
		"within its limits; --avoid and --heat-only-while-staffed add to them")
	o.attendants.flag(flags)
	flags.StringVar(&o.save, "save", "", "also keep the plan in this file, for 'run book --plan'")
	flags.Int32Var(&o.alternatives, "alternatives", 0, "how many different plans to offer beside the first, at most 3; for a single run")
	flags.Int32Var(&o.take, "take", 0, "show and keep this one of the alternatives")
	flags.BoolVar(&o.everyAnswer, "every-answer", false, "with --output json: each answer as it comes, one to a line (JSON lines); the last one stands")
	command.MarkFlagsMutuallyExclusive("runs", "refresh")
	command.MarkFlagsMutuallyExclusive("refresh", "wish")
	command.MarkFlagsMutuallyExclusive("refresh", "attend")
	for _, flag := range ofOneRun {
		command.MarkFlagsMutuallyExclusive("runs", flag)
		command.MarkFlagsMutuallyExclusive("refresh", flag)
	}
	return command
}

// fits refuses what contradicts itself before the server is asked.
func (o *planOrder) fits(args []string, format render.Format) error {
	files := o.runs != "" || o.refresh != ""
	switch {
	case files && len(args) > 0:
		return errors.New("give either a recipe or a file of what to plan, not both")
	case !files && len(args) == 0:
		return errors.New("run plan needs RECIPE, --runs FILE or --refresh FILE, for example: saggar run plan bisque --department ceramics")
	case !files && o.run.department == "":
		return errors.New("run plan needs --department, for example: saggar run plan " + args[0] + " --department ceramics")
	case !files:
		if err := checkArgument("RECIPE", args[0]); err != nil {
			return err
		}
	}
	if err := o.choiceFits(format); err != nil {
		return err
	}
	return o.how.fits()
}

// choiceFits looks at what is asked for beside the first plan.
func (o *planOrder) choiceFits(format render.Format) error {
	switch {
	case o.alternatives < 0 || o.alternatives > 3:
		return fmt.Errorf("--alternatives: %d cannot be had: give 0 to 3", o.alternatives)
	case o.take < 0 || o.take > o.alternatives:
		return fmt.Errorf("--take: there is no alternative %d: ask for as many with --alternatives", o.take)
	case o.everyAnswer && format != render.JSON:
		return errors.New("--every-answer: answers one to a line are JSON: give --output json too")
	case o.everyAnswer && o.take > 0:
		return errors.New("--every-answer and --take contradict each other: give only one of them")
	}
	return nil
}

// planAndShow plans, keeps what is to be kept and prints it.
func (s *shell) planAndShow(ctx context.Context, connection *api.Connection, o *planOrder, args []string) error {
	zone, err := s.zone(ctx, connection, "studios/"+s.studio)
	if err != nil {
		return err
	}
	request, from, err := s.planRequest(ctx, connection, o, args, zone)
	if err != nil {
		return err
	}
	answer, broken := s.plan(ctx, connection, request, o)
	if broken != nil && (answer == nil || o.take > 0) {
		return from.planFaults(broken)
	}
	if answer, err = taken(answer, o.take); err != nil {
		return badInput(err)
	}
	if o.save != "" && canBeBooked(answer) {
		if err := saveAnswer(o.save, answer); err != nil {
			return err
		}
	}
	if !o.everyAnswer {
		err = s.printPlan(ctx, connection, answer, zone)
	} else {
		err = refusedUnless(canBeBooked(answer))
	}
	return cmp.Or(broken, err)
}

// planRequest asks for what a recipe, a file of runs or a kept plan says.
func (s *shell) planRequest(ctx context.Context, connection *api.Connection, o *planOrder, args []string, zone *time.Location) (*saggarv1.PlanRunsRequest, source, error) {
	var from source
	var list file.RunList
	var err error
	switch {
	case o.runs != "":
		list, from, err = s.readRuns(o.runs, zone)
	case o.refresh != "":
		var kept *saggarv1.PlanRunsResponse
		kept, from, err = s.readPlan(o.refresh)
		list.Runs, list.Limits = kept.GetRuns(), kept.GetLimits()
		o.how.wish = wishFlag(saggarv1.PlanWish_PLAN_WISH_LEAST_CHANGE)
	default:
		list.Runs = []*saggarv1.Run{o.run.run(s.studio, args[0])}
	}
	if err != nil {
		return nil, from, err
	}
	if err := s.nameAttendants(ctx, connection, &o.attendants, list.Runs); err != nil {
		return nil, from, err
	}
	request, err := o.run.request("studios/"+s.studio, zone, list.Runs...)
	if err != nil {
		return nil, from, err
	}
	o.how.fill(request, list.Limits)
	request.AlternativeCount = o.alternatives
	return request, from, nil
}

// readRuns reads a file of runs to plan together.
func (s *shell) readRuns(path string, zone *time.Location) (file.RunList, source, error) {
	name, data, err := s.read(path)
	if err != nil {
		return file.RunList{}, source{}, badInput(err)
	}
	list, err := file.DecodeRuns(name, data, file.Options{Studio: s.studio, Zone: zone})
	return list, source{name: name, lines: list.Lines}, badInput(err)
}

// plan asks the server for windows and returns its last answer. A search gets its time besides that of a call. When it is broken
// off, the best answer until then is returned with the error.
func (s *shell) plan(ctx context.Context, connection *api.Connection, request *saggarv1.PlanRunsRequest, o *planOrder) (*saggarv1.PlanRunsResponse, error) {
	ctx, cancel := context.WithTimeout(ctx, s.searching(o.how.searchTime))
	defer cancel()
	stream, err := connection.Runs.PlanRuns(ctx, request)
	if err != nil {
		return nil, err
	}
	tell := s.teller(o.how.progress)
	defer tell.end()
	var best *saggarv1.PlanRunsResponse
	last, err := lastOf(stream.Recv, func(answer *saggarv1.PlanRunsResponse) error {
		tell.tell(answer.GetProgress())
		if len(answer.GetRuns()) > 0 {
			best = answer
		}
		if o.everyAnswer {
			return render.WriteLine(s.out, answer)
		}
		return nil
	})
	if err != nil {
		return best, brokenOff(err, best != nil)
	}
	if len(last.GetRuns()) == 0 && last.GetStatus() != saggarv1.PlanStatus_PLAN_STATUS_INFEASIBLE &&
		last.GetStatus() != saggarv1.PlanStatus_PLAN_STATUS_UNRESOLVED {
		err = errors.New("the server ended its plan without an answer; its log says why")
	}
	return last, err
}

// brokenOff says below an error that what is shown is not the last word.
func brokenOff(err error, shown bool) error {
	if !shown || !api.IsBrokenOff(err) {
		return err
	}
	return hinted{err, "the search was broken off: what is shown is the best that was found until then"}
}

// searching is how long a call may take in which the server searches: alternatives, and runs that are tried one by one,
// get times of their own.
func (s *shell) searching(searchTime time.Duration) time.Duration { return s.timeout + 2*searchTime }

// lastOf reads a stream to its end, shows each answer to see, and returns the last one.
func lastOf[M any](next func() (M, error), see func(M) error) (last M, err error) {
	for {
		answer, err := next()
		if errors.Is(err, io.EOF) {
			return last, nil
		}
		if err == nil {
			err = see(answer)
		}
		if err != nil {
			return last, err
		}
		last = answer
	}
}

// canBeBooked tells an answer whose windows BookRun takes.
func canBeBooked(answer *saggarv1.PlanRunsResponse) bool {
	switch answer.GetStatus() {
	case saggarv1.PlanStatus_PLAN_STATUS_INFEASIBLE, saggarv1.PlanStatus_PLAN_STATUS_UNRESOLVED:
		return false
	case saggarv1.PlanStatus_PLAN_STATUS_SEARCHING: // broken off
		return !slices.ContainsFunc(answer.GetFindings(), func(f *saggarv1.Finding) bool { return f.GetSeverity() == saggarv1.Severity_SEVERITY_BLOCK })
	}
	return true
}

func refusedUnless(fits bool) error {
	if fits {
		return nil
	}
	return errRefused
}

// taken is an answer with one of its alternatives as its plan; 0 is the plan itself.
func taken(answer *saggarv1.PlanRunsResponse, number int32) (*saggarv1.PlanRunsResponse, error) {
	all := answer.GetAlternatives()
	switch {
	case number == 0:
		return answer, nil
	case number < 0 || int(number) > len(all):
		return nil, fmt.Errorf("--take: there is no alternative %d, the plan has %s", number, counted(len(all), "alternative"))
	}
	chosen := all[number-1]
	return &saggarv1.PlanRunsResponse{
		Status: saggarv1.PlanStatus_PLAN_STATUS_FEASIBLE, Runs: []*saggarv1.Run{chosen.GetRun()}, Revision: answer.GetRevision(),
		Findings: chosen.GetFindings(), EndTime: chosen.GetEndTime(), VisitDays: chosen.GetVisitDays(),
		EnergyKilowattHours: chosen.GetEnergyKilowattHours(), Caution: answer.GetCaution(), Assumptions: answer.GetAssumptions(),
		Limits: answer.GetLimits(), MovesStanding: answer.GetMovesStanding(),
	}, nil
}

// printPlan prints a plan with the chart of its weeks; one that cannot be booked is refused.
func (s *shell) printPlan(ctx context.Context, connection *api.Connection, answer *saggarv1.PlanRunsResponse, zone *time.Location) error {
	var chart *week
	if s.format == render.Table && len(answer.GetRuns()) > 0 {
		var err error
		if chart, err = s.readPlannedWeeks(ctx, connection, answer.GetRuns(), zone); err != nil {
			return err
		}
	}
	if err := s.print(answer, func() []render.Grid { return planGrids(answer, chart, zone) }); err != nil {
		return err
	}
	return refusedUnless(canBeBooked(answer))
}
