package heat

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"saggar/chem/finding"
)

// leastDelayMinutes is the shortest delay that is worth a word.
const leastDelayMinutes = 1

// withoutCharge follows the program with no heat going into the charge; the same result where none was counted.
func (k *checker) withoutCharge(c Constants, result Result) Result {
	if len(k.treatment.ChargeHeat) > 0 {
		if light := k.withShare(c, 0); len(light.Segments) == len(result.Segments) {
			return light
		}
	}
	return result
}

// withShare follows the program with a share of the charge. What is too long even so has no segments.
func (k *checker) withShare(c Constants, share float64) Result {
	part := k.treatment
	part.ChargeHeat = scaled(part.ChargeHeat, share)
	if share == 0 {
		part.ChargeHeat = nil
	}
	result, _ := part.follow(k.furnace, c)
	return result
}

// delay is how much later than without the charge, or than asked where that is later, a ramp ends; +Inf when it never does.
// The multiple is its length over that.
func delay(times, alone SegmentTime) (minutes, multiple float64) {
	if !times.Reachable {
		return math.Inf(1), math.Inf(1)
	}
	hold := times.DurationMinutes - times.RampMinutes
	expected := max(times.AskedMinutes-hold, alone.RampMinutes)
	minutes = times.RampMinutes - expected
	if expected <= 0 {
		return minutes, math.Inf(1)
	}
	return minutes, times.RampMinutes / expected
}

// tooHeavy judges one ramp: NOTE when an asked rate cannot be followed because of the charge, WARN when that costs
// WarnChargeDelayMinutes or more, BLOCK when the ramp never ends or takes far longer; empty when it will do. Full power asks
// for no time, so there only the multiple counts.
func (k *checker) tooHeavy(times, alone SegmentTime) finding.Severity {
	minutes, multiple := delay(times, alone)
	rated := k.treatment.Program.Segments[times.Index].RateCelsiusPerHour > 0
	switch {
	case minutes >= MostChargeDelayMinutes && multiple > MostChargeMultiple:
		return finding.Block
	case rated && minutes >= WarnChargeDelayMinutes:
		return finding.Warn
	case rated && minutes >= leastDelayMinutes:
		return finding.Note
	default:
		return ""
	}
}

// heavySegment is a segment whose ramp the charge holds up.
type heavySegment struct {
	severity    finding.Severity
	times       SegmentTime
	lateMinutes float64
}

// weigh notes down a segment in which the charge takes more heat than the furnace gives it in time.
func (k *checker) weigh(times, alone SegmentTime) {
	if len(k.treatment.ChargeHeat) == 0 || !alone.Reachable {
		return
	}
	if severity := k.tooHeavy(times, alone); severity != "" {
		late, _ := delay(times, alone)
		k.heavy = append(k.heavy, heavySegment{severity, times, late})
	}
}

// checkWeight tells of the worst of the segments that the charge holds up, with the share of the charge that would do in all
// of them.
func (k *checker) checkWeight(c Constants) {
	if len(k.heavy) == 0 {
		return
	}
	worst := slices.MinFunc(k.heavy, func(a, b heavySegment) int {
		return cmp.Or(cmp.Compare(rank(a.severity), rank(b.severity)), -cmp.Compare(a.lateMinutes, b.lateMinutes))
	})
	severity, times, late := worst.severity, worst.times, worst.lateMinutes
	asked := k.treatment.Program.Segments[times.Index].ToCelsius
	field := fmt.Sprintf("program.segments[%d].to_celsius", times.Index)
	found := finding.Finding{Severity: severity, Code: CodeChargeTooHeavy, Field: field, Source: practiceSource,
		Message: fmt.Sprintf("the furnace does not get this charge to %g C within %.0f minutes", asked, maxStretchMinutes),
		Figures: []finding.Figure{celsius("asked", asked)}}
	switch {
	case times.Reachable && severity == finding.Block:
		found.Message = fmt.Sprintf("the furnace gets this charge to %g C only %.0f minutes late, more than %d times as long as "+
			"without it", asked, late, MostChargeMultiple)
	case times.Reachable:
		found.Source = ""
		found.Message = fmt.Sprintf("the furnace gets this charge to %g C, %.0f minutes late: the charge takes more heat than it "+
			"has to spare", asked, late)
	}
	if others := len(k.heavy) - 1; others > 0 {
		found.Message += fmt.Sprintf("; %d more of its ramps %s held up less", others, isOrAre(others))
	}
	if times.Reachable {
		found.Figures = append(found.Figures, minutes("delay", late), minutes("duration", times.DurationMinutes))
	}
	share := k.shareThatWouldDo(c, severity)
	found.Figures = append(found.Figures, finding.Figure{Name: "share_that_would_do", Value: share, Unit: "1"})
	found.Cure = "ask for a slower rate, or choose a furnace with more power"
	if share > 0 {
		found.Cure = fmt.Sprintf("charge at most %.2f of it at a time, ask for a slower rate, or choose a furnace with more power",
			share)
	}
	k.add(found)
}

func isOrAre(count int) string {
	if count == 1 {
		return "is"
	}
	return "are"
}

// rank orders severities, the worst first.
func rank(severity finding.Severity) int {
	return slices.Index([]finding.Severity{finding.Block, finding.Warn, finding.Note, ""}, severity)
}

// shareThatWouldDo is the greatest share of the charge, in hundredths, with which no segment is found so heavy; 0: none.
func (k *checker) shareThatWouldDo(c Constants, worst finding.Severity) float64 {
	alone := k.withShare(c, 0).Segments
	fits := func(hundredths int) bool {
		segments := k.withShare(c, float64(hundredths)/100).Segments
		for i := range alone {
			if !alone[i].Reachable {
				continue
			}
			if i >= len(segments) || rank(k.tooHeavy(segments[i], alone[i])) <= rank(worst) {
				return false
			}
		}
		return true
	}
	low, high := 0, 100
	for high-low > 1 {
		if middle := (low + high) / 2; fits(middle) {
			low = middle
		} else {
			high = middle
		}
	}
	return float64(low) / 100
}

// checkExotherm finds heat that the charge gives off within the program: by how much the furnace may pass what is asked, were
// all of it to come at once and none lost. It warns from WarnExothermCelsius on, and refuses what would pass the furnace's top
// temperature.
func (k *checker) checkExotherm(c Constants, result Result) {
	hottest := result.StartCelsius
	for i, s := range k.treatment.Program.Segments {
		if result.Segments[i].Reachable {
			hottest = max(hottest, s.ToCelsius)
		}
	}
	perKelvin := 60 * c.HeatingTauMinutes / c.kelvinPerKilowatt()
	uptake := k.treatment.ChargeHeat
	for i := 1; i < len(uptake); i++ {
		begin := i - 1
		for i < len(uptake) && uptake[i].Kilojoules < uptake[i-1].Kilojoules {
			i++
		}
		given := uptake[begin].Kilojoules - uptake[i-1].Kilojoules
		if i-1 == begin || uptake[begin].Celsius > hottest {
			continue
		}
		from, to, over := uptake[begin].Celsius, uptake[i-1].Celsius, given/perKelvin
		where := fmt.Sprintf("from %g C to %g C", from, to)
		if from == to {
			where = fmt.Sprintf("by %g C", to)
		}
		severity, cure := k.judgeExotherm(min(to, hottest), over)
		source := practiceSource
		if severity == finding.Note {
			source = "" // a note rests on no rule
		}
		k.add(finding.Finding{Severity: severity, Code: CodeChargeExotherm, Field: fmt.Sprintf("charge_heat[%d]", begin+1),
			Message: fmt.Sprintf("the charge gives off %.0f kJ %s: all at once it would heat the furnace by up to %.0f C beyond "+
				"the program", given, where, over),
			Figures: []finding.Figure{{Name: "given", Value: given, Unit: "kJ"}, celsius("from", from), celsius("to", to),
				celsius("over", over), celsius("top", k.furnace.TopCelsius)},
			Cure: cure, Source: source})
	}
}

// judgeExotherm judges heat that comes at a temperature of the program and would take the furnace so far beyond it.
func (k *checker) judgeExotherm(at, over float64) (severity finding.Severity, cure string) {
	switch {
	case at+over > k.furnace.TopCelsius:
		return finding.Block, "fire less of it at a time, or choose a heavier furnace or one with a higher top temperature"
	case over >= WarnExothermCelsius:
		return finding.Warn, "fire less of it at a time, or go slowly through that range with somebody in reach and acknowledge " +
			"this code"
	default:
		return finding.Note, "go slowly through that range, or fire less of it at a time"
	}
}
