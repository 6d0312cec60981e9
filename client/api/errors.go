package api

import (
	"errors"
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
	if errors.As(err, &unreachable{}) {
		return ExitUnreachable
	}
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

// IsBrokenOff reports whether a call ended before its answer: its time was over, or the server is gone.
func IsBrokenOff(err error) bool {
	code := status.Code(err)
	return code == codes.DeadlineExceeded || code == codes.Unavailable
}

// IsStale reports whether what a change rests on was changed by somebody else meanwhile.
func IsStale(err error) bool { return status.Code(err) == codes.Aborted }

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

// Describe says what a server's error means, with every field at fault and every finding, a line each, and how many more
// there are that had no room in the answer.
func Describe(err error) string {
	s := status.Convert(err)
	lines, unread := []string{headline(s)}, ""
	goOn := "  to go on all the same, acknowledge: "
	for _, detail := range s.Details() {
		switch d := detail.(type) {
		case *errdetails.BadRequest:
			if s.Code() == codes.InvalidArgument && len(d.GetFieldViolations()) > 0 {
				lines = lines[:0] // the message repeats the first of them
			}
			for _, v := range d.GetFieldViolations() {
				lines = append(lines, v.GetField()+": "+v.GetDescription())
			}
		case *saggarv1.Finding:
			if d.GetSeverity() == saggarv1.Severity_SEVERITY_BLOCK {
				goOn = "  once nothing blocks, these must be acknowledged: "
			}
		case *errdetails.ErrorInfo:
			unread = d.GetMetadata()["unacknowledged_finding_codes"]
		}
	}
	for _, f := range Digest(Findings(err)) {
		lines = append(lines, describeFinding(f)...)
	}
	if more := MoreFaults(err); more > 0 {
		lines = append(lines, fmt.Sprintf("  and %d more", more))
	}
	if unread != "" {
		lines = append(lines, goOn+unread)
	}
	return strings.Join(lines, "\n")
}

// headline is the server's own sentence; a status without details was made on this side of the connection.
func headline(s *status.Status) string {
	switch {
	case len(s.Details()) > 0:
		return s.Message()
	case s.Code() == codes.Unavailable:
		return "the server cannot be reached: " + s.Message()
	case s.Code() == codes.DeadlineExceeded:
		return "the server did not answer in time (" + s.Message() + "): give it longer with --timeout"
	default:
		return s.Message()
	}
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
