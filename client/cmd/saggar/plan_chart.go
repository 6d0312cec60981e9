package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"saggar/client/api"
	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

// plannedMarks are the marks of what is planned, by those of what is booked.
var plannedMarks = map[rune]rune{markPeople: 'O', markHeat: '@', markCool: '=', markWait: '_'}

const (
	plannedLegend = "O people at it   @ heat on   = cooling   _ cold, waits to be drawn"
	bookedLegend  = "o people at it   # heat on   ~ cooling   - cold, waits to be drawn"
	// mostPlannedDays bounds the chart of a plan; the table has all of it.
	mostPlannedDays = 28
)

// readPlannedWeeks reads what is booked and closed in the weeks of a plan, from its first day on.
func (s *shell) readPlannedWeeks(ctx context.Context, connection *api.Connection, runs []*saggarv1.Run, zone *time.Location) (*week, error) {
	var windows []*saggarv1.StageWindow
	for _, run := range runs {
		windows = append(windows, run.GetStageWindows()...)
	}
	first, last := extent(windows)
	day := first.In(zone)
	w := &week{zone: zone, start: time.Date(day.Year(), day.Month(), day.Day(), 0, 0, 0, 0, zone), days: 7, planned: windows}
	for w.days < mostPlannedDays && w.day(w.days).Before(last) {
		w.days += 7
	}
	return w, s.fillWeek(ctx, connection, w)
}

// extent is the first and the last instant of windows.
func extent(windows []*saggarv1.StageWindow) (first, last time.Time) {
	for _, w := range windows {
		for _, p := range w.GetPhases() {
			if start := p.GetStartTime().AsTime(); first.IsZero() || start.Before(first) {
				first = start
			}
			last = maxTime(last, p.GetEndTime().AsTime())
		}
	}
	return first, last
}

// planGrid is the chart of a plan's weeks, a week to a row of days; furnaces that stand free are left out.
func (w *week) planGrid() render.Grid {
	used := map[string]bool{}
	for _, p := range w.planned {
		used[p.GetFurnace()] = true
	}
	for _, f := range w.firings.GetFirings() {
		used[f.GetFurnace()] = true
	}
	w.furnaces = slices.DeleteFunc(w.furnaces, func(id string) bool { return !used[id] })
	one := *w
	one.days = 7
	hours := one.fittingHours(w.labelWidth())
	title := fmt.Sprintf("Planned, with what is booked: %s to %s, %s, %d h to a character", w.start.Format("Mon 2 Jan 2006"),
		w.day(w.days-1).Format("Mon 2 Jan"), w.zone, hours)
	chart := w.chart(title, hours, 7)
	margin := strings.Repeat(" ", w.labelWidth()) + " "
	chart.Rows = append(chart.Rows, []string{margin + "planned: " + plannedLegend}, []string{margin + "booked:  " + bookedLegend},
		[]string{margin + "x closed   . free"})
	return chart
}
