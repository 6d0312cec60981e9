package main

import (
	"cmp"
	"context"
	"fmt"
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

var vesselKind = equipmentKind{
	noun: "vessel", exampleID: "pot-3", plural: "vessels", field: "vessel", collection: "vessels",
	short: "Vessels: marked crucibles, saggars and trays, and which runs have them",
	empty: func() proto.Message { return &saggarv1.MarkedVessel{} },
	get: func(ctx context.Context, c *api.Connection, name string) (proto.Message, error) {
		return c.Equipment.GetVessel(ctx, &saggarv1.GetVesselRequest{Name: name})
	},
	list: func(ctx context.Context, c *api.Connection, parent, token string) (proto.Message, string, error) {
		page, err := c.Equipment.ListVessels(ctx, &saggarv1.ListVesselsRequest{Parent: parent, PageToken: token})
		return page, page.GetNextPageToken(), err
	},
	update: func(ctx context.Context, c *api.Connection, x change) (proto.Message, error) {
		return c.Equipment.UpdateVessel(ctx, &saggarv1.UpdateVesselRequest{
			Vessel: x.to.(*saggarv1.MarkedVessel), UpdateMask: x.mask, AllowMissing: x.create,
		})
	},
	columns: []string{"vessel", "mark", "kind", "count", "litres", "top C", "lid", "inspected", "whose", "wall holds", "state"},
	row: func(m proto.Message, zone *time.Location) []string {
		v := m.(*saggarv1.MarkedVessel)
		whose := cmp.Or(v.GetDepartment(), "all")
		if v.GetDepartment() != "" && v.GetShared() {
			whose += ", shared"
		}
		return []string{
			shortName(v.GetName()), v.GetMark(), render.Enum(v.GetKind()), count(max(v.GetCount(), 1)), orDash(v.GetVolumeLiters()),
			orDash(v.GetTopCelsius()), vesselLid(v), cmp.Or(v.GetInspectedOn(), never), whose, vesselHeld(v, zone), inUse(v.GetOutOfUse()),
		}
	},
}

func vesselLid(v *saggarv1.MarkedVessel) string {
	if v.GetLid() == saggarv1.Lid_LID_UNSPECIFIED {
		return "-"
	}
	return words(v.GetLid())
}

// vesselHeld is what a vessel's wall holds by now, and when somebody last said so.
func vesselHeld(v *saggarv1.MarkedVessel, zone *time.Location) string {
	held := cmp.Or(strings.ReplaceAll(strings.Join(v.GetNowHeld(), ", "), "_", " "), "clean")
	if v.GetHeldTime() != nil {
		held += "; recorded " + local(v.GetHeldTime(), zone)
	}
	return held
}

func inUse(out bool) string {
	if out {
		return "out of use"
	}
	return "usable"
}

func (s *shell) vesselCommand() *cobra.Command {
	return group(vesselKind.noun, vesselKind.short, s.equipmentListCommand(vesselKind), s.equipmentShowCommand(vesselKind),
		s.equipmentUpdateCommand(vesselKind), s.vesselCleanCommand(), s.holdsCommand(vesselKind),
		s.removeCommand(vesselKind, "Remove a vessel that no run ever had", func(ctx context.Context, c *api.Connection, name string) error {
			_, err := c.Equipment.DeleteVessel(ctx, &saggarv1.DeleteVesselRequest{Name: name})
			return err
		}))
}

func (s *shell) vesselCleanCommand() *cobra.Command {
	var still []string
	to := &saggarv1.MarkedVessel{}
	command := s.nowCommand(vesselKind, nowVerb{
		verb: "clean", short: "Record that a vessel has been cleaned of what it held, or of all but some of it", to: to,
		fill: func(id string, at time.Time) []string {
			to.Name, to.Held, to.HeldTime = convert.Name(s.studio, vesselKind.collection, id), still, timestamppb.New(at)
			return []string{"held", "held_time"}
		},
	})
	command.Flags().StringSliceVar(&still, "still", nil, "what its wall still holds, such as sulfur or cobalt; may be given several times")
	return command
}

// nowVerb records something about one resource at a time.
type nowVerb struct {
	verb, short string
	to          proto.Message
	// fill sets what is to be, and returns the fields that it has set.
	fill func(id string, at time.Time) []string
}

// nowCommand is a command that records something at a time, now unless one is given, and shows the resource.
func (s *shell) nowCommand(k equipmentKind, v nowVerb) *cobra.Command {
	var at string
	command := &cobra.Command{
		Use: v.verb + " ID", Example: "  saggar " + k.noun + " " + v.verb + " " + k.exampleID, Short: v.short, Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				when := time.Now().Truncate(time.Second)
				if at != "" {
					if when, err = localTime("at", at, zone); err != nil {
						return err
					}
				}
				mask := &fieldmaskpb.FieldMask{Paths: v.fill(args[0], when.In(zone))}
				changed, err := k.update(c.Context(), connection, change{to: v.to, mask: mask})
				if err != nil {
					return err
				}
				return s.print(changed, func() []render.Grid { return []render.Grid{k.grid(zone, changed)} })
			})
		},
	}
	command.Flags().StringVar(&at, "at", "", "when, local, such as '2027-03-01 08:00', or RFC 3339 (default: now)")
	return command
}

// holdsCommand shows which runs have what.
func (s *shell) holdsCommand(k equipmentKind) *cobra.Command {
	var since string
	command := &cobra.Command{
		Use: "holds [ID]", Example: "  saggar " + k.noun + " holds " + k.exampleID,
		Short: "List which runs have the " + k.plural + ", or one of them, from now on", Args: cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				request := &saggarv1.ListHoldsRequest{Parent: parent}
				if len(args) > 0 {
					request.Subject = k.collection + "/" + args[0]
				}
				if since != "" {
					from, err := localTime("since", since, zone)
					if err != nil {
						return err
					}
					request.StartTime = timestamppb.New(from)
				}
				all, err := pages(func(token string) (proto.Message, string, error) {
					request.PageToken = token
					page, err := connection.Equipment.ListHolds(c.Context(), request)
					return page, page.GetNextPageToken(), err
				})
				if err != nil {
					return err
				}
				return s.print(all, func() []render.Grid {
					return []render.Grid{holdsGrid(k, all.(*saggarv1.ListHoldsResponse).GetHolds(), zone)}
				})
			})
		},
	}
	command.Flags().StringVar(&since, "since", "", "also those that ended after this, local, such as '2027-03-01 08:00'")
	return command
}

func holdsGrid(k equipmentKind, holds []*saggarv1.Hold, zone *time.Location) render.Grid {
	grid := render.Grid{Columns: []string{k.noun, "how many", "from", "until", "run", "stage", "leaves in it"}}
	for _, h := range holds {
		collection, id, _ := strings.Cut(h.GetSubject(), "/")
		if collection != k.collection {
			continue
		}
		grid.Rows = append(grid.Rows, []string{
			id, count(h.GetCount()), local(h.GetStartTime(), zone), local(h.GetEndTime(), zone), shortName(h.GetRun()), h.GetStage(),
			cmp.Or(strings.ReplaceAll(strings.Join(h.GetLeaves(), ", "), "_", " "), "-"),
		})
	}
	return grid
}

// heldGrids show the vessels and the gear of runs, where they have any.
func heldGrids(runs []*saggarv1.Run) []render.Grid {
	grid := render.Grid{Columns: []string{"run", "stage", "vessels", "worn at the open furnace"}}
	for i, run := range runs {
		for _, w := range run.GetStageWindows() {
			if len(w.GetVessels()) == 0 && len(w.GetGear()) == 0 {
				continue
			}
			grid.Rows = append(grid.Rows, []string{
				runLabel(runs, i), w.GetStage(), cmp.Or(vesselsInWords(w.GetVessels()), "-"), cmp.Or(strings.Join(w.GetGear(), ", "), "-"),
			})
		}
	}
	if len(grid.Rows) == 0 {
		return nil
	}
	return []render.Grid{grid}
}

func vesselsInWords(uses []*saggarv1.VesselUse) string {
	var words []string
	for _, use := range uses {
		text := use.GetVessel()
		if use.GetMark() != "" {
			text += " marked " + use.GetMark()
		}
		if use.GetCount() > 1 {
			text = fmt.Sprintf("%d of %s", use.GetCount(), text)
		}
		words = append(words, text)
	}
	return strings.Join(words, ", ")
}
