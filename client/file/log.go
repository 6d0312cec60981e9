package file

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"saggar/chem/heat"
)

// Log is a furnace's temperature log.
type Log struct {
	// Readings are in the order of time. Their minutes count as in the file, and from the first reading when it gives dates.
	Readings []heat.Point
	// Notes say what was left out and what is missing, for whoever judges what comes of it.
	Notes []string
}

// LogOptions say how the readings of a log in millivolts become temperatures.
type LogOptions struct {
	// Thermocouple is the type of a log in millivolts, and empty for one in degrees Celsius.
	Thermocouple heat.Thermocouple
	// ReferenceCelsius is the temperature of the reference junction; 0 for an instrument that makes up for it.
	ReferenceCelsius float64
}

// What a log may hold; common practice, no source.
const (
	coldestLoggedCelsius = -40.0
	hottestLoggedCelsius = 2000.0
	mostLoggedMinutes    = 60 * 24 * 60.0
	spikeCelsius         = 50.0 // a single reading this far off both its neighbours is none,
	spikePerMinute       = 20.0 // and farther by this for each minute to the nearer of them, which a furnace may really do
	gapIntervals         = 5.0  // a pause this many times the usual one is told, when it is
	gapMinutes           = 5.0  // as long as that too
	mostFailedShare      = 0.5  // a sensor that fails more often tells nothing
	leastLogReadings     = 2
	logHeaderCure        = "begin with a line such as minute,celsius or time,celsius or time,millivolts"
)

// failedWords are what loggers write for a sensor that is open, shorted or out of its range.
var failedWords = []string{"", "-", "--", "---", "----", "nan", "inf", "-inf", "+inf", "ol", "open", "err", "error", "fail",
	"fault", "n/a", "na", "null", "none", "over", "under"}

// DecodeLog reads the bytes of a log called name: comma-separated with a header line that names a column minute or time and a
// column celsius or millivolts, in any order; further columns are left out, as are lines that begin with #.
//
// A minute is a number. A time is a number of minutes, h:mm or h:mm:ss since the start, or a date with a time as in
// 2027-03-01T08:00:00 (with or without an offset), and stays the same throughout. Times rise from line to line; one that
// does not is a fault. A failed sensor (empty, NaN, open, a value outside -40 to 2000 C or outside the thermocouple's range), a
// single reading farther off both its neighbours than a furnace goes in the time, and a pause in the log are notes, and such
// readings are left out.
//
// Errors: [Errors].
func DecodeLog(name string, data []byte, o LogOptions) (Log, error) {
	r := &logReader{name: name, options: o, failed: map[string]*failure{}}
	if len(data) > maxBytes {
		r.fault(0, "", fmt.Sprintf("is larger than %d MiB", maxBytes>>20), "log less often, or cut the log")
		return Log{}, r.faults
	}
	r.csv = csv.NewReader(bytes.NewReader(bytes.TrimPrefix(data, []byte("\ufeff"))))
	r.csv.Comment, r.csv.TrimLeadingSpace, r.csv.ReuseRecord = '#', true, true
	if r.header() {
		r.rows()
	}
	if len(r.faults) == 0 {
		r.judge()
	}
	if len(r.faults) > 0 {
		return Log{}, r.faults
	}
	return r.log, nil
}

// logReader reads a log and collects its faults.
type logReader struct {
	name       string
	options    LogOptions
	csv        *csv.Reader
	time       int // index of the column
	value      int
	millivolts bool
	timeName   string
	clock      *logClock
	last       float64
	rowCount   int
	log        Log
	failed     map[string]*failure
	faults     Errors
}

// failure is one kind of reading that was left out.
type failure struct{ count, line int }

func (r *logReader) fault(line int, field, problem, cure string) {
	r.faults = append(r.faults, &Error{File: r.name, Line: line, Field: field, Problem: problem, Cure: cure})
}

func (r *logReader) note(format string, values ...any) {
	r.log.Notes = append(r.log.Notes, fmt.Sprintf(format, values...))
}

// broken is a fault of the commas and quotes.
func (r *logReader) broken(err error) {
	var parse *csv.ParseError
	if !errors.As(err, &parse) {
		r.fault(0, "", "cannot be read: "+err.Error(), "give the log as comma-separated text")
		return
	}
	cure := "give one line a reading, with commas between the columns"
	if errors.Is(err, csv.ErrFieldCount) {
		cure = "give as many columns as the header has"
	}
	r.fault(parse.Line, "", parse.Err.Error(), cure)
}

// header reads the first line; false when it cannot serve.
func (r *logReader) header() bool {
	record, err := r.csv.Read()
	if errors.Is(err, io.EOF) {
		r.fault(1, "", "is empty", logHeaderCure)
		return false
	}
	if err != nil {
		r.broken(err)
		return false
	}
	line, _ := r.csv.FieldPos(0)
	if !r.isHeader(line, record) {
		return false
	}
	columns := map[string]int{}
	for i, column := range record {
		column = strings.ToLower(strings.TrimSpace(column))
		if _, twice := columns[column]; twice && isLogColumn(column) {
			r.fault(line, "", "has two columns "+column, "leave one out")
		}
		columns[column] = i
	}
	r.time, r.timeName = r.oneOf(line, columns, "minute", "time")
	var value string
	r.value, value = r.oneOf(line, columns, "celsius", "millivolts")
	r.millivolts = value == "millivolts"
	switch {
	case r.millivolts && r.options.Thermocouple == "":
		r.fault(line, "millivolts", "the type of the thermocouple is not known", fmt.Sprintf("give --thermocouple with one of %v",
			heat.ThermocoupleTypes()))
	case r.millivolts:
		if _, err := r.options.Thermocouple.Millivolts(r.options.ReferenceCelsius); err != nil {
			r.fault(0, "", err.Error(), "give a type and a reference temperature in its range")
		}
	case value == "celsius" && r.options.Thermocouple != "":
		r.fault(line, "celsius", "the log is in degrees Celsius already", "leave out --thermocouple, or name the column millivolts")
	}
	if more := len(record) - 2; more > 0 && len(r.faults) == 0 {
		r.note("left out: %s", counted(more, "further column"))
	}
	return len(r.faults) == 0
}

// isHeader reports whether a line has commas and names at least one column that is read; the fault says what it is else.
func (r *logReader) isHeader(line int, record []string) bool {
	if problem := NoCommas(record); problem != "" {
		r.fault(line, "", problem, NoCommasCure)
		return false
	}
	if slices.ContainsFunc(record, isLogColumn) {
		return true
	}
	r.fault(line, "", "has no column minute or time, nor celsius or millivolts: "+shown(strings.Join(record, ","))+
		" is no header", logHeaderCure)
	return false
}

// isLogColumn reports whether a header's cell names a column that is read.
func isLogColumn(cell string) bool {
	return slices.Contains([]string{"minute", "time", "celsius", "millivolts"}, strings.ToLower(strings.TrimSpace(cell)))
}

// NoCommasCure is what makes a file comma-separated.
const NoCommasCure = "separate the columns with commas, and write numbers with a decimal point"

// NoCommas says that a header, as it was split at commas, has its columns separated by something else; empty when it has not.
func NoCommas(header []string) string {
	if len(header) != 1 {
		return ""
	}
	for _, separator := range []struct{ sign, name string }{{";", "semicolons"}, {"\t", "tabs"}, {"|", "bars"}} {
		if strings.Contains(header[0], separator.sign) {
			return "separates its columns with " + separator.name + ", not with commas"
		}
	}
	return ""
}

// oneOf finds the column with one of two names.
func (r *logReader) oneOf(line int, columns map[string]int, a, b string) (int, string) {
	first, isFirst := columns[a]
	second, isSecond := columns[b]
	switch {
	case isFirst && isSecond:
		r.fault(line, "", fmt.Sprintf("has both a column %s and a column %s", a, b), "leave one out")
	case isFirst:
		return first, a
	case isSecond:
		return second, b
	default:
		r.fault(line, "", fmt.Sprintf("has no column %s or %s", a, b), logHeaderCure)
	}
	return 0, ""
}

func (r *logReader) rows() {
	for len(r.faults) < maxFaults {
		record, err := r.csv.Read()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			r.broken(err)
			if !errors.Is(err, csv.ErrFieldCount) {
				return
			}
			continue
		}
		line, _ := r.csv.FieldPos(0)
		r.rowCount++
		minute, ok := r.minute(line, strings.TrimSpace(record[r.time]))
		if celsius, fits := r.celsius(line, strings.TrimSpace(record[r.value])); ok && fits {
			r.log.Readings = append(r.log.Readings, heat.Point{Minute: minute, Celsius: celsius})
		}
	}
}

// minute reads a time; false when it cannot serve.
func (r *logReader) minute(line int, text string) (float64, bool) {
	if r.clock == nil {
		clock, fault := clockOf(text, r.timeName == "minute")
		if fault != nil {
			r.fault(line, r.timeName, fault.Problem, fault.Cure)
			return 0, false
		}
		r.clock, r.last = clock, math.Inf(-1)
	}
	minute, ok := r.clock.read(text)
	switch {
	case !ok:
		r.fault(line, r.timeName, shown(text)+" is no time like those before it", "give "+r.clock.like+" throughout")
	case minute < 0 || minute > mostLoggedMinutes:
		r.fault(line, r.timeName, shown(text)+" is out of range", fmt.Sprintf("give at most %.0f minutes after the start",
			mostLoggedMinutes))
	case minute <= r.last:
		r.fault(line, r.timeName, shown(text)+" does not come after the time before it",
			"give the lines in the order of time, each time once; past midnight give dates, or go on counting hours")
	default:
		r.last = minute
		return minute, true
	}
	return 0, false
}

// celsius reads a temperature; false when it is left out.
func (r *logReader) celsius(line int, text string) (float64, bool) {
	if slices.Contains(failedWords, strings.ToLower(text)) {
		r.leaveOut("the sensor failed", line)
		return 0, false
	}
	value, err := strconv.ParseFloat(text, 64)
	if err != nil && !errors.Is(err, strconv.ErrRange) {
		column := "celsius"
		if r.millivolts {
			column = "millivolts"
		}
		r.fault(line, column, shown(text)+" is no number",
			"give a number with a decimal point, or leave it empty where the sensor failed")
		return 0, false
	}
	if r.millivolts {
		if value, err = r.options.Thermocouple.Celsius(value, r.options.ReferenceCelsius); err != nil {
			r.leaveOut(fmt.Sprintf("the voltage is outside the range of type %s", r.options.Thermocouple), line)
			return 0, false
		}
	}
	if !(value >= coldestLoggedCelsius && value <= hottestLoggedCelsius) {
		r.leaveOut(fmt.Sprintf("the temperature is not between %g and %g C", coldestLoggedCelsius, hottestLoggedCelsius), line)
		return 0, false
	}
	return value, true
}

func (r *logReader) leaveOut(why string, line int) {
	if r.failed[why] == nil {
		r.failed[why] = &failure{line: line}
	}
	r.failed[why].count++
}

// logClock reads times of one kind.
type logClock struct {
	like string // an example, for faults
	read func(string) (float64, bool)
}

var sinceStart = regexp.MustCompile(`^([0-9]{1,5}):([0-5][0-9])(?::([0-5][0-9](?:\.[0-9]+)?))?$`)

// clockOf tells the kind of times by the first of them.
func clockOf(text string, minutesOnly bool) (*logClock, *Error) {
	if _, ok := plainMinutes(text); ok || minutesOnly {
		if !ok {
			return nil, &Error{Problem: shown(text) + " is no number of minutes",
				Cure: "give minutes such as 12.5, or name the column time"}
		}
		return &logClock{like: "minutes such as 12.5", read: plainMinutes}, nil
	}
	if _, ok := hoursAndMinutes(text); ok {
		return &logClock{like: "h:mm or h:mm:ss since the start", read: hoursAndMinutes}, nil
	}
	begin, layout, ok := dated(text)
	if !ok {
		return nil, &Error{Problem: shown(text) + " is no time",
			Cure: "give minutes, h:mm[:ss] since the start, or 2027-03-01T08:00:00"}
	}
	return &logClock{like: "times such as " + layout, read: func(text string) (float64, bool) {
		t, err := time.Parse(layout, text)
		return t.Sub(begin).Minutes(), err == nil
	}}, nil
}

func plainMinutes(text string) (float64, bool) {
	value, err := strconv.ParseFloat(text, 64)
	return value, err == nil && !math.IsNaN(value) && !math.IsInf(value, 0)
}

func hoursAndMinutes(text string) (float64, bool) {
	found := sinceStart.FindStringSubmatch(text)
	if found == nil {
		return 0, false
	}
	hours, _ := strconv.ParseFloat(found[1], 64) // the pattern lets only digits through
	minutes, _ := strconv.ParseFloat(found[2], 64)
	seconds, _ := strconv.ParseFloat("0"+found[3], 64)
	return 60*hours + minutes + seconds/60, true
}

func dated(text string) (time.Time, string, bool) {
	for _, layout := range slices.Concat(offsetLayouts, localLayouts) {
		if t, err := time.Parse(layout, text); err == nil {
			return t, layout, true
		}
	}
	return time.Time{}, "", false
}
