package render

import (
	"bytes"
	"encoding/csv"
	"io"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Grid is a part of what a table shows.
type Grid struct {
	// Title stands on a line of its own above; empty for none.
	Title string
	// Columns are the headings. Without any, the rows are lines of text, which CSV leaves out.
	Columns []string
	// Rows are the cells, in the order of the columns; a short row leaves the rest empty. A column whose cells are all
	// plain numbers is aligned to the right in a table. The cell "-" stands for nothing, and is empty in CSV.
	Rows [][]string
}

const (
	columnGap = "  "
	nothing   = "-"
)

var plainNumber = regexp.MustCompile(`^[-+]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][-+]?[0-9]+)?$`)

// writeTables writes all grids that are not empty, with a blank line between them. One with headings and nothing below
// them counts as empty; when there is no other, that is said.
func writeTables(out *bytes.Buffer, grids []Grid) {
	headed := false
	for _, g := range grids {
		if len(g.Columns) > 0 && len(g.Rows) == 0 {
			headed = true
			continue
		}
		if g.Title == "" && len(g.Rows) == 0 {
			continue
		}
		if out.Len() > 0 {
			out.WriteByte('\n')
		}
		g.write(out)
	}
	if headed && out.Len() == 0 {
		out.WriteString("none\n")
	}
}

func (g Grid) write(out *bytes.Buffer) {
	if g.Title != "" {
		out.WriteString(OneLine(g.Title) + "\n")
	}
	rows := g.Rows
	if len(g.Columns) > 0 {
		rows = append([][]string{g.Columns}, rows...)
	}
	var widths []int
	for _, row := range rows {
		for i, cell := range row {
			if i == len(widths) {
				widths = append(widths, 0)
			}
			widths[i] = max(widths[i], utf8.RuneCountInString(OneLine(cell)))
		}
	}
	right := make([]bool, len(widths))
	for i := range right {
		right[i] = g.numeric(i)
	}
	for _, row := range rows {
		var line strings.Builder
		for i, cell := range row {
			cell = OneLine(cell)
			gap := strings.Repeat(" ", widths[i]-utf8.RuneCountInString(cell))
			if right[i] {
				line.WriteString(gap + cell + columnGap)
			} else {
				line.WriteString(cell + gap + columnGap)
			}
		}
		out.WriteString(strings.TrimRight(line.String(), " ") + "\n")
	}
}

// numeric tells whether a column holds numbers and nothing else; empty cells do not count.
func (g Grid) numeric(column int) bool {
	found := false
	for _, row := range g.Rows {
		if column < len(row) && row[column] != "" && row[column] != nothing {
			if !plainNumber.MatchString(row[column]) {
				return false
			}
			found = true
		}
	}
	return found
}

// OneLine replaces control characters and marks of direction, so that no text that somebody stored moves a terminal's
// cursor or turns a line around.
func OneLine(cell string) string {
	return strings.Map(func(r rune) rune {
		if unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp) {
			return ' '
		}
		return r
	}, cell)
}

func writeCSV(out io.Writer, grids []Grid) error {
	chosen := slices.IndexFunc(grids, func(g Grid) bool { return len(g.Columns) > 0 && len(g.Rows) > 0 })
	if chosen < 0 {
		chosen = slices.IndexFunc(grids, func(g Grid) bool { return len(g.Columns) > 0 })
	}
	if chosen < 0 {
		return nil
	}
	w := csv.NewWriter(out)
	for _, row := range append([][]string{grids[chosen].Columns}, grids[chosen].Rows...) {
		cells := make([]string, max(len(row), len(grids[chosen].Columns)))
		for i, cell := range row {
			cells[i] = guarded(cell)
		}
		if err := w.Write(cells); err != nil {
			return err
		}
	}
	w.Flush()
	return w.Error()
}

// formulaStarts are what spreadsheets take for the begin of a formula, those of full width included, or skip before one.
const formulaStarts = "=+-@\t\r\n\uff1d\uff0b\uff0d\uff20"

// guarded keeps a spreadsheet from running a cell as a formula.
func guarded(cell string) string {
	if cell == nothing {
		return ""
	}
	if first, _ := utf8.DecodeRuneInString(strings.TrimLeft(cell, " ")); strings.ContainsRune(formulaStarts, first) && !plainNumber.MatchString(cell) {
		return "'" + cell
	}
	return cell
}
