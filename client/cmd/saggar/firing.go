package main

import (
	"cmp"
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/client/api"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

func (s *shell) firingCommand() *cobra.Command {
	return group("firing", "Firings: list, show, open for others, share, take back, hand over, move, cancel",
		s.firingListCommand(), s.firingShowCommand(), s.firingOpenCommand(), s.firingShareCommand(), s.firingUnshareCommand(),
		s.firingHandOverCommand(), s.firingMoveCommand(), s.firingCancelCommand())
}

func (s *shell) firingListCommand() *cobra.Command {
	var from, until string
	var furnaces []string
	var joinable bool
	command := &cobra.Command{
		Use:     "list --from TIME --until TIME",
		Example: "  saggar firing list --joinable --from '2027-03-01 08:00' --until '2027-03-08 08:00'",
		Short:   "List firings with what they offer for others", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return s.withZone(c.Context(), func(connection *api.Connection, parent string, zone *time.Location) error {
				start, end, err := span(from, until, zone)
				if err != nil {
					return err
				}
				all, err := pages(func(token string) (proto.Message, string, error) {
					page, err := connection.Firings.ListFirings(c.Context(), &saggarv1.ListFiringsRequest{
						Parent: parent, StartTime: timestamppb.New(start), EndTime: timestamppb.New(end), Furnaces: furnaces,
						JoinableOnly: joinable, PageToken: token,
					})
					return page, page.GetNextPageToken(), err
				})
				if err != nil {
					return err
				}
				return s.print(all, func() []render.Grid {
					return []render.Grid{firingGrid(zone, all.(*saggarv1.ListFiringsResponse).GetFirings()...)}
				})
			})
		},
	}
	flags := command.Flags()
	flags.StringVar(&from, "from", "", "first moment, local, such as '2027-03-01 08:00'")
	flags.StringVar(&until, "until", "", "first moment after it")
	flags.StringSliceVar(&furnaces, "furnace", nil, "only these furnaces")
	flags.BoolVar(&joinable, "joinable", false, "only those that others may still join")
	for _, name := range []string{"from", "until"} {
		cobra.CheckErr(command.MarkFlagRequired(name))
	}
	return command
}

// withZone connects to the studio and reads its time zone.
func (s *shell) withZone(ctx context.Context, do func(connection *api.Connection, parent string, zone *time.Location) error) error {
	return s.inStudio(ctx, func(connection *api.Connection, parent string) error {
		zone, err := s.zone(ctx, connection, parent)
		if err != nil {
			return err
		}
		return do(connection, parent, zone)
	})
}

func (s *shell) firingShowCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "show ID",
		Example: "  saggar firing show f12",
		Short:   "Show a firing with all that rides in it", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.withZone(c.Context(), func(connection *api.Connection, _ string, zone *time.Location) error {
				firing, err := connection.Firings.GetFiring(c.Context(), &saggarv1.GetFiringRequest{Name: s.firingName(args[0])})
				if err != nil {
					return err
				}
				return s.printFiring(firing, zone)
			})
		},
	}
}

func (s *shell) firingName(id string) string { return convert.Name(s.studio, "firings", id) }

func (s *shell) printFiring(firing *saggarv1.Firing, zone *time.Location) error {
	return s.print(firing, func() []render.Grid { return firingGrids(firing, zone) })
}

func firingGrids(firing *saggarv1.Firing, zone *time.Location) []render.Grid {
	if firing.GetStartTime() == nil {
		return nil // it could not be worked out; the findings say why
	}
	grids := []render.Grid{firingGrid(zone, firing)}
	if len(firing.GetLoads()) > 0 {
		grids = append(grids, firingLoadGrid(firing))
	}
	return grids
}

func firingGrid(zone *time.Location, firings ...*saggarv1.Firing) render.Grid {
	grid := render.Grid{Columns: []string{"firing", "on", "title", "starts", "free again", "to C", "attended by", "free l", "free g", "join until", "for", "state"}}
	for _, f := range firings {
		row := []string{
			cmp.Or(shortName(f.GetName()), "(new)"), f.GetFurnace(), f.GetTitle(), local(f.GetStartTime(), zone), local(f.GetEndTime(), zone),
			render.Number(f.GetTopCelsius()), f.GetAttendedBy(), "-", "-", "-", f.GetDepartment(), render.Enum(f.GetState()),
		}
		if o := f.GetOffer(); o != nil {
			row[7], row[8], row[9] = render.Number(o.GetFreeLiters()), render.Number(o.GetFreeGrams()), local(o.GetJoinUntilTime(), zone)
			row[10] = cmp.Or(strings.Join(o.GetDepartments(), ", "), "all")
		}
		grid.Rows = append(grid.Rows, row)
	}
	return grid
}

func firingLoadGrid(firing *saggarv1.Firing) render.Grid {
	grid := render.Grid{Columns: []string{"run", "stage", "department", "maker", "l", "g", "state"}}
	for _, l := range firing.GetLoads() {
		grid.Rows = append(grid.Rows, []string{
			shortName(l.GetRun()), l.GetStage(), l.GetDepartment(), l.GetMaker(), render.Number(l.GetLiters()), render.Number(l.GetGrams()),
			render.Enum(l.GetState()),
		})
	}
	return grid
}

func (s *shell) firingOpenCommand() *cobra.Command {
	var acknowledge []string
	var check bool
	command := &cobra.Command{
		Use:     "open FILE",
		Example: "  saggar firing open shared-bisque.yaml",
		Short:   "Book a firing for others to join, from a file with furnace, title, heat_program, start_time and offer",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.withZone(c.Context(), func(connection *api.Connection, parent string, zone *time.Location) error {
				request := &saggarv1.BookFiringRequest{}
				from, err := s.decode(args[0], request, zone)
				if err != nil {
					return badInput(err)
				}
				request.Parent, request.AcknowledgedFindingCodes, request.ValidateOnly = parent, acknowledge, check
				request.RequestId = api.NewRequestID()
				answer, err := connection.Firings.BookFiring(c.Context(), request)
				s.warnOfUnknown(acknowledge, answer.GetFindings(), api.Findings(err))
				if err != nil {
					return from.serverFaults("", err)
				}
				err = s.print(answer, func() []render.Grid {
					grids := append(firingGrids(answer.GetFiring(), zone), findingGrids(answer.GetFindings())...)
					return append(grids, notes(answer.GetAssumptions(), answer.GetCaution())...)
				})
				if err == nil && blocks(answer.GetFindings()) {
					return errRefused
				}
				return err
			})
		},
	}
	command.Flags().StringSliceVar(&acknowledge, "acknowledge", nil, "codes of warnings that you have read and accept")
	command.Flags().BoolVar(&check, "check", false, "only check it, and store nothing")
	return command
}

func (s *shell) firingShareCommand() *cobra.Command {
	offer := &saggarv1.FiringOffer{}
	var until string
	var acknowledge []string
	command := &cobra.Command{
		Use:     "share ID --liters L --grams G",
		Example: "  saggar firing share f12 --liters 40 --grams 15000 --join-until '2027-03-03 18:00'",
		Short:   "Offer what is free in a run's firing to others", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.withZone(c.Context(), func(connection *api.Connection, _ string, zone *time.Location) error {
				last, err := localTime("join-until", until, zone)
				if err != nil {
					return err
				}
				if !last.IsZero() {
					offer.JoinUntilTime = timestamppb.New(last)
				}
				return s.updateFiring(c.Context(), connection, zone, firingUpdate{
					firing: &saggarv1.Firing{Name: s.firingName(args[0]), Offer: offer}, field: "offer", acknowledge: acknowledge,
				})
			})
		},
	}
	flags := command.Flags()
	flags.Float64Var(&offer.Liters, "liters", 0, "room for others")
	flags.Float64Var(&offer.Grams, "grams", 0, "mass for others, vessels included")
	flags.StringVar(&until, "join-until", "", "last moment to join, local (default: when it begins)")
	flags.StringSliceVar(&offer.Departments, "for-department", nil, "only these departments' runs (default: all)")
	flags.StringSliceVar(&acknowledge, "acknowledge", nil, "codes of warnings that you have read and accept")
	for _, name := range []string{"liters", "grams"} {
		cobra.CheckErr(command.MarkFlagRequired(name))
	}
	return command
}

// firingUpdate is one change to a firing, by the field that changes.
type firingUpdate struct {
	firing      *saggarv1.Firing
	field       string
	acknowledge []string
}

func (s *shell) updateFiring(ctx context.Context, connection *api.Connection, zone *time.Location, u firingUpdate) error {
	stands, err := connection.Firings.GetFiring(ctx, &saggarv1.GetFiringRequest{Name: u.firing.GetName()})
	if err != nil {
		return err
	}
	u.firing.Etag = stands.GetEtag()
	changed, err := connection.Firings.UpdateFiring(ctx, &saggarv1.UpdateFiringRequest{
		Firing: u.firing, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{u.field}}, AcknowledgedFindingCodes: u.acknowledge,
		RequestId: api.NewRequestID(),
	})
	s.warnOfUnknown(u.acknowledge, api.Findings(err))
	if err != nil {
		return err
	}
	return s.printFiring(changed, zone)
}

func (s *shell) firingUnshareCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "unshare ID",
		Example: "  saggar firing unshare f12",
		Short:   "Take back what a run's firing offers, while nobody has joined", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.withZone(c.Context(), func(connection *api.Connection, _ string, zone *time.Location) error {
				return s.updateFiring(c.Context(), connection, zone, firingUpdate{
					firing: &saggarv1.Firing{Name: s.firingName(args[0])}, field: "offer",
				})
			})
		},
	}
}

func (s *shell) firingHandOverCommand() *cobra.Command {
	var to idFlag
	var acknowledge []string
	command := &cobra.Command{
		Use:     "hand-over ID --to PERSON",
		Example: "  saggar firing hand-over f12 --to tove",
		Short:   "Have somebody else answer for a firing", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.withZone(c.Context(), func(connection *api.Connection, _ string, zone *time.Location) error {
				return s.updateFiring(c.Context(), connection, zone, firingUpdate{
					firing: &saggarv1.Firing{Name: s.firingName(args[0]), AttendedBy: string(to)}, field: "attended_by", acknowledge: acknowledge,
				})
			})
		},
	}
	command.Flags().Var(&to, "to", "id of the person")
	command.Flags().StringSliceVar(&acknowledge, "acknowledge", nil, "codes of warnings that you have read and accept")
	cobra.CheckErr(command.MarkFlagRequired("to"))
	return command
}

func (s *shell) firingMoveCommand() *cobra.Command {
	var start string
	var acknowledge []string
	command := &cobra.Command{
		Use:     "move ID --start TIME",
		Example: "  saggar firing move f12 --start '2027-03-05 08:00'",
		Short:   "Move a shared firing with all that rides in it, or nothing", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.withZone(c.Context(), func(connection *api.Connection, parent string, zone *time.Location) error {
				at, err := localTime("start", start, zone)
				if err != nil {
					return err
				}
				stands, err := connection.Firings.GetFiring(c.Context(), &saggarv1.GetFiringRequest{Name: s.firingName(args[0])})
				if err != nil {
					return err
				}
				answer, err := connection.Runs.MoveRuns(c.Context(), &saggarv1.MoveRunsRequest{
					Parent:                   parent,
					Firings:                  []*saggarv1.FiringMove{{Name: stands.GetName(), StartTime: timestamppb.New(at), Etag: stands.GetEtag()}},
					AcknowledgedFindingCodes: acknowledge, RequestId: api.NewRequestID(),
				})
				s.warnOfUnknown(acknowledge, answer.GetFindings(), api.Findings(err))
				if err != nil {
					return err
				}
				return s.print(answer, func() []render.Grid {
					grids := []render.Grid{runGrid(answer.GetRuns()...), windowsGrid(answer.GetRuns(), zone)}
					return append(append(grids, findingGrids(answer.GetFindings())...), notes(nil, answer.GetCaution())...)
				})
			})
		},
	}
	command.Flags().StringVar(&start, "start", "", "when charging begins, local, such as '2027-03-05 08:00'")
	command.Flags().StringSliceVar(&acknowledge, "acknowledge", nil, "codes of warnings that you have read and accept")
	cobra.CheckErr(command.MarkFlagRequired("start"))
	return command
}

func (s *shell) firingCancelCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "cancel ID",
		Example: "  saggar firing cancel f12",
		Short:   "Call a shared firing off; 'run replan' finds other windows for what rode in it", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.withZone(c.Context(), func(connection *api.Connection, _ string, zone *time.Location) error {
				off, err := connection.Firings.CancelFiring(c.Context(), &saggarv1.CancelFiringRequest{
					Name: s.firingName(args[0]), RequestId: api.NewRequestID(),
				})
				if err != nil {
					return err
				}
				return s.printFiring(off, zone)
			})
		},
	}
}

// joinsFlag is a flag that may be given several times: STAGE=FIRING, or STAGE=FIRING@LITERS.
type joinsFlag struct {
	typed   []string
	windows []*saggarv1.StageWindow // with ids of firings
}

// Set adds one.
func (f *joinsFlag) Set(text string) error {
	stage, firing, given := strings.Cut(text, "=")
	firing, room, sized := strings.Cut(firing, "@")
	window := &saggarv1.StageWindow{Stage: stage, JoinFiring: firing}
	if sized {
		liters, err := strconv.ParseFloat(room, 64)
		given = given && err == nil && liters > 0
		window.LoadLiters = liters
	}
	if !given || stage == "" || firing == "" {
		return fmt.Errorf("give STAGE=FIRING or STAGE=FIRING@LITERS, such as bisque=f12@8")
	}
	f.typed, f.windows = append(f.typed, text), append(f.windows, window)
	return nil
}

// String is what was typed.
func (f *joinsFlag) String() string { return strings.Join(f.typed, ",") }

// Type is what help calls the value.
func (f *joinsFlag) Type() string { return "stage=firing[@liters]" }

// named are the windows with the firings' full names.
func (f *joinsFlag) named(studio string) []*saggarv1.StageWindow {
	var windows []*saggarv1.StageWindow
	for _, w := range f.windows {
		windows = append(windows, &saggarv1.StageWindow{
			Stage: w.GetStage(), JoinFiring: convert.Name(studio, "firings", w.GetJoinFiring()), LoadLiters: w.GetLoadLiters(),
		})
	}
	return windows
}
