package chart

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// firing is ten hours with a short peak of gas.
func firing() Chart {
	return Chart{
		Title: "reduce on pot-furnace",
		Panels: []Panel{
			{Title: "Chamber, C", Lines: []Line{{Points: []Point{{0, 20}, {300, 900}, {600, 100}}}}},
			{
				Title:  "Room, ppm",
				Lines:  []Line{{Name: "SO2", Points: []Point{{0, 0}, {200, 0}, {201, 4}, {202, 0}, {600, 0}}}},
				Levels: []Level{{Name: "STEL", Value: 5}, {Name: "IDLH", Value: 100}},
			},
			{Title: "Off-gas, g/min", Lines: []Line{{Name: "CO", Steps: true}}},
		},
		Notes: []string{"A planning estimate."},
	}
}

func terminal(t *testing.T, c Chart) string {
	t.Helper()
	var out strings.Builder
	require.NoError(t, WriteTerminal(&out, c))
	return out.String()
}

func TestTerminalShowsEveryLineWithItsLevelsAndNotes(t *testing.T) {
	text := terminal(t, firing())
	assert.Contains(t, text, "reduce on pot-furnace\n")
	assert.Contains(t, text, "Chamber, C\n")
	assert.Contains(t, text, "Room, ppm, SO2; · STEL, 5; IDLH, 100, is above this picture\n")
	assert.Contains(t, text, "A planning estimate.\n")
	assert.NotContains(t, text, "Off-gas", "a line without points is left out with its panel")
	for line := range strings.Lines(text) {
		assert.LessOrEqual(t, len([]rune(strings.TrimRight(line, "\n"))), 120, line)
	}
}

func TestTerminalLosesNoPeakBetweenTwoColumns(t *testing.T) {
	course := firing().Panels[1].Lines[0].sampled(0, 600)
	highest := 0.0
	for _, value := range course {
		highest = math.Max(highest, value)
	}
	assert.Equal(t, 4.0, highest, "the peak lasts two minutes, a column six")
}

func TestLineValues(t *testing.T) {
	sloped := Line{Points: []Point{{10, 1}, {20, 3}}}
	stepped := Line{Points: sloped.Points, Steps: true}
	for _, c := range []struct {
		name   string
		line   Line
		minute float64
		value  float64
		there  bool
	}{
		{"before", sloped, 9, 0, false},
		{"first", sloped, 10, 1, true},
		{"between", sloped, 15, 2, true},
		{"stepped between", stepped, 15, 1, true},
		{"stepped last", stepped, 20, 3, true},
		{"after", sloped, 21, 0, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			value, there := c.line.at(c.minute)
			assert.Equal(t, c.there, there)
			assert.Equal(t, c.value, value)
		})
	}
}

func TestHourSteps(t *testing.T) {
	for minutes, step := range map[float64]float64{1: 0.05, 360: 1, 361: 2, 1440: 4, 100000: 336} {
		assert.Equal(t, step, hourStep(minutes), "%g minutes", minutes)
	}
}

func TestPNGShowsEachChartOnWhite(t *testing.T) {
	height := func(charts ...Chart) (image.Image, int) {
		var out bytes.Buffer
		require.NoError(t, WritePicture(&out, PNG, charts))
		picture, err := png.Decode(&out)
		require.NoError(t, err)
		return picture, picture.Bounds().Dy()
	}
	picture, one := height(firing())
	_, two := height(firing(), firing())
	assert.Greater(t, two, one+one/2)
	seen := map[color.RGBA]bool{}
	for y := range picture.Bounds().Dy() {
		for x := range picture.Bounds().Dx() {
			seen[color.RGBAModel.Convert(picture.At(x, y)).(color.RGBA)] = true
		}
	}
	assert.True(t, seen[color.RGBA{0xFF, 0xFF, 0xFF, 0xFF}], "the ground is white")
	assert.True(t, seen[colours[0]], "the line is drawn in its colour")
}

func TestSVGIsWellFormedAndNamesWhatItShows(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, WritePicture(&out, SVG, []Chart{firing()}))
	var words strings.Builder
	decoder := xml.NewDecoder(&out)
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		if text, ok := token.(xml.CharData); ok {
			words.Write(text)
		}
	}
	for _, word := range []string{"reduce on pot-furnace", "Chamber, C", "Room, ppm", "SO2", "STEL, 5", "hours", "A planning estimate."} {
		assert.Contains(t, words.String(), word)
	}
}

func TestWhatCannotBeDrawnIsRefused(t *testing.T) {
	broken := func(change func(*Chart)) Chart {
		c := firing()
		change(&c)
		return c
	}
	for _, c := range []struct {
		name  string
		chart Chart
		why   string
	}{
		{"no points", Chart{Title: "empty"}, "no line has points"},
		{"not a number", broken(func(c *Chart) { c.Panels[0].Lines[0].Points[1].Value = math.NaN() }), `panel "Chamber, C"`},
		{"infinite level", broken(func(c *Chart) { c.Panels[1].Levels[0].Value = math.Inf(1) }), `level "STEL"`},
		{"out of order", broken(func(c *Chart) { c.Panels[0].Lines[0].Points[2].Minute = 1 }), "order of time"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var out bytes.Buffer
			require.ErrorContains(t, WriteTerminal(&out, c.chart), c.why)
			require.ErrorContains(t, WritePicture(&out, SVG, []Chart{c.chart}), c.why)
			assert.Zero(t, out.Len(), "nothing is written")
		})
	}
	require.Error(t, WritePicture(io.Discard, PNG, nil))
}

func TestPictureOf(t *testing.T) {
	for path, want := range map[string]Picture{"a.svg": SVG, "dir.png/b.PNG": PNG} {
		kind, err := PictureOf(path)
		require.NoError(t, err)
		assert.Equal(t, want, kind)
	}
	for _, path := range []string{"a", "a.jpg", ".svg/a"} {
		_, err := PictureOf(path)
		require.ErrorContains(t, err, ".svg or .png", path)
	}
}
