package app

import (
	"context"
	"slices"
	"time"

	"saggar/server/domain"
	"saggar/server/store"
)

// heldByNow adds to vessels what runs have left in them by now, and to gear how long its cartridges have been and will be used.
func (a *App) heldByNow(ctx context.Context, tx *store.Tx, studioKey int64, list []domain.Equipment) error {
	if len(list) == 0 || list[0].Kind != domain.KindVessel && list[0].Kind != domain.KindGear {
		return nil
	}
	query := store.HoldsQuery{Kind: list[0].Kind}
	for _, e := range list {
		query.IDs = append(query.IDs, e.ID)
	}
	holds, err := tx.Holds(ctx, studioKey, query)
	if err != nil {
		return err
	}
	now := a.now()
	for _, e := range list {
		if e.Kind == domain.KindVessel {
			e.Vessel.NowHeld = nowHeld(*e.Vessel, holds, now)
			continue
		}
		e.Gear.BookedHours = gearDesk{holds: holds}.hours(*e.Gear, nil)
		e.Gear.SpentHours = gearDesk{holds: until(holds, now)}.hours(*e.Gear, nil)
	}
	return nil
}

// nowHeld is what is in a vessel's wall at a time, by what somebody recorded and what runs have put in it since.
func nowHeld(v domain.Vessel, holds []domain.BookedHold, now time.Time) []string {
	held := slices.Clone(v.Held)
	for _, h := range until(holds, now) {
		if h.ID == v.ID && !h.Window.Start.Before(v.HeldTime) {
			held = append(held, h.Leaves...)
		}
	}
	slices.Sort(held)
	return slices.Compact(held)
}

// until are holds that have begun, as far as they have come.
func until(holds []domain.BookedHold, now time.Time) []domain.BookedHold {
	var begun []domain.BookedHold
	for _, h := range holds {
		if h.Window.Start.Before(now) {
			if h.Window.End.After(now) {
				h.Window.End = now
			}
			begun = append(begun, h)
		}
	}
	return begun
}
