package main

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"saggar/client/render"
)

// tableWidth is how wide a table with sentences gets.
const tableWidth = 100

// notes are the assumptions and the caution under figures.
func notes(assumptions []string, caution string) []render.Grid {
	grid := render.Grid{Columns: []string{"assumptions"}}
	for _, assumption := range assumptions {
		for i, line := range wrap(assumption, tableWidth-2) {
			if i == 0 {
				grid.Rows = append(grid.Rows, []string{"- " + line})
			} else {
				grid.Rows = append(grid.Rows, []string{"  " + line})
			}
		}
	}
	warning := render.Grid{Columns: []string{"caution"}}
	for _, line := range wrap(caution, tableWidth) {
		warning.Rows = append(warning.Rows, []string{line})
	}
	return []render.Grid{grid, warning}
}

// sourceList numbers the sources that a table refers to, in the order in which they come up.
type sourceList []string

func (l *sourceList) number(source string) string {
	index := slices.Index(*l, source)
	if index < 0 {
		index = len(*l)
		*l = append(*l, source)
	}
	return fmt.Sprintf("[%d]", index+1)
}

func (l *sourceList) grid() render.Grid {
	var grid render.Grid
	for i, source := range *l {
		for k, line := range wrap(source, tableWidth-6) {
			if k == 0 {
				grid.Rows = append(grid.Rows, []string{fmt.Sprintf("[%d]", i+1), line})
			} else {
				grid.Rows = append(grid.Rows, []string{"", line})
			}
		}
	}
	return grid
}

// wrap breaks a sentence at blanks into lines of at most width characters; a longer word gets a line of its own.
func wrap(text string, width int) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > width {
			lines = append(lines, line)
			line = ""
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}
