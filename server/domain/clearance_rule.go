package domain

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/chem/hazard"
	"saggar/chem/heat"
)

// defaultWait is how long a run waits where its rule does not say (common practice, no source).
const defaultWait = 72 * time.Hour

// ClearanceRule is when a run needs somebody's yes, whose, and how long it may wait for it. Exactly one of what says when is
// set.
type ClearanceRule struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	// OffGas: more of a gas comes off, in the cautious case, before any of it is caught.
	OffGas *OffGasAbove `json:"off_gas,omitempty"`
	// ChargedFromCelsius: a stage is charged at this temperature or above; 0: not about that.
	ChargedFromCelsius float64 `json:"charged_from_celsius"`
	// Hazards are classes of what is in the charge, FindingCodes what is found about the run. Together they are one reason.
	Hazards      []string `json:"hazards"`
	FindingCodes []string `json:"finding_codes"`
	// FirstRun: the maker has no run of the recipe that stands or was done.
	FirstRun bool `json:"first_run"`
	// OutsideHours: anything but cooling and waiting lies outside these.
	OutsideHours []WeeklyHours `json:"outside_hours"`
	// OverAllotment is the allotment above which it waits instead of being refused.
	OverAllotment string   `json:"over_allotment"`
	Furnaces      []string `json:"furnaces"` // none: all, and the bench
	Role          Role     `json:"role"`     // RoleNone: only the people
	People        []string `json:"people"`
	// ExpiresAfterHours is how long a run waits; 0: 72. AheadOfChargeHours is until how long before its first charge at most.
	ExpiresAfterHours  float64 `json:"expires_after_hours"`
	AheadOfChargeHours float64 `json:"ahead_of_charge_hours"`
}

// OffGasAbove is more of a gas than a figure at any time, or in all from one stage.
type OffGasAbove struct {
	Species        string  `json:"species"`
	GramsPerMinute float64 `json:"grams_per_minute"` // 0: not about that
	Grams          float64 `json:"grams"`            // 0: not about that
}

// triggers counts what of the rule says when.
func (r ClearanceRule) triggers() int {
	count := 0
	for _, set := range []bool{
		r.OffGas != nil, r.ChargedFromCelsius != 0, len(r.Hazards)+len(r.FindingCodes) > 0, r.FirstRun, len(r.OutsideHours) > 0,
		r.OverAllotment != "",
	} {
		if set {
			count++
		}
	}
	return count
}

// Check returns what is wrong with the rule by itself, with paths relative to it.
func (r ClearanceRule) Check() finding.Faults {
	var faults finding.Faults
	if count := r.triggers(); count != 1 {
		faults.Add("", fmt.Sprintf("%d things say when a run needs the clearance", count),
			"give one of off_gas, charged_from_celsius, hazards with finding_codes, first_run, outside_hours and over_allotment")
	}
	if r.OffGas != nil {
		faults.AddUnder("off_gas", r.OffGas.check())
	}
	for _, n := range []struct {
		field string
		value float64
	}{{"charged_from_celsius", r.ChargedFromCelsius}, {"expires_after_hours", r.ExpiresAfterHours}, {"ahead_of_charge_hours", r.AheadOfChargeHours}} {
		faults = append(faults, notNegative(n.field, n.value)...)
	}
	for i, class := range r.Hazards {
		if !isHazard(class) {
			faults.Add(fmt.Sprintf("hazards[%d]", i), fmt.Sprintf("%q is no class of hazard", class), "give one such as chromate, explosive or silica_dust")
		}
	}
	faults.AddUnder("outside_hours", weeklyFaults(r.OutsideHours))
	if r.Role == RoleNone && len(r.People) == 0 {
		faults.Add("clearing_role", "nobody may clear, so that every such run would expire", "give the least role that may, or people in clearing_people")
	}
	return faults
}

func (g OffGasAbove) check() finding.Faults {
	var faults finding.Faults
	if _, err := air.GramsPerMole(g.Species); err != nil || g.Species == "" {
		faults.Add("species", fmt.Sprintf("%q is no formula of a gas", g.Species), "give one such as SO2")
	}
	faults = append(faults, notNegative("grams_per_minute", g.GramsPerMinute)...)
	faults = append(faults, notNegative("grams", g.Grams)...)
	if g.GramsPerMinute == 0 && g.Grams == 0 {
		faults.Add("grams_per_minute", "there is no figure", "give grams_per_minute, grams or both")
	}
	return faults
}

func notNegative(field string, value float64) finding.Faults {
	if value >= 0 && !math.IsInf(value, 0) {
		return nil
	}
	return finding.Faults{{Field: field, Message: fmt.Sprintf("%v is no such figure", value), Cure: "give a number from 0 up"}}
}

// weeklyFaults are hours that close before they open.
func weeklyFaults(weekly []WeeklyHours) finding.Faults {
	var faults finding.Faults
	for _, f := range (StaffedHours{Weekly: weekly}).Check() {
		f.Field = strings.TrimPrefix(f.Field, "weekly")
		faults = append(faults, f)
	}
	return faults
}

func isHazard(class string) bool {
	return slices.Contains(hazard.Traits(), hazard.Trait(class)) || slices.Contains(chem.Hazards(), chem.Hazard(class))
}

// StageFacts are what rules ask of one stage that has not begun.
type StageFacts struct {
	Stage, Furnace string // no furnace: at the bench
	ChargeCelsius  float64
	Charged        time.Time
	Window         Window
	Phases         []PhaseWindow
	Releases       []air.Release // cautious case
}

func (s StageFacts) place() string { return s.Stage + " on " + s.Furnace }

// RunFacts are what rules ask of a run.
type RunFacts struct {
	Stages   []StageFacts
	Hazards  []string // classes of what is in the charge
	Codes    []string // of findings about the run
	FirstRun bool
	// OverAllotments is by how much it goes above allotments, by their id.
	OverAllotments map[string]OverUse
}

// OverUse is by how much a run goes above an allotment, in its own unit, and in which weeks or terms, by their first day.
type OverUse struct {
	Amount float64
	Unit   string
	Begins []string
}

// Asks returns the clearance that the rule asks for, still without its times, and false when it asks for none. zone is the
// studio's.
func (r ClearanceRule) Asks(f RunFacts, zone *time.Location) (Clearance, bool) {
	var stages []StageFacts
	for _, s := range f.Stages {
		if len(r.Furnaces) == 0 || slices.Contains(r.Furnaces, s.Furnace) {
			stages = append(stages, s)
		}
	}
	if len(stages) == 0 {
		return Clearance{}, false
	}
	c := Clearance{Rule: r.ID, State: ClearanceWaiting, Role: r.Role, People: r.People}
	switch {
	case r.OffGas != nil:
		r.OffGas.ask(&c, stages)
	case r.ChargedFromCelsius > 0:
		r.askHot(&c, stages)
	case len(r.Hazards)+len(r.FindingCodes) > 0:
		r.askFound(&c, f, stages)
	case r.FirstRun && f.FirstRun:
		c.Reason = "it is the maker's first run of the recipe"
	case len(r.OutsideHours) > 0:
		r.askHours(&c, stages, zone)
	case f.OverAllotments[r.OverAllotment].Amount > 0:
		over := f.OverAllotments[r.OverAllotment]
		c.Basis.Amount, c.Basis.Found = over.Amount, over.Begins
		c.Reason = fmt.Sprintf("it goes %.4g %s above allotment %s from %s on", over.Amount, over.Unit, r.OverAllotment, strings.Join(over.Begins, ", "))
	}
	return c, c.Reason != ""
}

// at notes a stage as one that the clearance is about.
func (c *Clearance) at(s StageFacts) {
	c.Stages = append(c.Stages, s.Stage)
	c.Basis.Places = append(c.Basis.Places, s.place())
}

// ask holds what comes off against the figures. How much is told as a share of the figure, the larger of the two.
func (g OffGasAbove) ask(c *Clearance, stages []StageFacts) {
	for _, s := range stages {
		rate, total := g.most(s.Releases)
		if (g.GramsPerMinute == 0 || rate <= g.GramsPerMinute) && (g.Grams == 0 || total <= g.Grams) {
			continue
		}
		c.at(s)
		if g.GramsPerMinute > 0 {
			c.Basis.Amount = max(c.Basis.Amount, rate/g.GramsPerMinute)
		}
		if g.Grams > 0 {
			c.Basis.Amount = max(c.Basis.Amount, total/g.Grams)
		}
		c.Reason = joined(c.Reason, fmt.Sprintf("stage %s gives off up to %.3g g/min of %s and %.3g g in all in the cautious case", s.Stage, rate, g.Species, total))
	}
}

// most are the highest rate and the sum of what comes off of the gas.
func (g OffGasAbove) most(releases []air.Release) (rate, total float64) {
	for _, r := range releases {
		if r.Species != g.Species {
			continue
		}
		total += r.GramsPerMinute * (r.EndMinute - r.StartMinute)
		var together float64
		for _, o := range releases {
			if o.Species == g.Species && o.StartMinute <= r.StartMinute && r.StartMinute < o.EndMinute {
				together += o.GramsPerMinute
			}
		}
		rate = max(rate, together)
	}
	return rate, total
}

func (r ClearanceRule) askHot(c *Clearance, stages []StageFacts) {
	for _, s := range stages {
		if s.Furnace != "" && s.ChargeCelsius >= r.ChargedFromCelsius {
			c.at(s)
			c.Basis.Amount = max(c.Basis.Amount, s.ChargeCelsius)
			c.Reason = joined(c.Reason, fmt.Sprintf("stage %s is charged at %.4g C", s.Stage, s.ChargeCelsius))
		}
	}
}

// askFound rests on the furnaces too, since what is dangerous in one may not be in another.
func (r ClearanceRule) askFound(c *Clearance, f RunFacts, stages []StageFacts) {
	for _, class := range r.Hazards {
		if slices.Contains(f.Hazards, class) {
			c.Basis.Found = append(c.Basis.Found, class)
		}
	}
	for _, code := range r.FindingCodes {
		if slices.Contains(f.Codes, code) {
			c.Basis.Found = append(c.Basis.Found, code)
		}
	}
	if len(c.Basis.Found) == 0 {
		return
	}
	for _, s := range stages {
		if s.Furnace != "" {
			c.Basis.Places = append(c.Basis.Places, s.place())
		}
	}
	c.Reason = "it has " + strings.Join(c.Basis.Found, ", ")
}

// askHours finds what lies outside the rule's hours: every phase but cooling and waiting.
func (r ClearanceRule) askHours(c *Clearance, stages []StageFacts, zone *time.Location) {
	for _, s := range stages {
		var outside []Window
		for _, p := range s.Phases {
			if p.Kind == heat.Cool || p.Kind == heat.Wait || p.Window.Minutes() == 0 {
				continue
			}
			outside = append(outside, Outside(p.Window, StaffedHours{Weekly: r.OutsideHours}.Windows(p.Window, zone))...)
		}
		if outside = MergeWindows(outside); len(outside) == 0 {
			continue
		}
		c.at(s)
		c.Basis.Times = append(c.Basis.Times, outside...)
		for _, w := range outside {
			c.Reason = joined(c.Reason, fmt.Sprintf("stage %s needs %s to %s, outside the hours", s.Stage,
				w.Start.In(zone).Format("Mon 2 Jan 15:04"), w.End.In(zone).Format("Mon 2 Jan 15:04")))
		}
	}
	c.Basis.Times = MergeWindows(c.Basis.Times)
}

// Outside is what of a window lies in none of others, which are in order and do not overlap.
func Outside(w Window, others []Window) []Window {
	var left []Window
	from := w.Start
	for _, o := range others {
		if !o.Start.Before(w.End) {
			break
		}
		if from.Before(o.Start) {
			left = append(left, Window{from, o.Start})
		}
		if o.End.After(from) {
			from = o.End
		}
	}
	if from.Before(w.End) {
		left = append(left, Window{from, w.End})
	}
	return left
}

func joined(text, more string) string {
	if text == "" {
		return more
	}
	return text + "; " + more
}

// Until is until when a run that was asked about at an instant may wait: the rule's time on, as long before its first charge
// as the rule wants, and never into what it does.
func (r ClearanceRule) Until(asked time.Time, f RunFacts) time.Time {
	wait := defaultWait
	if r.ExpiresAfterHours > 0 {
		wait = hours(r.ExpiresAfterHours)
	}
	until := asked.Add(wait)
	for _, s := range f.Stages {
		until = earlier(until, s.Window.Start)
		if s.Furnace != "" { // later ones are charged later
			until = earlier(until, s.Charged.Add(-hours(r.AheadOfChargeHours)))
			break
		}
	}
	return until.Truncate(time.Second)
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

func hours(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }
