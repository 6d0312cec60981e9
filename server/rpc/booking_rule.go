package rpc

import (
	"context"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/emptypb"

	"saggar/chem/finding"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

// ruleService serves the rules that bookings are held to.
type ruleService struct {
	app   *app.App
	rules *fieldRules
}

// ruleKind is what one kind of rule differs by from the others. toProto leaves out name and etag, fromProto kind and id.
type ruleKind[M resource] struct {
	kind      domain.RuleKind
	field     string // in the request of its Update method
	toProto   func(r domain.BookingRule) M
	fromProto func(m M) (domain.BookingRule, finding.Faults)
}

func (k ruleKind[M]) message(studio string, r domain.BookingRule) M {
	m := k.toProto(r)
	setName(m, convert.Name(studio, string(k.kind), r.ID))
	reflected := m.ProtoReflect()
	reflected.Set(reflected.Descriptor().Fields().ByName("etag"), protoreflect.ValueOfString(etagOf(r.Revision)))
	return m
}

func (k ruleKind[M]) rule(m M) (domain.BookingRule, finding.Faults) {
	rule, faults := k.fromProto(m)
	rule.Kind, rule.ID = k.kind, convert.ID(m.GetName())
	return rule, faults
}

func getRule[M resource](ctx context.Context, s ruleService, kind ruleKind[M], name string) (M, error) {
	var none M
	parsed, err := parseName("name", name)
	if err != nil {
		return none, err
	}
	found, err := s.app.GetBookingRule(ctx, parsed.studio, kind.kind, parsed.id)
	if err != nil {
		return none, err
	}
	return kind.message(parsed.studio, found), nil
}

func listRules[M resource](ctx context.Context, s ruleService, kind ruleKind[M], req parentListRequest) ([]M, string, error) {
	after, err := pagePosition(ctx, req)
	if err != nil {
		return nil, "", err
	}
	studio := studioOf(req.GetParent())
	found, err := s.app.ListBookingRules(ctx, studio, kind.kind, app.Page{After: after, Limit: pageSize(req) + 1})
	if err != nil {
		return nil, "", err
	}
	page, next := cutPage(ctx, req, found, func(r domain.BookingRule) M { return kind.message(studio, r) },
		func(r domain.BookingRule) string { return r.ID })
	return page, next, nil
}

func updateRule[M resource](ctx context.Context, s ruleService, kind ruleKind[M], req updateRequest, given M) (M, error) {
	var none M
	name, err := parseName(kind.field+".name", given.GetName())
	if err != nil {
		return none, err
	}
	present, err := getRule(ctx, s, kind, given.GetName())
	merged, expect, err := mergeInto(s.rules, present, err, req, given)
	if err != nil {
		return none, underField(kind.field, name.id, err)
	}
	rule, faults := kind.rule(merged.(M))
	if faults != nil {
		return none, underField(kind.field, name.id, faults)
	}
	changed, err := s.app.UpdateBookingRule(ctx, callOf(ctx, req), app.RuleUpdate{StudioID: name.studio, Rule: rule, Expect: expect})
	if err != nil {
		return none, underField(kind.field, name.id, err)
	}
	return kind.message(name.studio, changed), nil
}

// deleteRequest is the request of a Delete method.
type deleteRequest interface {
	proto.Message
	GetName() string
	GetEtag() string
}

func (s ruleService) deleteRule(ctx context.Context, kind domain.RuleKind, req deleteRequest) (*emptypb.Empty, error) {
	name, err := parseName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	return &emptypb.Empty{}, s.app.DeleteBookingRule(ctx, callOf(ctx, req), app.RuleUpdate{
		StudioID: name.studio, Rule: domain.BookingRule{Kind: kind, ID: name.id}, Expect: app.Expectation{Revision: revisionOf(req.GetEtag())},
	})
}

func loadRules[M resource](l loader, list string, messages []M, kind ruleKind[M]) {
	for i, m := range messages {
		path := listPath("contents."+list, i)
		if _, faults := within(l.studio, path+".name", m.GetName()); faults != nil {
			*l.faults = append(*l.faults, faults...)
			continue
		}
		rule, faults := kind.rule(m)
		l.faults.AddUnder(path, faults)
		l.input.Rules = append(l.input.Rules, rule)
	}
}

func weeklyToProto(weekly []domain.WeeklyHours) []*saggarv1.WeeklyHours {
	return hoursToProto(domain.StaffedHours{Weekly: weekly}).GetWeekly()
}
