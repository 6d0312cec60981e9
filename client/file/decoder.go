package file

import (
	"fmt"
	"strings"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// decoder fills messages from the nodes of one file and collects faults on the way.
type decoder struct {
	file   string
	o      Options
	lines  Lines
	faults Errors
	depth  int
}

func newDecoder(file string, o Options) *decoder { return &decoder{file: file, o: o, lines: Lines{}} }

// fault records what is wrong with a node. After maxFaults the rest is dropped, with one line that says so.
func (d *decoder) fault(line int, field, problem, cure string) {
	switch n := len(d.faults); {
	case n < maxFaults:
		d.faults = append(d.faults, &Error{File: d.file, Line: line, Field: field, Problem: problem, Cure: cure})
	case n == maxFaults:
		d.faults = append(d.faults, &Error{File: d.file, Problem: "has more faults", Cure: "cure these first"})
	}
}

// full says that enough faults are known to stop looking.
func (d *decoder) full() bool { return len(d.faults) > maxFaults }

// message fills a message from a mapping, or from its short form.
func (d *decoder) message(m protoreflect.Message, node *yaml.Node, path string) {
	if d.depth++; d.depth > maxDepth {
		d.fault(node.Line, path, fmt.Sprintf("is nested deeper than %d", maxDepth), "write it flatter")
	} else if d.plain(node, path) {
		switch m.Descriptor().FullName() {
		case "google.protobuf.Timestamp":
			d.timestamp(m, node, path)
		case "google.protobuf.FieldMask":
			paths := m.Descriptor().Fields().ByName("paths")
			d.list(m.Mutable(paths).List(), paths, node, path)
		default:
			d.fields(m, node, path)
		}
	}
	d.depth--
}

// plain refuses what would make a file mean something else than it shows.
func (d *decoder) plain(node *yaml.Node, path string) bool {
	switch {
	case node.Kind == yaml.AliasNode:
		d.fault(node.Line, path, "is the alias *"+cut(node.Value), "write the value out")
	case node.Anchor != "":
		d.fault(node.Line, path, "carries the anchor &"+cut(node.Anchor), "leave the anchor out")
	case node.Style&yaml.TaggedStyle != 0:
		d.fault(node.Line, path, "carries the tag "+cut(node.Tag), "leave the tag out")
	default:
		return true
	}
	return false
}

func (d *decoder) fields(m protoreflect.Message, node *yaml.Node, path string) {
	known := m.Descriptor().Fields()
	if node.Kind != yaml.MappingNode {
		d.fault(node.Line, path, "needs fields, not "+describe(node), "write fields under it: "+fieldNames(known))
		return
	}
	seen := map[protoreflect.Name]int{}
	for i := 0; i+1 < len(node.Content) && !d.full(); i += 2 {
		key, value := node.Content[i], node.Content[i+1]
		if field := d.fieldOf(m, key, path); field != nil {
			at := join(path, string(field.Name()))
			if first, twice := seen[field.Name()]; twice {
				d.fault(key.Line, at, fmt.Sprintf("is given twice, first on line %d", first), "keep one of them")
				continue
			}
			seen[field.Name()], d.lines[at] = key.Line, key.Line
			d.field(m, field, value, at)
		}
	}
}

// fieldOf finds the field that a key names; nil after recording a fault.
func (d *decoder) fieldOf(m protoreflect.Message, key *yaml.Node, path string) protoreflect.FieldDescriptor {
	known := m.Descriptor().Fields()
	switch {
	case key.Kind == yaml.ScalarNode && key.Tag == "!!merge":
		d.fault(key.Line, path, "merges another mapping with <<", "write the fields out")
		return nil
	case key.Kind != yaml.ScalarNode:
		d.fault(key.Line, path, "has "+describe(key)+" where a field's name should stand", "name one of "+fieldNames(known))
		return nil
	case !d.plain(key, path):
		return nil
	}
	field := known.ByName(protoreflect.Name(key.Value))
	if field == nil {
		field = known.ByJSONName(key.Value)
	}
	if field == nil {
		names := make([]string, known.Len())
		for i := range names {
			names[i] = string(known.Get(i).Name())
		}
		d.fault(key.Line, join(path, cut(key.Value)), "is no field here", suggest(key.Value, names))
		return nil
	}
	if one := field.ContainingOneof(); one != nil && m.WhichOneof(one) != nil {
		other := m.WhichOneof(one).Name()
		d.fault(key.Line, join(path, string(field.Name())), fmt.Sprintf("cannot stand beside %s", other), "keep one of them")
		return nil
	}
	return field
}

func (d *decoder) field(m protoreflect.Message, field protoreflect.FieldDescriptor, node *yaml.Node, path string) {
	m.Clear(field)
	switch {
	case isNull(node) && node.Anchor == "": // stays unset
	case field.IsMap():
		d.fault(node.Line, path, "is a map, which files cannot hold", "leave it out")
	case field.IsList():
		if d.plain(node, path) {
			d.list(m.Mutable(field).List(), field, node, path)
		}
	case field.Message() != nil:
		d.message(m.Mutable(field).Message(), node, path)
	default:
		if value, ok := d.scalar(field, node, path); ok {
			m.Set(field, value)
		}
	}
}

func (d *decoder) list(list protoreflect.List, field protoreflect.FieldDescriptor, node *yaml.Node, path string) {
	if node.Kind != yaml.SequenceNode {
		cure := "write a list, one - to each line"
		if node.Kind == yaml.ScalarNode && field.Message() == nil {
			cure = "write a list: [" + cut(node.Value) + "]"
		}
		d.fault(node.Line, path, "needs a list, not "+describe(node), cure)
		return
	}
	for i, element := range node.Content {
		if d.full() {
			return
		}
		at := fmt.Sprintf("%s[%d]", path, i)
		d.lines[at] = element.Line
		switch {
		case isNull(element):
			d.fault(element.Line, at, "is empty", "fill it or leave it out")
		case field.Message() != nil:
			d.message(list.AppendMutable().Message(), element, at)
		default:
			if value, ok := d.scalar(field, element, at); ok {
				list.Append(value)
			}
		}
	}
}

func isNull(node *yaml.Node) bool { return node.Kind == yaml.ScalarNode && node.Tag == "!!null" }

func join(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}

// describe names a node in a message.
func describe(node *yaml.Node) string {
	switch node.Kind {
	case yaml.MappingNode:
		return "fields"
	case yaml.SequenceNode:
		return "a list"
	case yaml.AliasNode:
		return "an alias"
	default:
		return shown(node.Value)
	}
}

func fieldNames(fields protoreflect.FieldDescriptors) string {
	names := make([]string, fields.Len())
	for i := range names {
		names[i] = string(fields.Get(i).Name())
	}
	return strings.Join(names, ", ")
}
