package heat

import (
	"fmt"
	"strings"

	"saggar/chem/finding"
)

// Phases lays a treatment out as the parts of a firing, in order: warm (only when charged hot), charge, fire (in two
// parts around a feed), cool or open, wait, draw; then clear with its own cooling, or the cooling of a furnace left
// hotter than HandOverCelsius. Parts of no length are left out, charge and draw never are.
//
// The result's minutes begin with the fire phase, as do those of its profile. Every phase with the heat on is given the
// furnace's full input, as elements that switch on and off draw it whatever the mean. The error is finding.Faults with
// fields of the treatment ("program.segments[0].to_celsius") or "constants"; a program out of reach is such a fault.
func Phases(f Furnace, c Constants, t Treatment) ([]Phase, Result, error) {
	result, faults := t.follow(f, c)
	for i, s := range result.Segments {
		if !s.Reachable {
			faults.Add(fmt.Sprintf("program.segments[%d].to_celsius", i),
				fmt.Sprintf("%g C is out of reach of %s", t.Program.Segments[i].ToCelsius, f.ID), "see the findings")
		}
	}
	if err := faults.Err(); err != nil {
		return nil, result, err
	}
	l := layout{furnace: f, constants: c, treatment: t, result: result}
	l.warm()
	l.charge()
	l.fire()
	l.cool()
	l.draw()
	l.leave()
	if err := l.faults.Err(); err != nil {
		return nil, result, err
	}
	return l.phases, result, nil
}

// follow runs the treatment's program with the time for its feed; the faults have the treatment's fields.
func (t Treatment) follow(f Furnace, c Constants) (Result, finding.Faults) {
	faults := t.Faults()
	if len(faults) > 0 {
		return Result{}, faults
	}
	fed, _ := t.fedProgram()
	result, err := RunCharged(f, c, fed, Conditions{StartCelsius: t.startCelsius(c), OpenBelowCelsius: t.openBelow(),
		ChargeHeat: t.ChargeHeat, ChargedHot: t.chargedHot()})
	for _, fault := range finding.FaultsOf(err) {
		fault.Field = treatmentField(fault.Field)
		faults = append(faults, fault)
	}
	return result, faults
}

// treatmentField puts a field of a run where the treatment has it.
func treatmentField(field string) string {
	switch {
	case field == "start_celsius":
		return "charge_at_celsius"
	case field == "open_below_celsius", strings.HasPrefix(field, "charge_heat"), strings.HasPrefix(field, "constants."):
		return field
	default:
		return "program." + field
	}
}

// layout gathers phases.
type layout struct {
	furnace   Furnace
	constants Constants
	treatment Treatment
	result    Result
	phases    []Phase
	faults    finding.Faults
}

func (l *layout) add(kind PhaseKind, minutes int, watch Watch, kilowatts float64) {
	if minutes <= 0 {
		return
	}
	people := 0
	if watch != WatchNone {
		people = 1
	}
	l.phases = append(l.phases, Phase{Kind: kind, Minutes: minutes, MaxMinutes: minutes, Watch: watch, PeopleCount: people,
		Kilowatts: kilowatts})
}

func (l *layout) warm() {
	if !l.treatment.chargedHot() {
		return
	}
	warm := Program{Segments: []Segment{{ToCelsius: l.treatment.ChargeAtCelsius}}}
	result, ok := l.runEmpty(warm, "charge_at_celsius")
	if ok {
		l.add(Warm, WholeMinutes(result.FireMinutes), heatWatch(l.furnace, empty), l.constants.InputKilowatts)
	}
}

// runEmpty follows a program of the empty furnace from ambient, down again to the hand-over or the opening.
func (l *layout) runEmpty(p Program, field string) (Result, bool) {
	result, err := RunUntil(l.furnace, l.constants, p, l.constants.AmbientCelsius, l.handOver())
	switch {
	case err != nil:
		for _, fault := range finding.FaultsOf(err) {
			l.faults.Add(field, fault.Message, fault.Cure)
		}
	case !result.Reachable:
		l.faults.Add(field, fmt.Sprintf("%g C is out of reach of %s", p.Segments[0].ToCelsius, l.furnace.ID), "see the findings")
	}
	return result, len(l.faults) == 0
}

func (l *layout) handOver() float64 { return min(HandOverCelsius, l.treatment.openBelow()) }

func (l *layout) charge() {
	minutes := l.treatment.ChargeMinutes
	if minutes == 0 {
		minutes = DefaultChargeMinutes
	}
	kilowatts := 0.0
	if l.treatment.chargedHot() {
		kilowatts = l.constants.InputKilowatts // the furnace holds its heat against the open door
	}
	l.add(Charge, minutes, InRoom, kilowatts)
	people := max(1, l.treatment.PeopleAtCharge)
	if l.treatment.SulfurChargedHot {
		people = max(people, SulfurChargePeople)
	}
	l.phases[len(l.phases)-1].PeopleCount = people
}

func (l *layout) fire() {
	watch := fireWatch(l.furnace, l.treatment)
	whole, kilowatts := WholeMinutes(l.result.FireMinutes), l.constants.InputKilowatts
	if l.treatment.FeedMinutes == 0 {
		l.add(Fire, whole, watch, kilowatts)
		return
	}
	_, fed := l.treatment.fedProgram()
	before := l.result.Segments[fed].RampMinutes
	for _, s := range l.result.Segments[:fed] {
		before += s.DurationMinutes
	}
	first := WholeMinutes(before)
	l.add(Fire, first, watch, kilowatts)
	l.add(Feed, l.treatment.FeedMinutes, InRoom, kilowatts)
	l.add(Fire, whole-first-l.treatment.FeedMinutes, watch, kilowatts)
}

// cool is the time until the charge may be drawn: closed, or standing open, or none when it is set down outside.
func (l *layout) cool() {
	minutes := WholeMinutes(l.result.CoolingMinutes)
	switch l.treatment.Program.Cooling {
	case SetDown:
		return // a charge that is lifted out hot can neither cool inside nor wait
	case CoolOpen:
		l.add(Open, minutes+l.treatment.OpenMinutes, InReach, 0)
	default:
		l.add(Cool, minutes, coolWatch(l.furnace, l.treatment), 0)
		l.add(Open, l.treatment.OpenMinutes, InReach, 0)
	}
	if most := l.treatment.MaxWaitMinutes; most > 0 {
		l.phases = append(l.phases, Phase{Kind: Wait, MaxMinutes: most, Watch: WatchNone})
	}
}

func (l *layout) draw() {
	minutes := l.treatment.DrawMinutes
	if minutes == 0 {
		minutes = DefaultDrawMinutes
	}
	l.add(Draw, minutes, InRoom, 0)
}

// leave is what the furnace still needs once it is empty.
func (l *layout) leave() {
	left := l.treatment.leftAt(l.result)
	if l.treatment.ClearAfter {
		clearing := l.treatment.clearing(l.furnace, l.constants)
		result, ok := l.runEmpty(clearing, "clear_at_celsius")
		if ok {
			l.add(Clear, WholeMinutes(result.FireMinutes), heatWatch(l.furnace, Treatment{}), l.constants.InputKilowatts)
			l.add(Cool, WholeMinutes(result.CoolingMinutes), coolWatch(l.furnace, empty), 0)
		}
		return
	}
	if left > HandOverCelsius {
		l.add(Cool, WholeMinutes(l.coolingOn(left)), coolWatch(l.furnace, empty), 0)
	}
}

// coolingOn is how long the furnace still cools from where it was left to the hand-over: the end of one cooling from the last
// segment on, since the lining is still as hot as that left it.
func (l *layout) coolingOn(left float64) float64 {
	whole, err := CoolingMinutes(l.constants, l.result.EndCelsius, HandOverCelsius)
	l.faults = append(l.faults, finding.FaultsOf(err)...)
	done, err := CoolingMinutes(l.constants, l.result.EndCelsius, left)
	l.faults = append(l.faults, finding.FaultsOf(err)...)
	return whole - done
}
