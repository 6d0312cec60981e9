package api

import (
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"saggar/chem/finding"
)

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
