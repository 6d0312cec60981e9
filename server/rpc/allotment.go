package rpc

import (
	"context"

	"google.golang.org/protobuf/types/known/emptypb"

	"saggar/chem/finding"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

type allotmentService struct {
	saggarv1.UnimplementedAllotmentServiceServer
	ruleService
}

// GetAllotment returns one.
func (s *allotmentService) GetAllotment(ctx context.Context, req *saggarv1.GetAllotmentRequest) (*saggarv1.Allotment, error) {
	return getRule(ctx, s.ruleService, allotments, req.GetName())
}

// ListAllotments lists those of a studio by name.
func (s *allotmentService) ListAllotments(ctx context.Context, req *saggarv1.ListAllotmentsRequest) (*saggarv1.ListAllotmentsResponse, error) {
	page, next, err := listRules(ctx, s.ruleService, allotments, req)
	return &saggarv1.ListAllotmentsResponse{Allotments: page, NextPageToken: next}, err
}

// UpdateAllotment changes one, or creates it with allow_missing.
func (s *allotmentService) UpdateAllotment(ctx context.Context, req *saggarv1.UpdateAllotmentRequest) (*saggarv1.Allotment, error) {
	return updateRule(ctx, s.ruleService, allotments, req, req.GetAllotment())
}

// DeleteAllotment removes one.
func (s *allotmentService) DeleteAllotment(ctx context.Context, req *saggarv1.DeleteAllotmentRequest) (*emptypb.Empty, error) {
	return s.deleteRule(ctx, domain.KindAllotment, req)
}

// GetTaughtHours returns one.
func (s *allotmentService) GetTaughtHours(ctx context.Context, req *saggarv1.GetTaughtHoursRequest) (*saggarv1.TaughtHours, error) {
	return getRule(ctx, s.ruleService, taughtHours, req.GetName())
}

// ListTaughtHours lists those of a studio by name.
func (s *allotmentService) ListTaughtHours(ctx context.Context, req *saggarv1.ListTaughtHoursRequest) (*saggarv1.ListTaughtHoursResponse, error) {
	page, next, err := listRules(ctx, s.ruleService, taughtHours, req)
	return &saggarv1.ListTaughtHoursResponse{TaughtHours: page, NextPageToken: next}, err
}

// UpdateTaughtHours changes one, or creates it with allow_missing.
func (s *allotmentService) UpdateTaughtHours(ctx context.Context, req *saggarv1.UpdateTaughtHoursRequest) (*saggarv1.TaughtHours, error) {
	return updateRule(ctx, s.ruleService, taughtHours, req, req.GetTaughtHours())
}

// DeleteTaughtHours removes one.
func (s *allotmentService) DeleteTaughtHours(ctx context.Context, req *saggarv1.DeleteTaughtHoursRequest) (*emptypb.Empty, error) {
	return s.deleteRule(ctx, domain.KindTaughtHours, req)
}

// GetBookingLimit returns one.
func (s *allotmentService) GetBookingLimit(ctx context.Context, req *saggarv1.GetBookingLimitRequest) (*saggarv1.BookingLimit, error) {
	return getRule(ctx, s.ruleService, bookingLimits, req.GetName())
}

// ListBookingLimits lists those of a studio by name.
func (s *allotmentService) ListBookingLimits(ctx context.Context, req *saggarv1.ListBookingLimitsRequest) (*saggarv1.ListBookingLimitsResponse, error) {
	page, next, err := listRules(ctx, s.ruleService, bookingLimits, req)
	return &saggarv1.ListBookingLimitsResponse{BookingLimits: page, NextPageToken: next}, err
}

// UpdateBookingLimit changes one, or creates it with allow_missing.
func (s *allotmentService) UpdateBookingLimit(ctx context.Context, req *saggarv1.UpdateBookingLimitRequest) (*saggarv1.BookingLimit, error) {
	return updateRule(ctx, s.ruleService, bookingLimits, req, req.GetBookingLimit())
}

// DeleteBookingLimit removes one.
func (s *allotmentService) DeleteBookingLimit(ctx context.Context, req *saggarv1.DeleteBookingLimitRequest) (*emptypb.Empty, error) {
	return s.deleteRule(ctx, domain.KindBookingLimit, req)
}

var allotments = ruleKind[*saggarv1.Allotment]{
	kind: domain.KindAllotment, field: "allotment",
	toProto: func(r domain.BookingRule) *saggarv1.Allotment {
		a := r.Allotment
		return &saggarv1.Allotment{
			Title: a.Title, Department: a.Department, Furnaces: a.Furnaces, FurnaceHours: a.FurnaceHours, KilowattHours: a.KilowattHours,
			FirstDate: a.FirstDate, LastDate: a.LastDate,
		}
	},
	fromProto: func(m *saggarv1.Allotment) (domain.BookingRule, finding.Faults) {
		return domain.BookingRule{Allotment: &domain.Allotment{
			ID: convert.ID(m.GetName()), Title: m.GetTitle(), Department: m.GetDepartment(), Furnaces: m.GetFurnaces(),
			FurnaceHours: m.GetFurnaceHours(), KilowattHours: m.GetKilowattHours(), FirstDate: m.GetFirstDate(), LastDate: m.GetLastDate(),
		}}, nil
	},
}

var taughtHours = ruleKind[*saggarv1.TaughtHours]{
	kind: domain.KindTaughtHours, field: "taught_hours",
	toProto: func(r domain.BookingRule) *saggarv1.TaughtHours {
		h := r.Taught
		return &saggarv1.TaughtHours{
			Title: h.Title, Department: h.Department, Furnaces: h.Furnaces, Weekly: weeklyToProto(h.Weekly), FirstDate: h.FirstDate,
			LastDate: h.LastDate, FreeAheadHours: h.FreeAheadHours,
		}
	},
	fromProto: func(m *saggarv1.TaughtHours) (domain.BookingRule, finding.Faults) {
		return domain.BookingRule{Taught: &domain.TaughtHours{
			ID: convert.ID(m.GetName()), Title: m.GetTitle(), Department: m.GetDepartment(), Furnaces: m.GetFurnaces(),
			Weekly: weeklyFromProto(m.GetWeekly()), FirstDate: m.GetFirstDate(), LastDate: m.GetLastDate(), FreeAheadHours: m.GetFreeAheadHours(),
		}}, nil
	},
}

var bookingLimits = ruleKind[*saggarv1.BookingLimit]{
	kind: domain.KindBookingLimit, field: "booking_limit",
	toProto: func(r domain.BookingRule) *saggarv1.BookingLimit {
		l := r.Limit
		return &saggarv1.BookingLimit{
			Title: l.Title, Role: roles.toProto(l.Role), AheadDays: l.AheadDays, UnusedHours: l.UnusedHours, MissedDays: l.MissedDays,
		}
	},
	fromProto: func(m *saggarv1.BookingLimit) (domain.BookingRule, finding.Faults) {
		return domain.BookingRule{Limit: &domain.BookingLimit{
			ID: convert.ID(m.GetName()), Title: m.GetTitle(), Role: roles.fromProto(m.GetRole()), AheadDays: m.GetAheadDays(),
			UnusedHours: m.GetUnusedHours(), MissedDays: m.GetMissedDays(),
		}}, nil
	},
}
