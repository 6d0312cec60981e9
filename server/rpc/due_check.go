package rpc

import (
	"context"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

// GetDueChecks lists what is to be tested or measured again.
func (s *reportService) GetDueChecks(ctx context.Context, req *saggarv1.GetDueChecksRequest) (*saggarv1.DueChecks, error) {
	due, err := s.app.GetDueChecks(ctx, app.DueChecksQuery{StudioID: studioIn(req.GetName()), Until: req.GetUntil()})
	if err != nil {
		return nil, err
	}
	m := &saggarv1.DueChecks{Name: req.GetName(), Until: due.Until}
	for _, check := range due.Checks {
		m.Checks = append(m.Checks, dueCheckToProto(check))
	}
	return m, nil
}

var dueCheckKinds = newEnumTable(map[saggarv1.DueCheckKind]domain.DueKind{
	saggarv1.DueCheckKind_DUE_CHECK_KIND_DETECTOR:  domain.DueDetector,
	saggarv1.DueCheckKind_DUE_CHECK_KIND_INTERLOCK: domain.DueInterlock,
	saggarv1.DueCheckKind_DUE_CHECK_KIND_CAPTURE:   domain.DueCapture,
	saggarv1.DueCheckKind_DUE_CHECK_KIND_FLOW:      domain.DueFlow,
})

func dueCheckToProto(c domain.DueCheck) *saggarv1.DueCheck {
	return &saggarv1.DueCheck{
		Kind: dueCheckKinds.toProto(c.Kind), Subject: c.Subject, Part: c.Part, Room: c.Room, LastOn: c.LastOn, DueOn: c.DueOn,
		Overdue: c.Overdue, Runs: c.Runs, FirstTime: instant(c.FirstTime),
	}
}
