package main

import (
	"bufio"
	"bytes"
	"fmt"
	"path/filepath"
	"strconv"
	"strings"

	"saggar/scheduler"
)

// instance is a published problem in the scheduler's words, and how to say its answer in the file's own.
type instance struct {
	problem scheduler.Problem
	// before is how much earlier than the scheduler's makespan the file's is: 1 where the end is a task of its own.
	before int
	// tasks is, for each activity of the file in its order, the task that stands for it; -1 for one that starts at 0, -2 for
	// one that starts at the makespan.
	tasks []int
}

// What stands for activities without a task.
const (
	atStart = -1
	atEnd   = -2
)

// families are the readers by the ending of the file's name, in lower case.
var families = map[string]struct {
	name string
	read func(lines *reader) (instance, error)
}{
	".sm":  {"rcpsp", readProject},
	".mm":  {"mrcpsp", readProject},
	".sch": {"rcpsp-max", readLags},
	".txt": {"jsp", readJobs},
	".fjs": {"fjsp", readFlexible},
}

// parse reads a file by the ending of its name. The error names the line and the reason.
func parse(path string, text []byte) (instance, string, error) {
	family, ok := families[strings.ToLower(filepath.Ext(path))]
	if !ok {
		return instance{}, "", fmt.Errorf("%s: no such format; .sm, .mm, .sch, .txt and .fjs are known", path)
	}
	r := &reader{scanner: bufio.NewScanner(bytes.NewReader(text))}
	r.scanner.Buffer(nil, 1<<20)
	in, err := family.read(r)
	if err == nil {
		if err = in.problem.Validate(); err != nil {
			return instance{}, family.name, fmt.Errorf("%s: %w", path, err)
		}
		return in, family.name, nil
	}
	return instance{}, family.name, fmt.Errorf("%s: line %d: %w", path, r.line, err)
}

// reader goes through the lines of a file.
type reader struct {
	scanner *bufio.Scanner
	line    int
	text    string
}

// next is the next line that is not blank; false at the end.
func (r *reader) next() bool {
	for r.scanner.Scan() {
		r.line++
		r.text = strings.TrimSpace(r.scanner.Text())
		if r.text != "" {
			return true
		}
	}
	return false
}

// until goes to the line that begins with a word.
func (r *reader) until(word string) error {
	for r.next() {
		if strings.HasPrefix(r.text, word) {
			return nil
		}
	}
	return fmt.Errorf("no line begins with %q", word)
}

// The most of anything that a file may state.
const (
	mostCount  = 10_000
	mostNumber = 1_000_000
)

// numbers are the next line's.
func (r *reader) numbers(least int) ([]int, error) {
	if !r.next() {
		return nil, fmt.Errorf("the file ends where %d number(s) are due", least)
	}
	return r.parse(least)
}

func (r *reader) parse(least int) ([]int, error) {
	var all []int
	for _, word := range strings.Fields(r.text) {
		n, err := strconv.Atoi(word)
		if err != nil || n < -mostNumber || n > mostNumber {
			return nil, fmt.Errorf("%q is no whole number within %d", word, mostNumber)
		}
		all = append(all, n)
	}
	if len(all) < least {
		return nil, fmt.Errorf("has %d number(s), at least %d are due", len(all), least)
	}
	return all, nil
}

// within holds a number to a range.
func within(what string, n, least, most int) error {
	if n < least || n > most {
		return fmt.Errorf("%s is %d, must be from %d to %d", what, n, least, most)
	}
	return nil
}

// rigidMode is one phase with its demands.
func rigidMode(unary, minutes int, demands []scheduler.Demand) scheduler.Mode {
	return scheduler.Mode{Unary: unary, Phases: []scheduler.Phase{{Minutes: minutes, Calendar: -1, Demands: demands}}}
}

func demandsOf(amounts []int) []scheduler.Demand {
	var demands []scheduler.Demand
	for i, amount := range amounts {
		if amount > 0 {
			demands = append(demands, scheduler.Demand{Cumulative: i, Amount: amount})
		}
	}
	return demands
}
