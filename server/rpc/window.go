package rpc

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/chem/finding"
	"saggar/server/domain"
)

const mostWindowDays = 400

// windowFrom reads the window that a list or a plan looks at: not empty, at most 400 days.
func windowFrom(start, end *timestamppb.Timestamp) (domain.Window, error) {
	w := domain.Window{Start: start.AsTime(), End: end.AsTime()}
	return w, checkWindow(w)
}

func checkWindow(w domain.Window) error {
	switch {
	case !w.Start.Before(w.End):
		return finding.Faults{{
			Field: "end_time", Message: fmt.Sprintf("%s is not after start_time %s", w.End.Format(time.RFC3339),
				w.Start.Format(time.RFC3339)), Cure: "give an end after the start",
		}}
	case w.End.Sub(w.Start) > mostWindowDays*24*time.Hour:
		return finding.Faults{{
			Field: "end_time", Message: fmt.Sprintf("%s is more than %d days after start_time", w.End.Format(time.RFC3339),
				mostWindowDays), Cure: "ask for a shorter window",
		}}
	}
	return nil
}
