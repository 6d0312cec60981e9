package api

import (
	"strconv"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"saggar/chem/finding"
	saggarv1 "saggar/proto/saggar/v1"
)

// MoreFaults is how many faults, or findings of a refusal, had no room in a server's answer.
func MoreFaults(err error) int {
	total, told := 0, 0
	for _, detail := range status.Convert(err).Details() {
		switch d := detail.(type) {
		case *errdetails.BadRequest:
			told += len(d.GetFieldViolations())
		case *saggarv1.Finding:
			told++
		case *errdetails.ErrorInfo:
			total, _ = strconv.Atoi(d.GetMetadata()["total_count"]) // none: 0
		}
	}
	return max(total-told, 0)
}

// Faults are the fields of a request that a server refused, by their paths in the request; nil for any other error.
func Faults(err error) finding.Faults {
	s := status.Convert(err)
	if s.Code() != codes.InvalidArgument {
		return nil
	}
	var faults finding.Faults
	for _, detail := range s.Details() {
		if bad, ok := detail.(*errdetails.BadRequest); ok {
			for _, v := range bad.GetFieldViolations() {
				faults.Add(v.GetField(), v.GetDescription(), "")
			}
		}
	}
	return faults
}
