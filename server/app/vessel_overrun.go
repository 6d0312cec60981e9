package app

import (
	"fmt"
	"time"

	"saggar/chem/finding"
	"saggar/server/domain"
)

// cleanedAfter is until when a vessel that is in a firing is held.
func cleanedAfter(studio domain.Studio, firing domain.Firing) time.Time {
	window := domain.Load{Window: firing.Window, Firing: &firing}.StageWindow()
	return window.Drawn().Add(time.Duration(studio.CleanMinutes) * time.Minute)
}

// prolongVessels holds the vessels of firings that overran for as much longer, beside what others hold. What is so is written down;
// where somebody else wants one by then it is warned of, and the hold ends there.
func (p *prepared) prolongVessels(others []domain.BookedHold) {
	desk := vesselDesk{site: p.site, holds: others}
	for _, o := range p.joint.overran {
		end := cleanedAfter(p.site.Studio, o.Firing)
		for run := range p.runs {
			for i := range p.runs[run].Inputs.Holds {
				h := &p.runs[run].Inputs.Holds[i]
				if p.runs[run].ID != o.RunID || h.Stage != o.Stage || h.Kind != domain.KindVessel || !h.Window.End.Before(end) {
					continue
				}
				longer := domain.Window{Start: h.Window.End, End: end}
				stock := desk.stock(p.site.Vessels[h.ID], ownKey(run), longer, h.Leaves)
				if stock.items-stock.taken < h.Count {
					p.findings = append(p.findings, p.stillInOverrun(o, *h, stock))
					longer.End = stock.firstWanted(longer)
				}
				h.Window.End = longer.End
			}
		}
	}
}

// firstWanted is when within a span somebody else has a vessel first.
func (s vesselStock) firstWanted(span domain.Window) time.Time {
	first := span.End
	for _, h := range s.held {
		if start := later(h.Window.Start, span.Start); start.Before(first) {
			first = start
		}
	}
	return first
}

func (p *prepared) stillInOverrun(o plannedFiring, h domain.Hold, stock vesselStock) finding.Finding {
	v := p.site.Vessels[h.ID]
	return finding.Finding{
		Severity: finding.Warn, Code: "VESSEL_OVERRAN", Field: o.field, About: h.ID,
		Message: fmt.Sprintf("%d of %s stay in %s until %s: %s", h.Count, v.Words(), o.Furnace, p.joint.clock(cleanedAfter(p.site.Studio, o.Firing)),
			stock.inWords(v, p.joint.clock)),
		Cure: "name another vessel for those who come after, or move them, and acknowledge this code",
	}
}
