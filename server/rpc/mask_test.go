package rpc

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"saggar/chem/finding"
	saggarv1 "saggar/proto/saggar/v1"
)

func TestMerge(t *testing.T) {
	present := &saggarv1.Furnace{
		Name: "studios/north/furnaces/muffle", Title: "Muffle", Room: "hall", TopCelsius: 1200, Etag: "r5",
		Capture:     &saggarv1.Capture{ClosedFraction: 0.8, Method: "tracer"},
		Atmospheres: []saggarv1.Atmosphere{saggarv1.Atmosphere_ATMOSPHERE_OXIDISING},
	}
	given := &saggarv1.Furnace{
		Name: "studios/north/furnaces/other", Title: "Big muffle", Etag: "r9",
		Capture: &saggarv1.Capture{ClosedFraction: 0.9},
	}
	with := func(change func(*saggarv1.Furnace)) *saggarv1.Furnace {
		want := proto.Clone(present).(*saggarv1.Furnace)
		change(want)
		return want
	}
	cases := map[string]struct {
		paths []string
		want  *saggarv1.Furnace
	}{
		"unset means what is populated": {nil, with(func(f *saggarv1.Furnace) { f.Title, f.Capture = given.Title, given.Capture })},
		"one field":                     {[]string{"title"}, with(func(f *saggarv1.Furnace) { f.Title = given.Title })},
		"a named empty field is cleared": {[]string{"top_celsius", "atmospheres"},
			with(func(f *saggarv1.Furnace) { f.TopCelsius, f.Atmospheres = 0, nil })},
		"within a message": {[]string{"capture.closed_fraction"}, with(func(f *saggarv1.Furnace) { f.Capture.ClosedFraction = 0.9 })},
		"all": {[]string{"*"}, with(func(f *saggarv1.Furnace) {
			f.Title, f.Capture, f.Room, f.TopCelsius, f.Atmospheres = given.Title, given.Capture, "", 0, nil
		})},
		"what only the server gives": {[]string{"name", "etag"}, present},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			before := proto.Clone(present)
			merged, err := merge(present, given, &fieldmaskpb.FieldMask{Paths: c.paths})
			require.NoError(t, err)
			assert.True(t, proto.Equal(c.want, merged), "want %v\ngot  %v", c.want, merged)
			assert.True(t, proto.Equal(before, present), "the present resource is left alone")
		})
	}
}

func TestMergeIntoAMessageThatIsNotThere(t *testing.T) {
	merged, err := merge(&saggarv1.Furnace{}, &saggarv1.Furnace{Capture: &saggarv1.Capture{ClosedFraction: 0.5, Method: "smoke"}},
		&fieldmaskpb.FieldMask{Paths: []string{"capture.method"}})
	require.NoError(t, err)
	assert.True(t, proto.Equal(&saggarv1.Furnace{Capture: &saggarv1.Capture{Method: "smoke"}}, merged))

	merged, err = merge(&saggarv1.Furnace{}, &saggarv1.Furnace{}, &fieldmaskpb.FieldMask{Paths: []string{"capture.method"}})
	require.NoError(t, err)
	assert.True(t, proto.Equal(&saggarv1.Furnace{}, merged), "nothing is made of nothing")
}

func TestMasksOfFieldsThatAreNot(t *testing.T) {
	for _, path := range []string{"colour", "Title", "capture.colour", "title.x", "heating_times.minutes", "", "capture.", "*.title"} {
		_, err := merge(&saggarv1.Furnace{}, &saggarv1.Furnace{}, &fieldmaskpb.FieldMask{Paths: []string{"room", path}})
		faults := finding.FaultsOf(err)
		require.Len(t, faults, 1, path)
		assert.Equal(t, "update_mask.paths[1]", faults[0].Field)
	}
	_, err := merge(&saggarv1.Furnace{}, &saggarv1.Furnace{}, &fieldmaskpb.FieldMask{Paths: []string{"*", "title"}})
	assert.Error(t, err, "all and one beside it")
}

func FuzzMasksNeverBreakTheServer(f *testing.F) {
	f.Add("title")
	f.Add("capture.closed_fraction")
	f.Add("heating_times.minutes")
	f.Fuzz(func(t *testing.T, path string) {
		given := &saggarv1.Furnace{Capture: &saggarv1.Capture{Method: "smoke"}, HeatingTimes: []*saggarv1.Timing{{Minutes: 1}}}
		_, err := merge(&saggarv1.Furnace{}, given, &fieldmaskpb.FieldMask{Paths: []string{path}})
		if err != nil && finding.FaultsOf(err) == nil {
			t.Fatalf("not a fault: %v", err)
		}
	})
}
