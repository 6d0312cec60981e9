package rpc

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// hostileTexts are what no text of a request may hold.
var hostileTexts = map[string]string{
	"a megabyte":            strings.Repeat("a", 1<<20),
	"a line break":          "a\r\nX-Role: steward",
	"a zero":                "a\x00b",
	"an escape":             "a\x1b[2Jb",
	"another direction":     "a\u202etxt.exe",
	"a mark of direction":   "a\u200fb",
	"an isolate":            "a\u2066b\u2069",
	"a line separator":      "a\u2028b",
	"a way up":              "../../studios/south",
	"a way up, in a name":   "studios/north/rooms/../../south/rooms/hall",
	"an encoded slash":      "studios/north%2frooms%2fhall",
	"a name in the capital": "studios/North/rooms/Hall",
}

// TestHostileTextIsRefusedInEveryField puts each of them into each text field of each request, as a steward of the server,
// whom no right stops. A title may be a way up, since nobody walks it; a name may not.
func TestHostileTextIsRefusedInEveryField(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.server.gate.rates = newRates(0, 0) // thousands of calls by one caller
	s.load(t, smallStudio())
	tried := 0
	for _, method := range contractMethods(t) {
		if method.IsStreamingServer() {
			continue
		}
		for _, path := range textFields(method.Input(), nil) {
			for kind, text := range hostileTexts {
				request := newMessage(t, method.Input())
				if !path.isName() {
					nameWhereThereIsOne(t, request)
				}
				if strings.Contains(kind, "way up") && !path.isName() || strings.Contains(kind, "encoded") && !path.isName() ||
					strings.Contains(kind, "capital") && !path.isName() || kind == "a megabyte" && path.isOutputOnly() {
					continue
				}
				path.set(request, text)
				err := s.connection.Invoke(s.steward(t), fullName(method), request, newMessage(t, method.Output()))
				assert.Contains(t, []codes.Code{codes.InvalidArgument, codes.PermissionDenied}, status.Code(err), "%s with %s in %s: %v",
					method.Name(), kind, path, shorten(status.Convert(err).Message(), 200))
				assert.Less(t, len(status.Convert(err).Message()), 2000, "%s does not echo %s", method.Name(), kind)
				tried++
			}
		}
	}
	assert.Greater(t, tried, 1000)
}

// textPath leads to a text field, through single messages and the first item of lists.
type textPath []protoreflect.FieldDescriptor

func (p textPath) String() string {
	var names []string
	for _, field := range p {
		names = append(names, string(field.Name()))
	}
	return strings.Join(names, ".")
}

func (p textPath) last() protoreflect.FieldDescriptor { return p[len(p)-1] }

// isName reports whether the field names a resource.
func (p textPath) isName() bool { return p.last().Name() == "name" || p.last().Name() == "parent" }

func (p textPath) isOutputOnly() bool {
	for _, name := range outputOnlyText {
		if p.last().Name() == name && !p.isName() {
			return true
		}
	}
	return false
}

func (p textPath) set(m proto.Message, text string) {
	at := m.ProtoReflect()
	for _, field := range p[:len(p)-1] {
		if field.IsList() {
			list := at.Mutable(field).List()
			if list.Len() == 0 {
				list.Append(list.NewElement())
			}
			at = list.Get(0).Message()
		} else {
			at = at.Mutable(field).Message()
		}
	}
	if p.last().IsList() {
		at.Mutable(p.last()).List().Append(protoreflect.ValueOfString(text))
		return
	}
	at.Set(p.last(), protoreflect.ValueOfString(text))
}

// mostDepth is deep enough for every message of the contract but those of whole studios, whose parts are reached otherwise.
const mostDepth = 3

func textFields(m protoreflect.MessageDescriptor, above textPath) (paths []textPath) {
	if len(above) >= mostDepth || m.ParentFile().Package() != ourPackage {
		return nil
	}
	for i := range m.Fields().Len() {
		field := m.Fields().Get(i)
		path := append(append(textPath{}, above...), field)
		switch {
		case field.IsMap():
		case field.Kind() == protoreflect.StringKind:
			paths = append(paths, path)
		case field.Message() != nil:
			paths = append(paths, textFields(field.Message(), path)...)
		}
	}
	return paths
}

// nameWhereThereIsOne lets a request be about studio north, so that only the field in question is at fault.
func nameWhereThereIsOne(t *testing.T, request proto.Message) {
	t.Helper()
	fields := request.ProtoReflect().Descriptor().Fields()
	for _, field := range []protoreflect.Name{"name", "parent"} {
		if descriptor := fields.ByName(field); descriptor != nil && descriptor.Kind() == protoreflect.StringKind {
			setField(request, field, north)
			return
		}
	}
}
