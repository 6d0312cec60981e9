package app

import (
	"slices"

	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/server/domain"
)

// near finds what people breathe at open furnaces of a room: at the planned one, and at others where its gas makes it worse.
// Of the others those are looked at whose spill does not fit into what the room leaves.
func (j joint) near(p plannedFiring, view air.RoomCheck, headroomPPM map[string]float64) (
	found []finding.Finding, assumptions []string, err error,
) {
	room, all := view.Room.ID, slices.Concat(view.Sources, view.Standing)
	for at, source := range all {
		own := at == 0 && room == j.site.Furnaces[p.Furnace].Room
		if !own && (at < len(view.Sources) || !opensDuring(source, p)) {
			continue
		}
		if len(assumptions) > 0 && !own && !spillsOver([]air.Source{source}, headroomPPM) {
			continue // nobody there comes over a limit; what is assumed has been said
		}
		with, err := air.CheckNear(air.NearCheck{Zone: view.Zone, Sources: all, At: at, Own: view.Own})
		if err != nil {
			return nil, nil, err
		}
		assumptions = append(assumptions, with.Assumptions...)
		if own && p.seen != nil {
			p.seen.Near = with
		}
		if own || len(with.Findings) == 0 {
			found = append(found, with.Findings...)
			continue
		}
		without, err := air.CheckNear(air.NearCheck{
			Zone: view.Zone, Sources: view.Standing, At: at - len(view.Sources), Own: view.Own,
		})
		if err != nil {
			return nil, nil, err
		}
		found = append(found, worse(with.Findings, without.Findings)...)
	}
	return found, assumptions, nil
}

// opensDuring reports whether a source's door opens while a firing runs or within a day after it.
func opensDuring(source air.Source, p plannedFiring) bool {
	end := p.Window.End.Add(leastReach).Sub(p.Window.Start).Minutes()
	return slices.ContainsFunc(source.DoorOpen, func(open air.Interval) bool { return open.EndMinute > 0 && open.StartMinute < end })
}

// headroom is, by species, how far an assessed room stays below the strictest limit that refuses; see air.Judgement.
func headroom(room air.Assessment) map[string]float64 {
	ppm := map[string]float64{}
	for _, species := range room.Species {
		for _, limit := range species.Limits {
			left, known := ppm[species.Species]
			if limit.Severity == finding.Block && (!known || limit.PPM-species.PeakPPM < left) {
				ppm[species.Species] = limit.PPM - species.PeakPPM
			}
		}
	}
	return ppm
}

// spillsOver reports whether the spill of any source is more than the room leaves of a limit.
func spillsOver(sources []air.Source, headroomPPM map[string]float64) bool {
	for _, source := range sources {
		spill, err := air.SpillPPM(source)
		if err != nil {
			return true
		}
		for species, ppm := range spill {
			if left, limited := headroomPPM[species]; limited && ppm > left {
				return true
			}
		}
	}
	return false
}

// nearOwn finds what people breathe at the planned firings' own open furnaces.
func (j joint) nearOwn() []finding.Finding {
	var found []finding.Finding
	for _, p := range j.planned {
		room := j.site.Furnaces[p.Furnace].Room
		if len(p.Releases) == 0 {
			continue
		}
		view, err := j.view(p, room)
		if err == nil {
			var near air.NearAssessment
			near, err = air.CheckNear(air.NearCheck{
				Zone: view.Zone, Sources: slices.Concat(view.Sources, view.Standing), Own: view.Own,
			})
			found = append(found, j.putDown(near.Findings, p, room)...)
		}
		if err != nil {
			found = append(found, uncheckable(p, room, err))
		}
	}
	return found
}

// nearAdded finds what the planned firings make worse at the open furnaces of firings that came in.
func (j joint) nearAdded(added []domain.Firing) []finding.Finding {
	var found []finding.Finding
	for _, a := range added {
		asked := plannedFiring{Firing: a, field: j.planned[0].field}
		others := slices.DeleteFunc(slices.Clone(j.existing), func(f domain.Firing) bool { return f.Key == a.Key && f.ID == a.ID })
		before := joint{site: j.site, existing: others, planned: []plannedFiring{asked}, today: j.today}
		with := before
		for _, p := range j.planned {
			with.existing = append(slices.Clone(with.existing), p.Firing)
		}
		if near := with.nearOwn(); len(near) > 0 {
			found = append(found, worse(near, before.nearOwn())...)
		}
	}
	return found
}
