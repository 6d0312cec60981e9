package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"saggar/chem/finding"
	"saggar/client/api"
	"saggar/client/file"
)

// maxSourceBytes is more than client/file accepts, which says so; the rest of a longer file is not read.
const maxSourceBytes = 5 << 20

// standardInput is what faults call the standard input.
const standardInput = "standard input"

// source is an input file, or the part of one below a path, with the lines of its fields.
type source struct {
	name  string
	lines file.Lines
	path  string // of the part, with its dot; empty: the whole
	// lot is the file of the lot that a recipe starts from; nil for none.
	lot *source
}

// lotField begins the paths of a lot's fields.
const lotField = "from_lot"

// flagOf names the flags from which values that are reckoned with here come.
var flagOf = map[string]string{
	"before_grams": "before-grams", "after_grams": "after-grams", "readability_grams": "readability-grams",
	"start_stage": "start-stage", "species": "species", "ppm": "ppm",
	"reaction": "reaction", "start_celsius": "start-celsius", "open_below_celsius": "open-below-celsius",
	"scale": "factor", "scale.factor": "factor", "scale.product_grams": "product-grams", "scale.crucible_count": "crucibles",
	"scale.crucible_milliliters": "crucible-milliliters",
}

// read reads an input file, or standard input for "-".
func (s *shell) read(path string) (name string, data []byte, err error) {
	name, in, err := s.open(path)
	if err != nil {
		return name, nil, err
	}
	defer in.Close()
	if data, err = io.ReadAll(io.LimitReader(in, maxSourceBytes)); err != nil {
		return name, nil, unreadable(name, err)
	}
	return name, data, nil
}

// open opens an input file, or standard input for "-", and says what to call it.
func (s *shell) open(path string) (name string, in io.ReadCloser, err error) {
	if path == "-" {
		return standardInput, io.NopCloser(s.in), nil
	}
	f, err := os.Open(path)
	if err != nil {
		return path, nil, unreadable(path, err)
	}
	return path, f, nil
}

func unreadable(name string, err error) error {
	var path *os.PathError
	if errors.As(err, &path) {
		err = path.Err
	}
	return &file.Error{
		File: name, Problem: "cannot be read: " + err.Error(), Cure: "give the path of a readable file, or - for standard input",
	}
}

// decode reads a YAML or JSON file into a message; times without an offset are local to the zone.
func (s *shell) decode(path string, into proto.Message, zone *time.Location) (source, error) {
	o := file.Options{Studio: s.studio, Zone: zone}
	if path != "-" {
		lines, err := file.Read(path, into, o)
		return source{name: path, lines: lines}, err
	}
	name, data, err := s.read(path)
	if err != nil {
		return source{}, err
	}
	lines, err := file.Decode(name, data, into, o)
	return source{name: name, lines: lines}, err
}

// located turns the faults of values into faults of the file or the flag that they come from. Other errors stay.
func (s source) located(err error) error {
	faults := finding.FaultsOf(err)
	if faults == nil {
		return err
	}
	var located []error
	for _, fault := range faults {
		if flag, ok := flagOf[fault.Field]; ok {
			located = append(located, &file.Error{Field: "--" + flag, Problem: fault.Message, Cure: fault.Cure})
			continue
		}
		if rest, ofLot := strings.CutPrefix(fault.Field, lotField); ofLot && s.lot != nil {
			fault.Field = strings.TrimPrefix(rest, ".")
			located = append(located, s.lot.located(finding.Faults{fault}))
			continue
		}
		located = append(located, &file.Error{
			File: s.name, Line: s.lines.Of(s.path + fault.Field), Field: s.path + fault.Field, Problem: fault.Message, Cure: fault.Cure,
		})
	}
	return errors.Join(located...)
}

// mask names the fields that stand in the file, so that a zero or an empty list in it is set too. The server says itself
// which resource and which state of it is meant.
func (s source) mask() *fieldmaskpb.FieldMask {
	paths := slices.DeleteFunc(s.lines.Fields(), func(name string) bool { return name == "name" || name == "etag" })
	return &fieldmaskpb.FieldMask{Paths: paths}
}

// serverFaults gives the faults that a server finds in a file's message, which stood in a field of the request, the file
// and line that they come from. Other errors stay.
func (s source) serverFaults(field string, err error) error {
	faults := api.Faults(err)
	if faults == nil {
		return err
	}
	for i := range faults {
		if faults[i].Field == field {
			faults[i].Field = ""
		}
		faults[i].Field = strings.TrimPrefix(faults[i].Field, field+".")
	}
	return badInput(withRest(s.located(faults), err))
}

// studioFaults gives the faults that a server finds in a studio's files the file, line and path that they come from.
func studioFaults(studio file.Studio, err error) error {
	faults := api.Faults(err)
	if faults == nil {
		return err
	}
	var located file.Errors
	for _, fault := range faults {
		path, line, field := studio.Locate(strings.TrimPrefix(fault.Field, "contents."))
		located = append(located, &file.Error{File: path, Line: line, Field: field, Problem: fault.Message})
	}
	return badInput(withRest(located, err))
}

// withRest says below the faults how many more there are that had no room in the server's answer.
func withRest(faults, answer error) error {
	if more := api.MoreFaults(answer); more > 0 {
		return errors.Join(faults, fmt.Errorf("and %d more", more))
	}
	return faults
}

// hasKey reports whether the text is a YAML or JSON mapping with the key at its top.
func hasKey(data []byte, key string) bool {
	var top map[string]yaml.Node
	_ = yaml.Unmarshal(data, &top) // what is wrong with the text its decoding says, with the line
	_, ok := top[key]
	return ok
}
