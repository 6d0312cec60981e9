package convert

import (
	"fmt"
	"reflect"
	"testing"

	"github.com/stretchr/testify/assert"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// populator fills every field of a message with a value that no other field has, so that a conversion that loses or
// swaps one is seen.
type populator struct {
	count int
	drawn map[protoreflect.FullName]int // values of enums given so far, by field
}

func (p *populator) fill(m protoreflect.Message) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		field := fields.Get(i)
		switch {
		case field.IsList():
			list := m.Mutable(field).List()
			for range 2 {
				list.Append(p.value(field, list.NewElement))
			}
		default:
			m.Set(field, p.value(field, func() protoreflect.Value { return m.NewField(field) }))
		}
	}
}

// value is a new one of a field's kind; the values of an enum take turns.
func (p *populator) value(field protoreflect.FieldDescriptor, empty func() protoreflect.Value) protoreflect.Value {
	p.count++
	switch field.Kind() {
	case protoreflect.MessageKind:
		value := empty()
		if field.Message().ParentFile().Package() == "saggar.v1" { // an instant stays as it is
			p.fill(value.Message())
		}
		return value
	case protoreflect.EnumKind:
		values := field.Enum().Values()
		next := p.drawn[field.FullName()] % (values.Len() - 1)
		p.drawn[field.FullName()]++
		return protoreflect.ValueOfEnum(values.Get(1 + next).Number())
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(true)
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(fmt.Sprintf("word-%d", p.count))
	case protoreflect.DoubleKind:
		return protoreflect.ValueOfFloat64(float64(p.count) + 0.5)
	case protoreflect.Int32Kind:
		return protoreflect.ValueOfInt32(int32(p.count))
	default:
		panic("the contract has a new kind of field: teach the test " + field.Kind().String())
	}
}

// assertNothingEmpty fails for every field of a value that is zero, however deep.
func assertNothingEmpty(t *testing.T, value any) {
	t.Helper()
	walk(reflect.ValueOf(value), reflect.TypeOf(value).String(), func(path string) {
		assert.Fail(t, "a field got nothing", "%s is empty after conversion of a message whose fields are all set", path)
	})
}

func walk(value reflect.Value, path string, empty func(path string)) {
	switch {
	case value.IsZero():
		empty(path)
	case value.Kind() == reflect.Pointer:
		walk(value.Elem(), path, empty)
	case value.Kind() == reflect.Struct:
		for i := range value.NumField() {
			walk(value.Field(i), path+"."+value.Type().Field(i).Name, empty)
		}
	case value.Kind() == reflect.Slice:
		for i := range value.Len() {
			walk(value.Index(i), fmt.Sprintf("%s[%d]", path, i), empty)
		}
	}
}
