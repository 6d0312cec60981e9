package air

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"saggar/chem/finding"
)

// finding is an excess of a person's day with what would cure it.
func (d *day) finding(s survey, excess Excess) finding.Finding {
	result := excess.finding(d.check.Person)
	result.Code = strings.Replace(result.Code, "AIR_", "AIR_PERSON_", 1)
	result.Field = "presences"
	result.Message = fmt.Sprintf("over the rooms of the day of %s %s", d.person(), result.Message)
	if minutes := d.counted(excess).minutes(); minutes > excess.Limit.AveragingMinutes && excess.Limit.AveragingMinutes > 0 {
		result.Message += fmt.Sprintf("; all of the day's %.0f min count over %g min", minutes, excess.Limit.AveragingMinutes)
	}
	ways := []string{}
	if share, ok := d.shareWithin(s, excess); ok {
		result.Figures = append(result.Figures, finding.Figure{Name: "charge_share_enough", Value: share, Unit: "1"})
		ways = append(ways, fmt.Sprintf("%.2g of what is given off", roundDown(share)))
	}
	if excess.Limit.Severity == finding.Block {
		if way, figure, ok := d.shorter(s, excess); ok {
			result.Figures = append(result.Figures, figure)
			ways = append(ways, way)
		}
		ways = append(ways, d.protected(s, excess)...)
	}
	result.Cure = strings.Join(append(ways, "another time or another person for a part of it"), "; or ")
	return result
}

// counted is the stretch of time over which an excess counts.
func (d *day) counted(excess Excess) Interval {
	minutes := math.Max(excess.Limit.AveragingMinutes, cutMinutes)
	switch excess.Limit.Kind {
	case MixtureShift:
		minutes = shiftMinutes
	case MixtureShortTerm:
		minutes = shortTermMinutes
	}
	return wayOf(d.check.Presences).counted(excess.Minute, minutes)
}

func (d *day) person() string {
	if d.check.Person == "" {
		return "the person"
	}
	return d.check.Person
}

// shareWithin is a share of all releases that keeps the limit: the mean is linear in the releases above the incoming air's
// own, and counting the highest of the rooms' own for the whole window errs to the cautious side.
func (d *day) shareWithin(s survey, excess Excess) (float64, bool) {
	if excess.Limit.Species != mixtureSpecies {
		return shareOf(excess.PPM, excess.Limit.PPM, d.background(excess.Limit))
	}
	background := 0.0
	for _, part := range s.mixture(excess.Limit.Kind).parts {
		background += d.background(part.limit) / part.limit.PPM
	}
	return shareOf(excess.Ratio, 1, background)
}

// background is the most that the incoming air of any of the rooms brings a limit's mean to.
func (d *day) background(limit Limit) float64 {
	most, times := 0.0, 1.0
	for _, presence := range d.check.Presences {
		most = math.Max(most, d.check.space(presence.Room).Zone.background(limit.Species))
	}
	if way := wayOf(d.check.Presences); way.summed(limit.AveragingMinutes) {
		for _, day := range way.days(limit.AveragingMinutes) {
			times = max(times, min(day.minutes(), dayMinutes)/limit.AveragingMinutes)
		}
	}
	return times * most
}

// shorter is by how much the presence that brings the most over the excess's window must end earlier.
func (d *day) shorter(s survey, excess Excess) (string, finding.Figure, bool) {
	longest, most := -1, 0.0
	counted := d.counted(excess)
	for i, p := range d.check.Presences {
		from, until := math.Max(p.StartMinute, counted.StartMinute), math.Min(p.EndMinute, counted.EndMinute)
		if from >= until {
			continue
		}
		brings := 0.0
		for _, m := range s {
			if m.curve.species == excess.Limit.Species || excess.Limit.Species == mixtureSpecies {
				brings += m.curve.sum(from, until)
			}
		}
		if brings > most {
			longest, most = i, brings
		}
	}
	if longest < 0 {
		return "", finding.Figure{}, false
	}
	minutes, ok := d.minutesLess(longest)
	if !ok {
		return "", finding.Figure{}, false
	}
	p := d.check.Presences[longest]
	return fmt.Sprintf("leave %s at least %.0f min earlier than minute %.0f", p.Room, minutes, p.EndMinute),
		finding.Figure{Name: "minutes_less", Value: minutes, Unit: "min"}, true
}

// protected is the respirator that would be enough at the person's peak.
func (d *day) protected(s survey, excess Excess) []string {
	at := slices.IndexFunc(s, func(m *measured) bool { return m.curve.species == excess.Limit.Species })
	if at < 0 {
		return nil
	}
	least, some := leastEnough(excess.Limit.Species, s[at].peak)
	if !some {
		return nil
	}
	return []string{fmt.Sprintf("at least %s, fitted, which covers its wearer only", least.worded())}
}
