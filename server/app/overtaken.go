package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

// mostNamed changes are named one by one; more are counted.
const mostNamed = 5

// changeWords say what became of a run; all else was changed.
var changeWords = map[string]string{
	"BookRun": "was booked", "MoveRun": "was moved", "MoveRuns": "was moved", "CancelRun": "was called off",
	"BookFiring": "was booked", "CancelFiring": "was called off",
}

// planRestsOn are the kinds of things that windows depend on.
var planRestsOn = []string{"runs", "firings", "rooms", "extractionCircuits", "supplies", "furnaces", "staffedHours", "closures", "vessels", "gear"}

// overtaken adds to a refusal what has changed in the studio since the windows were planned; 0: nobody knows when.
func (a *App) overtaken(ctx context.Context, err error, studioID string, planned int64) error {
	var refusal *domain.Refusal
	if planned == 0 || !errors.As(err, &refusal) {
		return err
	}
	var changes []domain.Change
	unread := a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		var err error
		changes, err = tx.ListChanges(ctx, studio.Key, planned, 0)
		changes = slices.DeleteFunc(changes, func(c domain.Change) bool {
			kind, _, _ := strings.Cut(c.Subject, "/")
			return !slices.Contains(planRestsOn, kind)
		})
		return err
	})
	if unread != nil || len(changes) == 0 {
		return err // the refusal is more to the point than why it cannot be told more of
	}
	refusal.Findings = append(refusal.Findings, finding.Finding{
		Severity: finding.Note, Code: "PLAN_OVERTAKEN",
		Message: fmt.Sprintf("since this was planned %s", whatChanged(changes)),
		Figures: []finding.Figure{{Name: "changes", Value: float64(len(changes)), Unit: "1"}},
		Cure:    "plan again, or refresh this plan, which keeps as near to it as can be",
	})
	return refusal
}

// whatChanged names what was changed, each thing once, as it was changed last.
func whatChanged(changes []domain.Change) string {
	last := map[string]string{}
	var subjects []string
	for _, c := range changes {
		if last[c.Subject] == "" {
			subjects = append(subjects, c.Subject)
		}
		last[c.Subject] = "was changed"
		if words, ok := changeWords[c.Method]; ok {
			last[c.Subject] = words
		}
	}
	var parts []string
	for _, subject := range subjects[:min(len(subjects), mostNamed)] {
		parts = append(parts, domain.InWords(subject)+" "+last[subject])
	}
	if more := len(subjects) - mostNamed; more > 0 {
		parts = append(parts, fmt.Sprintf("%d more things changed", more))
	}
	return strings.Join(parts, ", ")
}
