package rpc

import (
	"context"
	"strconv"

	"google.golang.org/protobuf/types/known/emptypb"

	"saggar/chem/finding"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

type clearanceService struct {
	saggarv1.UnimplementedClearanceServiceServer
	ruleService
}

// GetClearanceRule returns one rule.
func (s *clearanceService) GetClearanceRule(ctx context.Context, req *saggarv1.GetClearanceRuleRequest) (*saggarv1.ClearanceRule, error) {
	return getRule(ctx, s.ruleService, clearanceRules, req.GetName())
}

// ListClearanceRules lists rules by name.
func (s *clearanceService) ListClearanceRules(ctx context.Context, req *saggarv1.ListClearanceRulesRequest) (*saggarv1.ListClearanceRulesResponse, error) {
	page, next, err := listRules(ctx, s.ruleService, clearanceRules, req)
	return &saggarv1.ListClearanceRulesResponse{ClearanceRules: page, NextPageToken: next}, err
}

// UpdateClearanceRule changes a rule, or creates it with allow_missing.
func (s *clearanceService) UpdateClearanceRule(ctx context.Context, req *saggarv1.UpdateClearanceRuleRequest) (*saggarv1.ClearanceRule, error) {
	return updateRule(ctx, s.ruleService, clearanceRules, req, req.GetClearanceRule())
}

// DeleteClearanceRule removes a rule.
func (s *clearanceService) DeleteClearanceRule(ctx context.Context, req *saggarv1.DeleteClearanceRuleRequest) (*emptypb.Empty, error) {
	return s.deleteRule(ctx, domain.KindClearanceRule, req)
}

// ClearRun says yes to what a run waits for.
func (s *clearanceService) ClearRun(ctx context.Context, req *saggarv1.ClearRunRequest) (*saggarv1.Run, error) {
	name, err := parseName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	run, err := s.app.ClearRun(ctx, callOf(ctx, req), app.RunDecision{
		StudioID: name.studio, RunID: name.id, ExpectRevision: revisionOf(req.GetEtag()), Rules: req.GetReasons(), Note: req.GetNote(),
	})
	if err != nil {
		return nil, err
	}
	return runToProto(name.studio, run), nil
}

// RefuseRun says no to what a run waits for.
func (s *clearanceService) RefuseRun(ctx context.Context, req *saggarv1.RefuseRunRequest) (*saggarv1.Run, error) {
	name, err := parseName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	run, err := s.app.RefuseRun(ctx, callOf(ctx, req), app.RunDecision{
		StudioID: name.studio, RunID: name.id, ExpectRevision: revisionOf(req.GetEtag()), Note: req.GetNote(),
	})
	if err != nil {
		return nil, err
	}
	return runToProto(name.studio, run), nil
}

// ListWaitingRuns lists the runs that wait for somebody's yes.
func (s *clearanceService) ListWaitingRuns(ctx context.Context, req *saggarv1.ListWaitingRunsRequest) (*saggarv1.ListWaitingRunsResponse, error) {
	after, err := keyPosition(ctx, req)
	if err != nil {
		return nil, err
	}
	studio := studioOf(req.GetParent())
	found, err := s.app.ListWaitingRuns(ctx, callOf(ctx, req), app.WaitingQuery{
		StudioID: studio, OnlyMine: req.GetOnlyMine(), AfterKey: after, Limit: pageSize(req) + 1,
	})
	if err != nil {
		return nil, err
	}
	page, next := cutPage(ctx, req, found, func(r domain.Run) *saggarv1.Run { return runToProto(studio, r) },
		func(r domain.Run) string { return strconv.FormatInt(r.Key, 36) })
	return &saggarv1.ListWaitingRunsResponse{WaitingRuns: page, NextPageToken: next}, nil
}

var clearanceRules = ruleKind[*saggarv1.ClearanceRule]{
	kind: domain.KindClearanceRule, field: "clearance_rule",
	toProto: func(r domain.BookingRule) *saggarv1.ClearanceRule { return clearanceRuleToProto(*r.Clearance) },
	fromProto: func(m *saggarv1.ClearanceRule) (domain.BookingRule, finding.Faults) {
		rule := clearanceRuleFromProto(m)
		return domain.BookingRule{Clearance: &rule}, nil
	},
}

// clearanceRuleToProto leaves out name and etag.
func clearanceRuleToProto(r domain.ClearanceRule) *saggarv1.ClearanceRule {
	m := &saggarv1.ClearanceRule{
		Title: r.Title, ChargedFromCelsius: r.ChargedFromCelsius, Hazards: r.Hazards, FindingCodes: r.FindingCodes, FirstRun: r.FirstRun,
		OutsideHours: weeklyToProto(r.OutsideHours), OverAllotment: r.OverAllotment, Furnaces: r.Furnaces,
		ClearingRole: roles.toProto(r.Role), ClearingPeople: r.People,
		ExpiresAfterHours: r.ExpiresAfterHours, AheadOfChargeHours: r.AheadOfChargeHours,
	}
	if g := r.OffGas; g != nil {
		m.OffGas = &saggarv1.OffGasAbove{Species: g.Species, GramsPerMinute: g.GramsPerMinute, Grams: g.Grams}
	}
	return m
}

func clearanceRuleFromProto(m *saggarv1.ClearanceRule) domain.ClearanceRule {
	r := domain.ClearanceRule{
		ID: convert.ID(m.GetName()), Title: m.GetTitle(), ChargedFromCelsius: m.GetChargedFromCelsius(), Hazards: m.GetHazards(),
		FindingCodes: m.GetFindingCodes(), FirstRun: m.GetFirstRun(), OutsideHours: weeklyFromProto(m.GetOutsideHours()),
		OverAllotment: m.GetOverAllotment(), Furnaces: m.GetFurnaces(), Role: roles.fromProto(m.GetClearingRole()),
		People: m.GetClearingPeople(), ExpiresAfterHours: m.GetExpiresAfterHours(), AheadOfChargeHours: m.GetAheadOfChargeHours(),
	}
	if g := m.GetOffGas(); g != nil {
		r.OffGas = &domain.OffGasAbove{Species: g.GetSpecies(), GramsPerMinute: g.GetGramsPerMinute(), Grams: g.GetGrams()}
	}
	return r
}

func clearancesToProto(clearances []domain.Clearance) []*saggarv1.Clearance {
	var list []*saggarv1.Clearance
	for _, c := range clearances {
		list = append(list, &saggarv1.Clearance{
			Rule: c.Rule, Reason: c.Reason, Stages: c.Stages, State: clearanceStates.toProto(c.State),
			ClearingRole: roles.toProto(c.Role), ClearingPeople: c.People, DecidedBy: c.DecidedBy,
			DecideTime: instant(c.DecideTime), Note: c.Note,
		})
	}
	return list
}
