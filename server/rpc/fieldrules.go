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
		message, cure := violation.Proto.GetMessage(), ""
		if violation.Proto.GetRuleId() == "string.pattern" {
			message, cure = "does not have the form that is asked for", patternWords(violation.RuleValue.String())
		}
		faults.Add(protovalidate.FieldPathString(violation.Proto.GetField()),
			strings.TrimSpace(shownValue(violation)+" "+message), cure)
	}
	return faults
}

// idPattern is how the contract writes an id.
const idPattern = "[a-z][a-z0-9-]{0,62}"

// patternParts are parts of the contract's patterns with what people call them, longer ones first.
var patternParts = strings.NewReplacer(
	"(hot-charging|respirator-fit|respirator-training|furnaces/"+idPattern+")",
	"hot-charging, respirator-fit, respirator-training or furnaces/ID",
	"(studios/"+idPattern+"/)?accessKeys/"+idPattern, "accessKeys/ID or studios/ID/accessKeys/ID",
	"(people|furnaces|departments)", "people|furnaces|departments",
	"(vessels|gear)", "vessels|gear",
	"(furnaces|rooms|extractionCircuits|supplies)", "furnaces|rooms|extractionCircuits|supplies",
	"(/versions/[1-9][0-9]{0,8})?", " or with /versions/N",
	"([01][0-9]|2[0-3]):[0-5][0-9]", "HH:MM",
	"[0-9]{4}-[0-9]{2}-[0-9]{2}", "YYYY-MM-DD",
	"https?://[^ ]+", "an address that begins with http:// or https://",
	"[0-9a-f]{64}", "64 digits of 0-9 and a-f",
	"[a-z][a-z_]{0,62}", "1 to 63 of a-z and _, such as silica_dust",
	"[A-Z][A-Z0-9_]{0,62}", "1 to 63 of A-Z, 0-9 and _, such as SILICA_DUST",
	idPattern, "ID",
	"$|^", " or ",
)

// patternWords says what a pattern of the contract asks for, in words: names and ids, dates and times of day.
func patternWords(pattern string) string {
	words := strings.Trim(pattern, "^$")
	if optional, ok := strings.CutSuffix(words, ")?"); ok && strings.HasPrefix(optional, "(") {
		words = strings.TrimPrefix(optional, "(")
	}
	words = patternParts.Replace(words)
	if strings.Contains(words, "ID") {
		words += ", where ID is 1 to 63 of a-z, 0-9 and hyphen, beginning with a letter"
	}
	return "write " + words
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
