package app

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"time"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/domain"
)

// windowCheck holds the windows asked for one run against its recipe, the phases that its furnaces need, the lags, the
// staffed hours and the closures. It looks at no other firing.
type windowCheck struct {
	site    *domain.Site
	recipe  chem.Recipe
	field   string // of the run
	windows []domain.StageWindow
	phases  [][]heat.Phase // needed, by stage
	kept    int            // of the first stages, those that have begun and stay as they are
}

func (w windowCheck) findings() []finding.Finding {
	var found []finding.Finding
	for i := w.kept; i < len(w.windows); i++ {
		found = append(found, w.shape(i)...)
		found = append(found, w.staffed(i)...)
		found = append(found, w.closures(i)...)
	}
	return append(found, w.lags()...)
}

func (w windowCheck) path(stage int) string {
	return fmt.Sprintf("%s.stage_windows[%d]", w.field, stage)
}

func (w windowCheck) clock(t time.Time) string { return t.In(w.site.Zone).Format("Mon 2 Jan 15:04") }

// checkWindows returns the faults of windows that no booking could have: wrong stages, gaps, half minutes, the past, and
// another place for a stage that has begun.
func (at runAt) checkWindows(recipe chem.Recipe, now time.Time) finding.Faults {
	var faults finding.Faults
	field, windows := at.field, at.request.Windows
	if len(windows) != len(recipe.Stages) {
		faults.Add(field+".stage_windows", fmt.Sprintf("%d windows are given for %d stages", len(windows),
			len(recipe.Stages)), "give one for each stage of the recipe, in its order, as a plan returns them")
		return faults
	}
	for i, window := range windows {
		path := fmt.Sprintf("%s.stage_windows[%d]", field, i)
		if window.Stage != recipe.Stages[i].ID {
			faults.Add(path+".stage", fmt.Sprintf("%q stands where the recipe has %q", window.Stage, recipe.Stages[i].ID),
				"give the stages in the recipe's order")
		}
		if kept := at.kept(i, now); kept != nil {
			faults.AddUnder(path, checkKept(window, kept.StageWindow()))
			continue
		}
		faults.AddUnder(path, checkPhases(window, now))
	}
	return faults
}

// keptCount is how many of the first stages have begun.
func (at runAt) keptCount(now time.Time) int {
	count := 0
	for at.kept(count, now) != nil {
		count++
	}
	return count
}

// checkKept holds the window given for a stage that has begun against the one in which it stands.
func checkKept(window, stands domain.StageWindow) finding.Faults {
	var faults finding.Faults
	if window.Furnace != stands.Furnace || !window.Window().Start.Equal(stands.Window().Start) {
		faults.Add("phases", "the stage has begun and cannot be moved", "give its window as it stands")
	}
	return faults
}

func checkPhases(window domain.StageWindow, now time.Time) finding.Faults {
	var faults finding.Faults
	for k, phase := range window.Phases {
		path := fmt.Sprintf("phases[%d]", k)
		if phase.Window.End.Before(phase.Window.Start) {
			faults.Add(path+".end_time", "the phase ends before it starts", "give an end at or after the start")
		}
		if k > 0 && !phase.Window.Start.Equal(window.Phases[k-1].Window.End) {
			faults.Add(path+".start_time", "the phase does not start where the one before it ends", "leave no gap")
		}
	}
	switch span := window.Window(); {
	case len(window.Phases) == 0:
		faults.Add("phases", "there is none", "give the phases as a plan returns them")
	case !span.Start.Before(span.End):
		faults.Add("phases", "the window is empty", "give the phases as a plan returns them")
	case span.Start.Before(now):
		faults.Add("phases[0].start_time", fmt.Sprintf("%s is past", span.Start.Format(time.RFC3339)), "choose a later start")
	}
	return faults
}

// shape holds the phases asked for against those that the furnace needs.
func (w windowCheck) shape(stage int) []finding.Finding {
	asked, needed := w.windows[stage].Phases, w.phases[stage]
	if needed == nil {
		return nil // why there are none is a finding of its own
	}
	wrong := func(message string, figures ...finding.Figure) []finding.Finding {
		return []finding.Finding{{
			Severity: finding.Block, Code: "WINDOW_PHASES", Field: w.path(stage) + ".phases", About: w.windows[stage].Furnace,
			Message: message, Figures: figures, Cure: "plan the run again and book what the plan returns",
		}}
	}
	if len(asked) != len(needed) {
		return wrong(fmt.Sprintf("stage %s needs %d phases on %s, %d are given", w.windows[stage].Stage, len(needed),
			w.windows[stage].Furnace, len(asked)))
	}
	for k, phase := range asked {
		minutes := phase.Window.Minutes()
		least, most := needed[k].Minutes, max(needed[k].Minutes, needed[k].MaxMinutes)
		if phase.Kind != needed[k].Kind || minutes < least || minutes > most {
			return wrong(fmt.Sprintf("phase %d of stage %s on %s must be %s for %d to %d min, given is %s for %d min", k+1,
				w.windows[stage].Stage, w.windows[stage].Furnace, needed[k].Kind, least, most, phase.Kind, minutes),
				finding.Figure{Name: "given", Value: float64(minutes), Unit: "min"},
				finding.Figure{Name: "least", Value: float64(least), Unit: "min"},
				finding.Figure{Name: "most", Value: float64(most), Unit: "min"})
		}
	}
	return nil
}

// staffed finds phases that need a person when nobody who answers for the room is there.
func (w windowCheck) staffed(stage int) []finding.Finding {
	furnace := w.site.Furnaces[w.windows[stage].Furnace] // without a room when it is bench work without a station
	needed := w.phases[stage]
	if len(needed) != len(w.windows[stage].Phases) {
		return nil
	}
	var found []finding.Finding
	for k, phase := range w.windows[stage].Phases {
		if needed[k].Watch == heat.WatchNone || phase.Window.Minutes() == 0 {
			continue
		}
		watch := needed[k].Watch
		if furnace.Room == "" {
			watch = heat.InReach
		}
		if signed := w.site.SignedOff(furnace.Room, phase.Window); watch == heat.InRoom && len(signed) > 0 {
			found = append(found, w.signedOff(stage, k, signed[0]))
			continue
		}
		open := staffedWindows(w.site, furnace.Room, watch, phase.Window)
		if slices.ContainsFunc(open, func(o domain.Window) bool { return o.Contains(phase.Window) }) {
			continue
		}
		found = append(found, finding.Finding{
			Severity: finding.Block, Code: "STAFFED_HOURS", Field: fmt.Sprintf("%s.phases[%d]", w.path(stage), k),
			About: furnace.Room,
			Message: fmt.Sprintf("for %s at %s from %s to %s somebody must be %s, and %s is not staffed all that time",
				phase.Kind, cmp.Or(furnace.ID, "the bench"), w.clock(phase.Window.Start), w.clock(phase.Window.End), watchWords(watch),
				cmp.Or(furnace.Room, "the studio")),
			Cure: "choose a time within the staffed hours, or have them extended",
		})
	}
	return found
}

// signedOff refuses somebody in a room that is closed to people and signed.
func (w windowCheck) signedOff(stage, phase int, signed domain.Window) finding.Finding {
	asked, furnace := w.windows[stage].Phases[phase], w.site.Furnaces[w.windows[stage].Furnace]
	return finding.Finding{
		Severity: finding.Block, Code: "ROOM_SIGNED_OFF", Field: fmt.Sprintf("%s.phases[%d]", w.path(stage), phase), About: furnace.Room,
		Message: fmt.Sprintf("for %s at %s from %s to %s somebody must be in %s, which is closed and signed from %s to %s: nobody may be inside",
			asked.Kind, furnace.ID, w.clock(asked.Window.Start), w.clock(asked.Window.End), furnace.Room, w.clock(signed.Start), w.clock(signed.End)),
		Cure: fmt.Sprintf("be in the room before %s or from %s on, or have the sign-off changed", w.clock(signed.Start), w.clock(signed.End)),
	}
}

func watchWords(watch heat.Watch) string {
	if watch == heat.InRoom {
		return "in the room"
	}
	return "in reach"
}

// staffedWindows is when a watch of a room can be kept. In the room: the room's own hours, but while it is signed off. In reach: while any room of the
// studio is staffed, since whoever is there hears the alarm.
func staffedWindows(site *domain.Site, room string, watch heat.Watch, span domain.Window) []domain.Window {
	if watch == heat.InRoom {
		return domain.SubtractWindows(site.Hours[room].Windows(span, site.Zone), site.SignedOff(room, span))
	}
	var all []domain.Window
	for _, id := range slices.Sorted(maps.Keys(site.Hours)) {
		all = append(all, site.Hours[id].Windows(span, site.Zone)...)
	}
	return domain.MergeWindows(all)
}

// closures finds equipment that is out of use.
func (w windowCheck) closures(stage int) []finding.Finding {
	furnace, ok := w.site.Furnaces[w.windows[stage].Furnace]
	if !ok {
		return nil
	}
	span := w.windows[stage].Window()
	var found []finding.Finding
	for _, c := range w.site.ClosuresOver(furnace, span.Start, span.End) {
		found = append(found, finding.Finding{
			Severity: finding.Block, Code: "CLOSED", Field: w.path(stage), About: c.SubjectID,
			Message: fmt.Sprintf("%s is out of use from %s to %s: %s", c.SubjectID, w.clock(c.Start), w.clock(c.End), c.Reason),
			Cure:    fmt.Sprintf("choose a time before or after it, from %s", w.clock(c.End)),
		})
	}
	return found
}

// lags finds stages that follow each other too soon or too late.
func (w windowCheck) lags() []finding.Finding {
	index := map[string]int{}
	for i, stage := range w.recipe.Stages {
		index[stage.ID] = i
	}
	var found []finding.Finding
	for _, lag := range allLags(w.recipe) {
		from, to := w.windows[index[lag.FromStage]].Drawn(), w.windows[index[lag.ToStage]].Charged()
		minutes := int(to.Sub(from) / time.Minute)
		if minutes >= lag.MinMinutes && (lag.MaxMinutes == 0 || minutes <= lag.MaxMinutes) {
			continue
		}
		cure := fmt.Sprintf("start %s at or after %s", lag.ToStage, w.clock(from.Add(time.Duration(lag.MinMinutes)*time.Minute)))
		if lag.MaxMinutes > 0 {
			cure += fmt.Sprintf(" and at or before %s", w.clock(from.Add(time.Duration(lag.MaxMinutes)*time.Minute)))
		}
		found = append(found, finding.Finding{
			Severity: finding.Block, Code: "LAG_BROKEN", Field: w.path(index[lag.ToStage]), About: lag.ToStage,
			Message: fmt.Sprintf("%s is charged %d min after %s is drawn, which must be at least %d min%s", lag.ToStage, minutes,
				lag.FromStage, lag.MinMinutes, mostWords(lag.MaxMinutes)),
			Figures: []finding.Figure{
				{Name: "given", Value: float64(minutes), Unit: "min"}, {Name: "least", Value: float64(lag.MinMinutes), Unit: "min"},
				{Name: "most", Value: float64(lag.MaxMinutes), Unit: "min"},
			},
			Cure: cure,
		})
	}
	return found
}

func mostWords(maxMinutes int) string {
	if maxMinutes == 0 {
		return ""
	}
	return fmt.Sprintf(" and at most %d min", maxMinutes)
}

// allLags returns the recipe's lags, and for each stage that it follows the one before it.
func allLags(recipe chem.Recipe) []chem.Lag {
	lags := slices.Clone(recipe.Lags)
	for i := 1; i < len(recipe.Stages); i++ {
		lags = append(lags, chem.Lag{FromStage: recipe.Stages[i-1].ID, ToStage: recipe.Stages[i].ID})
	}
	return lags
}
