package rpc

import (
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"saggar/chem/finding"
)

// wildcard in a field mask means all fields.
const wildcard = "*"

// outputOnly are the fields of resources that an update leaves alone, named in the mask or not: the server gives them, and
// the name says which resource is meant.
var outputOnly = []protoreflect.Name{"name", "etag", "revision", "create_time", "version"}

// merge returns the present resource with the fields of given that the mask names: without a mask those that are
// populated, with `*` all. Faults name update_mask.
func merge(present, given proto.Message, mask *fieldmaskpb.FieldMask) (proto.Message, error) {
	merged := proto.Clone(present)
	paths, err := maskPaths(given, mask)
	if err != nil {
		return nil, err
	}
	for _, path := range paths {
		copyField(merged.ProtoReflect(), given.ProtoReflect(), strings.Split(path, "."))
	}
	return merged, nil
}

// maskPaths are the fields to copy.
func maskPaths(given proto.Message, mask *fieldmaskpb.FieldMask) ([]string, error) {
	all := slices.Equal(mask.GetPaths(), []string{wildcard})
	if len(mask.GetPaths()) > 0 && !all {
		return mask.GetPaths(), checkMask(given, mask)
	}
	var paths []string
	m := given.ProtoReflect()
	for i := range m.Descriptor().Fields().Len() {
		if field := m.Descriptor().Fields().Get(i); all || m.Has(field) {
			paths = append(paths, string(field.Name()))
		}
	}
	return paths, nil
}

func checkMask(given proto.Message, mask *fieldmaskpb.FieldMask) error {
	var faults finding.Faults
	for i, path := range mask.GetPaths() {
		one := &fieldmaskpb.FieldMask{Paths: []string{path}}
		if !one.IsValid(given) {
			faults.Add(fmt.Sprintf("update_mask.paths[%d]", i), fmt.Sprintf("%q is no field of a %s that can be changed alone",
				path, given.ProtoReflect().Descriptor().Name()), "name fields as the contract spells them, or `*` alone for all")
		}
	}
	return faults.Err()
}

// copyField copies one field, down a path through single messages.
func copyField(to, from protoreflect.Message, path []string) {
	field := from.Descriptor().Fields().ByName(protoreflect.Name(path[0]))
	switch {
	case len(path) == 1 && slices.Contains(outputOnly, field.Name()):
	case len(path) > 1:
		if from.Has(field) || to.Has(field) {
			copyField(to.Mutable(field).Message(), from.Get(field).Message(), path[1:])
		}
	case from.Has(field):
		to.Set(field, from.Get(field))
	default:
		to.Clear(field)
	}
}
