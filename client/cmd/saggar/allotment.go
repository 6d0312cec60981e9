package main

import (
	"context"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"saggar/client/api"
	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

var (
	allotmentKind = equipmentKind{
		noun: "allotment", exampleID: "glass-week", plural: "allotments", field: "allotment", collection: "allotments",
		short: "Allotments: what a department may book in each week or a term",
		empty: func() proto.Message { return &saggarv1.Allotment{} },
		get: func(ctx context.Context, c *api.Connection, name string) (proto.Message, error) {
			return c.Allotments.GetAllotment(ctx, &saggarv1.GetAllotmentRequest{Name: name})
		},
		list: func(ctx context.Context, c *api.Connection, parent, token string) (proto.Message, string, error) {
			page, err := c.Allotments.ListAllotments(ctx, &saggarv1.ListAllotmentsRequest{Parent: parent, PageToken: token})
			return page, page.GetNextPageToken(), err
		},
		update: func(ctx context.Context, c *api.Connection, x change) (proto.Message, error) {
			return c.Allotments.UpdateAllotment(ctx, &saggarv1.UpdateAllotmentRequest{
				Allotment: x.to.(*saggarv1.Allotment), UpdateMask: x.mask, AllowMissing: x.create,
			})
		},
		columns: []string{"allotment", "title", "department", "on", "hours", "kWh", "from", "to"},
		row: func(m proto.Message, _ *time.Location) []string {
			a := m.(*saggarv1.Allotment)
			from := a.GetFirstDate()
			if from == "" {
				from = "each week"
			}
			return []string{
				shortName(a.GetName()), a.GetTitle(), a.GetDepartment(), onFurnaces(a.GetFurnaces()), orDash(a.GetFurnaceHours()),
				orDash(a.GetKilowattHours()), from, a.GetLastDate(),
			}
		},
	}
	taughtKind = equipmentKind{
		noun: "taught", exampleID: "glass-two", plural: "taught hours", field: "taught_hours", collection: "taughtHours",
		short: "Taught hours: whose bookings come first, and when",
		empty: func() proto.Message { return &saggarv1.TaughtHours{} },
		get: func(ctx context.Context, c *api.Connection, name string) (proto.Message, error) {
			return c.Allotments.GetTaughtHours(ctx, &saggarv1.GetTaughtHoursRequest{Name: name})
		},
		list: func(ctx context.Context, c *api.Connection, parent, token string) (proto.Message, string, error) {
			page, err := c.Allotments.ListTaughtHours(ctx, &saggarv1.ListTaughtHoursRequest{Parent: parent, PageToken: token})
			return page, page.GetNextPageToken(), err
		},
		update: func(ctx context.Context, c *api.Connection, x change) (proto.Message, error) {
			return c.Allotments.UpdateTaughtHours(ctx, &saggarv1.UpdateTaughtHoursRequest{
				TaughtHours: x.to.(*saggarv1.TaughtHours), UpdateMask: x.mask, AllowMissing: x.create,
			})
		},
		columns: []string{"taught", "title", "department", "on", "weekly hours", "from", "to", "free ahead h"},
		row: func(m proto.Message, _ *time.Location) []string {
			h := m.(*saggarv1.TaughtHours)
			return []string{
				shortName(h.GetName()), h.GetTitle(), h.GetDepartment(), onFurnaces(h.GetFurnaces()), weeklyText(h.GetWeekly()),
				h.GetFirstDate(), h.GetLastDate(), orDash(h.GetFreeAheadHours()),
			}
		},
	}
	limitKind = equipmentKind{
		noun: "limit", exampleID: "makers", plural: "booking limits", field: "booking_limit", collection: "bookingLimits",
		short: "Booking limits: how far ahead who books, and how much may be unused",
		empty: func() proto.Message { return &saggarv1.BookingLimit{} },
		get: func(ctx context.Context, c *api.Connection, name string) (proto.Message, error) {
			return c.Allotments.GetBookingLimit(ctx, &saggarv1.GetBookingLimitRequest{Name: name})
		},
		list: func(ctx context.Context, c *api.Connection, parent, token string) (proto.Message, string, error) {
			page, err := c.Allotments.ListBookingLimits(ctx, &saggarv1.ListBookingLimitsRequest{Parent: parent, PageToken: token})
			return page, page.GetNextPageToken(), err
		},
		update: func(ctx context.Context, c *api.Connection, x change) (proto.Message, error) {
			return c.Allotments.UpdateBookingLimit(ctx, &saggarv1.UpdateBookingLimitRequest{
				BookingLimit: x.to.(*saggarv1.BookingLimit), UpdateMask: x.mask, AllowMissing: x.create,
			})
		},
		columns: []string{"limit", "title", "role", "days ahead", "unused h", "missed days"},
		row: func(m proto.Message, _ *time.Location) []string {
			l := m.(*saggarv1.BookingLimit)
			return []string{
				shortName(l.GetName()), l.GetTitle(), render.Enum(l.GetRole()), orDash(l.GetAheadDays()), orDash(l.GetUnusedHours()),
				orDash(l.GetMissedDays()),
			}
		},
	}
)

func onFurnaces(ids []string) string {
	if len(ids) == 0 {
		return "all"
	}
	return strings.Join(ids, ", ")
}

func (s *shell) allotmentCommand() *cobra.Command {
	command := s.equipmentCommand(allotmentKind)
	command.AddCommand(s.removeCommand(allotmentKind, "Remove an allotment; its department then books without one",
		func(ctx context.Context, c *api.Connection, name string) error {
			_, err := c.Allotments.DeleteAllotment(ctx, &saggarv1.DeleteAllotmentRequest{Name: name})
			return err
		}))
	return command
}

func (s *shell) taughtCommand() *cobra.Command {
	command := s.equipmentCommand(taughtKind)
	command.AddCommand(s.removeCommand(taughtKind, "Remove taught hours; anybody then books into them",
		func(ctx context.Context, c *api.Connection, name string) error {
			_, err := c.Allotments.DeleteTaughtHours(ctx, &saggarv1.DeleteTaughtHoursRequest{Name: name})
			return err
		}))
	return command
}

func (s *shell) limitCommand() *cobra.Command {
	command := s.equipmentCommand(limitKind)
	command.AddCommand(s.removeCommand(limitKind, "Remove a booking limit",
		func(ctx context.Context, c *api.Connection, name string) error {
			_, err := c.Allotments.DeleteBookingLimit(ctx, &saggarv1.DeleteBookingLimitRequest{Name: name})
			return err
		}))
	return command
}
