package data

import (
	"embed"
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"strconv"
)

//go:embed *.csv
var tables embed.FS

// row is one line of a table by column name; its readers note the first fault instead of returning it.
type row struct {
	file  string
	line  int
	cells map[string]string
	err   error
}

func (r *row) text(column string) string {
	cell, ok := r.cells[column]
	if !ok {
		r.fail(column, "no such column")
	}
	return cell
}

func (r *row) number(column string) float64 {
	cell := r.text(column)
	if cell == "" {
		return 0
	}
	value, err := strconv.ParseFloat(cell, 64)
	if err != nil || math.IsNaN(value) || math.IsInf(value, 0) {
		r.fail(column, fmt.Sprintf("%q is not a number", cell))
		return 0
	}
	return value
}

func (r *row) whole(column string) int {
	value := r.number(column)
	if value != math.Trunc(value) {
		r.fail(column, fmt.Sprintf("%v is not a whole number", value))
	}
	return int(value)
}

func (r *row) fail(column, why string) {
	if r.err == nil {
		r.err = fmt.Errorf("%s line %d column %s: %s", r.file, r.line, column, why)
	}
}

// readTable reads an embedded table with a header line, one T a line. A row without a source is a fault.
func readTable[T any](file string, convert func(*row) T) ([]T, error) {
	opened, err := tables.Open(file)
	if err != nil {
		return nil, err
	}
	defer opened.Close()
	records, err := csv.NewReader(opened).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	if len(records) < 2 {
		return nil, fmt.Errorf("%s: no rows", file)
	}
	result := make([]T, 0, len(records)-1)
	for i, record := range records[1:] {
		current := &row{file: file, line: i + 2, cells: make(map[string]string, len(record))}
		for column, name := range records[0] {
			current.cells[name] = record[column]
		}
		if current.text("source") == "" {
			current.fail("source", "empty")
		}
		result = append(result, convert(current))
		if current.err != nil {
			return nil, current.err
		}
	}
	return result, nil
}

// mustRead is readTable for a table that the tests have read: a fault is a bug.
func mustRead[T any](file string, convert func(*row) T) []T {
	rows, err := readTable(file, convert)
	if err != nil {
		panic("bug: " + err.Error())
	}
	return slices.Clip(rows)
}
