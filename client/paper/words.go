package paper

import (
	"fmt"
	"html/template"
	"math"
	"strings"
	"time"

	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/chem/air"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

const (
	clock   = "15:04"
	dated   = "Mon 2 Jan 15:04"
	fullDay = "Monday 2 January 2006"
)

// words are what the pages call. A time on the day that begins at day is a clock time alone; a zero day dates all.
func words(zone *time.Location, day time.Time) template.FuncMap {
	date := day.In(zone).Format(time.DateOnly)
	return template.FuncMap{
		"at": func(t *timestamppb.Timestamp) string {
			local := t.AsTime().In(zone)
			if !day.IsZero() && local.Format(time.DateOnly) == date {
				return local.Format(clock)
			}
			return local.Format(dated)
		},
		"day":     func(t *timestamppb.Timestamp) string { return t.AsTime().In(zone).Format(fullDay) },
		"stamp":   func(t *timestamppb.Timestamp) string { return t.AsTime().In(zone).Format("2 Jan 2006 15:04 MST") },
		"id":      convert.ID,
		"num":     render.Number,
		"count":   func(n int32) string { return fmt.Sprint(n) },
		"minutes": func(n float64) string { return render.Minutes(int(math.Round(n))) },
		// Time to act is cut to the minute below.
		"within":   func(n float64) string { return render.Minutes(int(math.Floor(n))) },
		"word":     word,
		"done":     done,
		"people":   people,
		"rate":     rate,
		"enough":   enough,
		"first":    firstPassed,
		"air":      concentration,
		"share":    share,
		"deciding": deciding,
		"float":    func(n int32) float64 { return float64(n) },
		"none":     func() []*saggarv1.NearSpecies { return nil },
		"kind":     limitKind,
		"asksFor":  asksFor,
		"next":     func(i int) int { return i + 1 },
		"vessels":  vessels,
		"isHeat":   func(c *saggarv1.DayJob) bool { return c.GetProgram() != nil },
	}
}

// word is an enum's value as people write it.
func word(value protoreflect.Enum) string { return strings.ReplaceAll(render.Enum(value), "_", " ") }

// done says what is done in a phase.
func done(kind saggarv1.PhaseKind) string {
	switch kind {
	case saggarv1.PhaseKind_PHASE_KIND_WARM:
		return "Warm it empty"
	case saggarv1.PhaseKind_PHASE_KIND_CHARGE:
		return "Charge"
	case saggarv1.PhaseKind_PHASE_KIND_FIRE:
		return "Heat is on"
	case saggarv1.PhaseKind_PHASE_KIND_FEED:
		return "Feed the addition, hot"
	case saggarv1.PhaseKind_PHASE_KIND_COOL:
		return "Cools, closed"
	case saggarv1.PhaseKind_PHASE_KIND_OPEN:
		return "Stands open"
	case saggarv1.PhaseKind_PHASE_KIND_WAIT:
		return "Cold, waits to be drawn"
	case saggarv1.PhaseKind_PHASE_KIND_DRAW:
		return "Draw"
	case saggarv1.PhaseKind_PHASE_KIND_CLEAR:
		return "Burn off, empty"
	case saggarv1.PhaseKind_PHASE_KIND_WORK:
		return "Work at the bench"
	default:
		return word(kind)
	}
}

// people says how many are needed, and where.
func people(watch saggarv1.Watch, count int32) string {
	switch watch {
	case saggarv1.Watch_WATCH_IN_ROOM:
		return fmt.Sprintf("%d in the room", max(count, 1))
	case saggarv1.Watch_WATCH_IN_REACH:
		return fmt.Sprintf("%d in reach", max(count, 1))
	case saggarv1.Watch_WATCH_NONE:
		return "nobody"
	default:
		return "not known"
	}
}

func rate(s *saggarv1.Segment) string {
	if s.GetRateCelsiusPerHour() == 0 {
		return "full power (down: by itself)"
	}
	return render.Number(s.GetRateCelsiusPerHour()) + " C/h"
}

// asksFor tells whether a gas at an open furnace is over a limit that refuses.
func asksFor(s *saggarv1.NearSpecies) bool { return len(s.GetProtection()) > 0 }

// enough is the class with the lowest factor that is enough for its wearer; nil: none is.
func enough(s *saggarv1.NearSpecies) *saggarv1.ProtectionClass {
	var least *saggarv1.ProtectionClass
	for _, class := range s.GetProtection() {
		if class.GetEnough() && (least == nil || class.GetAssignedProtectionFactor() < least.GetAssignedProtectionFactor()) {
			least = class
		}
	}
	return least
}

// leastShown is the least figure that is written out.
const leastShown = 1e-3

// concentration is one in the unit in which the gas's limits are published.
func concentration(species string, ppm float64) string {
	value, unit := air.Shown(species, ppm)
	return share(value) + " " + unit
}

// share is a figure of which no more matters than that it is small when it is.
func share(value float64) string {
	if value > 0 && value < leastShown {
		return "under " + render.Number(leastShown)
	}
	return render.Number(value)
}

// firstPassed are, of the limits that are passed after a fan has stopped, what tells people when to be out: for each gas the
// first that refuses and the one that is dangerous to life, and before them the first that only warns. They stay in order.
func firstPassed(all []*saggarv1.PassedLimit) []*saggarv1.PassedLimit {
	var list []*saggarv1.PassedLimit
	said := map[string]bool{}
	for i, p := range all {
		key := p.GetSpecies()
		if p.GetKind() == "IDLH" {
			key += " IDLH"
		} else if !p.GetRefuses() && i > 0 {
			continue
		} else if !p.GetRefuses() {
			key += " warns"
		}
		if !said[key] {
			said[key] = true
			list = append(list, p)
		}
	}
	return list
}

// limitKind is how a limit is held, as people say it; the short names of the published tables stay.
func limitKind(kind string) string {
	switch kind {
	case "TWA", "STEL", "IDLH":
		return kind
	case "C":
		return "ceiling"
	default:
		return strings.ToLower(strings.ReplaceAll(kind, "_", " "))
	}
}

// vessels name what holds a charge, with its marks.
func vessels(uses []*saggarv1.VesselUse) string {
	var words []string
	for _, use := range uses {
		words = append(words, fmt.Sprintf("%d of %s", max(use.GetCount(), 1), use.GetVessel())+marked(use.GetMark()))
	}
	return strings.Join(words, ", ")
}

func marked(mark string) string {
	if mark == "" {
		return ""
	}
	return ", marked " + mark
}
