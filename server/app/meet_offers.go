package app

import (
	"context"
	"fmt"
	"slices"
	"time"

	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

const codeFurnaceOffered = "FURNACE_OFFERED"

// takenOffer is a request for time whose offer a run takes, as it was read. An offer that changes meanwhile makes the booking
// look again, since what is held decides bookings as equipment does.
type takenOffer struct {
	request domain.TimeRequest
	run     int // of the prepared runs
}

// meetOffers holds the planned firings against time that is held for whoever asked for it. Their own they take, that of others
// refuses. An offer that lapsed and is not passed on yet refuses too, which makes a booking pass it on and look again; a check
// that changes nothing leaves it out.
func (p *prepared) meetOffers(ctx context.Context, tx *store.Tx, call Call, now time.Time) error {
	requests, err := tx.OpenTimeRequests(ctx, p.site.Studio.Key)
	if err != nil {
		return err
	}
	for _, r := range requests {
		if r.Offer == nil || call.ValidateOnly && r.Lapsed(now) {
			continue
		}
		for _, f := range p.joint.planned {
			if f.Furnace != r.Offer.Furnace || !f.Window.Overlaps(r.Offer.Window) {
				continue
			}
			if f.Maker != r.Asker || r.Lapsed(now) {
				p.findings = append(p.findings, p.offeredFinding(f, *r.Offer))
				continue
			}
			run := slices.IndexFunc(p.runs, func(run domain.Run) bool { return isOf(run, f) })
			if !slices.ContainsFunc(p.taken, func(t takenOffer) bool { return t.request.AskedRevision == r.AskedRevision }) {
				p.taken = append(p.taken, takenOffer{r, run})
			}
		}
	}
	return nil
}

// isOf reports whether a planned firing is one of a run's.
func isOf(run domain.Run, f plannedFiring) bool {
	return slices.ContainsFunc(run.Loads, func(l domain.Load) bool {
		return l.Firing != nil && l.Firing.Furnace == f.Furnace && l.Window == f.Window && l.Firing.Maker == f.Maker
	})
}

func (p *prepared) offeredFinding(f plannedFiring, o domain.TimeOffer) finding.Finding {
	clock := func(t time.Time) string { return t.In(p.site.Zone).Format("Mon 2 Jan 15:04") }
	return finding.Finding{
		Severity: finding.Block, Code: codeFurnaceOffered, Field: f.field, About: f.Furnace,
		Message: fmt.Sprintf("%s fell free from %s to %s and is held until %s for somebody who asked for it before and whose turn it is",
			f.Furnace, clock(o.Window.Start), clock(o.Window.End), clock(o.ExpireTime)),
		Figures: []finding.Figure{{Name: "held", Value: float64(o.Window.Minutes()), Unit: "min"}},
		Cure:    fmt.Sprintf("choose a time outside of it, or ask for it with a request of your own; look again after %s", clock(o.ExpireTime)),
	}
}

// takeOffers ends the requests whose time a booking takes.
func (a *App) takeOffers(call Call, booking *store.Booking, p *prepared) {
	for _, t := range p.taken {
		a.changeTimeRequest(call, booking, t.request, t.request.Ended(domain.TimeTaken, p.runs[t.run].ID))
	}
}

// holdOffered closes furnaces over what is held for others than somebody, so that nothing is planned there.
func holdOffered(ctx context.Context, tx *store.Tx, site *domain.Site, who string, now time.Time) error {
	requests, err := tx.OpenTimeRequests(ctx, site.Studio.Key)
	for _, r := range requests {
		if held := r.Held(now); held != nil && r.Asker != who {
			site.Closures = append(site.Closures, domain.Closure{
				SubjectKind: domain.KindFurnace, SubjectID: held.Furnace, Start: held.Window.Start, End: held.Window.End,
				Reason: "held for somebody who asked for it before, until " + held.ExpireTime.In(site.Zone).Format("Mon 2 Jan 15:04"),
			})
		}
	}
	slices.SortStableFunc(site.Closures, func(a, b domain.Closure) int { return a.Start.Compare(b.Start) })
	return err
}
