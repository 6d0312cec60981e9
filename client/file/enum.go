package file

import (
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"
)

// EnumNumber finds the value of an enum by its short name ("reducing") or full name ("ATMOSPHERE_REDUCING"), in any case.
// Errors: an [*Error] that lists the names, without a file.
func EnumNumber(enum protoreflect.EnumDescriptor, name string) (protoreflect.EnumNumber, error) {
	number, fault := enumNumber(enum, name)
	if fault != nil {
		return 0, fault
	}
	return number, nil
}

func enumNumber(enum protoreflect.EnumDescriptor, name string) (protoreflect.EnumNumber, *Error) {
	values := enum.Values()
	for i := range values.Len() {
		full := string(values.Get(i).Name())
		if strings.EqualFold(name, full) || strings.EqualFold(name, strings.TrimPrefix(full, enumPrefix(enum))) {
			return values.Get(i).Number(), nil
		}
	}
	problem := shown(name) + " is not known here"
	if name == "" {
		problem = "is empty"
	}
	return 0, &Error{Problem: problem, Cure: "give one of " + enumNames(enum)}
}

// enumPrefix is what the names of an enum begin with: that of its zero value, without UNSPECIFIED.
func enumPrefix(enum protoreflect.EnumDescriptor) string {
	prefix, ok := strings.CutSuffix(string(enum.Values().Get(0).Name()), "UNSPECIFIED")
	if !ok {
		return ""
	}
	return prefix
}

// enumNames lists the short names, without the one that means "not set".
func enumNames(enum protoreflect.EnumDescriptor) string {
	var names []string
	for i := range enum.Values().Len() {
		if value := enum.Values().Get(i); value.Number() != 0 {
			names = append(names, strings.ToLower(strings.TrimPrefix(string(value.Name()), enumPrefix(enum))))
		}
	}
	return strings.Join(names, ", ")
}
