package rpc

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"

	"saggar/chem/finding"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

func TestPathsLeadIntoTheRequest(t *testing.T) {
	contents := &saggarv1.StudioFile{
		Furnaces: []*saggarv1.Furnace{
			{Name: "studios/north/furnaces/big"}, {Name: "studios/north/furnaces/muffle"}, {Name: "studios/north/furnaces/small-muffle"},
		},
		Rooms: []*saggarv1.Room{{Name: "studios/north/rooms/hall"}, {Name: "studios/north/rooms/hall"}},
	}
	cases := map[string]string{
		"furnaces[muffle].room":                   "contents.furnaces[1].room",
		"furnaces[muffle].heating_times[0].x":     "contents.furnaces[1].heating_times[0].x",
		"furnaces[muffle]":                        "contents.furnaces[1]",
		"rooms[hall]":                             "contents.rooms[1]",
		"furnaces[gone].room":                     "furnaces[gone].room",
		"extraction_circuits[a].branches[0].room": "extraction_circuits[a].branches[0].room",
		"studio.time_zone":                        "contents.studio.time_zone",
		"":                                        "contents",
	}
	for given, want := range cases {
		err := underContents("contents", contents, finding.Faults{{Field: given}})
		assert.Equal(t, want, finding.FaultsOf(err)[0].Field, given)
	}
}

func TestPathsOfOneResourceLeadIntoItsField(t *testing.T) {
	cases := map[string]string{
		"end_time":          "closure.end_time",
		"closures[a].x":     "closure.x",
		"closures[a]":       "closure",
		"furnaces[kiln].x":  "furnaces[kiln].x",
		"weekly[0].closes":  "closure.weekly[0].closes",
		"[0].closes":        "closure[0].closes",
		"furnaces[Not].foo": "closure.furnaces[Not].foo",
	}
	for given, want := range cases {
		err := underField("closure", "a", finding.Faults{{Field: given}})
		assert.Equal(t, want, finding.FaultsOf(err)[0].Field, given)
	}
}

func TestOtherErrorsAndTheOriginalsStay(t *testing.T) {
	other := errors.New("other")
	assert.Same(t, other, underField("room", "a", other))
	faults := finding.Faults{{Field: "x"}}
	_ = underField("room", "a", faults)
	assert.Equal(t, "x", faults[0].Field)

	refusal := &domain.Refusal{Findings: []finding.Finding{{Field: "run.stage_windows[0]"}}}
	var placed *domain.Refusal
	assert.ErrorAs(t, mapFields(refusal, func(string) string { return "y" }), &placed)
	assert.Equal(t, "y", placed.Findings[0].Field)
	assert.Equal(t, "run.stage_windows[0]", refusal.Findings[0].Field)
}
