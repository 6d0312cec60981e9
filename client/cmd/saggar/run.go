package main

import (
	"fmt"
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
	return group("run", "Runs: plan, check, book, show, list, move, replan, cancel, clear, risk",
		s.runPlanCommand(), s.runCheckCommand(), s.runBookCommand(), s.runShowCommand(), s.runListCommand(),
		s.runMoveCommand(), s.runReplanCommand(), s.runCancelCommand(),
		s.runWaitingCommand(), s.runClearCommand(), s.runRefuseCommand(), s.runRiskCommand())
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
	return s.print(run, func() []render.Grid {
		return slices.Concat([]render.Grid{runGrid(run), windowGrid(run, zone)}, heldGrids([]*saggarv1.Run{run}), drawGrids(run), clearanceGrids(run, zone))
	})
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

func (s *shell) runCancelCommand() *cobra.Command {
	var neverCharged bool
	command := &cobra.Command{
		Use:     "cancel ID",
		Example: "  saggar run cancel bisque-one",
		Short:   "Call off what of a run has not begun; what has keeps its furnace", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, _ string) error {
				run, err := connection.Runs.CancelRun(c.Context(), &saggarv1.CancelRunRequest{
					Name: convert.Name(s.studio, "runs", args[0]), RequestId: api.NewRequestID(), NeverCharged: neverCharged,
				})
				if err != nil {
					return err
				}
				return s.print(run, func() []render.Grid { return []render.Grid{runGrid(run)} })
			})
		},
	}
	command.Flags().BoolVar(&neverCharged, "never-charged", false, "you have looked, as a technician: nothing was charged in what has begun")
	return command
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
