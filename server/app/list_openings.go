package app

import (
	"context"
	"maps"
	"slices"

	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/domain"
	"saggar/server/store"
)

// ListOpenings lists when furnaces stand free for somebody within a window: no firing on them, nothing that they need closed, and
// nothing held for somebody else's turn.
// Ordered by furnace, then start. Errors: finding.Faults for a furnace that does not stand.
func (a *App) ListOpenings(ctx context.Context, q OpeningsQuery) ([]Opening, error) {
	var openings []Opening
	err := a.read(ctx, q.StudioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		site, err := readSite(ctx, tx, studio)
		if err != nil {
			return err
		}
		if err := holdOffered(ctx, tx, site, q.For, a.now()); err != nil {
			return err
		}
		ids, err := furnacesAsked(site, q.FurnaceIDs)
		if err != nil {
			return err
		}
		firings, err := tx.FiringsOver(ctx, studio.Key, store.FiringsQuery{Window: q.Window, FurnaceIDs: ids})
		if err != nil {
			return err
		}
		busy := busyWindows(site, firings, q.Window)
		for _, id := range ids {
			openings = append(openings, furnaceOpenings(site, id, busy[id], q)...)
		}
		return nil
	})
	return openings, err
}

func furnacesAsked(site *domain.Site, asked []string) ([]string, error) {
	if len(asked) == 0 {
		return slices.Sorted(maps.Keys(site.Furnaces)), nil
	}
	for _, id := range asked {
		if _, ok := site.Furnaces[id]; !ok {
			var faults finding.Faults
			faults.Add("furnaces", "there is no furnace "+id, "list the studio's furnaces for their ids")
			return nil, faults
		}
	}
	return slices.Sorted(slices.Values(asked)), nil
}

// busyWindows is when each furnace cannot be used: its firings, and closures of anything it needs.
func busyWindows(site *domain.Site, firings []domain.Firing, span domain.Window) map[string][]domain.Window {
	busy := map[string][]domain.Window{}
	for _, f := range firings {
		busy[f.Furnace] = append(busy[f.Furnace], f.Window)
	}
	for id, furnace := range site.Furnaces {
		for _, c := range site.ClosuresOver(furnace, span.Start, span.End) {
			busy[id] = append(busy[id], domain.Window{Start: c.Start, End: c.End})
		}
		busy[id] = domain.MergeWindows(busy[id])
	}
	return busy
}

func furnaceOpenings(site *domain.Site, id string, busy []domain.Window, q OpeningsQuery) []Opening {
	var openings []Opening
	add := func(w domain.Window) {
		if w.Start.Before(w.End) && w.Minutes() >= q.MinimumMinutes {
			openings = append(openings, Opening{id, w, staffedMinutes(site, site.Furnaces[id], w)})
		}
	}
	free := q.Window.Start
	for _, b := range busy {
		if b.Start.After(free) {
			add(domain.Window{Start: free, End: b.Start})
		}
		if b.End.After(free) {
			free = b.End
		}
	}
	add(domain.Window{Start: free, End: q.Window.End})
	return openings
}

func staffedMinutes(site *domain.Site, furnace heat.Furnace, w domain.Window) int {
	minutes := 0
	for _, hours := range staffedWindows(site, furnace.Room, heat.InRoom, w) {
		minutes += int(overlapMinutes(hours, w))
	}
	return minutes
}
