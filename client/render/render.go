// Package render writes what a command found: as a table to read, as JSON or YAML to process, or as CSV.
//
// JSON and YAML show the value itself, messages by their descriptor: fields snake_case in the order of their numbers, zeros
// and empty lists included, numbers as numbers, enums as short names, times RFC 3339 in UTC, and null for what is absent.
// The text can be read back by client/file. Tables and CSV show the grids that the command makes of the value.
//
// NaN and infinity are never written: they are an error.
package render

import (
	"bytes"
	"fmt"
	"io"
)

// Format is how an answer is written.
type Format string

// The formats.
const (
	Table Format = "table" // aligned columns
	JSON  Format = "json"  // indented by two spaces
	YAML  Format = "yaml"  // block style
	CSV   Format = "csv"   // RFC 4180 with a header
)

// ParseFormat finds a format by its name. Errors: an unknown name.
func ParseFormat(name string) (Format, error) {
	switch f := Format(name); f {
	case Table, JSON, YAML, CSV:
		return f, nil
	}
	return "", fmt.Errorf("output format %q is not known: give table, json, yaml or csv", name)
}

// Write writes an answer. JSON and YAML write value: a proto message, a struct with json tags, or a slice of either.
// A table writes all grids; CSV writes the first grid that has columns and rows, else the first with columns. The grids
// are made only when they are needed. Nothing is written when an error comes back, unless w itself fails.
// Errors: NaN or infinity in value, a value that cannot be shown, or what w says.
func Write(w io.Writer, f Format, value any, grids func() []Grid) error {
	var out bytes.Buffer
	var err error
	switch f {
	case JSON, YAML:
		var t any
		if t, err = tree(value); err == nil && f == JSON {
			err = writeJSON(&out, t)
		} else if err == nil {
			err = writeYAML(&out, t)
		}
	case Table:
		writeTables(&out, made(grids))
	case CSV:
		err = writeCSV(&out, made(grids))
	default:
		_, err = ParseFormat(string(f))
	}
	if err != nil {
		return err
	}
	_, err = w.Write(out.Bytes())
	return err
}

func made(grids func() []Grid) []Grid {
	if grids == nil {
		return nil
	}
	return grids()
}

// WriteLine writes an answer as JSON on a line of its own, for answers that come one after another. Errors: as Write.
func WriteLine(w io.Writer, value any) error {
	var out bytes.Buffer
	t, err := tree(value)
	if err == nil {
		err = denseJSON(&out, t)
	}
	if err != nil {
		return err
	}
	out.WriteByte('\n')
	_, err = w.Write(out.Bytes())
	return err
}
