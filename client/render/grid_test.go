package render_test

import (
	"encoding/csv"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/client/render"
)

var furnaces = render.Grid{
	Title:   "Furnaces",
	Columns: []string{"furnace", "kW", "top C", "note", "share"},
	Rows: [][]string{
		{"muffle-one", "3.6", "1150", "kept clean", "-0.5"},
		{"four à gaz", "60", "1320", "", ""},
		{"lehr", "5", "n/a", "=1+1", "12"},
		{"short"},
	},
}

func TestTables(t *testing.T) {
	chart := render.Grid{Title: "Week", Rows: [][]string{{"     |Mon|Tue"}, {"lehr |##.|..="}}}
	empty := render.Grid{Title: "None of these:", Columns: []string{"stage", "code"}}
	golden(t, "tables.txt", written(t, render.Table, nil, chart, render.Grid{}, furnaces, empty, render.Grid{Rows: [][]string{{"Caution: an estimate"}}}))
}

func TestAnEmptyTableIsLeftOutAndAnEmptyAnswerSaysSo(t *testing.T) {
	empty := render.Grid{Title: "Runs", Columns: []string{"run", "title"}}
	assert.Equal(t, "none\n", written(t, render.Table, nil, empty))
	assert.Equal(t, "all well\n", written(t, render.Table, nil, empty, render.Grid{Title: "all well"}))
	assert.Empty(t, written(t, render.Table, nil))
}

func TestADashStandsForNothingInAColumnOfNumbers(t *testing.T) {
	grid := render.Grid{Columns: []string{"what", "top C"}, Rows: [][]string{{"kiln", "1300"}, {"mortar", "-"}}}
	assert.Equal(t, "what    top C\nkiln     1300\nmortar      -\n", written(t, render.Table, nil, grid))
	assert.Equal(t, "what,top C\nkiln,1300\nmortar,\n", written(t, render.CSV, nil, grid))
}

func TestTablesKeepControlCharactersOut(t *testing.T) {
	got := written(t, render.Table, nil, render.Grid{Title: "a\x1b[2Jb", Columns: []string{"x\ty"}, Rows: [][]string{{"c\r\nd\u202ee\u009b"}}})
	assert.Equal(t, "a [2Jb\nx y\nc  d e\n", got)
}

func TestCSV(t *testing.T) {
	chart := render.Grid{Title: "Week", Rows: [][]string{{"|Mon|Tue"}}}
	none := render.Grid{Columns: []string{"stage"}}
	golden(t, "furnaces.csv", written(t, render.CSV, nil, chart, none, furnaces))
	assert.Equal(t, "stage\n", written(t, render.CSV, nil, chart, none), "the header of an empty list")
	assert.Empty(t, written(t, render.CSV, nil, chart))
}

func TestCSVGuardsFormulas(t *testing.T) {
	for cell, want := range map[string]string{
		"=1+1": "'=1+1", "+a": "'+a", "-a": "'-a", "@sum": "'@sum", "\tx": "'\tx", "\rx": "'\rx", "-": "", "+1-1": "'+1-1",
		"-5": "-5", "+1.5e3": "+1.5e3", "-.5": "-.5", "5": "5", "": "", "a=1": "a=1", "-1e": "'-1e",
		" =1": "' =1", "\n=1": "'\n=1", "\uff1d1+1": "'\uff1d1+1", "\uff20sum": "'\uff20sum", " ": " ", "\xff=": "\xff=", "é": "é",
	} {
		text := written(t, render.CSV, nil, render.Grid{Columns: []string{"a", cell}, Rows: [][]string{{"x", cell}}})
		rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
		require.NoError(t, err)
		assert.Equal(t, want, strings.ReplaceAll(rows[1][1], "\r\n", "\n"), "%q", cell)
		assert.Equal(t, want, rows[0][1], "a heading %q", cell)
	}
}

// A table's columns begin at the same place in every row, and no line ends in a blank.
func TestTableColumnsAlign(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		words := rapid.SliceOfN(rapid.StringMatching(`[a-zé]{1,12}`), 1, 8).Draw(rt, "words")
		grid := render.Grid{Columns: []string{"first", "|"}}
		for _, w := range words {
			grid.Rows = append(grid.Rows, []string{w, "|"})
		}
		lines := strings.Split(strings.TrimSuffix(written(t, render.Table, nil, grid), "\n"), "\n")
		require.Len(rt, lines, len(words)+1)
		for _, line := range lines {
			require.Equal(rt, len([]rune(lines[0])), len([]rune(line)))
			require.True(rt, strings.HasSuffix(line, "  |"))
		}
	})
}

func TestNumber(t *testing.T) {
	for want, x := range map[string]float64{
		"0": 0, "0.03": 0.03, "12.35": 12.346, "1280": 1280, "12346": 12345.6, "120000": 120000, "0.3333": 1.0 / 3, "-0.5": -0.5,
		"1000": 999.96, "100": 99.996, "0.00001235": 0.000012346, "0.000001": 1e-6, "1e-07": 1e-7, "1.235e+15": 1234567890123456,
		"999999999999999": 999999999999999, "1": 1.00001,
	} {
		assert.Equal(t, want, render.Number(x))
	}
	assert.Equal(t, "0", render.Number(math.Copysign(0, -1)))
	for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		assert.Equal(t, "n/a", render.Number(x))
	}
}

func TestNumberStaysWithinHalfAUnitOfItsFourthDigit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(-1e18, 1e18).Draw(t, "x")
		got, err := strconv.ParseFloat(render.Number(x), 64)
		require.NoError(t, err)
		require.InDelta(t, x, got, 0.50001e-3*math.Abs(x))
	})
}

func TestMinutes(t *testing.T) {
	for want, n := range map[string]int{"0 min": 0, "45 min": 45, "1 h": 60, "7 h 20 min": 440, "100 h 1 min": 6001, "-1 h 5 min": -65} {
		assert.Equal(t, want, render.Minutes(n))
	}
}
