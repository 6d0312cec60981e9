package file

import (
	"slices"
	"strings"
)

// Lines says on which line of a file each field stands, by the field's path. The zero value knows none.
type Lines map[string]int

// Of returns the line of a field, counted from 1, or of the nearest field around it when the file does not hold the field
// itself; 0 when it holds none of them. Paths are written as in "stages[1].program.segments[0].to_celsius".
func (l Lines) Of(field string) int {
	for field != "" {
		if line, ok := l[field]; ok {
			return line
		}
		field = field[:max(strings.LastIndexAny(field, ".["), 0)]
	}
	return 0
}

// Fields names the fields at the top of the file that stand in it, whatever their value, in the order of the alphabet.
func (l Lines) Fields() []string {
	var names []string
	for field := range l {
		if !strings.ContainsAny(field, ".[") {
			names = append(names, field)
		}
	}
	slices.Sort(names)
	return names
}
