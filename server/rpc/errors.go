package rpc

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/protoadapt"

	"saggar/chem/finding"
	"saggar/proto/convert"
	"saggar/server/domain"
)

// ErrorDomain is the domain of every ErrorInfo.
const ErrorDomain = "saggar"

// Reasons in ErrorInfo. They are stable: callers decide by them and never by a message's text.
const (
	ReasonInvalidField     = "INVALID_FIELD"
	ReasonBookingRefused   = "BOOKING_REFUSED"
	ReasonNotFound         = "NOT_FOUND"
	ReasonAlreadyExists    = "ALREADY_EXISTS"
	ReasonChangedMeanwhile = "CHANGED_MEANWHILE"
	ReasonRequestIDReused  = "REQUEST_ID_REUSED"
	ReasonWrongState       = "WRONG_STATE"
	ReasonFurnaceTaken     = "FURNACE_TAKEN"
	ReasonHeld             = "HELD"
	ReasonLotDrawn         = "LOT_DRAWN"
	ReasonDatabaseAway     = "DATABASE_AWAY"
	ReasonIssuerAway       = "ISSUER_AWAY"
	ReasonNoValidKey       = "NO_VALID_KEY"
	ReasonNotAllowed       = "NOT_ALLOWED"
	ReasonTooMany          = "TOO_MANY_CALLS"
	ReasonTooSlow          = "TOO_SLOW"
	ReasonGivenUp          = "GIVEN_UP"
	ReasonStopping         = "SERVER_STOPS"
	ReasonOutOfRange       = "REVISION_OUT_OF_RANGE"
	ReasonInternal         = "INTERNAL"
)

// Keys of ErrorInfo's metadata.
const (
	// MetadataTotalCount is how many findings or field violations there are, of which the details hold the first.
	MetadataTotalCount = "total_count"
	// MetadataUnacknowledged are the codes of warnings that must be named to go on, separated by commas.
	MetadataUnacknowledged = "unacknowledged_finding_codes"
	// MetadataSubject is the name of the resource that the error is about.
	MetadataSubject = "subject"
)

const (
	// mostStatusBytes bounds an encoded status. It travels in a trailer in base64, where a third is added, so that it
	// stays under the 8 KiB of metadata that some clients take at most.
	mostStatusBytes = 6 << 10
	// mostMessageBytes bounds the sentence, which travels a second time beside the details.
	mostMessageBytes = 600
	internalMessage  = "something went wrong in the server; its log says what, under the request id"
)

// errorRow says what one kind of error becomes. An empty text means that the error's own sentence is for the caller.
type errorRow struct {
	kind   error
	code   codes.Code
	reason string
	text   string
}

// errorTable is walked from the top; the first kind that an error wraps decides.
var errorTable = []errorRow{
	{domain.ErrUnauthenticated, codes.Unauthenticated, ReasonNoValidKey, ""},
	{domain.ErrForbidden, codes.PermissionDenied, ReasonNotAllowed, ""},
	{domain.ErrTooMany, codes.ResourceExhausted, ReasonTooMany, ""},
	{domain.ErrUnavailable, codes.Unavailable, ReasonDatabaseAway, "the database is away; try again in a moment"},
	{domain.ErrIssuerAway, codes.Unavailable, ReasonIssuerAway, "the issuer of tokens is away; try again in a moment"},
	{domain.ErrStopping, codes.Unavailable, ReasonStopping, ""},
	{domain.ErrOutOfRange, codes.OutOfRange, ReasonOutOfRange, ""},
	{domain.ErrNotFound, codes.NotFound, ReasonNotFound, ""},
	{domain.ErrAlreadyExists, codes.AlreadyExists, ReasonAlreadyExists, ""},
	{domain.ErrChangedMeanwhile, codes.Aborted, ReasonChangedMeanwhile, ""},
	{domain.ErrRequestReused, codes.InvalidArgument, ReasonRequestIDReused, ""},
	{domain.ErrWrongState, codes.FailedPrecondition, ReasonWrongState, ""},
	{domain.ErrFurnaceTaken, codes.FailedPrecondition, ReasonFurnaceTaken, ""},
	{domain.ErrHeld, codes.FailedPrecondition, ReasonHeld, ""},
	{domain.ErrLotDrawn, codes.FailedPrecondition, ReasonLotDrawn, ""},
	{context.DeadlineExceeded, codes.DeadlineExceeded, ReasonTooSlow, "the request took longer than its deadline"},
	{context.Canceled, codes.Canceled, ReasonGivenUp, "the caller gave the request up"},
}

// statusOf turns an error into what the caller gets. Any error that has no place in the contract is Internal with a fixed
// text, and known is false: its cause belongs in the log and nowhere else.
func statusOf(err error) (s *status.Status, known bool) {
	if refusal, ok := errors.AsType[*domain.Refusal](err); ok {
		return refused(refusal), true
	}
	for _, row := range errorTable {
		if errors.Is(err, row.kind) {
			return row.status(err), true
		}
	}
	if faults := finding.FaultsOf(err); faults != nil {
		return invalid(faults), true
	}
	// grpc makes statuses itself, when a stream breaks for example.
	if s, ok := status.FromError(err); ok {
		return s, s.Code() != codes.Unknown && s.Code() != codes.Internal
	}
	return newStatus(codes.Internal, internalMessage, &errdetails.ErrorInfo{Reason: ReasonInternal}, nil), false
}

// status uses the sentence that the error was given for the caller; what it wraps besides may hold internals.
func (row errorRow) status(err error) *status.Status {
	info := &errdetails.ErrorInfo{Reason: row.reason, Metadata: map[string]string{}}
	message := row.text
	if named, ok := errors.AsType[*domain.Error](err); ok && message == "" {
		message = named.Error()
		if named.Subject != "" {
			info.Metadata[MetadataSubject] = named.Subject
		}
	}
	if message == "" {
		message = row.kind.Error()
	}
	return newStatus(row.code, message, info, violations(finding.FaultsOf(err)))
}

// invalid names every field at fault, as far as the details reach.
func invalid(faults finding.Faults) *status.Status {
	message := faults[0].String()
	if more := len(faults) - 1; more > 0 {
		message += fmt.Sprintf("; and %d more", more)
	}
	info := &errdetails.ErrorInfo{
		Reason: ReasonInvalidField, Metadata: map[string]string{MetadataTotalCount: strconv.Itoa(len(faults))},
	}
	return newStatus(codes.InvalidArgument, message, info, violations(faults))
}

// violations packs faults into one detail, leaving out those at the end that have no room.
func violations(faults finding.Faults) []proto.Message {
	if len(faults) == 0 {
		return nil
	}
	request := &errdetails.BadRequest{}
	for _, fault := range faults {
		description := fault.Message
		if fault.Cure != "" {
			description += ": " + fault.Cure
		}
		request.FieldViolations = append(request.FieldViolations, &errdetails.BadRequest_FieldViolation{
			Field: fault.Field, Description: shorten(description, mostMessageBytes),
		})
		if proto.Size(request) > mostStatusBytes-2*mostMessageBytes {
			request.FieldViolations = request.FieldViolations[:len(request.FieldViolations)-1]
			break
		}
	}
	return []proto.Message{request}
}

// refused carries the findings, worst first, as far as the details reach; all of them come with validate_only.
func refused(refusal *domain.Refusal) *status.Status {
	info := &errdetails.ErrorInfo{Reason: ReasonBookingRefused, Metadata: map[string]string{
		MetadataTotalCount: strconv.Itoa(len(refusal.Findings)),
	}}
	if len(refusal.Unacknowledged) > 0 {
		info.Metadata[MetadataUnacknowledged] = strings.Join(refusal.Unacknowledged, ",")
	}
	details := make([]proto.Message, 0, len(refusal.Findings))
	for _, f := range refusal.Findings {
		details = append(details, convert.FindingToProto(f))
	}
	return newStatus(codes.FailedPrecondition, refusal.Error(), info, details)
}

// newStatus is the only place where a status is made. Details that have no room are left out from the end.
func newStatus(code codes.Code, message string, info *errdetails.ErrorInfo, details []proto.Message) *status.Status {
	info.Domain = ErrorDomain
	made := status.New(code, shorten(message, mostMessageBytes))
	for _, detail := range append([]proto.Message{info}, details...) {
		more, err := made.WithDetails(protoadapt.MessageV1Of(detail))
		if err != nil || proto.Size(more.Proto()) > mostStatusBytes {
			break
		}
		made = more
	}
	return made
}

// shorten cuts a text to at most so many bytes, between characters.
func shorten(text string, most int) string {
	if len(text) <= most {
		return text
	}
	const ellipsis = "…"
	return strings.ToValidUTF8(text[:most-len(ellipsis)], "") + ellipsis
}

// codeOf is the code that a caller sees for an error.
func codeOf(err error) codes.Code { return status.Code(err) }
