package assess

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/chem/offgas"
	"saggar/chem/reaction"
)

// FeedMinutes is how long an addition is fed to a hot charge: common practice, no source.
const FeedMinutes = 10

// Treatment is one stage of a charge on one furnace.
type Treatment struct {
	Stage   int // index in the recipe
	Furnace heat.Furnace
	// Constants are those that the times rest on; zero for bench work.
	Constants heat.Constants
	Heat      heat.Result
	Phases    []heat.Phase
	// Cautious and Likely are what comes off, in minutes from the start of the first phase.
	Cautious []air.Release
	Likely   []air.Release
	// Flame is the part of both that a gas furnace's own flame gives off.
	Flame []air.Release
	// Conversions are how far what reacts in the charge gets.
	Conversions []reaction.Conversion
	// Atmosphere is the gas over a charge that fires under reduction; nil where the charge offers none.
	Atmosphere  *Atmosphere
	Findings    []finding.Finding
	Assumptions []string
	// gasUntil is the minute after which nothing harmful comes off, from the start of the first phase.
	gasUntil float64
	// besideGrams is the ware of others in the same firing.
	besideGrams float64
}

// PeakCelsius is the highest temperature of the treatment; 0 for bench work.
func (t Treatment) PeakCelsius() float64 {
	var peak float64
	for _, p := range t.Heat.Profile {
		peak = math.Max(peak, p.Celsius)
	}
	return peak
}

// Treat works out one stage on one furnace; "" is bench work without a station. What the furnace may not or cannot do is
// in the findings, and the phases are then empty. Errors: finding.Faults.
func (s Site) Treat(c Charge, index int, furnaceID string) (Treatment, error) {
	return s.treat(c, index, furnaceID, 0)
}

func (s Site) treat(c Charge, index int, furnaceID string, besideGrams float64) (Treatment, error) {
	stage := c.Recipe.Stages[index]
	furnace, ok := s.furnace(furnaceID)
	if !ok && furnaceID != "" {
		return Treatment{}, finding.Faults{{
			Field: "furnace", Message: fmt.Sprintf("there is no furnace %q", furnaceID), Cure: "name one that stands",
		}}
	}
	t := Treatment{Stage: index, Furnace: furnace, besideGrams: besideGrams}
	if stage.Program == nil {
		t.Phases = []heat.Phase{{
			Kind: heat.Work, Minutes: stage.BenchMinutes, MaxMinutes: stage.BenchMinutes, Watch: heat.InRoom, PeopleCount: 1,
			Kilowatts: furnace.InputKilowatts,
		}}
		return t, nil
	}
	return t, t.fire(s, c)
}

func (t *Treatment) fire(s Site, c Charge) error {
	stage, path := c.Recipe.Stages[t.Stage], stagePath(t.Stage)+"."
	asked := s.asked(c, t.Stage)
	asked.ChargeGrams += t.besideGrams
	// What reduction strips off the elements of an electric furnace must grow again in air.
	asked.ClearAfter = asked.ClearAfter || t.Furnace.Source == heat.Electric && asked.Atmosphere == heat.Reducing
	found, constants := heat.CheckFitted(t.Furnace, asked)
	for _, f := range found {
		f.Field = path + f.Field
		if f.Code == heat.CodeChargeExotherm {
			f.Field = stagePath(t.Stage) // the curve is worked out here, not given
		}
		t.Findings = append(t.Findings, f)
	}
	t.Findings = append(t.Findings, t.tooMuch(c)...)
	t.Findings = append(t.Findings, nearTop(stage, c.Balance.Stages[t.Stage].PeakCelsius, t.Furnace, stagePath(t.Stage))...)
	if finding.Blocks(t.Findings) {
		return nil
	}
	t.Constants = constants
	var err error
	if t.Phases, t.Heat, err = heat.Phases(t.Furnace, t.Constants, asked); err != nil {
		return err
	}
	if err := t.convert(c); err != nil {
		return err
	}
	if c.Balance, err = s.balanced(c, *t); err != nil {
		return err
	}
	if err := t.releases(s, c, stage); err != nil {
		return err
	}
	if stage.FireWatch == "" || stage.FireWatch == heat.WatchNone {
		t.unwatchWhenClean()
	}
	t.Findings = append(t.Findings, s.standing(t.Furnace, len(t.Cautious) > 0)...)
	t.Findings = append(t.Findings, s.oldReleases(stage, stagePath(t.Stage))...)
	t.Findings = append(t.Findings, t.reduces(c)...)
	t.Assumptions = slices.Concat(t.ofFurnace(t.Heat.Assumptions), c.taken[t.Stage].assumptions, c.starved[t.Stage].assumptions)
	t.Assumptions = once(slices.Concat(t.Assumptions, t.ofRates()))
	return nil
}

// ofFurnace names the furnace in assumptions that hold a figure of its own.
func (t *Treatment) ofFurnace(assumptions []string) []string {
	named := slices.Clone(assumptions)
	for i, a := range named {
		if strings.ContainsAny(a, "0123456789") {
			named[i] = t.Furnace.ID + ": " + a
		}
	}
	return named
}

// asked is the stage as chem/heat asks for it. Whether anything comes off is worked out afterwards, since it needs the
// temperatures; until then something does.
func (s Site) asked(c Charge, index int) heat.Treatment {
	stage, balance := c.Recipe.Stages[index], c.Balance.Stages[index]
	contents := c.contentWords(index)
	sulfur := slices.Contains(contents, heat.Sulfur)
	asked := heat.Treatment{
		Program: *stage.Program, Atmosphere: stage.Atmosphere, ChargeAtCelsius: stage.ChargeAtCelsius,
		OpenBelowCelsius: stage.OpenBelowCelsius, ChargeMinutes: or(stage.ChargeMinutes, s.ChargeMinutes),
		DrawMinutes: or(stage.DrawMinutes, s.DrawMinutes), MaxWaitMinutes: stage.MaxWaitMinutes, FireWatch: stage.FireWatch,
		SulfurChargedHot: sulfur && stage.ChargeAtCelsius > heat.ColdChargeCelsius,
		ChargeGrams:      balance.MassInGrams + balance.WareGrams, Contents: contents,
		ChargeHeat: c.taken[index].uptake,
		ClearAfter: slices.ContainsFunc(contents, func(word string) bool { return slices.Contains(harmsWare, word) }),
	}
	if slices.ContainsFunc(stage.Additions, func(a chem.Addition) bool { return a.FedHot }) {
		asked.FeedMinutes = FeedMinutes
	}
	return asked
}

func or(value, otherwise int) int {
	if value > 0 {
		return value
	}
	return otherwise
}

// tooMuch finds a charge whose packed volume is more than the chamber.
func (t *Treatment) tooMuch(c Charge) []finding.Finding {
	stage, balance := c.Recipe.Stages[t.Stage], c.Balance.Stages[t.Stage]
	if stage.TampedDensityGramsPerMilliliter <= 0 || t.Furnace.ChamberLiters <= 0 {
		return nil
	}
	liters := balance.MassInGrams / stage.TampedDensityGramsPerMilliliter / 1000
	if liters <= t.Furnace.ChamberLiters {
		return nil
	}
	return []finding.Finding{{
		Severity: finding.Block, Code: "FURNACE_CHAMBER_TOO_SMALL", Field: stagePath(t.Stage), About: t.Furnace.ID,
		Message: fmt.Sprintf("the charge of stage %s fills %.1f l, the chamber of %s holds %.1f l", stage.ID, liters,
			t.Furnace.ID, t.Furnace.ChamberLiters),
		Figures: []finding.Figure{
			{Name: "charge", Value: liters, Unit: "l"}, {Name: "chamber", Value: t.Furnace.ChamberLiters, Unit: "l"},
		},
		Cure: fmt.Sprintf("make at most %.2f of this scale at a time, or use a larger furnace",
			math.Floor(100*t.Furnace.ChamberLiters/liters)/100),
	}}
}

// OfCharge is what of the cautious case the charge gives off, without the flame.
func (t Treatment) OfCharge() []air.Release { return t.Cautious[:len(t.Cautious)-len(t.Flame)] }

// releases works out what comes off in both cases.
func (t *Treatment) releases(s Site, c Charge, stage chem.Stage) error {
	fireStart, chargeStart := t.startOf(heat.Fire), t.startOf(heat.Charge)
	var err error
	if t.Flame, err = t.flue(s, stage); err != nil {
		return err
	}
	for _, of := range []chem.Case{chem.Cautious, chem.Likely} {
		firing := offgas.Firing{
			Gases: c.Balance.Stages[t.Stage].OffGasOf(of), Profile: t.Heat.Profile, ChargeAtCelsius: stage.ChargeAtCelsius,
			ChargeMinute: chargeStart - fireStart, FeedMinute: t.startOf(heat.Feed) - fireStart, Lid: stage.Lid,
			Practice: s.Practice, DepthMillimeters: stage.BedDepthMillimeters,
		}
		series, err := offgas.Series(firing)
		if err != nil {
			return err
		}
		if len(series) > 0 {
			t.gasUntil = math.Max(t.gasUntil, firing.Until(series)+fireStart)
		}
		own := shift(series, fireStart)
		if of == chem.Likely {
			t.Likely = slices.Concat(own, t.Flame)
			continue
		}
		if own, err = c.starved[t.Stage].released(own); err != nil {
			return err
		}
		t.Cautious = slices.Concat(own, t.Flame)
	}
	return nil
}

// flue is what a gas furnace's own flame gives off until the charge cools, all at full power, which is the cautious end: the
// fire burns its gas from the start until the energy that it needs is spent. What the flame of a later clearing gives off is
// left out: when that begins depends on how long the load waits.
func (t *Treatment) flue(s Site, stage chem.Stage) ([]air.Release, error) {
	fireStart := t.startOf(heat.Fire)
	burns := []offgas.Burn{{
		StartMinute: fireStart, EndMinute: fireStart + t.fullPowerMinutes(), KilowattHours: t.Heat.InputKilowattHours,
	}}
	minute := 0
	for _, p := range t.Phases {
		start := minute
		minute += p.Minutes
		if p.Kilowatts > 0 && (p.Kind == heat.Warm || p.Kind == heat.Charge) {
			burns = append(burns, offgas.Burn{
				StartMinute: float64(start), EndMinute: float64(minute), KilowattHours: p.Kilowatts * float64(p.Minutes) / 60,
			})
		}
	}
	return offgas.Flue(t.Furnace, cmp.Or(stage.Atmosphere, heat.Oxidising), burns, s.Practice)
}

// fullPowerMinutes is how long the fire lasts when it spends its energy at full power; at least a minute.
func (t *Treatment) fullPowerMinutes() float64 {
	minutes := t.Heat.FireMinutes
	if t.Constants.InputKilowatts > 0 {
		minutes = math.Min(minutes, 60*t.Heat.InputKilowattHours/t.Constants.InputKilowatts)
	}
	return math.Max(minutes, 1)
}

// startOf is the minute at which the first phase of a kind starts, from the start of the first phase.
func (t *Treatment) startOf(kind heat.PhaseKind) float64 {
	minute := 0
	for _, p := range t.Phases {
		if p.Kind == kind {
			return float64(minute)
		}
		minute += p.Minutes
	}
	return 0
}

func shift(releases []air.Release, minutes float64) []air.Release {
	for i := range releases {
		releases[i].StartMinute += minutes
		releases[i].EndMinute += minutes
	}
	return releases
}

// unwatchWhenClean splits the fire phase of an electric furnace with a cut-out in which the last gas comes off: from then on
// nobody is needed.
func (t *Treatment) unwatchWhenClean() {
	if t.Furnace.Source != heat.Electric || !t.Furnace.OverTemperatureCutOut {
		return
	}
	clean := t.gasUntil
	for _, r := range t.Cautious {
		if r.Species != "H2O" { // the flame's own gas
			clean = math.Max(clean, r.EndMinute)
		}
	}
	minute := 0
	for i, p := range t.Phases {
		start := minute
		minute += p.Minutes
		if p.Kind != heat.Fire || p.Watch != heat.InReach || clean >= float64(minute) {
			continue
		}
		dirty, rest := p, p
		dirty.Minutes = max(heat.WholeMinutes(clean)-start, 0)
		rest.Minutes -= dirty.Minutes
		dirty.MaxMinutes, rest.MaxMinutes = dirty.Minutes, rest.Minutes
		rest.Watch, rest.PeopleCount = heat.WatchNone, 0
		split := []heat.Phase{dirty, rest}
		if dirty.Minutes == 0 {
			split = split[1:]
		}
		t.Phases = slices.Replace(t.Phases, i, i+1, split...)
		t.Findings = slices.DeleteFunc(t.Findings, func(f finding.Finding) bool {
			return f.Code == heat.CodeWatchRaised && dirty.Minutes == 0 // nothing comes off, so the recipe's watch is enough
		})
		return
	}
}

// roomAir is the air of the furnace's room while this treatment runs in it alone, in the cautious case; nil when nothing
// comes off or the furnace stands in no known room.
func (s Site) roomAir(t Treatment) *RoomAir {
	room, ok := s.Rooms[t.Furnace.Room]
	if !ok || len(t.Cautious) == 0 {
		return nil
	}
	flow := air.RoomFlow(room, s.Circuits)
	source := air.Source{Name: t.Furnace.ID, Releases: t.Cautious}
	source.CaptureFraction, source.DoorOpenFraction = Capture(t.Furnace, s.Circuits)
	source.DoorOpen = t.doorOpen()
	check := air.RoomCheck{
		Zone: air.Zone{
			ID: room.ID, VolumeCubicMeters: room.VolumeCubicMeters, MixingFactor: room.MixingFactor, Flow: air.ConstantFlow(flow),
		},
		Sources: []air.Source{source}, Room: &room, OnDate: s.OnDate, Own: s.OwnLimits, CureOnly: true,
	}
	answer := &RoomAir{Room: room.ID, FlowCubicMetersPerSecond: flow}
	var err error
	if answer.Assessment, err = air.CheckRoom(check); err != nil {
		answer.Findings = asFindings(err, "", room.ID)
		return answer
	}
	if answer.Near, err = air.CheckNear(air.NearCheck{Zone: check.Zone, Sources: check.Sources, Own: check.Own}); err != nil {
		answer.Findings = append(answer.Findings, asFindings(err, "", room.ID)...)
		return answer
	}
	if answer.Failure, err = air.CheckFanFailure(air.FanFailureCheck{
		Zone: check.Zone, Sources: check.Sources, Own: check.Own,
	}); err != nil {
		answer.Findings = append(answer.Findings, asFindings(err, "", room.ID)...)
		return answer
	}
	interlock := Interlock{Furnace: t.Furnace, Failure: &answer.Failure, OnDate: s.OnDate, TestMonths: s.InterlockTestMonths}
	interlock.Say()
	answer.Findings = slices.Concat(answer.Findings, answer.Near.Findings, interlock.Findings())
	for _, f := range answer.Failure.Findings {
		if f.Severity != finding.Note { // a fan whose failure passes no limit is no news
			answer.Findings = append(answer.Findings, f)
		}
	}
	answer.Assumptions = once(slices.Concat(answer.Assumptions, answer.Near.Assumptions, answer.Failure.Assumptions))
	return answer
}

// Capture is what counts of a furnace's capture, closed and with the door open: nothing without a branch that draws to the
// outside, else as chem/air counts what was measured.
func Capture(f heat.Furnace, circuits []air.Circuit) (closed, doorOpen float64) {
	draws := slices.ContainsFunc(circuits, func(c air.Circuit) bool {
		return !c.Recirculating && slices.ContainsFunc(c.Branches, func(b air.Branch) bool {
			return c.ID+"/"+b.ID == f.Branch && b.CubicMetersPerSecond > 0
		})
	})
	if !draws {
		return 0, 0
	}
	return air.EffectiveCapture(f.Capture)
}

// standing finds what is wrong with a furnace's air whatever is fired in it: a flue whose gas the fan draws back, and, when
// something comes off, a capture or a flow out of the room that was measured too long ago.
func (s Site) standing(f heat.Furnace, comesOff bool) []finding.Finding {
	room := s.Rooms[f.Room]
	var found []finding.Finding
	if f.Source == heat.Gas {
		found = air.Spillage(room, s.Circuits, true)
	}
	if !comesOff {
		return found
	}
	var measured []air.Measurement
	if f.Branch != "" {
		measured = append(measured, air.Measurement{About: f.ID, Quantity: "capture", MeasuredOn: f.Capture.MeasuredOn})
	}
	for _, c := range s.Circuits {
		for _, b := range c.Branches {
			if b.Room == f.Room && !c.Recirculating {
				measured = append(measured, air.Measurement{About: c.ID + "/" + b.ID, Quantity: "flow", MeasuredOn: b.MeasuredOn})
			}
		}
	}
	old, err := air.OldMeasurements(measured, s.OnDate)
	if err != nil {
		return append(found, asFindings(err, "", f.ID)...)
	}
	return append(found, old...)
}

// doorOpen lists when the furnace stands open, in minutes from the start of the first phase.
func (t Treatment) doorOpen() []air.Interval {
	var open []air.Interval
	minute := 0
	for _, p := range t.Phases {
		start := minute
		minute += p.Minutes
		if p.Kind.DoorOpen() && p.Minutes > 0 {
			open = append(open, air.Interval{StartMinute: float64(start), EndMinute: float64(minute)})
		}
	}
	return open
}

// asFindings turns the faults of an input into findings that refuse.
func asFindings(err error, path, about string) []finding.Finding {
	found := finding.FaultsOf(err).Findings("INPUT_FAULT")
	for i := range found {
		if path != "" {
			found[i].Field = path + "." + found[i].Field
		}
		found[i].About = about
	}
	return found
}
