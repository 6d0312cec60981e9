package chart

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/guptarohit/asciigraph"
)

const (
	terminalColumns = 96
	terminalRows    = 8
	// levelMark draws a level, which no line's characters look like.
	levelMark = "·"
)

// WriteTerminal draws each line of each panel as text over hours, with the levels that it is held against where they lie near
// enough. Errors: a value that is not finite, no points, or what w says.
func WriteTerminal(w io.Writer, c Chart) error {
	if err := c.validate(); err != nil {
		return err
	}
	var out strings.Builder
	fmt.Fprintf(&out, "%s\n", c.Title)
	first, last := c.span()
	last = first + ticks*hourStep(last-first)*hourMinutes
	for _, panel := range c.drawn() {
		for _, line := range panel.Lines {
			out.WriteString("\n" + panel.text(line, first, last) + "\n")
		}
	}
	for _, note := range c.Notes {
		out.WriteString("\n" + note + "\n")
	}
	_, err := io.WriteString(w, out.String())
	return err
}

// nearLevel is how far above a line's peak a level may lie and still be drawn, as a multiple of the peak; drawn further away
// it would press the line flat.
const nearLevel = 2.5

// text draws one line of a panel.
func (p Panel) text(line Line, first, last float64) string {
	course := line.sampled(first, last)
	top := 0.0
	for _, point := range line.Points {
		top = math.Max(top, point.Value)
	}
	var series [][]float64
	var marks []asciigraph.CharSet
	heading := p.Title
	if line.Name != "" {
		heading += ", " + line.Name
	}
	for _, level := range p.Levels {
		if level.Value > nearLevel*top {
			heading += fmt.Sprintf("; %s, %s, is above this picture", level.Name, label(level.Value))
			continue
		}
		flat := make([]float64, len(course))
		for i := range flat {
			flat[i] = level.Value
		}
		series, marks = append(series, flat), append(marks, asciigraph.CreateCharSet(levelMark))
		heading += fmt.Sprintf("; %s %s, %s", levelMark, level.Name, label(level.Value))
	}
	// The line comes last and so stands above the levels.
	series, marks = append(series, course), append(marks, asciigraph.DefaultCharSet)
	return heading + "\n" + asciigraph.PlotMany(series, asciigraph.Height(terminalRows), asciigraph.SeriesChars(marks...),
		asciigraph.LowerBound(0), asciigraph.UpperBound(top), asciigraph.YAxisValueFormatter(label),
		asciigraph.XAxisRange(first/hourMinutes, last/hourMinutes), asciigraph.XAxisTickCount(ticks+1),
		asciigraph.XAxisValueFormatter(func(hours float64) string { return label(hours) + " h" }))
}

// sampled is a line at evenly spaced times, one a column: of each column the greatest value in it, so that no short peak is
// lost between two columns. Times at which the line is not there count as none.
func (l Line) sampled(first, last float64) []float64 {
	values := make([]float64, terminalColumns)
	width := (last - first) / (terminalColumns - 1)
	for i := range values {
		from, to := first+width*(float64(i)-0.5), first+width*(float64(i)+0.5)
		values[i] = math.NaN()
		if value, there := l.at(first + width*float64(i)); there {
			values[i] = value
		}
		for _, point := range l.Points {
			if point.Minute >= from && point.Minute < to && !(values[i] >= point.Value) {
				values[i] = point.Value
			}
		}
	}
	return values
}

// label is a number with three digits at most.
func label(value float64) string {
	text := strconv.FormatFloat(value, 'g', 3, 64)
	if parsed, err := strconv.ParseFloat(text, 64); err == nil && math.Abs(parsed) >= 1000 && math.Abs(parsed) < 1e7 {
		return strconv.FormatFloat(parsed, 'f', 0, 64)
	}
	return text
}
