// Package invariant recomputes from scratch what must never happen, from what is stored alone: plain sums minute by minute and a
// plain forward step for the air, without the code that decides. It is for tests; each function returns what it found wrong, a
// sentence each.
package invariant

import (
	"fmt"
	"math"
	"slices"
	"time"

	"saggar/chem/heat"
	"saggar/server/domain"
)

// mostTold bounds what one function returns.
const mostTold = 20

// Overlaps finds two firings on one furnace at one time.
func Overlaps(firings []domain.Firing) (wrong []string) {
	for i, a := range firings {
		for _, b := range firings[:i] {
			if a.Furnace == b.Furnace && a.Window.Overlaps(b.Window) && len(wrong) < mostTold {
				wrong = append(wrong, fmt.Sprintf("%s and %s are both on %s", a.ID, b.ID, a.Furnace))
			}
		}
	}
	return wrong
}

// Closed finds firings that were booked into a closure of their furnace, its room or its circuit which stood already; a closure
// that came later hits what was booked.
func Closed(site *domain.Site, closures []domain.Equipment, firings []domain.Firing) (wrong []string) {
	for _, f := range firings {
		for _, e := range closures {
			if e.Closure == nil || e.Revision > f.Revision || e.Closure.Unoccupied || site.Needs(site.Furnaces[f.Furnace])[e.Closure.SubjectKind] != e.Closure.SubjectID {
				continue
			}
			if f.Window.Overlaps(e.Closure.Window()) && len(wrong) < mostTold {
				wrong = append(wrong, fmt.Sprintf("%s was booked into closure %s", f.ID, e.ID))
			}
		}
	}
	return wrong
}

// Sums adds power by supply and people by room up, minute by minute, and finds minutes above a limit.
func Sums(site *domain.Site, firings []domain.Firing) (wrong []string) {
	power, people := map[string]map[int64]float64{}, map[string]map[int64]int{}
	for _, f := range firings {
		furnace := site.Furnaces[f.Furnace]
		if power[furnace.Supply] == nil {
			power[furnace.Supply] = map[int64]float64{}
		}
		if people[furnace.Room] == nil {
			people[furnace.Room] = map[int64]int{}
		}
		for _, p := range f.Phases {
			for minute := p.Window.Start.Unix() / 60; minute < p.Window.End.Unix()/60; minute++ {
				power[furnace.Supply][minute] += p.Kilowatts
				if p.Watch == heat.InRoom {
					people[furnace.Room][minute] += p.PeopleCount
				}
			}
		}
	}
	for id, supply := range site.Supplies {
		for minute, kilowatts := range power[id] {
			if kilowatts > supply.LimitKilowatts+1e-6 && len(wrong) < mostTold {
				wrong = append(wrong, fmt.Sprintf("%s carries %g of %g kW at %s", id, kilowatts, supply.LimitKilowatts, time.Unix(minute*60, 0).UTC()))
			}
		}
	}
	for id, room := range site.Rooms {
		for minute, count := range people[id] {
			if count > max(room.CrewCount, 1) && len(wrong) < mostTold {
				wrong = append(wrong, fmt.Sprintf("%d people are in %s at %s, of %d", count, id, time.Unix(minute*60, 0).UTC(), room.CrewCount))
			}
		}
	}
	return wrong
}

// limit is NIOSH's for one gas in ppm: at any time, over 15 min and over 10 h; infinite where there is none. From NIOSH,
// Documentation for Immediately Dangerous to Life or Health Concentrations, May 1994.
type limit struct {
	species                                  string
	gramsPerMole, any, quarterHour, tenHours float64
}

var limits = []limit{{"SO2", 64.058, math.Inf(1), 5, 2}, {"CO", 28.010, 200, math.Inf(1), 35}}

const (
	// stepMinutes is that of the integration, and slack its own error.
	stepMinutes = 0.1
	slack       = 1.002
)

// Air integrates the air of a room that gets none of another with a plain forward step, and holds running means of sulfur dioxide
// and carbon monoxide against their limits. It returns the highest values too, in ppm by gas.
func Air(site *domain.Site, roomID string, firings []domain.Firing) (wrong []string, highest map[string]float64) {
	room := site.Rooms[roomID]
	extracted := 0.0
	for _, circuit := range site.Circuits {
		for _, branch := range circuit.Branches {
			if branch.Room == roomID && !circuit.Recirculating {
				extracted += branch.CubicMetersPerSecond
			}
		}
	}
	flow := math.Min(room.MakeUpCubicMetersPerSecond, extracted) / room.MixingFactor
	here := slices.DeleteFunc(slices.Clone(firings), func(f domain.Firing) bool { return site.Furnaces[f.Furnace].Room != roomID })
	highest = map[string]float64{}
	if len(here) == 0 {
		return nil, highest
	}
	start, end := here[0].Window.Start, here[0].Window.End
	for _, f := range here {
		if f.Window.Start.Before(start) {
			start = f.Window.Start
		}
		if f.Window.End.After(end) {
			end = f.Window.End
		}
	}
	for _, l := range limits {
		rate := make([]float64, int(end.Add(12*time.Hour).Sub(start).Minutes()/stepMinutes))
		for _, f := range here {
			addEscape(rate, f, site.Furnaces[f.Furnace].Capture, l.species, start)
		}
		ppm, concentration := make([]float64, len(rate)), 0.0 // mg/m3
		for i := range rate {
			concentration += stepMinutes * (rate[i]*1000/room.VolumeCubicMeters - concentration*flow*60/room.VolumeCubicMeters)
			ppm[i] = concentration * 24.45 / l.gramsPerMole
		}
		highest[l.species] = slices.Max(ppm)
		for name, c := range map[string]struct{ found, most float64 }{
			"at any time": {highest[l.species], l.any}, "over 15 min": {highestMean(ppm, 150), l.quarterHour}, "over 10 h": {highestMean(ppm, 6000), l.tenHours},
		} {
			if c.found > c.most*slack {
				wrong = append(wrong, fmt.Sprintf("%s in %s: %.4g ppm %s, of %g", l.species, roomID, c.found, name, c.most))
			}
		}
	}
	return wrong, highest
}

// addEscape adds what one firing lets into the room, in g/min.
func addEscape(rate []float64, f domain.Firing, capture heat.Capture, species string, start time.Time) {
	for _, release := range f.Releases {
		if release.Species != species {
			continue
		}
		origin := f.Window.Start.Sub(start).Minutes()
		first, last := (origin+release.StartMinute)/stepMinutes, (origin+release.EndMinute)/stepMinutes
		for i := int(math.Floor(first)); i < int(math.Ceil(last)) && i < len(rate); i++ {
			share := math.Min(float64(i+1), last) - math.Max(float64(i), first)
			at := start.Add(time.Duration((float64(i) + 0.5) * stepMinutes * float64(time.Minute)))
			escape := 1 - capture.ClosedFraction
			for _, p := range f.Phases {
				if p.Kind.DoorOpen() && !at.Before(p.Window.Start) && at.Before(p.Window.End) {
					escape = 1 - capture.DoorOpenFraction
				}
			}
			rate[i] += release.GramsPerMinute * share * escape
		}
	}
}

func highestMean(values []float64, width int) float64 {
	var sum, best float64
	for i, v := range values {
		sum += v
		if i >= width {
			sum -= values[i-width]
		}
		best = math.Max(best, sum/float64(width))
	}
	return best
}
