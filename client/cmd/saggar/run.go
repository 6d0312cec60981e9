package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/client/api"
	"saggar/client/chart"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

func (s *shell) runCommand() *cobra.Command {
	return group("run", "Runs: plan, check, book, show, list, move, cancel, risk",
		s.runPlanCommand(), s.runCheckCommand(), s.runBookCommand(), s.runShowCommand(), s.runListCommand(),
		s.runMoveCommand(), s.runCancelCommand(), s.runRiskCommand())
}

// wish is what a run is to be and when, as flags say it.
type wish struct {
	department, id     idFlag
	title, from, until string
	scale              scaleFlags
}

func (w *wish) flags(command *cobra.Command) {
	flags := command.Flags()
	flags.Var(&w.department, "department", "id of the department that it is for")
	flags.Var(&w.id, "id", "id for the run (default: given by the server)")
	flags.StringVar(&w.title, "title", "", "what to call it (default: the recipe's title)")
	w.scale.flags(command)
	w.window(command)
}

func (w *wish) window(command *cobra.Command) {
	flags := command.Flags()
	flags.StringVar(&w.from, "from", "", "nothing starts before this local time, such as '2027-03-01 08:00' (default: now)")
	flags.StringVar(&w.until, "until", "", "everything is drawn by this local time (default: four weeks later)")
}

// request asks for the windows of one run.
func (w *wish) request(parent string, run *saggarv1.Run, zone *time.Location) (*saggarv1.PlanRunsRequest, error) {
	start, end, err := span(w.from, w.until, zone)
	if err != nil {
		return nil, err
	}
	request := &saggarv1.PlanRunsRequest{Parent: parent, Runs: []*saggarv1.Run{run}}
	if !start.IsZero() {
		request.StartTime = timestamppb.New(start)
	}
	if !end.IsZero() {
		request.EndTime = timestamppb.New(end)
	}
	return request, nil
}

func (w *wish) run(studio, recipe string) *saggarv1.Run {
	run := &saggarv1.Run{
		Recipe: convert.Name(studio, "recipes", recipe), Department: string(w.department), Title: w.title, Scale: w.scale.message(),
	}
	if w.id != "" {
		run.Name = convert.Name(studio, "runs", string(w.id))
	}
	return run
}

// plan asks the server for windows and returns its last answer.
func plan(ctx context.Context, connection *api.Connection, request *saggarv1.PlanRunsRequest) (*saggarv1.PlanRunsResponse, error) {
	stream, err := connection.Runs.PlanRuns(ctx, request)
	if err != nil {
		return nil, err
	}
	var last *saggarv1.PlanRunsResponse
	for {
		answer, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			if last.GetStatus() != saggarv1.PlanStatus_PLAN_STATUS_INFEASIBLE && len(last.GetRuns()) == 0 {
				err = errors.New("the server ended its plan without an answer; its log says why")
				return nil, err
			}
			return last, nil
		}
		if err != nil {
			return nil, err
		}
		last = answer
	}
}

// planned makes a wish into an answer.
func (s *shell) planned(ctx context.Context, connection *api.Connection, w *wish, run *saggarv1.Run) (*saggarv1.PlanRunsResponse, *time.Location, error) {
	ctx, cancel := context.WithTimeout(ctx, s.timeout)
	defer cancel()
	parent := "studios/" + s.studio
	zone, err := s.zone(ctx, connection, parent)
	if err != nil {
		return nil, nil, err
	}
	request, err := w.request(parent, run, zone)
	if err != nil {
		return nil, nil, err
	}
	answer, err := plan(ctx, connection, request)
	return answer, zone, err
}

func (s *shell) runPlanCommand() *cobra.Command {
	w := &wish{scale: newScaleFlags()}
	var save string
	command := &cobra.Command{
		Use:     "plan RECIPE --department D",
		Example: "  saggar run plan bisque --department ceramics --save bisque.json",
		Short:   "Find the earliest windows of all stages at once; books nothing", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, _ string) error {
				answer, zone, err := s.planned(c.Context(), connection, w, w.run(s.studio, args[0]))
				if err != nil {
					return err
				}
				if save != "" {
					if err := savePlan(save, answer); err != nil {
						return err
					}
				}
				return s.printPlan(answer, zone)
			})
		},
	}
	w.flags(command)
	cobra.CheckErr(command.MarkFlagRequired("department"))
	command.Flags().StringVar(&save, "save", "", "also keep the plan in this file, for 'run book --plan'")
	return command
}

func (s *shell) printPlan(answer *saggarv1.PlanRunsResponse, zone *time.Location) error {
	err := s.print(answer, func() []render.Grid { return planGrids(answer, zone) })
	if err == nil && answer.GetStatus() == saggarv1.PlanStatus_PLAN_STATUS_INFEASIBLE {
		return errRefused
	}
	return err
}

func (s *shell) runCheckCommand() *cobra.Command {
	var path string
	var drawn chartFlags
	command := &cobra.Command{
		Use:     "check --plan FILE",
		Example: "  saggar run check --plan bisque.json",
		Short:   "Hold a plan against everything, as booking would; stores nothing", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := drawn.fits(s.format); err != nil {
				return badInput(err)
			}
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				kept, from, err := s.readPlan(path)
				if err != nil {
					return err
				}
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				answer, err := connection.Runs.CheckRun(c.Context(), &saggarv1.CheckRunRequest{Parent: parent, Runs: kept.GetRuns()})
				if err != nil {
					return from.planFaults(err)
				}
				err = s.print(answer, func() []render.Grid { return checkGrids(answer, zone) })
				if err == nil {
					err = s.draw(drawn, func() []chart.Chart { return checkCharts(answer) })
				}
				if err == nil && blocks(answer.GetFindings()) {
					return errRefused
				}
				return err
			})
		},
	}
	command.Flags().StringVar(&path, "plan", "", "file kept by 'run plan --save'")
	drawn.flags(command.Flags())
	cobra.CheckErr(command.MarkFlagRequired("plan"))
	return command
}

// checkCharts are the courses over time of each run that was checked.
func checkCharts(answer *saggarv1.BookRunResponse) []chart.Chart {
	var charts []chart.Chart
	for i, assessment := range answer.GetAssessments() {
		for _, c := range newRecipeCheck(assessment, source{}).charts() {
			c.Title = answer.GetRuns()[i].GetTitle() + ", " + c.Title
			charts = append(charts, c)
		}
	}
	return charts
}

func (s *shell) runBookCommand() *cobra.Command {
	w := &wish{scale: newScaleFlags()}
	var path string
	var acknowledge []string
	command := &cobra.Command{
		Use:     "book (--plan FILE | RECIPE --department D)",
		Example: "  saggar run book --plan bisque.json",
		Short:   "Book all stages of a run, or none", Args: cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			switch {
			case (path == "") == (len(args) == 0):
				return badInput(errors.New("give either a recipe to plan and book, or --plan FILE"))
			case path == "" && w.department == "":
				return badInput(errors.New("--department: say for which department the run is"))
			}
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				answer, from, err := s.planToBook(c.Context(), connection, w, path, args)
				if err != nil {
					return err
				}
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				booked, err := connection.Runs.BookRun(c.Context(), &saggarv1.BookRunRequest{
					Parent: parent, Runs: answer.GetRuns(), Revision: answer.GetRevision(),
					AcknowledgedFindingCodes: acknowledge, RequestId: api.NewRequestID(),
				})
				s.warnOfUnknown(acknowledge, answer.GetFindings(), booked.GetFindings(), api.Findings(err))
				if err != nil {
					return from.planFaults(err)
				}
				return s.print(booked, func() []render.Grid { return bookGrids(booked, zone) })
			})
		},
	}
	w.flags(command)
	command.Flags().StringVar(&path, "plan", "", "file kept by 'run plan --save'; only --id can differ from it")
	for _, settled := range []string{"department", "title", "from", "until", "factor", "product-grams", "crucibles"} {
		command.MarkFlagsMutuallyExclusive("plan", settled)
	}
	command.Flags().StringSliceVar(&acknowledge, "acknowledge", nil, "codes of warnings that you have read and accept")
	return command
}

// planToBook reads a kept plan, and gives its run another id when asked, or makes a plan; one that does not fit is printed
// and refused.
func (s *shell) planToBook(ctx context.Context, connection *api.Connection, w *wish, path string, args []string) (*saggarv1.PlanRunsResponse, source, error) {
	if path != "" {
		kept, from, err := s.readPlan(path)
		if err == nil && w.id != "" {
			kept.GetRuns()[0].Name = convert.Name(s.studio, "runs", string(w.id))
			delete(from.lines, "runs[0].name") // a fault in it is the flag's
		}
		return kept, from, err
	}
	answer, zone, err := s.planned(ctx, connection, w, w.run(s.studio, args[0]))
	if err != nil {
		return nil, source{}, err
	}
	if answer.GetStatus() == saggarv1.PlanStatus_PLAN_STATUS_INFEASIBLE {
		return nil, source{}, s.printPlan(answer, zone)
	}
	return answer, source{}, nil
}

// readPlan reads a kept plan, and says where its fields stand.
func (s *shell) readPlan(path string) (*saggarv1.PlanRunsResponse, source, error) {
	kept := &saggarv1.PlanRunsResponse{}
	from, err := s.decode(path, kept, nil)
	if err == nil && len(kept.GetRuns()) == 0 {
		err = fmt.Errorf("%s holds no plan: make one with 'run plan --save %s'", path, path)
	}
	return kept, from, badInput(err)
}

func (s *shell) runShowCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "show ID",
		Example: "  saggar run show bisque-one",
		Short:   "Show a run with its stages", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				run, err := connection.Runs.GetRun(c.Context(), &saggarv1.GetRunRequest{Name: convert.Name(s.studio, "runs", args[0])})
				if err != nil {
					return err
				}
				return s.printRun(run, zone)
			})
		},
	}
}

func (s *shell) printRun(run *saggarv1.Run, zone *time.Location) error {
	return s.print(run, func() []render.Grid { return []render.Grid{runGrid(run), windowGrid(run, zone)} })
}

func (s *shell) runListCommand() *cobra.Command {
	var department idFlag
	command := &cobra.Command{
		Use: "list", Short: "List runs, newest first", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				all, err := pages(func(token string) (proto.Message, string, error) {
					page, err := connection.Runs.ListRuns(c.Context(), &saggarv1.ListRunsRequest{
						Parent: parent, Department: string(department), PageToken: token,
					})
					return page, page.GetNextPageToken(), err
				})
				if err != nil {
					return err
				}
				return s.print(all, func() []render.Grid {
					return []render.Grid{runGrid(all.(*saggarv1.ListRunsResponse).GetRuns()...)}
				})
			})
		},
	}
	command.Flags().Var(&department, "department", "only this department's")
	return command
}

func (s *shell) runMoveCommand() *cobra.Command {
	w := &wish{scale: newScaleFlags()}
	var path string
	var acknowledge []string
	command := &cobra.Command{
		Use:     "move ID (--plan FILE | --from TIME)",
		Example: "  saggar run move bisque-one --from '2027-03-05 08:00'",
		Short:   "Move a run that is not charged yet to other windows", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				run, err := connection.Runs.GetRun(c.Context(), &saggarv1.GetRunRequest{Name: convert.Name(s.studio, "runs", args[0])})
				if err != nil {
					return err
				}
				answer, from, err := s.windowsForMove(c.Context(), connection, w, path, run)
				if err != nil {
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
	w.window(command)
	command.Flags().StringVar(&path, "plan", "", "file kept by 'run plan --save'")
	command.MarkFlagsMutuallyExclusive("plan", "from")
	command.MarkFlagsMutuallyExclusive("plan", "until")
	command.Flags().StringSliceVar(&acknowledge, "acknowledge", nil, "codes of warnings that you have read and accept")
	return command
}

// windowsForMove plans a run anew, or takes a kept plan's windows.
func (s *shell) windowsForMove(ctx context.Context, connection *api.Connection, w *wish, path string, run *saggarv1.Run) (*saggarv1.PlanRunsResponse, source, error) {
	if path != "" {
		kept, from, err := s.readPlan(path)
		from.path = "runs[0]." // the request holds the run's windows alone
		return kept, from, err
	}
	again := &saggarv1.Run{ // with its name: its own windows are free to it
		Name: run.GetName(), Recipe: run.GetRecipe(), Department: run.GetDepartment(), Title: run.GetTitle(), Scale: run.GetScale(),
	}
	answer, zone, err := s.planned(ctx, connection, w, again)
	if err == nil && answer.GetStatus() == saggarv1.PlanStatus_PLAN_STATUS_INFEASIBLE {
		err = s.printPlan(answer, zone)
	}
	return answer, source{}, err
}

func (s *shell) runCancelCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "cancel ID",
		Example: "  saggar run cancel bisque-one",
		Short:   "Call a run off and free its windows", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, _ string) error {
				run, err := connection.Runs.CancelRun(c.Context(), &saggarv1.CancelRunRequest{
					Name: convert.Name(s.studio, "runs", args[0]), RequestId: api.NewRequestID(),
				})
				if err != nil {
					return err
				}
				return s.print(run, func() []render.Grid { return []render.Grid{runGrid(run)} })
			})
		},
	}
}

// warnOfUnknown says which acknowledged codes are those of no finding: likely slips, which do no harm.
func (s *shell) warnOfUnknown(acknowledged []string, findings ...[]*saggarv1.Finding) {
	known := slices.Concat(findings...)
	for _, code := range acknowledged {
		if !slices.ContainsFunc(known, func(f *saggarv1.Finding) bool { return f.GetCode() == code }) {
			fmt.Fprintf(s.errOut, "saggar: --acknowledge: %q is the code of no finding here\n", code)
		}
	}
}

func blocks(findings []*saggarv1.Finding) bool {
	for _, f := range findings {
		if f.GetSeverity() == saggarv1.Severity_SEVERITY_BLOCK {
			return true
		}
	}
	return false
}

// local shows an instant in the studio's time.
func local(t *timestamppb.Timestamp, zone *time.Location) string {
	return t.AsTime().In(zone).Format("Mon 2 Jan 15:04")
}
