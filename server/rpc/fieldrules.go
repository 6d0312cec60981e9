package rpc

import (
	"errors"
	"fmt"
	"strings"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"saggar/chem/finding"
)

// fieldRules holds messages against the rules written in the contract, and against those that hold for every field: real
// numbers, plain text, instants of this century.
type fieldRules struct {
	validator protovalidate.Validator
}

func newFieldRules() (*fieldRules, error) {
	validator, err := protovalidate.New()
	if err != nil {
		return nil, fmt.Errorf("compile the field rules: %w", err)
	}
	return &fieldRules{validator: validator}, nil
}

// check returns every fault of a request. In an update only the populated fields of the resource are held against the
// contract; the merged resource is checked again as a whole.
func (r *fieldRules) check(m proto.Message) finding.Faults {
	faults, whole := plainFaults(m)
	if !whole {
		return faults
	}
	resource := updatedResource(m.ProtoReflect())
	if resource == nil {
		return append(faults, r.contract(m)...)
	}
	populated := protovalidate.FilterFunc(func(in protoreflect.Message, about protoreflect.Descriptor) bool {
		field, isField := about.(protoreflect.FieldDescriptor)
		return !isField || in.Interface() != resource || in.Has(field)
	})
	return append(faults, r.contract(m, protovalidate.WithFilter(populated))...)
}

// contract returns what breaks the rules written in the contract.
func (r *fieldRules) contract(m proto.Message, options ...protovalidate.ValidationOption) finding.Faults {
	err := r.validator.Validate(m, options...)
	if err == nil {
		return nil
	}
	broken, ok := errors.AsType[*protovalidate.ValidationError](err)
	if !ok {
		return finding.Faults{{Message: err.Error()}}
	}
	var faults finding.Faults
	for _, violation := range broken.Violations {
		faults.Add(protovalidate.FieldPathString(violation.Proto.GetField()),
			strings.TrimSpace(shownValue(violation)+" "+violation.Proto.GetMessage()), "")
	}
	return faults
}

// shownValue is the value at fault when it is short enough to help.
func shownValue(v *protovalidate.Violation) string {
	const most = 80
	if v.FieldDescriptor == nil || !v.FieldValue.IsValid() {
		return ""
	}
	switch value := v.FieldValue.Interface().(type) {
	case string:
		return fmt.Sprintf("%q", shorten(value, most))
	case bool, int32, int64, uint32, uint64, float32, float64:
		return fmt.Sprint(value)
	case protoreflect.EnumNumber:
		if known := v.FieldDescriptor.Enum().Values().ByNumber(value); known != nil {
			return string(known.Name())
		}
		return fmt.Sprint(value)
	}
	return ""
}

// updatedResource is the resource in the request of an Update method, or nil for other messages.
func updatedResource(request protoreflect.Message) proto.Message {
	field := updatedResourceField(request.Descriptor())
	if field == nil || !request.Has(field) {
		return nil
	}
	return request.Get(field).Message().Interface()
}

func updatedResourceField(request protoreflect.MessageDescriptor) protoreflect.FieldDescriptor {
	if request.Fields().ByName("update_mask") == nil {
		return nil
	}
	for i := range request.Fields().Len() {
		if field := request.Fields().Get(i); field.Message() != nil && field.Message().Fields().ByName("name") != nil {
			return field
		}
	}
	return nil
}
