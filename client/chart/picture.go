package chart

import (
	"fmt"
	"image/color"
	"io"
	"math"
	"path/filepath"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"
)

const (
	pictureWidth = 24 * vg.Centimeter
	panelHeight  = 6.5 * vg.Centimeter
	headHeight   = 1.2 * vg.Centimeter
	footHeight   = 0.5 * vg.Centimeter
	noteHeight   = 0.55 * vg.Centimeter
	margin       = 0.4 * vg.Centimeter
	noteColumns  = 130 // characters on a line of notes at their size
	// legendShare is the height of one line of a legend as a share of a panel's lines.
	legendShare = 0.085
)

// colours are told apart with any kind of colour vision: M. Okabe and K. Ito, Color Universal Design, 2008.
var colours = []color.RGBA{
	{0x00, 0x72, 0xB2, 0xFF}, {0xD5, 0x5E, 0x00, 0xFF}, {0x00, 0x9E, 0x73, 0xFF}, {0xCC, 0x79, 0xA7, 0xFF},
	{0xE6, 0x9F, 0x00, 0xFF}, {0x56, 0xB4, 0xE9, 0xFF}, {0x00, 0x00, 0x00, 0xFF},
}

// dashes tell lines apart that share a colour.
var dashes = [][]vg.Length{nil, {vg.Points(6), vg.Points(2)}, {vg.Points(2), vg.Points(2)}}

// Picture is the kind of a picture's file.
type Picture string

// The kinds.
const (
	SVG Picture = "svg"
	PNG Picture = "png"
)

// PictureOf finds the kind by a file's name. Errors: any ending but .svg and .png.
func PictureOf(path string) (Picture, error) {
	switch kind := Picture(strings.TrimPrefix(strings.ToLower(filepath.Ext(path)), ".")); kind {
	case SVG, PNG:
		return kind, nil
	}
	return "", fmt.Errorf("%q is no picture that can be drawn: end the name in .svg or .png", path)
}

// WritePicture draws charts one below the other. Errors: a value that is not finite, a chart without points, none at all, or
// what w says.
func WritePicture(w io.Writer, kind Picture, charts []Chart) error {
	if len(charts) == 0 {
		return errNothing
	}
	height := 2 * margin
	for _, c := range charts {
		if err := c.validate(); err != nil {
			return err
		}
		height += c.height()
	}
	canvas, write := newCanvas(kind, height)
	area := draw.Crop(draw.New(canvas), margin, -margin, margin, -margin)
	for _, c := range charts {
		rest := draw.Crop(area, 0, 0, 0, -c.height())
		if err := c.draw(draw.Crop(area, 0, 0, area.Max.Y-area.Min.Y-c.height(), 0)); err != nil {
			return err
		}
		area = rest
	}
	_, err := write.WriteTo(w)
	return err
}

// newCanvas is a white canvas of a kind, and what writes it.
func newCanvas(kind Picture, height vg.Length) (vg.CanvasSizer, io.WriterTo) {
	if kind == PNG {
		canvas := vgimg.New(pictureWidth, height)
		return canvas, vgimg.PngCanvas{Canvas: canvas}
	}
	canvas := vgsvg.New(pictureWidth, height)
	canvas.SetColor(color.White)
	var page vg.Path
	page.Move(vg.Point{})
	page.Line(vg.Point{X: pictureWidth})
	page.Line(vg.Point{X: pictureWidth, Y: height})
	page.Line(vg.Point{Y: height})
	page.Close()
	canvas.Fill(page)
	return canvas, canvas
}

func (c Chart) height() vg.Length {
	return headHeight + vg.Length(len(c.drawn()))*panelHeight + vg.Length(len(c.noteLines()))*noteHeight + footHeight
}

// noteLines are the notes, wrapped.
func (c Chart) noteLines() []string {
	var lines []string
	for _, note := range c.Notes {
		line := ""
		for word := range strings.FieldsSeq(note) {
			if line != "" && len(line)+1+len(word) > noteColumns {
				lines, line = append(lines, line), ""
			}
			line = strings.TrimSpace(line + " " + word)
		}
		lines = append(lines, line)
	}
	return lines
}

// draw fills an area that is as high as the chart: heading, panels, notes.
func (c Chart) draw(area draw.Canvas) error {
	first, last := c.span()
	panels := c.drawn()
	rows := make([][]*plot.Plot, 0, len(panels))
	for _, panel := range panels {
		p, err := panel.plot(first, last)
		if err != nil {
			return err
		}
		rows = append(rows, []*plot.Plot{p})
	}
	rows[len(rows)-1][0].X.Label.Text = "hours"
	style := rows[0][0].Title.TextStyle
	style.XAlign, style.YAlign = draw.XLeft, draw.YTop
	style.Font.Size = vg.Points(14)
	area.FillText(style, vg.Point{X: area.Min.X, Y: area.Max.Y}, c.Title)
	area = draw.Crop(area, 0, 0, footHeight, 0)
	notes := vg.Length(len(c.noteLines())) * noteHeight
	middle := draw.Crop(area, 0, 0, notes, -headHeight)
	tiles := draw.Tiles{Rows: len(rows), Cols: 1, PadY: vg.Points(6)}
	for i, row := range plot.Align(rows, tiles, middle) {
		rows[i][0].Draw(row[0])
	}
	style.Font.Size = vg.Points(10)
	for i, line := range c.noteLines() {
		area.FillText(style, vg.Point{X: area.Min.X, Y: area.Min.Y + notes - vg.Length(i)*noteHeight}, line)
	}
	return nil
}

// plot is a panel over hours.
func (p Panel) plot(first, last float64) (*plot.Plot, error) {
	drawn := plot.New()
	drawn.Title.Text = p.Title
	drawn.Title.TextStyle.Font.Size = vg.Points(10)
	drawn.Legend.Top = true
	drawn.Legend.Padding = vg.Points(1.5)
	drawn.Legend.TextStyle.Font.Size = vg.Points(8)
	drawn.Add(plotter.NewGrid())
	top := 0.0
	for i, line := range p.Lines {
		for _, point := range line.Points {
			top = max(top, point.Value)
		}
		if err := addLine(drawn, line, i); err != nil {
			return nil, err
		}
	}
	for i, level := range p.Levels {
		if err := p.addLevel(drawn, level, i, top, [2]float64{first, last}); err != nil {
			return nil, err
		}
	}
	drawn.X.Tick.Marker = hours(hourStep(last - first))
	drawn.X.Min, drawn.X.Max = first/hourMinutes, last/hourMinutes
	drawn.Y.Min = min(0, drawn.Y.Min)
	// The legend stands above the lines, not on them.
	entries := len(p.Levels)
	for _, line := range p.Lines {
		if line.Name != "" {
			entries++
		}
	}
	drawn.Y.Max = drawn.Y.Min + max(drawn.Y.Max-drawn.Y.Min, 1e-9)*(1.05+legendShare*float64(entries))
	drawn.Y.Tick.Marker = shortTicks{}
	return drawn, nil
}

// hours marks an axis at every multiple of so many hours.
type hours float64

// shortTicks are the usual marks with short labels.
type shortTicks struct{ plot.DefaultTicks }

// Ticks is what plot.Axis asks.
func (t shortTicks) Ticks(from, to float64) []plot.Tick {
	marks := t.DefaultTicks.Ticks(from, to)
	for i := range marks {
		if marks[i].Label != "" {
			marks[i].Label = label(marks[i].Value)
		}
	}
	return marks
}

// Ticks is what plot.Axis asks.
func (h hours) Ticks(from, to float64) []plot.Tick {
	var marks []plot.Tick
	for i := math.Ceil(from / float64(h)); i*float64(h) <= to; i++ {
		marks = append(marks, plot.Tick{Value: i * float64(h), Label: label(i * float64(h))})
	}
	return marks
}

func addLine(drawn *plot.Plot, line Line, index int) error {
	points := make(plotter.XYs, 0, len(line.Points))
	for _, point := range line.Points {
		points = append(points, plotter.XY{X: point.Minute / hourMinutes, Y: point.Value})
	}
	course, err := plotter.NewLine(points)
	if err != nil {
		return err
	}
	if line.Steps {
		course.StepStyle = plotter.PostStep
	}
	course.Color = colours[index%len(colours)]
	course.Width = vg.Points(1.5)
	course.Dashes = dashes[index/len(colours)%len(dashes)]
	drawn.Add(course)
	if line.Name != "" {
		drawn.Legend.Add(line.Name, course)
	}
	return nil
}

// addLevel draws a level across, or names it where it lies too far above the lines.
func (p Panel) addLevel(drawn *plot.Plot, level Level, index int, top float64, span [2]float64) error {
	across, err := plotter.NewLine(plotter.XYs{{X: span[0] / hourMinutes, Y: level.Value}, {X: span[1] / hourMinutes, Y: level.Value}})
	if err != nil {
		return err
	}
	across.Color = color.RGBA{0x80, 0, 0, 0xFF}
	across.Dashes = []vg.Length{vg.Points(4), vg.Points(1 + 2*float64(index%4))}
	if level.Value > nearLevel*top {
		drawn.Legend.Add(fmt.Sprintf("%s, %s, is above this picture", level.Name, label(level.Value)))
		return nil
	}
	drawn.Add(across)
	drawn.Legend.Add(fmt.Sprintf("%s, %s", level.Name, label(level.Value)), across)
	return nil
}
