package file

import (
	"fmt"
	"math"
	"regexp"
	"strconv"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"
)

// scalar reads a single value; false after recording a fault.
func (d *decoder) scalar(field protoreflect.FieldDescriptor, node *yaml.Node, path string) (protoreflect.Value, bool) {
	var none protoreflect.Value
	if !d.plain(node, path) {
		return none, false
	}
	if node.Kind != yaml.ScalarNode {
		d.fault(node.Line, path, "needs a single value, not "+describe(node), "give "+wanted(field))
		return none, false
	}
	value, fault := scalarValue(field, node)
	if fault != nil {
		d.fault(node.Line, path, fault.Problem, fault.Cure)
		return none, false
	}
	return value, true
}

func scalarValue(field protoreflect.FieldDescriptor, node *yaml.Node) (protoreflect.Value, *Error) {
	switch field.Kind() {
	case protoreflect.StringKind:
		return text(node)
	case protoreflect.BoolKind:
		return boolean(node)
	case protoreflect.EnumKind:
		if node.Value == "" {
			return protoreflect.ValueOfEnum(0), nil
		}
		number, fault := enumNumber(field.Enum(), node.Value)
		return protoreflect.ValueOfEnum(number), fault
	case protoreflect.DoubleKind:
		x, fault := decimal(node)
		return protoreflect.ValueOfFloat64(x), fault
	case protoreflect.Int32Kind:
		n, fault := whole(node, math.MinInt32, math.MaxInt32)
		return protoreflect.ValueOfInt32(int32(n)), fault
	case protoreflect.Int64Kind:
		n, fault := whole(node, math.MinInt64, math.MaxInt64)
		return protoreflect.ValueOfInt64(n), fault
	default:
		return protoreflect.Value{}, &Error{
			Problem: fmt.Sprintf("is of kind %s, which files cannot hold", field.Kind()), Cure: "leave it out",
		}
	}
}

// wanted says what a field takes.
func wanted(field protoreflect.FieldDescriptor) string {
	switch field.Kind() {
	case protoreflect.BoolKind:
		return "true or false"
	case protoreflect.EnumKind:
		return "one of " + enumNames(field.Enum())
	case protoreflect.DoubleKind:
		return "a number"
	case protoreflect.Int32Kind, protoreflect.Int64Kind:
		return "a whole number"
	default:
		return "a text"
	}
}

// text keeps the scalar as it is written, so that an unquoted date or number stays what it shows.
func text(node *yaml.Node) (protoreflect.Value, *Error) {
	if node.Tag == "!!bool" {
		return protoreflect.Value{}, &Error{
			Problem: "needs a text, not " + cut(node.Value), Cure: "put it in quotes when it is meant as text",
		}
	}
	return protoreflect.ValueOfString(node.Value), nil
}

func boolean(node *yaml.Node) (protoreflect.Value, *Error) {
	var value bool
	if node.Tag != "!!bool" || node.Decode(&value) != nil {
		return protoreflect.Value{}, &Error{Problem: shown(node.Value) + " is neither true nor false", Cure: "give true or false"}
	}
	return protoreflect.ValueOfBool(value), nil
}

// decimalNumber leaves out octal (0120), hexadecimal and underscores, which YAML would read as other numbers.
var decimalNumber = regexp.MustCompile(`^[-+]?(0|[1-9][0-9]*)?(\.[0-9]*)?([eE][-+]?[0-9]+)?$`)

func decimal(node *yaml.Node) (float64, *Error) {
	x, err := strconv.ParseFloat(node.Value, 64)
	bare := node.Style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle|yaml.LiteralStyle|yaml.FoldedStyle) == 0
	switch {
	case err == nil && (math.IsNaN(x) || math.IsInf(x, 0)), node.Tag == "!!float" && err != nil:
		return 0, &Error{Problem: cut(node.Value) + " is no finite number", Cure: "give a number, or leave the field out when it is not known"}
	case !decimalNumber.MatchString(node.Value) || err != nil && !math.IsInf(x, 0):
		return 0, &Error{Problem: shown(node.Value) + " is no number", Cure: "give a decimal number without a unit, such as 12.5"}
	case err != nil:
		return 0, &Error{Problem: shown(node.Value) + " is too large a number", Cure: "give a number below 1.7e308"}
	case !bare:
		return 0, &Error{Problem: shown(node.Value) + " is text in quotes", Cure: "leave the quotes out: " + cut(node.Value)}
	}
	return x, nil
}

const exactFloat = 1 << 53 // below it a float64 holds every whole number

func whole(node *yaml.Node, least, most int64) (int64, *Error) {
	x, fault := decimal(node)
	if fault != nil {
		return 0, fault
	}
	n, err := strconv.ParseInt(node.Value, 10, 64)
	if err != nil && x == math.Trunc(x) && math.Abs(x) < exactFloat {
		n, err = int64(x), nil // such as 20.0 or 1e3
	}
	if x != math.Trunc(x) {
		return 0, &Error{Problem: cut(node.Value) + " is no whole number", Cure: fmt.Sprintf("give %.0f or %.0f", math.Floor(x), math.Ceil(x))}
	}
	if err != nil || n < least || n > most {
		return 0, &Error{Problem: cut(node.Value) + " is out of range", Cure: fmt.Sprintf("give a whole number from %d to %d", least, most)}
	}
	return n, nil
}

func (d *decoder) timestamp(m protoreflect.Message, node *yaml.Node, path string) {
	if node.Kind != yaml.ScalarNode {
		d.fault(node.Line, path, "needs a time, not "+describe(node), "give a time such as "+timeExample(d.o.Zone))
		return
	}
	t, fault := localTime(node.Value, d.o.Zone)
	stamp := timestamppb.New(t)
	if fault == nil && !stamp.IsValid() {
		fault = &Error{Problem: shown(node.Value) + " is out of range", Cure: "give a year from 0001 to 9999"}
	}
	if fault != nil {
		d.fault(node.Line, path, fault.Problem, fault.Cure)
		return
	}
	fields := m.Descriptor().Fields()
	m.Set(fields.ByName("seconds"), protoreflect.ValueOfInt64(stamp.GetSeconds()))
	m.Set(fields.ByName("nanos"), protoreflect.ValueOfInt32(stamp.GetNanos()))
}
