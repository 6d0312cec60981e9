package render

import (
	"strconv"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"
)

// upperCase are the enums whose names are shown in capitals, since programs and people look for them; all others are
// written as in files.
var upperCase = map[protoreflect.Name]bool{"Severity": true, "LoadState": true, "RunState": true, "Role": true}

// Enum is the short name of a value: "reducing", "BLOCK"; empty when it is not set, and the number when it has no name.
func Enum(value protoreflect.Enum) string { return enumName(value.Descriptor(), value.Number()) }

func enumName(enum protoreflect.EnumDescriptor, number protoreflect.EnumNumber) string {
	value := enum.Values().ByNumber(number)
	zero := string(enum.Values().Get(0).Name())
	prefix, hasUnset := strings.CutSuffix(zero, "UNSPECIFIED")
	switch {
	case value == nil:
		return strconv.Itoa(int(number))
	case !hasUnset:
		return string(value.Name())
	case number == 0:
		return ""
	}
	name := strings.TrimPrefix(string(value.Name()), prefix)
	if upperCase[enum.Name()] {
		return name
	}
	return strings.ToLower(name)
}
