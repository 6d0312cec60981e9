package app

import (
	"math"
	"slices"
	"time"

	"saggar/chem/assess"
	"saggar/server/domain"
)

// vesselDesk knows who has which vessels, booked and planned.
type vesselDesk struct {
	site  *domain.Site
	holds []domain.BookedHold
}

// vesselStock is how much of a vessel or set a stage can have.
type vesselStock struct {
	items int
	// taken is how many others have at one time of the stage's; held are their holds.
	taken int
	held  []domain.BookedHold
	// spoilt is how many cannot be used with what the stage's charge holds, or would be spoilt for who has them later; by are the
	// holds for which that is so, none when the vessel's own record says it.
	spoilt int
	by     []domain.BookedHold
	words  []string // what is in the wall and not in the charge, or the other way round
}

func (s vesselStock) free() int { return s.items - s.taken - s.spoilt }

// always is as long as any hold.
var always = domain.Window{Start: time.Unix(0, 0), End: time.Unix(1<<40, 0)}

// stock says how much of a vessel is free for a run over a span, for a charge that leaves some words in its wall. What the run
// itself has is not in its way. Of a set, those that are spoilt already are taken first by those whom it does not harm.
func (d vesselDesk) stock(v domain.Vessel, run int64, span domain.Window, leaves []string) vesselStock {
	s := vesselStock{items: v.Items()}
	if s.words = assess.Spoils(v.Held, leaves); len(s.words) > 0 {
		s.spoilt = s.items
		return s
	}
	var overlapping, spoiling []draw
	for _, h := range d.holds {
		if h.ID != v.ID || h.RunKey == run {
			continue
		}
		if h.Window.Overlaps(span) {
			overlapping, s.held = append(overlapping, drawOf(h)), append(s.held, h)
			continue
		}
		earlier := h.Window.Start.Before(span.Start)
		words := assess.Spoils(leaves, h.Leaves)
		if earlier {
			words = assess.Spoils(h.Leaves, leaves)
		}
		if len(words) == 0 || earlier && h.Window.Start.Before(v.HeldTime) {
			continue
		}
		spoiling, s.by, s.words = append(spoiling, drawOf(h)), append(s.by, h), append(s.words, words...)
	}
	slices.Sort(s.words)
	s.words = slices.Compact(s.words)
	s.taken = int(math.Round(peakWithin(overlapping, span).amount))
	s.spoilt = int(math.Round(peakWithin(spoiling, always).amount))
	return s
}

func drawOf(h domain.BookedHold) draw { return draw{window: h.Window, amount: float64(h.Count)} }

// freeFor counts vessels of which others have some, over a span.
func (d vesselDesk) freeFor(ask vesselAsk) []string {
	var free []string
	for _, v := range d.ofKind(ask.stage.Vessel.Kind) {
		if n := ask.needed(v); firstBlock(ask.against(v, n)) == "" && d.stock(v, ask.run, ask.span, ask.leaves).free() >= n {
			free = append(free, v.ID)
		}
	}
	return free
}
