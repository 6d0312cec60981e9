package domain

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestNoticesSayWhoseAThingIsAndNoMore(t *testing.T) {
	run := RunSummary{Recipe: "blue", Maker: "ada", Department: "ceramics", Loads: []LoadSummary{{Furnace: "pot"}}}
	for name, c := range map[string]struct {
		change Change
		owner  string
		action ChangeAction
	}{
		"a booking":              {Change{Subject: "runs/r", After: run}, "ada", ActionCreated},
		"stored":                 {Change{Subject: "runs/r", Before: json.RawMessage(`{"maker":"ada"}`), After: json.RawMessage(`{"maker":"ada"}`)}, "ada", ActionChanged},
		"a person":               {Change{Subject: "people/ben", Before: Person{ID: "ben"}}, "ben", ActionRemoved},
		"a key":                  {Change{Subject: "studios/north/accessKeys/k", After: map[string]any{"caller": "cid", "role": 2}}, "cid", ActionCreated},
		"a room":                 {Change{Subject: "rooms/bay", After: map[string]any{"maker": "ada"}}, "", ActionCreated},
		"a request for time":     {Change{Subject: "timeRequests/t7", Before: TimeRequest{Asker: "ben"}, After: TimeRequest{Asker: "ben"}}, "ben", ActionChanged},
		"of a form that is gone": {Change{Subject: "runs/r", After: json.RawMessage(`{"maker":7}`)}, "", ActionCreated},
	} {
		t.Run(name, func(t *testing.T) {
			n := NoticeOf(c.change)
			assert.Equal(t, c.owner, n.Owner)
			assert.Equal(t, c.action, n.Action)
			assert.NotContains(t, n.Subject, "studios/")
		})
	}
}

func TestFiltersHoldTogether(t *testing.T) {
	before := RunSummary{Maker: "ada", Department: "ceramics", Loads: []LoadSummary{{Furnace: "pot"}}}
	after := RunSummary{Maker: "ada", Department: "ceramics", Loads: []LoadSummary{{Furnace: "muffle"}}}
	moved := NoticeOf(Change{Subject: "runs/r", Before: before, After: after})
	closed := NoticeOf(Change{Subject: "closures/c", After: Closure{SubjectKind: KindFurnace, SubjectID: "pot"}})
	room := NoticeOf(Change{Subject: "rooms/pot", After: map[string]any{}})
	for name, c := range map[string]struct {
		filter              NoticeFilter
		moved, closed, room bool
	}{
		"none":                         {NoticeFilter{}, true, true, true},
		"the furnace that it left":     {NoticeFilter{Furnace: "pot"}, true, true, false},
		"the furnace that it came to":  {NoticeFilter{Furnace: "muffle"}, true, false, false},
		"another furnace":              {NoticeFilter{Furnace: "kiln"}, false, false, false},
		"its maker":                    {NoticeFilter{Person: "ada"}, true, false, false},
		"its department":               {NoticeFilter{Department: "ceramics"}, true, false, false},
		"kinds":                        {NoticeFilter{Kinds: []string{"closures", "rooms"}}, false, true, true},
		"a kind and a person":          {NoticeFilter{Kinds: []string{"runs"}, Person: "ben"}, false, false, false},
		"a furnace of another's kinds": {NoticeFilter{Kinds: []string{"closures"}, Furnace: "pot"}, false, true, false},
	} {
		t.Run(name, func(t *testing.T) {
			assert.Equal(t, c.moved, c.filter.Passes(moved), "the run")
			assert.Equal(t, c.closed, c.filter.Passes(closed), "the closure")
			assert.Equal(t, c.room, c.filter.Passes(room), "the room")
		})
	}
}
