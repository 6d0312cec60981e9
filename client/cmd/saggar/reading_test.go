package main

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"google.golang.org/protobuf/proto"

	saggarv1 "saggar/proto/saggar/v1"
)

func TestReadingsAreNotedListedAndExplained(t *testing.T) {
	f := newFakeServer(t)
	noted := &saggarv1.Reading{
		Name: "studios/marl-lane/readings/m17", Room: "bay", Furnace: "pot", Species: "SO2", MeasuredPpm: 5.5, ReadTime: instant("2027-03-01T10:15:00Z"),
		Instrument: "pump and tube", CalibratedOn: "2027-01-11", UncertaintyFraction: 0.15, Reader: "ada", CautiousPpm: 1.1,
		LikelyPpm: proto.Float64(0.4), Ratio: proto.Float64(5), Unexplained: true, Caution: "a planning estimate",
		Assumptions: []string{"as if all went by the clock"}, Findings: []*saggarv1.Finding{
			{
				Severity: saggarv1.Severity_SEVERITY_BLOCK, Code: "READING_ABOVE_LIMIT", About: "bay", Message: "SO2 was read at 5.5 ppm in bay, the limit NIOSH STEL is 5 ppm",
				Cure: "leave the room", Source: "NIOSH",
			},
			{Severity: saggarv1.Severity_SEVERITY_WARN, Code: "READING_ABOVE_FORECAST", About: "bay", Message: "SO2 was read at 5.5 ppm, where at most 1.1 ppm was forecast"},
		},
	}
	f.answer("CreateReading", noted)
	golden(t, "reading.table.golden", f.succeed("reading", "note", "--room", "bay", "--furnace", "pot", "--species", "SO2", "--ppm", "5.5", "--at", "2027-03-01 10:15",
		"--instrument", "pump and tube", "--calibrated-on", "2027-01-11", "--uncertainty", "0.15"))
	assertSame(t, &saggarv1.Reading{
		Room: "bay", Furnace: "pot", Species: "SO2", MeasuredPpm: 5.5, ReadTime: instant("2027-03-01T10:15:00Z"), Instrument: "pump and tube",
		CalibratedOn: "2027-01-11", UncertaintyFraction: 0.15,
	}, asked[*saggarv1.CreateReadingRequest](f).GetReading())
	golden(t, "reading.json.golden", f.succeed("reading", "note", "--room", "bay", "--species", "SO2", "--ppm", "5.5", "--instrument", "x", "--output", "json"))
	assert.NotNil(t, asked[*saggarv1.CreateReadingRequest](f).GetReading().GetReadTime(), "without a time, now")
	assert.Equal(t, 2, f.run("reading", "note", "--room", "bay").code)

	f.answer("ListReadings", &saggarv1.ListReadingsResponse{Readings: []*saggarv1.Reading{noted}})
	assert.Contains(t, f.succeed("reading", "list", "--room", "bay"), "limit, forecast")
	assert.Equal(t, "bay", asked[*saggarv1.ListReadingsRequest](f).GetRoom())
	f.answer("CloseReading", noted)
	f.succeed("reading", "close", "m17", "--reason", "damper was shut")
	request := asked[*saggarv1.CloseReadingRequest](f)
	assert.Equal(t, []string{"studios/marl-lane/readings/m17", "damper was shut"}, []string{request.GetName(), request.GetReason()})
	assert.Equal(t, 2, f.run("reading", "close", "m17").code, "it says why")
}
