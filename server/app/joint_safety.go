package app

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"saggar/chem/air"
	"saggar/chem/assess"
	"saggar/chem/data"
	"saggar/chem/finding"
	"saggar/server/domain"
)

// interlocks finds what is wrong with what cuts the heat of planned firings that give gas off into a branch when its fan stops.
// The failing fan is worked out only where nothing cuts the heat, with everything else in the room.
func (j joint) interlocks() []finding.Finding {
	var found []finding.Finding
	for _, p := range j.planned {
		furnace := j.site.Furnaces[p.Furnace]
		if len(p.Releases) == 0 || furnace.Branch == "" {
			continue
		}
		var failure *air.FanFailure
		if !furnace.FanInterlock.Fitted() {
			worked, err := j.failing(p, furnace.Room)
			if err != nil {
				continue // the check of the air says so already, and refuses
			}
			failure = &worked
		}
		for _, f := range j.interlock(p, failure).Findings() {
			f.Field = p.field
			found = append(found, f)
		}
	}
	return found
}

// interlock is what is asked about a planned firing's.
func (j joint) interlock(p plannedFiring, failure *air.FanFailure) assess.Interlock {
	return assess.Interlock{
		Furnace: j.site.Furnaces[p.Furnace], Failure: failure, OnDate: j.today,
		FiringDate: p.GasUntil().In(j.site.Zone).Format(time.DateOnly), TestMonths: j.site.Studio.InterlockTestMonths,
	}
}

// failing is what follows when the extraction of a room stops at the worst moment of a firing, with everything else there. Where
// the worst of all lies outside the firing it is somebody else's, and the firing's own is taken.
func (j joint) failing(p plannedFiring, room string) (air.FanFailure, error) {
	view, err := j.view(p, room)
	if err != nil {
		return air.FanFailure{}, err
	}
	check := air.FanFailureCheck{Zone: view.Zone, Sources: slices.Concat(view.Sources, view.Standing), Own: view.Own}
	failure, err := air.CheckFanFailure(check)
	if at := failure.AtMinute; err == nil && (at < 0 || at > p.Window.End.Sub(p.Window.Start).Minutes()) {
		if check.AtMinute, err = ownWorst(view); err == nil {
			failure, err = air.CheckFanFailure(check)
		}
	}
	return failure, err
}

// ownWorst is the minute that leaves the least time by what a firing itself gives off.
func ownWorst(view air.RoomCheck) (*float64, error) {
	own, err := air.CheckFanFailure(air.FanFailureCheck{Zone: view.Zone, Sources: view.Sources, Own: view.Own})
	return &own.AtMinute, err
}

// stopSteps finds firings that give off what is dangerous to life on furnaces of which nobody wrote down how to stop them. It is
// for reading: nothing is refused for it.
func (j joint) stopSteps() []finding.Finding {
	var found []finding.Finding
	for _, p := range j.planned {
		deadly := dangerous(p.Firing)
		if len(j.site.Furnaces[p.Furnace].StopSteps) > 0 || len(deadly) == 0 {
			continue
		}
		var species, sources []string
		f := finding.Finding{Severity: finding.Warn, Code: "STOP_STEPS_MISSING", Field: p.field, About: p.Furnace}
		for _, l := range deadly {
			species = append(species, l.Species)
			sources = append(sources, l.Source)
			f.Figures = append(f.Figures, finding.Figure{Name: l.Species + "_dangerous_to_life", Value: l.PPM, Unit: "ppm"})
		}
		f.Message = fmt.Sprintf("%s gives off %s, of which a published concentration is dangerous to life, and nobody has written down how %s "+
			"is stopped", p.Title, strings.Join(species, ", "), p.Furnace)
		f.Cure, f.Source = "write the stop steps of the furnace down, in order, and have them at it", strings.Join(once(sources), "; ")
		found = append(found, f)
	}
	return found
}

// dangerous are the concentrations dangerous to life of what a firing gives off, one for each species, by species.
func dangerous(f domain.Firing) []air.Limit {
	var species []string
	for _, r := range f.Releases {
		species = append(species, r.Species)
	}
	slices.Sort(species)
	var found []air.Limit
	for _, s := range slices.Compact(species) {
		limits := air.Limits(s)
		if i := slices.IndexFunc(limits, func(l air.Limit) bool { return l.Kind == data.DangerousToLife }); i >= 0 {
			found = append(found, limits[i])
		}
	}
	return found
}
