package domain

import (
	"cmp"
	"errors"
	"fmt"
	"strings"

	"saggar/chem/finding"
)

// Errors that a caller can act on. Everything else is internal.
var (
	// ErrNotFound: there is no such thing, or the caller may not see it.
	ErrNotFound = errors.New("not found")
	// ErrAlreadyExists: the id is taken.
	ErrAlreadyExists = errors.New("already exists")
	// ErrChangedMeanwhile: the etag is not the present one, or what the decision rested on changed.
	ErrChangedMeanwhile = errors.New("changed meanwhile")
	// ErrRequestReused: the request id was used for another body.
	ErrRequestReused = errors.New("request id was used for another request")
	// ErrWrongState: the thing's state does not allow it.
	ErrWrongState = errors.New("wrong state")
	// ErrUnavailable: the database is away.
	ErrUnavailable = errors.New("database is away")
	// ErrIssuerAway: the issuer of tokens cannot be asked for its keys.
	ErrIssuerAway = errors.New("issuer of tokens is away")
	// ErrUnauthenticated: no valid key.
	ErrUnauthenticated = errors.New("no valid key")
	// ErrForbidden: the caller's role does not allow it.
	ErrForbidden = errors.New("not allowed")
	// ErrTooMany: more calls than are let in.
	ErrTooMany = errors.New("too many calls")
	// ErrStopping: the server stops; another one, or this one later, goes on.
	ErrStopping = errors.New("server stops")
	// ErrOutOfRange: a position in the log lies beyond its end, or before what is kept.
	ErrOutOfRange = errors.New("out of range")
	// ErrFurnaceTaken: another firing occupies the furnace at that time.
	ErrFurnaceTaken = errors.New("furnace is taken at that time")
	// ErrHeld: another run has the vessel or the gear at that time.
	ErrHeld = errors.New("vessel or gear is taken at that time")
	// ErrLotDrawn: somebody drew on a lot, or described it anew, so that it does not hold what was asked of it as it was seen.
	ErrLotDrawn = errors.New("lot does not hold that")
)

// Error wraps one of the errors above with a sentence for the caller and a cure.
type Error struct {
	Kind    error
	Subject string // the resource's name
	Message string
	Cure    string
}

// Error returns the sentence with its cure.
func (e *Error) Error() string {
	if e.Cure == "" {
		return e.Message
	}
	return e.Message + ": " + e.Cure
}

// Unwrap returns the kind.
func (e *Error) Unwrap() error { return e.Kind }

// NotFound says that a resource does not stand; the name is within its studio, for example "runs/blue-7".
func NotFound(name string) error {
	return &Error{Kind: ErrNotFound, Subject: name, Message: "there is no " + InWords(name)}
}

// words are what people call one resource of a collection.
var words = map[string]string{
	"studios": "studio", "rooms": "room", "extractionCircuits": "extraction circuit", "supplies": "supply", "furnaces": "furnace",
	"staffedHours": "set of staffed hours for room", "closures": "closure", "materials": "material", "recipes": "recipe",
	"vessels": "vessel", "gear": "gear",
	"departments": "department", "people": "person", "accessKeys": "key", "runs": "run", "firings": "firing", "versions": "version",
	"lots": "lot", "loads": "stage", "feeds": "feed", "mailChoices": "choice of letters of", "timeRequests": "request for time", "readings": "reading",
	"clearanceRules": "clearance rule", "allotments": "allotment", "taughtHours": "set of taught hours", "bookingLimits": "booking limit",
}

// InWords turns "recipes/blue/versions/9" into "version 9 of recipe blue".
func InWords(name string) string {
	parts := strings.Split(name, "/")
	text := ""
	for i := 0; i+1 < len(parts); i += 2 {
		one := cmp.Or(words[parts[i]], parts[i]) + " " + parts[i+1]
		if text != "" {
			one += " of " + text
		}
		text = one
	}
	return cmp.Or(text, name)
}

// Refusal is what a booking gets when a finding blocks it or a warning is not acknowledged.
type Refusal struct {
	// Findings are all of them, worst first.
	Findings []finding.Finding
	// Unacknowledged are the codes of warnings that the caller must name to go on; empty when something blocks.
	Unacknowledged []string
}

// Error summarises the refusal.
func (r *Refusal) Error() string {
	blocks := 0
	for _, f := range r.Findings {
		if f.Severity == finding.Block {
			blocks++
		}
	}
	switch {
	case blocks == 1:
		return "refused: one finding blocks it"
	case blocks > 1:
		return fmt.Sprintf("refused: %d findings block it", blocks)
	default:
		return "not booked: warnings must be acknowledged first"
	}
}
