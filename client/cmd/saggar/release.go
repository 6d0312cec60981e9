package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"saggar/chem/air"
	"saggar/client/file"
)

// Bounds of a release: beyond them an entry is a slip of the pen.
const (
	maxReleases              = 10_000
	maxReleaseMinute         = 366 * 24 * 60
	maxReleaseGramsPerMinute = 1e6
)

// releaseColumns are those of a release file; each stands once, in any order.
var releaseColumns = []string{"species", "start_minute", "end_minute", "grams_per_minute"}

// releaseReader reads a release file and collects its faults.
type releaseReader struct {
	name    string
	csv     *csv.Reader
	columns map[string]int
	faults  file.Errors
}

// readReleases reads a release file: comma-separated with a header. The error holds every fault with its line and column.
func readReleases(name string, in io.Reader) ([]air.Release, error) {
	r := &releaseReader{name: name, csv: csv.NewReader(in), columns: map[string]int{}}
	if !r.header() {
		return nil, r.faults
	}
	var releases []air.Release
	for len(releases) <= maxReleases {
		record, err := r.csv.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			r.broken(err)
			break
		}
		releases = append(releases, r.release(record))
	}
	switch {
	case len(r.faults) > 0:
		return nil, r.faults
	case len(releases) == 0:
		r.fault(2, "", "no release follows the header", "give at least one line")
	case len(releases) > maxReleases:
		r.fault(maxReleases+2, "", "there are too many lines", fmt.Sprintf("give at most %d releases", maxReleases))
	default:
		return releases, nil
	}
	return nil, r.faults
}

// header reads the first line; false when it cannot serve.
func (r *releaseReader) header() bool {
	const cure = "begin with the line species,start_minute,end_minute,grams_per_minute"
	record, err := r.csv.Read()
	if errors.Is(err, io.EOF) {
		r.fault(1, "", "the file is empty", cure)
		return false
	}
	if err != nil {
		r.broken(err)
		return false
	}
	record[0] = strings.TrimPrefix(record[0], "\ufeff")
	if problem := file.NoCommas(record); problem != "" {
		r.fault(1, "", problem, file.NoCommasCure+"; "+cure)
		return false
	}
	if !slices.ContainsFunc(record, func(c string) bool { return slices.Contains(releaseColumns, strings.TrimSpace(c)) }) {
		r.fault(1, "", fmt.Sprintf("%q is no header", strings.Join(record, ",")), cure)
		return false
	}
	for i, column := range record {
		column = strings.TrimSpace(column)
		_, twice := r.columns[column]
		if twice || !slices.Contains(releaseColumns, column) {
			r.fault(1, fmt.Sprintf("column %d", i+1), fmt.Sprintf("%q is no column that is needed here", column), cure)
		}
		r.columns[column] = i
	}
	for _, column := range releaseColumns {
		if _, ok := r.columns[column]; !ok {
			r.fault(1, "", "there is no column "+column, cure)
		}
	}
	return len(r.faults) == 0
}

func (r *releaseReader) release(record []string) air.Release {
	release := air.Release{
		Species:        strings.TrimSpace(record[r.columns["species"]]),
		StartMinute:    r.number(record, "start_minute", maxReleaseMinute),
		EndMinute:      r.number(record, "end_minute", maxReleaseMinute),
		GramsPerMinute: r.number(record, "grams_per_minute", maxReleaseGramsPerMinute),
	}
	if _, err := air.GramsPerMole(release.Species); err != nil {
		r.columnFault("species", err.Error(), "give a formula such as SO2")
	}
	if release.EndMinute <= release.StartMinute {
		r.columnFault("end_minute", fmt.Sprintf("from %v to %v is no stretch of time", release.StartMinute, release.EndMinute),
			"give an end after the start")
	}
	return release
}

// number reads one cell; what cannot be read or is out of range is a fault and NaN, which no comparison then faults again.
func (r *releaseReader) number(record []string, column string, most float64) float64 {
	text := strings.TrimSpace(record[r.columns[column]])
	value, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(value) || value < 0 || value > most {
		r.columnFault(column, fmt.Sprintf("%q is no number that can be used", text),
			fmt.Sprintf("give a number from 0 to %s", plain(most)))
		return math.NaN()
	}
	return value
}

func (r *releaseReader) columnFault(column, problem, cure string) {
	index := r.columns[column]
	line, _ := r.csv.FieldPos(index)
	r.fault(line, fmt.Sprintf("column %d, %s", index+1, column), problem, cure)
}

func (r *releaseReader) fault(line int, field, problem, cure string) {
	r.faults = append(r.faults, &file.Error{File: r.name, Line: line, Field: field, Problem: problem, Cure: cure})
}

// broken notes what is no comma-separated text, after which nothing more can be read.
func (r *releaseReader) broken(err error) {
	var parse *csv.ParseError
	if !errors.As(err, &parse) {
		r.fault(0, "", err.Error(), "name a file that can be read")
		return
	}
	r.fault(parse.Line, fmt.Sprintf("character %d", parse.Column), parse.Err.Error(), "give each line the header's four columns")
}
