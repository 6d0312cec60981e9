package main

import (
	"cmp"
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/client/api"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

var gearKind = equipmentKind{
	noun: "gear", exampleID: "mask-2", plural: "gear", field: "gear", collection: "gear",
	short: "Gear: respirators, goggles and more, who wears them, and how long cartridges last",
	empty: func() proto.Message { return &saggarv1.Gear{} },
	get: func(ctx context.Context, c *api.Connection, name string) (proto.Message, error) {
		return c.Equipment.GetGear(ctx, &saggarv1.GetGearRequest{Name: name})
	},
	list: func(ctx context.Context, c *api.Connection, parent, token string) (proto.Message, string, error) {
		page, err := c.Equipment.ListGear(ctx, &saggarv1.ListGearRequest{Parent: parent, PageToken: token})
		return page, page.GetNextPageToken(), err
	},
	update: func(ctx context.Context, c *api.Connection, x change) (proto.Message, error) {
		return c.Equipment.UpdateGear(ctx, &saggarv1.UpdateGearRequest{
			Gear: x.to.(*saggarv1.Gear), UpdateMask: x.mask, AllowMissing: x.create,
		})
	},
	columns: []string{"gear", "kind", "class", "count", "fitted to", "cartridge for", "hours used", "state"},
	row: func(m proto.Message, _ *time.Location) []string {
		g := m.(*saggarv1.Gear)
		return []string{
			shortName(g.GetName()), words(g.GetKind()), g.GetRespiratorClass(), count(max(g.GetCount(), 1)), cmp.Or(g.GetFittedTo(), "shared"),
			cmp.Or(strings.Join(g.GetCartridgeGases(), ", "), "-"), cartridgeHours(g), inUse(g.GetOutOfUse()),
		}
	},
}

// cartridgeHours are how long a cartridge has been used by now and will have been with what is booked, of what it may be.
func cartridgeHours(g *saggarv1.Gear) string {
	if len(g.GetCartridgeGases()) == 0 {
		return "-"
	}
	return fmt.Sprintf("%.1f, booked %.1f of %s", g.GetSpentHours(), g.GetBookedHours(), render.Number(g.GetCartridgeHours()))
}

func (s *shell) gearCommand() *cobra.Command {
	return group(gearKind.noun, gearKind.short, s.equipmentListCommand(gearKind), s.equipmentShowCommand(gearKind),
		s.equipmentUpdateCommand(gearKind), s.gearRenewCommand(), s.holdsCommand(gearKind),
		s.removeCommand(gearKind, "Remove gear that no run ever had", func(ctx context.Context, c *api.Connection, name string) error {
			_, err := c.Equipment.DeleteGear(ctx, &saggarv1.DeleteGearRequest{Name: name})
			return err
		}))
}

func (s *shell) gearRenewCommand() *cobra.Command {
	var used float64
	to := &saggarv1.Gear{}
	command := s.nowCommand(gearKind, nowVerb{
		verb: "renew", short: "Record that a new cartridge was put in, or for how long the present one has been used", to: to,
		fill: func(id string, at time.Time) []string {
			to.Name, to.UsedHours, to.UsedTime = convert.Name(s.studio, gearKind.collection, id), used, timestamppb.New(at)
			if used > 0 {
				return []string{"used_hours", "used_time"}
			}
			to.InstalledOn = at.Format(time.DateOnly)
			return []string{"used_hours", "used_time", "installed_on"}
		},
	})
	command.Flags().Float64Var(&used, "used-hours", 0, "for how long the present cartridge has been used until then, instead of a new one")
	return command
}
