package api

import (
	"fmt"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	saggarv1 "saggar/proto/saggar/v1"
)

// Exit codes of the command line, one for each class of error.
const (
	ExitOK          = 0
	ExitInternal    = 1
	ExitBadInput    = 2
	ExitRefused     = 3
	ExitNoRight     = 4
	ExitUnreachable = 5
)

// IsAnswer reports whether an error came from a call to a server, so that ExitCode and Describe apply.
func IsAnswer(err error) bool {
	_, ok := status.FromError(err)
	return err != nil && ok
}

// ExitCode is the class of a server's error: bad input for what the caller can mend in the request, also when what it
// names is not there or has changed; refused for findings and states that stand against it.
func ExitCode(err error) int {
	switch status.Code(err) {
	case codes.OK:
		return ExitOK
	case codes.InvalidArgument, codes.OutOfRange, codes.NotFound, codes.AlreadyExists, codes.Aborted, codes.ResourceExhausted,
		codes.Unimplemented:
		return ExitBadInput
	case codes.FailedPrecondition:
		return ExitRefused
	case codes.Unauthenticated, codes.PermissionDenied:
		return ExitNoRight
	case codes.Unavailable, codes.DeadlineExceeded, codes.Canceled:
		return ExitUnreachable
	default:
		return ExitInternal
	}
}

// Findings are those that a refusal carries, worst first.
func Findings(err error) []*saggarv1.Finding {
	var findings []*saggarv1.Finding
	for _, detail := range status.Convert(err).Details() {
		if f, ok := detail.(*saggarv1.Finding); ok {
			findings = append(findings, f)
		}
	}
	return findings
}

// Describe says what a server's error means, with every field at fault and every finding, a line each.
func Describe(err error) string {
	s := status.Convert(err)
	lines := []string{s.Message()}
	if s.Code() == codes.Unavailable && len(s.Details()) == 0 { // with details it answered, and says itself what is away
		lines[0] = "the server cannot be reached: " + s.Message()
	}
	for _, detail := range s.Details() {
		switch d := detail.(type) {
		case *errdetails.BadRequest:
			for _, v := range d.GetFieldViolations() {
				lines = append(lines, fmt.Sprintf("  %s: %s", v.GetField(), v.GetDescription()))
			}
		case *saggarv1.Finding:
			lines = append(lines, describeFinding(d)...)
		case *errdetails.ErrorInfo:
			if open := d.GetMetadata()["unacknowledged_finding_codes"]; open != "" {
				lines = append(lines, "  to go on all the same, acknowledge: "+open)
			}
		}
	}
	return strings.Join(lines, "\n")
}

func describeFinding(f *saggarv1.Finding) []string {
	severity := strings.TrimPrefix(f.GetSeverity().String(), "SEVERITY_")
	lines := []string{fmt.Sprintf("  %-5s %s: %s", severity, f.GetCode(), f.GetMessage())}
	if f.GetCure() != "" {
		lines = append(lines, "        cure: "+f.GetCure())
	}
	if f.GetSource() != "" {
		lines = append(lines, "        source: "+f.GetSource())
	}
	return lines
}
