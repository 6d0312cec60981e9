package app

import (
	"context"
	"slices"
	"time"

	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

// offering holds time that falls free with a booking against what people asked for.
type offering struct {
	app      *App
	tx       *store.Tx
	booking  *store.Booking
	now      time.Time // the next whole minute, from which on time counts
	site     *domain.Site
	rules    []domain.BookingRule
	requests []domain.TimeRequest // open ones as they become, in the order of asking
	free     []domain.FurnaceTime
}

// book writes a booking with the offers that follow from it: the time of firings that end with it, and of offers that lapsed
// or are ended by it, is offered to whoever asked first and has room for it within their limits. A booking without a change
// writes only what lapsed, if anything.
func (a *App) book(ctx context.Context, tx *store.Tx, booking store.Booking) error {
	if err := a.offerFreed(ctx, tx, &booking); err != nil {
		return err
	}
	if len(booking.Changes) == 0 {
		return nil
	}
	return tx.Book(ctx, booking)
}

func (a *App) offerFreed(ctx context.Context, tx *store.Tx, booking *store.Booking) error {
	o := &offering{app: a, tx: tx, booking: booking, now: a.now().Truncate(time.Minute).Add(time.Minute)}
	for _, f := range booking.Ended() {
		o.fell(domain.FurnaceTime{Furnace: f.Furnace, Window: f.Window})
	}
	if len(o.free) == 0 && len(booking.TimeRequests) == 0 && len(booking.Changes) > 0 {
		return nil // nothing falls free; what lapsed waits for the sweep
	}
	if err := o.readRequests(ctx); err != nil || len(o.free) == 0 || len(o.requests) == 0 {
		return err
	}
	if err := o.readSite(ctx); err != nil {
		return err
	}
	for i := range o.requests {
		if err := o.offer(ctx, i); err != nil {
			return err
		}
	}
	return nil
}

// fell adds time that falls free, as far as it is to come.
func (o *offering) fell(t domain.FurnaceTime) {
	t.Window.Start = later(t.Window.Start, o.now)
	if t.Furnace != "" && t.Window.Start.Before(t.Window.End) {
		o.free = append(o.free, t)
	}
}

// readRequests reads who asked, as the booking leaves them, and writes down what lapsed.
func (o *offering) readRequests(ctx context.Context) error {
	open, err := o.tx.OpenTimeRequests(ctx, o.booking.Studio.Key)
	if err != nil {
		return err
	}
	for _, r := range open {
		changed := slices.IndexFunc(o.booking.TimeRequests, func(c domain.TimeRequest) bool { return c.AskedRevision == r.AskedRevision })
		switch {
		case changed >= 0:
			if r.Offer != nil && o.booking.TimeRequests[changed].State != domain.TimeTaken {
				o.fell(r.Offer.FurnaceTime)
			}
			r = o.booking.TimeRequests[changed]
		case r.Lapsed(o.app.now()):
			o.fell(r.Offer.FurnaceTime)
			r = o.change(r, r.WithoutOffer())
		}
		if r.IsOpen() {
			o.requests = append(o.requests, r)
		}
	}
	return nil
}

func (o *offering) change(before, after domain.TimeRequest) domain.TimeRequest {
	return o.app.changeTimeRequest(Call{Caller: sweeper, Method: "OfferTime"}, o.booking, before, after)
}

// readSite takes off what is free where the furnace is taken, closed or held for somebody.
func (o *offering) readSite(ctx context.Context) (err error) {
	if o.site, err = readSite(ctx, o.tx, o.booking.Studio); err != nil {
		return err
	}
	if o.rules, err = o.tx.BookingRules(ctx, o.booking.Studio.Key); err != nil {
		return err
	}
	span := domain.MergeWindows(windowsOf(o.free))
	all := domain.Window{Start: span[0].Start, End: span[len(span)-1].End}
	firings, err := o.tx.FiringsOver(ctx, o.booking.Studio.Key, store.FiringsQuery{Window: all})
	if err != nil {
		return err
	}
	ended := o.endedKeys()
	firings = slices.DeleteFunc(firings, func(f domain.Firing) bool { return ended[f.Key] })
	for _, f := range o.booking.Firings {
		if f.State.Occupies() {
			firings = append(firings, f)
		}
	}
	for _, runs := range [][]domain.Run{o.booking.NewRuns, o.booking.ChangedRuns} {
		for _, run := range runs {
			for _, f := range run.Firings() {
				if f.State.Occupies() {
					firings = append(firings, *f)
				}
			}
		}
	}
	busy := busyWindows(o.site, firings, all)
	for _, r := range o.requests {
		if r.Offer != nil {
			busy[r.Offer.Furnace] = append(busy[r.Offer.Furnace], r.Offer.Window)
		}
	}
	var free []domain.FurnaceTime
	for _, t := range o.free {
		free = append(free, without(t, busy[t.Furnace])...)
	}
	o.free = free
	return nil
}

func windowsOf(times []domain.FurnaceTime) []domain.Window {
	var windows []domain.Window
	for _, t := range times {
		windows = append(windows, t.Window)
	}
	return windows
}

// without is what is left of time on a furnace outside of some windows.
func without(t domain.FurnaceTime, windows []domain.Window) []domain.FurnaceTime {
	var left []domain.FurnaceTime
	for _, w := range t.Window.Without(windows) {
		left = append(left, domain.FurnaceTime{Furnace: t.Furnace, Window: w})
	}
	return left
}

func (o *offering) endedKeys() map[int64]bool {
	keys := map[int64]bool{}
	for _, f := range o.booking.Ended() {
		keys[f.Key] = true
	}
	return keys
}

// offer holds the first free time that a request fits for it. What is left of that stays for those who asked later.
func (o *offering) offer(ctx context.Context, index int) error {
	r := o.requests[index]
	if r.Offer != nil {
		return nil
	}
	for i, free := range o.free {
		for _, allowed := range without(free, o.taughtTo(r, free)) {
			fits, ok := r.Fits(allowed)
			if !ok {
				continue
			}
			within, err := o.withinLimits(ctx, r, fits)
			if err != nil {
				return err
			}
			if within {
				o.requests[index] = o.change(r, r.Offered(fits, o.app.now(), o.site.Studio.OfferMinutes))
				o.free = slices.Concat(o.free[:i:i], without(free, []domain.Window{fits.Window}), o.free[i+1:])
				return nil
			}
		}
	}
	return nil
}

// taughtTo are the hours on a furnace that are kept for another department than a request's.
func (o *offering) taughtTo(r domain.TimeRequest, free domain.FurnaceTime) []domain.Window {
	var kept []domain.Window
	for _, rule := range o.rules {
		if h := rule.Taught; h != nil && r.AskerRole < domain.RoleTechnician && h.Department != r.Department && h.On(free.Furnace) {
			kept = append(kept, h.Kept(free.Window, o.now, o.site.Zone)...)
		}
	}
	return kept
}

// withinLimits reports whether whoever asked may book the least of what they asked for there, as far as limits and allotments
// go. What ends with this booking counts no more.
func (o *offering) withinLimits(ctx context.Context, r domain.TimeRequest, t domain.FurnaceTime) (bool, error) {
	t.Window.End = t.Window.Start.Add(time.Duration(r.LeastMinutes) * time.Minute)
	firing := &domain.Firing{Furnace: t.Furnace, Window: t.Window, Department: r.Department, Maker: r.Asker}
	would := &prepared{
		site: o.site, movedFrom: o.endedKeys(), assessments: make([]assess.Assessment, 1), runs: []domain.Run{{
			Maker: r.Asker, Department: r.Department, Loads: []domain.Load{{Window: t.Window, Firing: firing}},
		}},
	}
	check := ruleCheck{
		prepared: would, tx: o.tx, now: o.app.now(), by: domain.Caller{ID: r.Asker, Role: r.AskerRole}, rules: o.rules,
	}
	_, err := check.limits(ctx)
	return err == nil && !finding.Blocks(would.findings), err
}
