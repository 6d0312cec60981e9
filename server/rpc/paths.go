package rpc

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"saggar/chem/finding"
	"saggar/proto/convert"
	"saggar/server/domain"
)

// resourcePath is a path into a resource of a studio, which operations name by its id: `furnaces[muffle].room`.
var resourcePath = regexp.MustCompile(`^(rooms|extraction_circuits|supplies|furnaces|staffed_hours|closures|vessels|gear|materials|recipes|` +
	`clearance_rules|allotments|taught_hours|booking_limits)` +
	`\[([a-z][a-z0-9-]*)\](?:\.(.*))?$`)

// mapFields rewrites the paths in the faults or findings of an error. Another error passes through.
func mapFields(err error, place func(field string) string) error {
	if refusal, ok := errors.AsType[*domain.Refusal](err); ok {
		placed := *refusal
		placed.Findings = slices.Clone(refusal.Findings)
		for i := range placed.Findings {
			placed.Findings[i].Field = place(placed.Findings[i].Field)
		}
		return &placed
	}
	faults := finding.FaultsOf(err)
	if faults == nil {
		return err
	}
	placed := slices.Clone(faults)
	for i := range placed {
		placed[i].Field = place(placed[i].Field)
	}
	return placed
}

// underField puts the paths of an error's faults under the request's field that holds the resource with an id. Those of
// other resources stay.
func underField(field, id string, err error) error {
	return mapFields(err, func(path string) string {
		switch parts := resourcePath.FindStringSubmatch(path); {
		case parts == nil:
			return under(field, path)
		case parts[2] == id:
			return under(field, parts[3])
		default:
			return path
		}
	})
}

// underContents turns the ids in the paths of an error's faults into places in a message's lists, under a field:
// `furnaces[muffle].room` into `contents.furnaces[2].room`. What stands in the studio and not in the message keeps its path.
func underContents(field string, contents proto.Message, err error) error {
	return mapFields(err, func(path string) string {
		parts := resourcePath.FindStringSubmatch(path)
		if parts == nil {
			return under(field, path)
		}
		place := placeOf(contents.ProtoReflect(), parts[1], parts[2])
		if place < 0 {
			return path
		}
		return under(under(field, listPath(parts[1], place)), parts[3])
	})
}

// under joins two paths, of which either may be empty.
func under(field, path string) string {
	if field == "" || path == "" || strings.HasPrefix(path, "[") {
		return field + path
	}
	return field + "." + path
}

func listPath(list string, index int) string { return fmt.Sprintf("%s[%d]", list, index) }

// placeOf is where in a list of a message the last resource with an id stands, or -1. The last, since a repeat is found
// at the second.
func placeOf(contents protoreflect.Message, listName, id string) int {
	list := contents.Get(contents.Descriptor().Fields().ByName(protoreflect.Name(listName))).List()
	for i := list.Len() - 1; i >= 0; i-- {
		item, ok := list.Get(i).Message().Interface().(named)
		if ok && convert.ID(item.GetName()) == id {
			return i
		}
	}
	return -1
}
