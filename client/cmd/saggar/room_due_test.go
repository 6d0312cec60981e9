package main

import (
	"testing"

	"github.com/stretchr/testify/assert"

	saggarv1 "saggar/proto/saggar/v1"
)

func TestWhatIsDueIsListed(t *testing.T) {
	f := newFakeServer(t)
	f.answer("GetDueChecks", &saggarv1.DueChecks{Name: "studios/marl-lane/dueChecks", Until: "2027-06-30", Checks: []*saggarv1.DueCheck{
		{Kind: saggarv1.DueCheckKind_DUE_CHECK_KIND_CAPTURE, Subject: "furnaces/pot", Room: "bay", Overdue: true},
		{
			Kind: saggarv1.DueCheckKind_DUE_CHECK_KIND_DETECTOR, Subject: "rooms/bay", Part: "SO2", Room: "bay", LastOn: "2027-02-10", DueOn: "2027-03-12",
			Runs: []string{"blue-7", "blue-9"}, FirstTime: instant("2027-03-15T08:00:00Z"),
		},
	}})
	golden(t, "due.table.golden", f.succeed("room", "due", "--until", "2027-06-30"))
	golden(t, "due.json.golden", f.succeed("room", "due", "--output", "json"))
	request := asked[*saggarv1.GetDueChecksRequest](f)
	assert.Equal(t, []string{"studios/marl-lane/dueChecks", ""}, []string{request.GetName(), request.GetUntil()})
}
