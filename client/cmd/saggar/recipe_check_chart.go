package main

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"

	"github.com/spf13/pflag"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/client/chart"
	"saggar/client/render"
)

// chartFlags say whether and where courses over time are drawn.
type chartFlags struct {
	terminal bool
	file     string
}

func (f *chartFlags) flags(set *pflag.FlagSet) {
	set.BoolVar(&f.terminal, "chart", false, "with --output table: also draw the courses over time, as text")
	set.StringVar(&f.file, "chart-file", "", "also draw the courses over time into a .svg or .png file")
}

// fits refuses a file that no picture can be.
func (f chartFlags) fits(format render.Format) error {
	if f.terminal && format != render.Table {
		return errors.New("--chart: only with --output table; --chart-file goes with all")
	}
	if f.file == "" {
		return nil
	}
	if _, err := chart.PictureOf(f.file); err != nil {
		return fmt.Errorf("--chart-file: %w", err)
	}
	return nil
}

// draw draws what was asked for. Without anything to draw that is said on standard error, and no file is written.
func (s *shell) draw(f chartFlags, make func() []chart.Chart) error {
	if !f.terminal && f.file == "" {
		return nil
	}
	charts := make()
	if len(charts) == 0 {
		_, err := io.WriteString(s.errOut, "saggar: nothing is drawn: no stage has a course over time\n")
		return err
	}
	if f.terminal {
		for _, c := range charts {
			if _, err := io.WriteString(s.out, "\n"); err != nil {
				return err
			}
			if err := chart.WriteTerminal(s.out, c); err != nil {
				return err
			}
		}
	}
	if f.file == "" {
		return nil
	}
	return f.writeFile(charts)
}

func (f chartFlags) writeFile(charts []chart.Chart) error {
	kind, err := chart.PictureOf(f.file)
	if err != nil {
		return badInput(err)
	}
	file, err := os.Create(f.file)
	if err != nil {
		return badInput(fmt.Errorf("--chart-file: %w", err))
	}
	defer file.Close()
	if err := chart.WritePicture(file, kind, charts); err != nil {
		return err
	}
	return file.Close()
}

// charts are one for each heat treatment: the chamber, what comes off, and the room against its limits.
func (a recipeCheck) charts() []chart.Chart {
	var charts []chart.Chart
	for _, h := range a.Heat {
		var temperature chart.Line
		for _, point := range h.GetProfile() {
			temperature.Points = append(temperature.Points, chart.Point{Minute: point.GetMinute(), Value: point.GetCelsius()})
		}
		c := chart.Chart{
			Title:  fmt.Sprintf("%s on %s", h.GetStage(), h.GetFurnace()),
			Panels: []chart.Panel{{Title: "Chamber, C", Lines: []chart.Line{temperature}}, a.releasePanel(h.GetStage())},
			Notes:  []string{"Off-gas and room: the cautious case. " + cmp.Or(a.Caution, chem.Caution)},
		}
		for _, room := range a.Air {
			if room.Stage == h.GetStage() {
				c.Panels = append(c.Panels, room.panels()...)
			}
		}
		charts = append(charts, c)
	}
	return charts
}

// releasePanel is what a stage gives off in the cautious case, one line a gas; steam only where nothing else comes off.
func (a recipeCheck) releasePanel(stage string) chart.Panel {
	panel := chart.Panel{Title: "Off-gas, g/min"}
	bySpecies := map[string][]stageRelease{}
	var order []string
	for _, r := range a.Releases {
		if r.Stage != stage || r.Case != chem.Cautious {
			continue
		}
		if bySpecies[r.Species] == nil {
			order = append(order, r.Species)
		}
		bySpecies[r.Species] = append(bySpecies[r.Species], r)
	}
	for _, species := range order {
		if species == "H2O" && len(order) > 1 {
			continue
		}
		panel.Lines = append(panel.Lines, chart.Line{Name: species, Steps: true, Points: rateSteps(bySpecies[species])})
	}
	return panel
}

// rateSteps adds up releases of one gas, which may overlap, into its rate from each minute on.
func rateSteps(releases []stageRelease) []chart.Point {
	var minutes []float64
	for _, r := range releases {
		minutes = append(minutes, r.StartMinute, r.EndMinute)
	}
	slices.Sort(minutes)
	minutes = slices.Compact(minutes)
	points := make([]chart.Point, 0, len(minutes))
	for _, minute := range minutes {
		rate := 0.0
		for _, r := range releases {
			if r.StartMinute <= minute && minute < r.EndMinute {
				rate += r.GramsPerMinute
			}
		}
		points = append(points, chart.Point{Minute: minute, Value: rate})
	}
	return points
}

const (
	// roomPanels is how many gases of a room are drawn at most.
	roomPanels = 4
	// ratioDrawn is the share of its nearest limit from which a second gas is drawn.
	ratioDrawn = 0.01
)

// panels are the gases of a room that come nearest to a limit, each against the nearest that refuses and that warns.
func (r stageAir) panels() []chart.Panel {
	worst := func(s stageSpeciesAir) float64 {
		ratio := 0.0
		for _, l := range s.Limits {
			ratio = max(ratio, l.Ratio)
		}
		return ratio
	}
	species := slices.DeleteFunc(slices.Clone(r.Species), func(s stageSpeciesAir) bool { return len(s.Limits) == 0 })
	slices.SortStableFunc(species, func(x, y stageSpeciesAir) int { return cmp.Compare(worst(y), worst(x)) })
	var panels []chart.Panel
	for i, s := range species[:min(len(species), roomPanels)] {
		if i > 0 && worst(s) < ratioDrawn {
			break
		}
		line := chart.Line{Name: s.Species}
		for _, point := range s.Series {
			line.Points = append(line.Points, chart.Point{Minute: point.GetMinute(), Value: point.GetPpm()})
		}
		panel := chart.Panel{Title: "Air of " + r.Room + ", ppm", Lines: []chart.Line{line}}
		for _, l := range nearest(s.Limits) {
			panel.Levels = append(panel.Levels, chart.Level{Name: l.words(), Value: l.LimitPPM})
		}
		panels = append(panels, panel)
	}
	return panels
}

// words name a limit with its averaging time and what passing it does.
func (l limitRatio) words() string {
	words := l.Authority + " " + string(l.Kind)
	if l.AveragingMinutes > 0 {
		words += fmt.Sprintf(" over %g min", l.AveragingMinutes)
	}
	if l.Severity == finding.Block {
		return words + ", refuses"
	}
	return words + ", warns"
}
