package file

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	saggarv1 "saggar/proto/saggar/v1"
)

// part is one of the files that describe a studio.
type part struct {
	name    string
	root    *yaml.Node
	section *yaml.Node // under the key studio; nil for none
	decoder *decoder
	file    *saggarv1.StudioFile
}

// Studio is what the files of one studio say together.
type Studio struct {
	ID       string
	Contents *saggarv1.StudioFile
	parts    []*part
}

// ReadStudio reads the files of one studio as one. The studio's id and time zone come from the section `studio:` in
// whichever file it stands; without one, from the options. The same resource twice, in one file or in two, is a fault that
// names both places. Errors: [Errors] with the faults of all files.
func ReadStudio(paths []string, o Options) (Studio, error) {
	parts, faults := loadParts(paths)
	broken := len(faults) > 0
	section, more := findSection(parts)
	faults = append(faults, more...)
	if section != nil {
		o, more = section.options(o)
		faults = append(faults, more...)
	} else if broken {
		o = Options{Studio: offlineStudio, Zone: time.UTC} // only to find the other files' faults
	} else if o.Studio == "" {
		return Studio{}, append(faults, &Error{
			File: strings.Join(paths, ", "), Problem: "no file says which studio it is", Cure: "add a section studio: with name and time_zone, or give the studio's id",
		})
	}
	contents := &saggarv1.StudioFile{}
	seen := places{}
	for _, p := range parts {
		p.decode(o, seen)
		faults = append(faults, p.decoder.faults...)
		proto.Merge(contents, p.file)
	}
	if len(faults) > 0 {
		return Studio{}, faults
	}
	return Studio{ID: o.Studio, Contents: contents, parts: parts}, nil
}

var listElement = regexp.MustCompile(`^([a-z_]+)\[([0-9]+)\](.*)$`)

// Locate finds where a field of Contents was written: the file, the line, and the field's path in that file, in which a
// list is counted from the file's own first element. A field that stands in none of the files gives no file and no line.
func (s Studio) Locate(field string) (path string, line int, inFile string) {
	if found := listElement.FindStringSubmatch(field); found != nil {
		index, _ := strconv.Atoi(found[2])
		return s.locateElement(found[1], index, found[3])
	}
	if strings.Contains(field, "[") && !strings.HasPrefix(field, "studio.") { // an id in brackets: it stands on the server
		return "", 0, field
	}
	for _, p := range s.parts {
		if line := p.decoder.lines.Of(field); line > 0 {
			return p.name, line, field
		}
	}
	return "", 0, field
}

// locateElement walks the files in the order in which their lists were joined.
func (s Studio) locateElement(list string, index int, rest string) (path string, line int, inFile string) {
	before := 0
	for _, p := range s.parts {
		m := p.file.ProtoReflect()
		field := m.Descriptor().Fields().ByName(protoreflect.Name(list))
		if field == nil || !field.IsList() {
			break
		}
		length := m.Get(field).List().Len()
		if index < before+length {
			inFile = elementPath(list, index-before) + rest
			return p.name, p.decoder.lines.Of(inFile), inFile
		}
		before += length
	}
	return "", 0, elementPath(list, index) + rest
}

func loadParts(paths []string) (parts []*part, faults Errors) {
	for _, path := range paths {
		name, data, fault := load(path)
		var root *yaml.Node
		if fault == nil {
			root, fault = parse(name, data)
		}
		if fault != nil {
			faults = append(faults, fault)
			continue
		}
		parts = append(parts, &part{name: name, root: root, section: valueOf(root, "studio")})
	}
	return parts, faults
}

// valueOf finds what stands under a key of a mapping; nil for nothing.
func valueOf(node *yaml.Node, key string) *yaml.Node {
	if node.Kind != yaml.MappingNode {
		return nil
	}
	for i := 0; i+1 < len(node.Content); i += 2 {
		if value := node.Content[i+1]; node.Content[i].Value == key && !isNull(value) {
			return value
		}
	}
	return nil
}

// findSection returns the part with the studio's own section; a second one is a fault.
func findSection(parts []*part) (found *part, faults Errors) {
	for _, p := range parts {
		switch {
		case p.section == nil:
		case found == nil:
			found = p
		default:
			faults = append(faults, &Error{
				File: p.name, Line: p.section.Line, Field: "studio",
				Problem: "stands twice, first at " + place(found.name, found.section.Line), Cure: "keep one of them",
			})
		}
	}
	return found, faults
}

// options takes the studio's id and time zone from the part's section. Faults in its other fields are found later.
func (p *part) options(o Options) (Options, Errors) {
	d, studio := newDecoder(p.name, o), &saggarv1.Studio{}
	d.message(studio.ProtoReflect(), p.section, "studio")
	if zone := studio.GetTimeZone(); zone != "" {
		loaded, err := time.LoadLocation(zone)
		if err != nil || zone == "Local" {
			o.Zone = time.UTC
			return o, Errors{{
				File: p.name, Line: d.lines.Of("studio.time_zone"), Field: "studio.time_zone",
				Problem: shown(zone) + " is no time zone known here", Cure: "give an IANA name such as Europe/Lisbon",
			}}
		}
		o.Zone = loaded
	}
	if id := strings.TrimPrefix(studio.GetName(), studioPrefix); id != "" {
		o.Studio = id
	} else if o.Studio == "" {
		return o, Errors{{File: p.name, Line: p.section.Line, Field: "studio", Problem: "has no name", Cure: "add name: and the studio's id"}}
	}
	return o, nil
}

// places remembers where each resource was found first.
type places map[string]string

// decode fills the part's message and looks for resources without a name or with one that is taken.
func (p *part) decode(o Options, seen places) {
	p.decoder, p.file = newDecoder(p.name, o), &saggarv1.StudioFile{}
	d := p.decoder
	d.message(p.file.ProtoReflect(), p.root, "")
	d.expandNames(p.file)
	eachResource(p.file, func(resource protoreflect.Message, path string) {
		name := resource.Get(resource.Descriptor().Fields().ByName("name")).String()
		line := d.lines.Of(path)
		if name == "" {
			d.fault(line, path, "has no name", "add name: and an id")
			return
		}
		if first, twice := seen[name]; twice {
			d.fault(line, path, fmt.Sprintf("%s stands twice, first at %s", shown(name), first), "keep one of them")
			return
		}
		seen[name] = place(p.name, line)
	})
}

func elementPath(list string, n int) string { return fmt.Sprintf("%s[%d]", list, n) }
