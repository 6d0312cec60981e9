package app

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

// RuleUpdate is one rule that bookings are held to, as it shall be.
type RuleUpdate struct {
	StudioID string
	Rule     domain.BookingRule
	Expect   Expectation
}

// GetBookingRule returns one rule. Errors: domain.ErrNotFound.
func (a *App) GetBookingRule(ctx context.Context, studioID string, kind domain.RuleKind, id string) (found domain.BookingRule, err error) {
	err = a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		found, err = tx.BookingRule(ctx, studio.Key, kind, id)
		return err
	})
	return found, err
}

// ListBookingRules lists the rules of one kind by id.
func (a *App) ListBookingRules(ctx context.Context, studioID string, kind domain.RuleKind, page Page) (list []domain.BookingRule, err error) {
	err = a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		list, err = tx.ListBookingRules(ctx, studio.Key, kind, page.After, page.Limit)
		return err
	})
	return list, err
}

// UpdateBookingRule changes one rule. Runs that stand are not judged anew. Errors: finding.Faults, also for a reference to
// nothing; domain.ErrNotFound, domain.ErrChangedMeanwhile.
func (a *App) UpdateBookingRule(ctx context.Context, call Call, in RuleUpdate) (domain.BookingRule, error) {
	rule := in.Rule
	if err := rule.Check().Err(); err != nil {
		return rule, err
	}
	err := a.ruleChange(ctx, in.StudioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (domain.Change, error) {
		present, err := tx.BookingRule(ctx, studio.Key, rule.Kind, rule.ID)
		exists, err := in.Expect.met(rule.Name(), present.Revision, err)
		if err != nil {
			return domain.Change{}, err
		}
		if err := checkRuleReferences(ctx, tx, studio.Key, rule); err != nil {
			return domain.Change{}, err
		}
		rule.Revision = studio.Revision
		return a.logged(call, studio.Revision, rule.Name(), orNothing(exists, present.Body()), rule.Body()),
			tx.PutBookingRule(ctx, studio.Key, rule)
	})
	return rule, err
}

// DeleteBookingRule removes a rule that no other names. Errors: domain.ErrNotFound, domain.ErrChangedMeanwhile,
// domain.ErrWrongState.
func (a *App) DeleteBookingRule(ctx context.Context, call Call, in RuleUpdate) error {
	name := in.Rule.Name()
	return a.ruleChange(ctx, in.StudioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (domain.Change, error) {
		present, err := tx.BookingRule(ctx, studio.Key, in.Rule.Kind, in.Rule.ID)
		if _, err := in.Expect.met(name, present.Revision, err); err != nil {
			return domain.Change{}, err
		}
		if err := notLifted(ctx, tx, studio.Key, in.Rule); err != nil {
			return domain.Change{}, err
		}
		return a.logged(call, studio.Revision, name, present.Body(), nil),
			tx.DeleteBookingRule(ctx, studio.Key, in.Rule.Kind, in.Rule.ID)
	})
}

// notLifted refuses to remove an allotment that a rule of clearance names.
func notLifted(ctx context.Context, tx *store.Tx, studioKey int64, rule domain.BookingRule) error {
	rules, err := tx.BookingRules(ctx, studioKey)
	if err != nil || rule.Kind != domain.KindAllotment {
		return err
	}
	for _, other := range rules {
		if other.References().Allotment == rule.ID {
			return &domain.Error{Kind: domain.ErrWrongState, Subject: rule.Name(), Message: other.Name() + " lets runs go above it", Cure: "remove that first"}
		}
	}
	return nil
}

// ruleChange is a change of what bookings rest on, so that whatever was worked out before it is worked out anew.
func (a *App) ruleChange(ctx context.Context, studioID string, do rosterDo) error {
	return a.oneChange(ctx, studioID, do, func(studio *domain.Studio) { studio.EquipmentRevision = studio.Revision })
}

// checkRuleReferences returns the furnaces and people that a rule names and that do not stand.
func checkRuleReferences(ctx context.Context, tx *store.Tx, studioKey int64, rule domain.BookingRule) error {
	var faults finding.Faults
	named := rule.References()
	for i, id := range named.Furnaces {
		_, err := tx.EquipmentOne(ctx, studioKey, domain.KindFurnace, id)
		if err := missing(&faults, err, fmt.Sprintf("furnaces[%d]", i), "furnace "+id); err != nil {
			return err
		}
	}
	for i, id := range named.People {
		_, err := tx.Person(ctx, studioKey, id)
		if err := missing(&faults, err, fmt.Sprintf("clearing_people[%d]", i), "person "+id); err != nil {
			return err
		}
	}
	if named.Allotment != "" {
		_, err := tx.BookingRule(ctx, studioKey, domain.KindAllotment, named.Allotment)
		if err := missing(&faults, err, "over_allotment", "allotment "+named.Allotment); err != nil {
			return err
		}
	}
	if err := checkDepartmentStands(ctx, tx, studioKey, named.Department, &faults); err != nil {
		return err
	}
	return faults.Err()
}

// checkDepartmentStands takes any department while the studio keeps none, as a booking does.
func checkDepartmentStands(ctx context.Context, tx *store.Tx, studioKey int64, id string, faults *finding.Faults) error {
	if id == "" {
		return nil
	}
	kept, err := tx.ListDepartments(ctx, studioKey, "", 1)
	if err != nil || len(kept) == 0 {
		return err
	}
	_, err = tx.Department(ctx, studioKey, id)
	return missing(faults, err, "department", "department "+id)
}

// missing makes a fault of not finding what a field names.
func missing(faults *finding.Faults, err error, field, what string) error {
	if !errors.Is(err, domain.ErrNotFound) {
		return err
	}
	faults.Add(field, "there is no "+what, "add it first, or name one of the studio's")
	return nil
}

// checkNotNamed refuses to remove somebody whom a rule lets clear.
func checkNotNamed(ctx context.Context, tx *store.Tx, studioKey int64, person string) error {
	rules, err := tx.BookingRules(ctx, studioKey)
	if err != nil {
		return err
	}
	for _, rule := range rules {
		if slices.Contains(rule.References().People, person) {
			return &domain.Error{
				Kind: domain.ErrWrongState, Subject: "people/" + person, Message: rule.Name() + " lets them clear runs",
				Cure: "take them off it first",
			}
		}
	}
	return nil
}

// rules stores the rules of a load that differ from those that stand.
func (l *studioLoad) rules(ctx context.Context, given []domain.BookingRule) error {
	for _, rule := range given {
		present, err := l.tx.BookingRule(ctx, l.studio.Key, rule.Kind, rule.ID)
		exists := err == nil
		switch {
		case err != nil && !errors.Is(err, domain.ErrNotFound):
			return err
		case exists && same(present.Body(), rule.Body()):
			l.result.UnchangedCount++
			continue
		}
		if err := checkRuleReferences(ctx, l.tx, l.studio.Key, rule); err != nil {
			return underPath(ruleField(rule), err)
		}
		if err := l.advance(ctx, rule.Name(), orNothing(exists, present.Body()), rule.Body()); err != nil {
			return err
		}
		rule.Revision, l.studio.EquipmentRevision = l.studio.Revision, l.studio.Revision
		if err := l.tx.PutBookingRule(ctx, l.studio.Key, rule); err != nil {
			return err
		}
	}
	return nil
}

// ruleFields are the lists in a studio's file that hold each kind.
var ruleFields = map[domain.RuleKind]string{
	domain.KindClearanceRule: "clearance_rules", domain.KindAllotment: "allotments", domain.KindTaughtHours: "taught_hours",
	domain.KindBookingLimit: "booking_limits",
}

// ruleField is where a rule stands in what is loaded.
func ruleField(rule domain.BookingRule) string {
	return fmt.Sprintf("%s[%s]", ruleFields[rule.Kind], rule.ID)
}
