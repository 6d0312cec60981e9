package file

import (
	"strconv"
	"strings"
)

// Error is one fault in a file.
type Error struct {
	// File is the path as given; "standard input" for "-". Empty when the text did not come from a file.
	File string
	// Line counts from 1; 0 when the fault is about the whole file.
	Line int
	// Field is the path of the field, such as "stages[1].program.segments[0].to_celsius"; empty for the whole file.
	Field string
	// Problem says what is wrong.
	Problem string
	// Cure says what would be right.
	Cure string
}

// Error gives place, field, problem and cure on one line.
func (e *Error) Error() string {
	var b strings.Builder
	if e.File != "" {
		b.WriteString(place(e.File, e.Line) + ": ")
	}
	if e.Field != "" {
		b.WriteString(e.Field + ": ")
	}
	b.WriteString(e.Problem)
	if e.Cure != "" {
		b.WriteString("; " + e.Cure)
	}
	return b.String()
}

// Errors are all faults found, in the order in which they stand in the files.
type Errors []*Error

// Error gives one fault to a line.
func (e Errors) Error() string {
	lines := make([]string, len(e))
	for i, fault := range e {
		lines[i] = fault.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap gives the faults one by one to errors.As.
func (e Errors) Unwrap() []error {
	list := make([]error, len(e))
	for i, fault := range e {
		list[i] = fault
	}
	return list
}

// place is "file:line", or the file alone.
func place(file string, line int) string {
	if line == 0 {
		return file
	}
	return file + ":" + strconv.Itoa(line)
}

const shownRunes = 40

// shown quotes a piece of input for a message, cut to a readable length and without control characters.
func shown(text string) string {
	runes := []rune(text[:min(len(text), 4*(shownRunes+1))]) // a rune has four bytes at most
	if len(runes) > shownRunes {
		text = string(runes[:shownRunes]) + "..."
	}
	return strconv.Quote(text)
}

// cut is shown without the quotes.
func cut(text string) string {
	quoted := shown(text)
	return quoted[1 : len(quoted)-1]
}
