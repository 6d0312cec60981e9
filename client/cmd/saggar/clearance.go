package main

import (
	"cmp"
	"context"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"saggar/client/api"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

var clearanceKind = equipmentKind{
	noun: "clearance", exampleID: "much-so2", plural: "rules of clearance", field: "clearance_rule", collection: "clearanceRules",
	short: "Rules of clearance: when a run needs somebody's yes, and whose",
	empty: func() proto.Message { return &saggarv1.ClearanceRule{} },
	get: func(ctx context.Context, c *api.Connection, name string) (proto.Message, error) {
		return c.Clearances.GetClearanceRule(ctx, &saggarv1.GetClearanceRuleRequest{Name: name})
	},
	list: func(ctx context.Context, c *api.Connection, parent, token string) (proto.Message, string, error) {
		page, err := c.Clearances.ListClearanceRules(ctx, &saggarv1.ListClearanceRulesRequest{Parent: parent, PageToken: token})
		return page, page.GetNextPageToken(), err
	},
	update: func(ctx context.Context, c *api.Connection, x change) (proto.Message, error) {
		return c.Clearances.UpdateClearanceRule(ctx, &saggarv1.UpdateClearanceRuleRequest{
			ClearanceRule: x.to.(*saggarv1.ClearanceRule), UpdateMask: x.mask, AllowMissing: x.create,
		})
	},
	columns: []string{"rule", "title", "when", "cleared by", "waits h", "ahead h"},
	row: func(m proto.Message, _ *time.Location) []string {
		r := m.(*saggarv1.ClearanceRule)
		return []string{
			shortName(r.GetName()), r.GetTitle(), clearanceWhen(r), whoClears(r.GetClearingRole(), r.GetClearingPeople()),
			render.Number(cmp.Or(r.GetExpiresAfterHours(), 72)), orDash(r.GetAheadOfChargeHours()),
		}
	},
}

// clearanceWhen is when a rule holds, shortly.
func clearanceWhen(r *saggarv1.ClearanceRule) string {
	var when []string
	if g := r.GetOffGas(); g.GetGramsPerMinute() > 0 {
		when = append(when, g.GetSpecies()+" above "+render.Number(g.GetGramsPerMinute())+" g/min")
	}
	if g := r.GetOffGas(); g.GetGrams() > 0 {
		when = append(when, g.GetSpecies()+" above "+render.Number(g.GetGrams())+" g")
	}
	if r.GetChargedFromCelsius() > 0 {
		when = append(when, "charged from "+render.Number(r.GetChargedFromCelsius())+" C")
	}
	when = append(when, r.GetHazards()...)
	when = append(when, r.GetFindingCodes()...)
	if r.GetFirstRun() {
		when = append(when, "first run of a recipe")
	}
	if len(r.GetOutsideHours()) > 0 {
		when = append(when, "outside "+weeklyText(r.GetOutsideHours()))
	}
	if r.GetOverAllotment() != "" {
		when = append(when, "above allotment "+r.GetOverAllotment())
	}
	return strings.Join(when, ", ")
}

func whoClears(role saggarv1.Role, people []string) string {
	var who []string
	if role != saggarv1.Role_ROLE_UNSPECIFIED {
		who = append(who, render.Enum(role))
	}
	return strings.Join(append(who, people...), ", ")
}

func (s *shell) clearanceCommand() *cobra.Command {
	command := s.equipmentCommand(clearanceKind)
	command.AddCommand(s.removeCommand(clearanceKind, "Remove a rule; what it asked for already stays asked",
		func(ctx context.Context, c *api.Connection, name string) error {
			_, err := c.Clearances.DeleteClearanceRule(ctx, &saggarv1.DeleteClearanceRuleRequest{Name: name})
			return err
		}))
	return command
}

func (s *shell) runWaitingCommand() *cobra.Command {
	var mine bool
	command := &cobra.Command{
		Use: "waiting", Example: "  saggar run waiting --mine", Short: "List the runs that wait for somebody's yes", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				all, err := pages(func(token string) (proto.Message, string, error) {
					page, err := connection.Clearances.ListWaitingRuns(c.Context(), &saggarv1.ListWaitingRunsRequest{
						Parent: parent, OnlyMine: mine, PageToken: token,
					})
					return page, page.GetNextPageToken(), err
				})
				if err != nil {
					return err
				}
				return s.print(all, func() []render.Grid {
					return []render.Grid{waitingGrid(zone, all.(*saggarv1.ListWaitingRunsResponse).GetWaitingRuns()...)}
				})
			})
		},
	}
	command.Flags().BoolVar(&mine, "mine", false, "only those that wait for my yes")
	return command
}

// waitingGrid has a row for each yes that is awaited.
func waitingGrid(zone *time.Location, runs ...*saggarv1.Run) render.Grid {
	grid := render.Grid{Columns: []string{"run", "maker", "department", "rule", "cleared by", "waits until", "why"}}
	for _, run := range runs {
		for _, c := range run.GetClearances() {
			if c.GetState() != saggarv1.ClearanceState_CLEARANCE_STATE_WAITING {
				continue
			}
			grid.Rows = append(grid.Rows, []string{
				shortName(run.GetName()), run.GetMaker(), run.GetDepartment(), c.GetRule(),
				whoClears(c.GetClearingRole(), c.GetClearingPeople()), local(run.GetExpireTime(), zone), c.GetReason(),
			})
		}
	}
	return grid
}

// clearanceGrids show what a run needs somebody's yes for; nothing for most.
func clearanceGrids(run *saggarv1.Run, zone *time.Location) []render.Grid {
	if len(run.GetClearances()) == 0 {
		return nil
	}
	grid := render.Grid{Title: "Clearances", Columns: []string{"rule", "state", "by", "note", "why"}}
	for _, c := range run.GetClearances() {
		by := c.GetDecidedBy()
		if by == "" {
			by = whoClears(c.GetClearingRole(), c.GetClearingPeople())
		}
		grid.Rows = append(grid.Rows, []string{c.GetRule(), render.Enum(c.GetState()), by, c.GetNote(), c.GetReason()})
	}
	if run.GetExpireTime() != nil {
		grid.Title += ": held until " + local(run.GetExpireTime(), zone)
	}
	return []render.Grid{grid}
}

func (s *shell) runClearCommand() *cobra.Command {
	var reasons []string
	var note string
	command := &cobra.Command{
		Use: "clear ID", Example: "  saggar run clear blue-7 --reason much-so2 --note 'fan was measured on Friday'",
		Short: "Say yes to what a run waits for; it is confirmed once all is cleared", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.decide(c.Context(), args[0], func(connection *api.Connection, run *saggarv1.Run) (*saggarv1.Run, error) {
				return connection.Clearances.ClearRun(c.Context(), &saggarv1.ClearRunRequest{
					Name: run.GetName(), Etag: run.GetEtag(), Reasons: reasons, Note: note, RequestId: api.NewRequestID(),
				})
			})
		},
	}
	command.Flags().StringSliceVar(&reasons, "reason", nil, "id of a rule that is cleared (default: all that are mine to clear)")
	command.Flags().StringVar(&note, "note", "", "what is to be kept with it")
	return command
}

func (s *shell) runRefuseCommand() *cobra.Command {
	var note string
	command := &cobra.Command{
		Use: "refuse ID --note TEXT", Example: "  saggar run refuse blue-7 --note 'the fan is being repaired'",
		Short: "Say no to what a run waits for, which calls it off", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.decide(c.Context(), args[0], func(connection *api.Connection, run *saggarv1.Run) (*saggarv1.Run, error) {
				return connection.Clearances.RefuseRun(c.Context(), &saggarv1.RefuseRunRequest{
					Name: run.GetName(), Etag: run.GetEtag(), Note: note, RequestId: api.NewRequestID(),
				})
			})
		},
	}
	command.Flags().StringVar(&note, "note", "", "why")
	cobra.CheckErr(command.MarkFlagRequired("note"))
	return command
}

// decide reads a run, so that what is decided is what stands, and shows it afterwards.
func (s *shell) decide(
	ctx context.Context, id string, decide func(connection *api.Connection, run *saggarv1.Run) (*saggarv1.Run, error),
) error {
	return s.inStudio(ctx, func(connection *api.Connection, parent string) error {
		zone, err := s.zone(ctx, connection, parent)
		if err != nil {
			return err
		}
		run, err := connection.Runs.GetRun(ctx, &saggarv1.GetRunRequest{Name: convert.Name(s.studio, "runs", id)})
		if err != nil {
			return err
		}
		decided, err := decide(connection, run)
		if err != nil {
			return err
		}
		return s.printRun(decided, zone)
	})
}
