// Package file reads studio, furnace, material, recipe and plan files (YAML, and JSON, which is YAML) into the messages
// that the server takes.
//
// A general library that turns YAML into proto messages was considered. It does not give what people at a kiln write:
// short enum names (`atmosphere: reducing`), times local to the studio (`2027-03-01 08:00`), short ids instead of full
// resource names, and the line on which a field stands, so that a fault found later by the server can still name a line.
// That is why this adapter exists; it walks the YAML nodes and the message descriptor side by side and keeps no schema of
// its own.
//
// Fields may be written snake_case or lowerCamel. A null value leaves its field unset. Anchors, aliases, merge keys and
// tags are refused, so a file never grows when it is read. Numbers are decimal; NaN and infinity are refused.
//
// Temperature logs, which are no messages, are read by [DecodeLog].
//
// It does not check ranges, patterns or references: the server does, and [Lines] says where they stand. All faults of a
// file come back at once as [Errors].
package file

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/proto"
)

const (
	maxBytes  = 4 << 20 // of one file
	maxDepth  = 32      // messages in messages
	maxFaults = 200     // told at once
)

// Options say how a file is read.
type Options struct {
	// Zone is the studio's time zone, in which times without an offset are read. Nil: every time needs an offset.
	Zone *time.Location
	// Studio is the studio's id. A short name becomes `studios/ID/collection/name`. Empty: "offline".
	Studio string
}

// Read reads one file into a message; "-" is standard input. The message is filled only as far as it goes when an error
// comes back. Errors: [Errors].
func Read(path string, into proto.Message, o Options) (Lines, error) {
	name, data, fault := load(path)
	if fault != nil {
		return nil, Errors{fault}
	}
	return Decode(name, data, into, o)
}

// Decode reads the bytes of a file called name into a message. Fields that the file names are replaced, lists as a whole;
// the others keep their value.
// The name of the message itself may be a short id. Errors: [Errors].
func Decode(name string, data []byte, into proto.Message, o Options) (Lines, error) {
	root, fault := parse(name, data)
	if fault != nil {
		return nil, Errors{fault}
	}
	d := newDecoder(name, o)
	d.message(into.ProtoReflect(), root, "")
	d.expandNames(into)
	if len(d.faults) > 0 {
		return d.lines, d.faults
	}
	return d.lines, nil
}

// load reads a file whole, within the size limit, and says what to call it.
func load(path string) (name string, data []byte, fault *Error) {
	var in io.Reader = os.Stdin
	if name = path; path == "-" {
		name = "standard input"
	} else {
		f, err := os.Open(path)
		if err != nil {
			return name, nil, unreadable(name, err)
		}
		defer f.Close()
		in = f
	}
	data, err := io.ReadAll(io.LimitReader(in, maxBytes+1))
	if err != nil {
		return name, nil, unreadable(name, err)
	}
	return name, data, nil
}

func unreadable(name string, err error) *Error {
	var path *os.PathError
	if errors.As(err, &path) {
		err = path.Err
	}
	return &Error{File: name, Problem: "cannot be read: " + err.Error(), Cure: "give the path of a readable file, or - for standard input"}
}

// parse returns the one YAML value in the data.
func parse(name string, data []byte) (*yaml.Node, *Error) {
	if len(data) > maxBytes {
		return nil, &Error{
			File: name, Problem: fmt.Sprintf("is larger than %d MiB", maxBytes>>20), Cure: "split it into several files",
		}
	}
	decoder := yaml.NewDecoder(bytes.NewReader(plainJSON(data)))
	var document, next yaml.Node
	err := decoder.Decode(&document)
	if errors.Is(err, io.EOF) || err == nil && isNull(document.Content[0]) {
		return nil, &Error{File: name, Line: 1, Problem: "is empty", Cure: "write at least one field, such as name: big-kiln"}
	}
	if err != nil {
		return nil, syntaxFault(name, data, err)
	}
	switch err := decoder.Decode(&next); {
	case errors.Is(err, io.EOF):
		return document.Content[0], nil
	case err != nil:
		return nil, syntaxFault(name, data, err)
	default:
		return nil, &Error{
			File: name, Line: next.Line, Problem: "holds more than one YAML document",
			Cure: "leave out the line --- or split the file",
		}
	}
}

var yamlLine = regexp.MustCompile(`^line ([0-9]+): `)

func syntaxFault(name string, data []byte, err error) *Error {
	text := strings.TrimPrefix(err.Error(), "yaml: ")
	fault := &Error{File: name, Line: strangeLine(data), Cure: "check indentation, brackets, quotes and colons on this line and the one before"}
	if found := yamlLine.FindStringSubmatch(text); found != nil {
		fault.Line, _ = strconv.Atoi(found[1])
		text = text[len(found[0]):]
	}
	fault.Problem = "is not YAML: " + text
	return fault
}

// strangeLine is the line of the first byte that no YAML file may hold, else 1: the YAML reader names no line for either.
func strangeLine(data []byte) int {
	line := 1
	for len(data) > 0 {
		r, size := utf8.DecodeRune(data)
		switch {
		case r == '\n':
			line++
		case r == utf8.RuneError && size == 1, unicode.IsControl(r) && r != '\t' && r != '\r':
			return line
		}
		data = data[size:]
	}
	return 1
}
