package app

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

// Codes of the findings about what departments and makers may book.
const (
	codeAllotmentSpent = "ALLOTMENT_SPENT"
	codeTaughtHours    = "TAUGHT_HOURS"
	codeTooFarAhead    = "BOOKED_TOO_FAR_AHEAD"
	codeUnusedHours    = "UNUSED_HOURS"
)

// meter is a sum that a booking may fill up to a limit, with what was left of it in the snapshot once the booking is in.
// Under the lock only firings that came in since are taken off.
type meter struct {
	window domain.Window // in which firings must start; without an end: from then on
	counts func(f domain.Firing) bool
	of     func(u domain.Use) float64
	left   float64
}

// holds reports whether what is left is enough for firings that came in. One that only changed is counted again: whoever is
// told that it is not enough looks anew, and refuses nobody for it.
func (m meter) holds(added []domain.Firing) bool {
	left := m.left
	for _, f := range added {
		late := m.window.End.IsZero() || f.Window.Start.Before(m.window.End)
		if late && !f.Window.Start.Before(m.window.Start) && m.counts(f) {
			left -= m.of(f.Use())
		}
	}
	return left >= -roundingHours
}

// roundingHours is what sums of hours may be off by.
const roundingHours = 1e-6

// lockWindow is where firings that come in between matter, for what they share and for what they add up to.
func (p *prepared) lockWindow() domain.Window {
	window := p.reach
	for _, m := range p.meters {
		if m.window.Start.Before(window.Start) {
			window.Start = m.window.Start
		}
		end := m.window.End
		if end.IsZero() {
			end = m.window.Start.AddDate(100, 0, 0)
		}
		window.End = later(window.End, end)
	}
	return window
}

// limits holds what is to be booked against allotments, taught hours and how far ahead the caller books. It returns by how
// much each run goes above allotments that a clearance can lift.
func (c ruleCheck) limits(ctx context.Context) ([]map[string]domain.OverUse, error) {
	over := make([]map[string]domain.OverUse, len(c.assessments))
	for i := range over {
		over[i] = map[string]domain.OverUse{}
	}
	for _, rule := range c.rules {
		var err error
		switch {
		case rule.Allotment != nil:
			err = c.allotment(ctx, *rule.Allotment, over)
		case rule.Taught != nil:
			c.taught(*rule.Taught)
		case rule.Limit != nil && rule.Limit.Role == c.by.Role:
			err = c.limit(ctx, *rule.Limit)
		}
		if err != nil {
			return nil, err
		}
	}
	return over, nil
}

// toCome are the firings of a run that have not begun, with the paths of their windows. What joins a shared firing holds none.
func (c ruleCheck) toCome(index int) []plannedFiring {
	var firings []plannedFiring
	for i, load := range c.runs[index].Loads {
		if load.Firing != nil && !load.Joined && !load.Begun(c.now) {
			field := fmt.Sprintf("%s.stage_windows[%d]", fieldOfRun(c.standing != nil, index), i)
			firings = append(firings, plannedFiring{Firing: *load.Firing, field: field})
		}
	}
	return firings
}

// refuse adds a finding that refuses.
func (c ruleCheck) refuse(f finding.Finding) {
	f.Severity = finding.Block
	c.prepared.findings = append(c.prepared.findings, f)
}

func (c ruleCheck) clock(t time.Time) string { return t.In(c.site.Zone).Format("Mon 2 Jan 15:04") }

// moved are keys of firings that end with this and do not count.
func (c ruleCheck) moved() []int64 { return slices.Collect(maps.Keys(c.movedFrom)) }

// allotment adds the runs up, one after the other, in each week or term.
func (c ruleCheck) allotment(ctx context.Context, a domain.Allotment, over []map[string]domain.OverUse) error {
	used := map[domain.Window]float64{}
	for i := range c.assessments {
		if c.runs[i].Department != a.Department {
			continue
		}
		refused := map[domain.Window]bool{}
		for _, f := range c.toCome(i) {
			period, counts := a.Period(f.Window.Start, c.site.Zone)
			if !counts || !a.On(f.Furnace) {
				continue
			}
			if _, known := used[period]; !known {
				others, err := c.tx.Uses(ctx, c.site.Studio.Key, store.UsesQuery{
					Department: a.Department, Window: period, FurnaceIDs: a.Furnaces, ExceptKeys: c.moved(),
				})
				if err != nil {
					return err
				}
				used[period], _, _ = a.Of(others)
			}
			takes, allowed, unit := a.Of(f.Use())
			before := used[period]
			used[period] += takes
			if used[period] <= allowed+roundingHours {
				continue
			}
			above := over[i][a.ID]
			above.Amount, above.Unit = above.Amount+min(takes, used[period]-allowed), unit
			above.Begins = once(append(above.Begins, period.Start.In(c.site.Zone).Format(time.DateOnly)))
			over[i][a.ID] = above
			if !refused[period] && !c.clearable(a.ID, f) {
				refused[period] = true
				c.refuse(c.spent(a, f, period, before))
			}
		}
	}
	for period, sum := range used {
		_, allowed, _ := a.Of(domain.Use{})
		if sum <= allowed+roundingHours {
			c.prepared.meters = append(c.prepared.meters, meter{
				window: period, left: allowed - sum,
				counts: func(f domain.Firing) bool { return f.Department == a.Department && a.On(f.Furnace) },
				of: func(u domain.Use) float64 {
					used, _, _ := a.Of(u)
					return used
				},
			})
		}
	}
	return nil
}

// clearable reports whether somebody may let a firing above an allotment.
func (c ruleCheck) clearable(allotment string, f plannedFiring) bool {
	return slices.ContainsFunc(c.rules, func(r domain.BookingRule) bool {
		return r.Clearance != nil && r.Clearance.OverAllotment == allotment &&
			(len(r.Clearance.Furnaces) == 0 || slices.Contains(r.Clearance.Furnaces, f.Furnace))
	})
}

func (c ruleCheck) spent(a domain.Allotment, f plannedFiring, period domain.Window, before float64) finding.Finding {
	takes, allowed, unit := a.Of(f.Use())
	left := max(0, allowed-before)
	return finding.Finding{
		Code: codeAllotmentSpent, Field: f.field, About: a.ID,
		Message: fmt.Sprintf("allotment %s lets %s book %.4g %s from %s to %s, of which %.4g %s are left, and stage %s takes %.4g %s",
			a.ID, a.Department, allowed, unit, c.clock(period.Start), c.clock(period.End), left, unit, f.Stage, takes, unit),
		Figures: []finding.Figure{
			{Name: "allowed", Value: allowed, Unit: unit}, {Name: "left", Value: left, Unit: unit}, {Name: "taken", Value: takes, Unit: unit},
		},
		Cure: fmt.Sprintf("start it from %s on, call something off, or ask a steward for a larger allotment", c.clock(period.End)),
	}
}

// taughtFor are the taught hours that bind a role; a technician, and RoleNone that asks for nobody, book into any.
func taughtFor(rules []domain.BookingRule, role domain.Role) []domain.TaughtHours {
	if role == domain.RoleNone || role >= domain.RoleTechnician {
		return nil
	}
	var taught []domain.TaughtHours
	for _, rule := range rules {
		if rule.Taught != nil {
			taught = append(taught, *rule.Taught)
		}
	}
	return taught
}

// aheadFor is the limit by which a role books the least far ahead, RoleNone as a technician; nil: there is none.
func aheadFor(rules []domain.BookingRule, role domain.Role) *domain.BookingLimit {
	var least *domain.BookingLimit
	for _, rule := range rules {
		l := rule.Limit
		if l != nil && l.AheadDays > 0 && l.Role == cmp.Or(role, domain.RoleTechnician) && (least == nil || l.AheadDays < least.AheadDays) {
			least = l
		}
	}
	return least
}

// taught refuses others than the department and technicians in a class that is still kept.
func (c ruleCheck) taught(h domain.TaughtHours) {
	if c.by.Role >= domain.RoleTechnician {
		return
	}
	for i := range c.assessments {
		if c.runs[i].Department == h.Department {
			continue
		}
		for _, f := range c.toCome(i) {
			kept := h.Kept(f.Window, c.now, c.site.Zone)
			if len(kept) == 0 || !h.On(f.Furnace) {
				continue
			}
			cure := fmt.Sprintf("choose a time before it or from %s on, or ask the department or a technician", c.clock(kept[len(kept)-1].End))
			if h.FreeAheadHours > 0 {
				cure += fmt.Sprintf("; what is still free at %s is for anybody from then on", c.clock(h.FreeFrom(kept[len(kept)-1])))
			}
			c.refuse(finding.Finding{
				Code: codeTaughtHours, Field: f.field, About: h.ID,
				Message: fmt.Sprintf("%s is kept for %s from %s to %s", f.Furnace, h.Department, c.clock(kept[0].Start), c.clock(kept[0].End)),
				Cure:    cure,
			})
		}
	}
}

// limit holds runs against how far ahead the caller books and how much each maker holds unused.
func (c ruleCheck) limit(ctx context.Context, l domain.BookingLimit) error {
	sums := map[string]float64{}
	for i := range c.assessments {
		maker := c.runs[i].Maker
		for _, f := range c.toCome(i) {
			if until := l.Until(c.now); l.AheadDays > 0 && f.Window.Start.After(until) {
				c.refuse(finding.Finding{
					Code: codeTooFarAhead, Field: f.field, About: l.ID,
					Message: fmt.Sprintf("stage %s starts at %s, and limit %s lets %s book until %s", f.Stage, c.clock(f.Window.Start), l.ID, c.by.ID, c.clock(until)),
					Figures: []finding.Figure{{Name: "ahead", Value: f.Window.Start.Sub(c.now).Hours() / 24, Unit: "d"}, {Name: "most", Value: l.AheadDays, Unit: "d"}},
					Cure:    fmt.Sprintf("book it from %s on, or ask a technician", c.clock(f.Window.Start.Add(c.now.Sub(until)))),
				})
			}
			if l.UnusedHours == 0 {
				continue
			}
			if _, known := sums[maker]; !known {
				missed := c.now.Add(-time.Duration(l.MissedDays * 24 * float64(time.Hour)))
				hours, err := c.tx.UnusedHours(ctx, c.site.Studio.Key, maker, missed, c.moved())
				if err != nil {
					return err
				}
				sums[maker] = hours
			}
			before := sums[maker]
			sums[maker] += f.Use().FurnaceHours
			if sums[maker] > l.UnusedHours+roundingHours {
				c.refuse(c.unused(l, f, before))
			}
		}
	}
	for maker, sum := range sums {
		if sum <= l.UnusedHours+roundingHours {
			c.prepared.meters = append(c.prepared.meters, meter{
				window: domain.Window{Start: c.now}, left: l.UnusedHours - sum,
				counts: func(f domain.Firing) bool { return f.Maker == maker },
				of:     func(u domain.Use) float64 { return u.FurnaceHours },
			})
		}
	}
	return nil
}

func (c ruleCheck) unused(l domain.BookingLimit, f plannedFiring, before float64) finding.Finding {
	takes := f.Use().FurnaceHours
	missed := ""
	if l.MissedDays > 0 {
		missed = fmt.Sprintf(", with what was missed in the last %.4g days,", l.MissedDays)
	}
	return finding.Finding{
		Code: codeUnusedHours, Field: f.field, About: l.ID,
		Message: fmt.Sprintf("limit %s lets %s hold furnaces for %.4g h that are not used yet; %.4g h are held%s and stage %s takes %.4g h",
			l.ID, f.Maker, l.UnusedHours, before, missed, f.Stage, takes),
		Figures: []finding.Figure{
			{Name: "most", Value: l.UnusedHours, Unit: "h"}, {Name: "held", Value: before, Unit: "h"}, {Name: "taken", Value: takes, Unit: "h"},
		},
		Cure: "fire what is booked first, or call off what will not be fired",
	}
}
