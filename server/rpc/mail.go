package rpc

import (
	"context"

	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

type mailService struct {
	saggarv1.UnimplementedMailServiceServer
	app    *app.App
	people *peopleService // which merges as it does for people
}

const kindMailChoices = "mailChoices"

var mailPaces = newEnumTable(map[saggarv1.MailPace]domain.MailPace{
	saggarv1.MailPace_MAIL_PACE_NONE:    domain.MailNone,
	saggarv1.MailPace_MAIL_PACE_AT_ONCE: domain.MailAtOnce,
	saggarv1.MailPace_MAIL_PACE_HOURLY:  domain.MailHourly,
	saggarv1.MailPace_MAIL_PACE_DAILY:   domain.MailDaily,
})

// GetMailChoice returns somebody's choice.
func (s *mailService) GetMailChoice(ctx context.Context, req *saggarv1.GetMailChoiceRequest) (*saggarv1.MailChoice, error) {
	name, err := parseName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	found, err := s.app.GetMailChoice(ctx, callOf(ctx, req), name.studio, name.id)
	if err != nil {
		return nil, err
	}
	return mailChoiceToProto(name.studio, found), nil
}

// ListMailChoices lists the choices that the caller may see.
func (s *mailService) ListMailChoices(ctx context.Context, req *saggarv1.ListMailChoicesRequest) (*saggarv1.ListMailChoicesResponse, error) {
	after, err := pagePosition(ctx, req)
	if err != nil {
		return nil, err
	}
	studio := studioOf(req.GetParent())
	found, err := s.app.ListMailChoices(ctx, callOf(ctx, req), studio, app.Page{After: after, Limit: pageSize(req) + 1})
	if err != nil {
		return nil, err
	}
	page, next := cutPage(ctx, req, found, func(m domain.MailChoice) *saggarv1.MailChoice { return mailChoiceToProto(studio, m) },
		func(m domain.MailChoice) string { return m.PersonID })
	return &saggarv1.ListMailChoicesResponse{MailChoices: page, NextPageToken: next}, nil
}

// UpdateMailChoice changes somebody's choice, or makes it with allow_missing.
func (s *mailService) UpdateMailChoice(ctx context.Context, req *saggarv1.UpdateMailChoiceRequest) (*saggarv1.MailChoice, error) {
	const field = "mail_choice"
	name, err := parseName(field+".name", req.GetMailChoice().GetName())
	if err != nil {
		return nil, err
	}
	var present *saggarv1.MailChoice
	found, err := s.app.GetMailChoice(ctx, callOf(ctx, req), name.studio, name.id)
	if err == nil {
		present = mailChoiceToProto(name.studio, found)
	}
	merged, expect, err := mergeInto(s.people.rules, present, err, req, req.GetMailChoice())
	if err != nil {
		return nil, underField(field, name.id, err)
	}
	wanted := merged.(*saggarv1.MailChoice)
	changed, err := s.app.UpdateMailChoice(ctx, callOf(ctx, req), name.studio, domain.MailChoice{
		PersonID: name.id, Email: wanted.GetEmail(), Pace: paceOf(wanted.GetPace()),
	}, expect)
	if err != nil {
		return nil, underField(field, name.id, err)
	}
	return mailChoiceToProto(name.studio, changed), nil
}

// paceOf is once a day for who says nothing.
func paceOf(p saggarv1.MailPace) domain.MailPace {
	if p == saggarv1.MailPace_MAIL_PACE_UNSPECIFIED {
		return domain.MailDaily
	}
	return mailPaces.fromProto(p)
}

func mailChoiceToProto(studio string, m domain.MailChoice) *saggarv1.MailChoice {
	failed := m.Attempts
	if m.Failure == "" {
		failed = 0 // the first attempt is under way
	}
	return &saggarv1.MailChoice{
		Name: convert.Name(studio, kindMailChoices, m.PersonID), Email: m.Email, Pace: mailPaces.toProto(m.Pace), Etag: etagOf(m.Revision),
		SentTime: instant(m.SentTime), NextTime: instant(m.NextTime), Failure: m.Failure, FailedCount: int32(failed),
		DroppedTime: instant(m.DroppedTime),
	}
}
