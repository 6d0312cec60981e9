package store

import (
	"context"
	"encoding/json"
	"fmt"

	"saggar/server/domain"
	"saggar/server/store/queries"
)

// BookingRules returns every rule that a studio holds bookings to, by kind and id.
func (t *Tx) BookingRules(ctx context.Context, studioKey int64) ([]domain.BookingRule, error) {
	rows, err := t.q.AllBookingRules(ctx, studioKey)
	if err != nil {
		return nil, err
	}
	return decodeAll(rows, toBookingRule)
}

// BookingRule returns one rule, or domain.ErrNotFound.
func (t *Tx) BookingRule(ctx context.Context, studioKey int64, kind domain.RuleKind, id string) (domain.BookingRule, error) {
	row, err := t.q.GetBookingRule(ctx, queries.GetBookingRuleParams{StudioKey: studioKey, Kind: string(kind), RuleID: id})
	if err != nil {
		return domain.BookingRule{}, named(err, string(kind), id)
	}
	return toBookingRule(queries.AllBookingRulesRow(row))
}

// ListBookingRules returns a kind's rules with ids after the given one, by id, at most limit; 0: all.
func (t *Tx) ListBookingRules(
	ctx context.Context, studioKey int64, kind domain.RuleKind, after string, limit int,
) ([]domain.BookingRule, error) {
	rows, err := t.q.ListBookingRules(ctx, queries.ListBookingRulesParams{
		StudioKey: studioKey, Kind: string(kind), AfterID: after, MaxRows: int64(limit),
	})
	if err != nil {
		return nil, err
	}
	return decodeAll(rows, func(row queries.ListBookingRulesRow) (domain.BookingRule, error) {
		return toBookingRule(queries.AllBookingRulesRow(row))
	})
}

// PutBookingRule stores a rule, new or in place of the one with its kind and id.
func (t *Tx) PutBookingRule(ctx context.Context, studioKey int64, r domain.BookingRule) error {
	body, err := encode(r.Name(), r.Body())
	if err != nil {
		return err
	}
	return t.q.PutBookingRule(ctx, queries.PutBookingRuleParams{
		StudioKey: studioKey, Kind: string(r.Kind), RuleID: r.ID, Revision: r.Revision, Body: body,
	})
}

// DeleteBookingRule removes a rule. Errors: domain.ErrNotFound.
func (t *Tx) DeleteBookingRule(ctx context.Context, studioKey int64, kind domain.RuleKind, id string) error {
	count, err := t.q.DeleteBookingRule(ctx, queries.DeleteBookingRuleParams{StudioKey: studioKey, Kind: string(kind), RuleID: id})
	if err == nil && count == 0 {
		return domain.NotFound(string(kind) + "/" + id)
	}
	return err
}

func toBookingRule(row queries.AllBookingRulesRow) (domain.BookingRule, error) {
	r, known := domain.NewRule(domain.RuleKind(row.Kind))
	if !known {
		return r, fmt.Errorf("read the stored %s/%s: this server does not know the kind", row.Kind, row.RuleID)
	}
	r.ID, r.Revision = row.RuleID, row.Revision
	if err := json.Unmarshal(row.Body, r.Body()); err != nil {
		return r, fmt.Errorf("read the stored %s: %w", r.Name(), err)
	}
	return r, nil
}
