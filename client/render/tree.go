package render

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"strconv"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"
)

// A tree is what JSON and YAML are written from: an object, a []any, a string, a bool, a json.Number or nil.
type object []member

type member struct {
	key   string
	value any
}

// tree turns a message, a struct with json tags, or a slice of either into a tree.
func tree(value any) (any, error) {
	if m, ok := value.(proto.Message); ok {
		return messageTree(m.ProtoReflect(), "")
	}
	if v := reflect.ValueOf(value); v.Kind() == reflect.Slice && v.Type().Elem().Implements(reflect.TypeFor[proto.Message]()) {
		list := make([]any, v.Len())
		for i := range list {
			var err error
			if list[i], err = messageTree(v.Index(i).Interface().(proto.Message).ProtoReflect(), fmt.Sprintf("[%d]", i)); err != nil {
				return nil, err
			}
		}
		return list, nil
	}
	text, err := json.Marshal(value)
	if err != nil {
		return nil, fmt.Errorf("cannot show the answer: %w", err)
	}
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.UseNumber()
	return jsonTree(decoder)
}

// jsonTree reads one JSON value and keeps the order of its fields.
func jsonTree(decoder *json.Decoder) (any, error) {
	token, err := decoder.Token()
	if err != nil {
		return nil, err
	}
	switch token {
	case json.Delim('{'):
		o := object{}
		for decoder.More() {
			key, err := decoder.Token()
			if err != nil {
				return nil, err
			}
			value, err := jsonTree(decoder)
			if err != nil {
				return nil, err
			}
			o = append(o, member{fmt.Sprint(key), value})
		}
		_, err = decoder.Token()
		return o, err
	case json.Delim('['):
		list := []any{}
		for decoder.More() {
			value, err := jsonTree(decoder)
			if err != nil {
				return nil, err
			}
			list = append(list, value)
		}
		_, err = decoder.Token()
		return list, err
	}
	return token, nil
}

func messageTree(m protoreflect.Message, path string) (any, error) {
	if !m.IsValid() {
		return nil, nil
	}
	switch x := m.Interface().(type) {
	case *timestamppb.Timestamp:
		if err := x.CheckValid(); err != nil {
			return nil, fmt.Errorf("cannot show %s: %w", path, err)
		}
		return x.AsTime().Format(time.RFC3339Nano), nil
	case *fieldmaskpb.FieldMask:
		return fieldTree(m, m.Descriptor().Fields().ByName("paths"), path)
	}
	fields := m.Descriptor().Fields()
	o := make(object, fields.Len())
	for i := range o {
		field := fields.Get(i)
		at := string(field.Name())
		if path != "" {
			at = path + "." + at
		}
		value, err := fieldTree(m, field, at)
		if err != nil {
			return nil, err
		}
		o[i] = member{string(field.Name()), value}
	}
	return o, nil
}

func fieldTree(m protoreflect.Message, field protoreflect.FieldDescriptor, path string) (any, error) {
	switch {
	case field.IsMap():
		return nil, fmt.Errorf("cannot show %s: it is a map", path)
	case field.IsList():
		list := m.Get(field).List()
		shown := make([]any, list.Len())
		for i := range shown {
			var err error
			if shown[i], err = valueTree(field, list.Get(i), fmt.Sprintf("%s[%d]", path, i)); err != nil {
				return nil, err
			}
		}
		return shown, nil
	case field.HasPresence() && !m.Has(field):
		return nil, nil
	}
	return valueTree(field, m.Get(field), path)
}

func valueTree(field protoreflect.FieldDescriptor, value protoreflect.Value, path string) (any, error) {
	switch x := value.Interface().(type) {
	case protoreflect.Message:
		return messageTree(x, path)
	case protoreflect.EnumNumber:
		return enumName(field.Enum(), x), nil
	case float64:
		return number(x, 64, path)
	case float32:
		return number(float64(x), 32, path)
	case []byte:
		return base64.StdEncoding.EncodeToString(x), nil
	case bool, string:
		return x, nil
	default: // whole numbers of any size
		return json.Number(fmt.Sprint(x)), nil
	}
}

var errNotFinite = errors.New("it is not a finite number")

func number(x float64, bits int, path string) (any, error) {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil, fmt.Errorf("cannot show %s: %w", path, errNotFinite)
	}
	style := byte('f')
	if size := math.Abs(x); size != 0 && (size < 1e-6 || size >= 1e21) {
		style = 'e'
	}
	return json.Number(strconv.FormatFloat(x, style, -1, bits)), nil
}
