package file

import (
	"fmt"
	"regexp"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	saggarv1 "saggar/proto/saggar/v1"
)

const (
	studioPrefix  = "studios/"
	offlineStudio = "offline" // for files that are read without a server
)

var validID = regexp.MustCompile(`^[a-z][a-z0-9-]{0,62}$`)

const idCure = "use 1 to 63 of a-z, 0-9 and hyphen, beginning with a letter"

// CheckID refuses what is no id of anything.
func CheckID(text string) error {
	if !validID.MatchString(text) {
		return fmt.Errorf("%s is no id; %s", shown(text), idCure)
	}
	return nil
}

// collectionOf gives the collection in which messages of a type stand, such as extractionCircuits; empty for none.
func collectionOf(m protoreflect.MessageDescriptor) string {
	switch m.FullName() {
	case (&saggarv1.Run{}).ProtoReflect().Descriptor().FullName():
		return "runs"
	case (&saggarv1.Lot{}).ProtoReflect().Descriptor().FullName():
		return "lots"
	}
	lists := (&saggarv1.StudioFile{}).ProtoReflect().Descriptor().Fields()
	for i := range lists.Len() {
		if list := lists.Get(i); list.IsList() && list.Message().FullName() == m.FullName() {
			return list.JSONName()
		}
	}
	return ""
}

// expandNames turns the short ids of a decoded file into resource names: of the message itself, or of everything in a
// studio file.
func (d *decoder) expandNames(into proto.Message) {
	switch m := into.(type) {
	case *saggarv1.Studio:
		d.expandStudio(m, "name")
	case *saggarv1.StudioFile:
		if m.Studio != nil {
			d.expandStudio(m.Studio, "studio.name")
		}
		eachResource(m, func(resource protoreflect.Message, path string) { d.expand(resource, path+".name") })
	default:
		if collectionOf(into.ProtoReflect().Descriptor()) != "" {
			d.expand(into.ProtoReflect(), "name")
		}
	}
}

// eachResource visits everything in the lists of a studio file, with its path.
func eachResource(contents *saggarv1.StudioFile, visit func(resource protoreflect.Message, path string)) {
	m := contents.ProtoReflect()
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		if field := fields.Get(i); field.IsList() {
			list := m.Get(field).List()
			for n := range list.Len() {
				visit(list.Get(n).Message(), elementPath(string(field.Name()), n))
			}
		}
	}
}

func (d *decoder) expandStudio(studio *saggarv1.Studio, path string) {
	id := strings.TrimPrefix(studio.GetName(), studioPrefix)
	if id == "" {
		return
	}
	if !validID.MatchString(id) {
		d.fault(d.lines.Of(path), path, shown(studio.GetName())+" is no studio's id", idCure)
		return
	}
	studio.Name = studioPrefix + id
}

// expand makes the name of a resource full. An absent name is left to whoever needs one.
func (d *decoder) expand(resource protoreflect.Message, path string) {
	field := resource.Descriptor().Fields().ByName("name")
	name, studio := resource.Get(field).String(), d.o.Studio
	if name == "" {
		return
	}
	collection := collectionOf(resource.Descriptor())
	if studio == "" {
		studio = offlineStudio
		if parts := strings.Split(name, "/"); len(parts) == 4 {
			studio = parts[1] // any will do
		}
	}
	prefix := studioPrefix + studio + "/" + collection + "/"
	id := strings.TrimPrefix(name, prefix)
	switch {
	case strings.Contains(id, "/"):
		d.fault(d.lines.Of(path), path, shown(name)+" does not begin with "+prefix, "give the short id, or the full name in that place")
	case !validID.MatchString(id):
		d.fault(d.lines.Of(path), path, shown(name)+" is no id", idCure)
	default:
		resource.Set(field, protoreflect.ValueOfString(prefix+id))
	}
}
