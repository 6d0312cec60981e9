package rpc

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"buf.build/go/protovalidate"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
)

// The rules of resource-oriented design that callers rely on, held over the whole contract.

func contractFiles(t *testing.T) []protoreflect.FileDescriptor {
	t.Helper()
	var files []protoreflect.FileDescriptor
	protoregistry.GlobalFiles.RangeFilesByPackage("saggar.v1", func(file protoreflect.FileDescriptor) bool {
		files = append(files, file)
		return true
	})
	require.NotEmpty(t, files)
	return files
}

func contractMethods(t *testing.T) []protoreflect.MethodDescriptor {
	t.Helper()
	var methods []protoreflect.MethodDescriptor
	for _, file := range contractFiles(t) {
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			for k := range service.Methods().Len() {
				methods = append(methods, service.Methods().Get(k))
			}
		}
	}
	return methods
}

func contractMessages(t *testing.T) []protoreflect.MessageDescriptor {
	t.Helper()
	var messages []protoreflect.MessageDescriptor
	for _, file := range contractFiles(t) {
		for i := range file.Messages().Len() {
			messages = append(messages, file.Messages().Get(i))
		}
	}
	return messages
}

func has(m protoreflect.MessageDescriptor, name protoreflect.Name, kind protoreflect.Kind) bool {
	field := m.Fields().ByName(name)
	return field != nil && field.Kind() == kind
}

// resourceField is the field of a request that holds a whole resource, or nil.
func resourceField(m protoreflect.MessageDescriptor) protoreflect.FieldDescriptor {
	for i := range m.Fields().Len() {
		field := m.Fields().Get(i)
		if field.Kind() == protoreflect.MessageKind && !field.IsList() && field.Message().ParentFile().Package() == "saggar.v1" {
			return field
		}
	}
	return nil
}

func TestMethodsAreNamedVerbFirstAndTakeTheirOwnRequest(t *testing.T) {
	verb := regexp.MustCompile(
		`^(Get|List|Update|Delete|Create|Load|Book|Check|Move|Cancel|Clear|Refuse|Decline|Close|Plan|Replan|Revoke|Exchange|Verify|Take|Return|Weigh|Watch)[A-Z]`)
	for _, method := range contractMethods(t) {
		assert.Regexp(t, verb, method.Name())
		assert.Equal(t, method.Name()+"Request", method.Input().Name())
	}
}

func TestGetAndDeleteTakeAName(t *testing.T) {
	for _, method := range contractMethods(t) {
		isGet := strings.HasPrefix(string(method.Name()), "Get") && method.Name() != "GetCaller"
		if isGet || strings.HasPrefix(string(method.Name()), "Delete") {
			assert.True(t, has(method.Input(), "name", protoreflect.StringKind), method.FullName())
		}
	}
}

func TestListsArePagedAndBelongToAParent(t *testing.T) {
	for _, method := range contractMethods(t) {
		// Openings are worked out, not stored, and are bounded by their window.
		if !strings.HasPrefix(string(method.Name()), "List") || method.Name() == "ListOpenings" {
			continue
		}
		assert.True(t, has(method.Input(), "page_size", protoreflect.Int32Kind), method.FullName())
		assert.True(t, has(method.Input(), "page_token", protoreflect.StringKind), method.FullName())
		assert.True(t, has(method.Output(), "next_page_token", protoreflect.StringKind), method.FullName())
		if method.Name() != "ListStudios" {
			assert.True(t, has(method.Input(), "parent", protoreflect.StringKind), method.FullName())
		}
		first := method.Output().Fields().ByNumber(1)
		assert.True(t, first.IsList(), "%s answers with a list first", method.FullName())
		listed := strings.TrimPrefix(string(method.Name()), "List")
		assert.Equal(t, strings.ToLower(listed), strings.ReplaceAll(string(first.Name()), "_", ""), method.FullName())
	}
}

func TestUpdatesTakeTheResourceAMaskAndAnEtag(t *testing.T) {
	for _, method := range contractMethods(t) {
		if !strings.HasPrefix(string(method.Name()), "Update") {
			continue
		}
		field := resourceField(method.Input())
		require.NotNil(t, field, method.FullName())
		assert.Equal(t, method.Output(), field.Message(), "%s returns the resource", method.FullName())
		assert.True(t, has(field.Message(), "etag", protoreflect.StringKind), method.FullName())
		mask := method.Input().Fields().ByName("update_mask")
		require.NotNil(t, mask, method.FullName())
		assert.EqualValues(t, "google.protobuf.FieldMask", mask.Message().FullName())
		assert.NotNil(t, updatedResourceField(method.Input()), "the field rules know the resource of %s", method.FullName())
	}
}

func TestWhatChangesRunsCanBeRepeatedAndGuarded(t *testing.T) {
	for name, guards := range map[protoreflect.Name][]protoreflect.Name{
		"BookRun": {"request_id", "validate_only"}, "MoveRun": {"request_id", "validate_only", "etag"},
		"MoveRuns":   {"request_id", "validate_only"},
		"BookFiring": {"request_id", "validate_only"}, "UpdateFiring": {"request_id", "validate_only"}, "CancelFiring": {"request_id", "etag"},
		"CancelRun": {"request_id", "etag"}, "ClearRun": {"request_id", "etag"}, "RefuseRun": {"request_id", "etag"}, "LoadStudio": {"request_id", "validate_only"},
		"CreateMaterialVersion": {"validate_only"}, "CreateRecipeVersion": {"validate_only"}, "DeleteClosure": {"etag"},
	} {
		methods := contractMethods(t)
		i := slices.IndexFunc(methods, func(m protoreflect.MethodDescriptor) bool { return m.Name() == name })
		require.GreaterOrEqual(t, i, 0, name)
		for _, guard := range guards {
			assert.NotNil(t, methods[i].Input().Fields().ByName(guard), "%s in %s", guard, name)
		}
	}
}

// bareNumbers are numbers without a unit, each for a reason.
var bareNumbers = map[string]string{
	"cost":      "in the studio's own currency",
	"page_size": "a count", "revision": "a count", "after_revision": "a count", "version": "a count", "value": "has its unit beside it",
	"bound": "has its unit beside it", "run_index": "a place in a list",
	"factor": "a ratio", "mixing_factor": "a ratio", "mixture_ratio": "a ratio", "ratio": "a ratio",
	"atom_ratio": "a ratio", "ideal_atom_ratio": "a ratio", "carbon_monoxide_per_carbon_dioxide": "a ratio",
	"assigned_protection_factor": "a ratio", "conversion": "a share", "core_conversion": "a share",
	"minutes_to_99_percent": "has its unit in front",
}

func TestNumbersCarryTheirUnitInTheirName(t *testing.T) {
	unit := regexp.MustCompile(`(^|_)(minutes?|days|months|celsius|kilowatts|hours?|grams|moles|liters|milliliters|meters|millimeters|milliliter|` +
		`second|count|fraction|ppm|bar|of_intermediate)$`)
	for _, message := range contractMessages(t) {
		for i := range message.Fields().Len() {
			field := message.Fields().Get(i)
			switch field.Kind() {
			case protoreflect.DoubleKind, protoreflect.FloatKind, protoreflect.Int32Kind, protoreflect.Int64Kind:
				if _, bare := bareNumbers[string(field.Name())]; !bare {
					assert.Regexp(t, unit, field.Name(), "%s has no unit", field.FullName())
				}
			}
		}
	}
}

func TestInstantsAreNamedTime(t *testing.T) {
	for _, message := range contractMessages(t) {
		for i := range message.Fields().Len() {
			field := message.Fields().Get(i)
			isInstant := field.Message() != nil && field.Message().FullName() == "google.protobuf.Timestamp"
			assert.Equal(t, isInstant, strings.HasSuffix(string(field.Name()), "_time"), field.FullName())
		}
	}
}

func TestEveryRequestFieldOfTextOrNumberIsBounded(t *testing.T) {
	for _, method := range contractMethods(t) {
		checkBounded(t, method.Input(), map[protoreflect.FullName]bool{})
	}
}

// outputOnlyText is given by the server and not read from requests.
var outputOnlyText = []protoreflect.Name{"maker", "secret", "name", "firing", "acknowledged_finding_codes"}

func checkBounded(t *testing.T, m protoreflect.MessageDescriptor, seen map[protoreflect.FullName]bool) {
	t.Helper()
	if seen[m.FullName()] || m.ParentFile().Package() != "saggar.v1" {
		return
	}
	seen[m.FullName()] = true
	for i := range m.Fields().Len() {
		field := m.Fields().Get(i)
		if field.Message() != nil {
			checkBounded(t, field.Message(), seen)
			continue
		}
		rules, err := protovalidate.ResolveFieldRules(field)
		require.NoError(t, err)
		isChecked := field.Kind() == protoreflect.StringKind || field.Kind() == protoreflect.DoubleKind
		if isChecked && !slices.Contains(outputOnlyText, field.Name()) {
			assert.NotNil(t, rules, "%s has no bounds", field.FullName())
		}
	}
}
