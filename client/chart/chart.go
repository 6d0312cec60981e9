// Package chart draws quantities over time one above the other on a shared time axis: as text for a terminal, or as an SVG
// or PNG picture. What is drawn, in which unit and with which caution is the caller's to say.
package chart

import (
	"errors"
	"fmt"
	"math"
)

// Chart is panels over the same time.
type Chart struct {
	Title  string
	Panels []Panel
	// Notes stand below: what the figures assume and what they do not replace.
	Notes []string
}

// Panel is one quantity over time.
type Panel struct {
	// Title says what is drawn and in which unit, such as "Chamber, C".
	Title  string
	Lines  []Line
	Levels []Level
}

// Line is one course over time.
type Line struct {
	Name string
	// Points are in the order of time; between them the line is straight, or with Steps stays at the earlier value.
	Points []Point
	Steps  bool
}

// Point is a value at a time in minutes.
type Point struct{ Minute, Value float64 }

// Level is a value that a line is held against, such as a limit; it is drawn as a straight line across.
type Level struct {
	Name  string
	Value float64
}

// validate refuses what no drawing can show. Panels without a line that has points are left out by both drawings.
func (c Chart) validate() error {
	for _, p := range c.Panels {
		for _, level := range p.Levels {
			if !finite(level.Value) {
				return fmt.Errorf("chart %q, panel %q: the level %q is no finite number", c.Title, p.Title, level.Name)
			}
		}
		for _, line := range p.Lines {
			last := math.Inf(-1)
			for _, point := range line.Points {
				if !finite(point.Minute) || !finite(point.Value) || point.Minute < last {
					return fmt.Errorf("chart %q, panel %q: the line %q is not finite or not in the order of time", c.Title, p.Title, line.Name)
				}
				last = point.Minute
			}
		}
	}
	if len(c.drawn()) == 0 {
		return errNothing
	}
	return nil
}

// errNothing is what a chart without a single point answers.
var errNothing = errors.New("nothing to draw: no line has points")

// drawn are the panels that have something to show.
func (c Chart) drawn() []Panel {
	var panels []Panel
	for _, p := range c.Panels {
		var lines []Line
		for _, line := range p.Lines {
			if len(line.Points) > 0 {
				lines = append(lines, line)
			}
		}
		if len(lines) > 0 {
			panels = append(panels, Panel{Title: p.Title, Lines: lines, Levels: p.Levels})
		}
	}
	return panels
}

// span is the time from minute 0, or the first point where that is earlier, to the last point of all panels, in minutes; at
// least one minute long.
func (c Chart) span() (first, last float64) {
	first, last = 0, math.Inf(-1)
	for _, p := range c.drawn() {
		for _, line := range p.Lines {
			first = math.Min(first, line.Points[0].Minute)
			last = math.Max(last, line.Points[len(line.Points)-1].Minute)
		}
	}
	return first, math.Max(last, first+1)
}

const (
	hourMinutes = 60.0
	// ticks is into how many parts the time axis is divided at most.
	ticks = 6
)

// hourSteps are the distances in hours at which a time axis may be marked.
var hourSteps = []float64{0.05, 0.1, 0.25, 0.5, 1, 2, 3, 4, 6, 8, 12, 24, 48}

// hourStep is the least distance in hours at which the marks of a time axis cover so many minutes.
func hourStep(minutes float64) float64 {
	hours := minutes / hourMinutes
	for _, step := range hourSteps {
		if ticks*step >= hours {
			return step
		}
	}
	week := 7 * 24.0
	return week * math.Ceil(hours/ticks/week)
}

// at is a line's value at a minute; before its first point and after its last it is not there.
func (l Line) at(minute float64) (value float64, there bool) {
	points := l.Points
	if minute < points[0].Minute || minute > points[len(points)-1].Minute {
		return 0, false
	}
	next := 0
	for next < len(points) && points[next].Minute <= minute {
		next++
	}
	before := points[next-1]
	if next == len(points) || l.Steps {
		return before.Value, true
	}
	after := points[next]
	return before.Value + (after.Value-before.Value)*(minute-before.Minute)/(after.Minute-before.Minute), true
}

func finite(value float64) bool { return !math.IsNaN(value) && !math.IsInf(value, 0) }
