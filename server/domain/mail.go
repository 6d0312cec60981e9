package domain

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/mail"
	"time"

	"saggar/chem/finding"
)

// MailPace is how often somebody is written to.
type MailPace string

// The paces.
const (
	MailNone   MailPace = "none"
	MailAtOnce MailPace = "at_once"
	MailHourly MailPace = "hourly"
	MailDaily  MailPace = "daily"
)

// mailHour is when those who are written to once a day are, in the studio's time.
const mailHour = 7

// leastBetweenMails keeps those who are written to at once from a flood.
const leastBetweenMails = time.Minute

// MailChoice is where and how often somebody of a studio is written to, and how far they were.
type MailChoice struct {
	PersonID string
	Email    string // empty: they are not
	Pace     MailPace
	Revision int64 // at which it last changed; the etag
	// ToldRevision is up to where everything was told, or is nothing to them.
	ToldRevision int64
	NextTime     time.Time
	Attempts     int    // at the present letter, begun ones too
	Failure      string // of the last attempt; empty: it did not fail
	SentTime     time.Time
	DroppedTime  time.Time
}

// Check returns what is wrong with an address.
func (m MailChoice) Check() finding.Faults {
	if m.Email == "" {
		return nil
	}
	if parsed, err := mail.ParseAddress(m.Email); err != nil || parsed.Name != "" || parsed.Address != m.Email {
		return finding.Faults{{Field: "email", Message: fmt.Sprintf("%q is no address", m.Email), Cure: "give one such as ada@example.edu"}}
	}
	return nil
}

// Next is when somebody with the pace is next looked after, after an instant. Once a day means 07:00 in the studio's time; an
// hour that the clock skips gives the one after it.
func (p MailPace) Next(after time.Time, zone *time.Location) time.Time {
	switch p {
	case MailHourly:
		return after.UTC().Truncate(time.Hour).Add(time.Hour)
	case MailDaily:
		local := after.In(zone)
		next := time.Date(local.Year(), local.Month(), local.Day(), mailHour, 0, 0, 0, zone)
		if !next.After(after) {
			next = time.Date(local.Year(), local.Month(), local.Day()+1, mailHour, 0, 0, 0, zone)
		}
		return next.UTC()
	default:
		return after.UTC().Add(leastBetweenMails)
	}
}

// MailClaim is one person's turn to be written to, which one server has for a while.
type MailClaim struct {
	StudioID  string
	StudioKey int64
	Choice    MailChoice
	// Until is the last revision that the letter tells of; it stays for as long as the letter is tried.
	Until int64
}

// Letter is one message to one person.
type Letter struct {
	// ID is the same for the same changes told to the same person, so that a letter that was sent twice is known for one.
	ID      string
	To      string
	Subject string
	Body    string
	Time    time.Time
}

// LetterRefused says that a letter will never be taken, so that it is not tried again.
type LetterRefused struct{ Cause error }

// Error says so, and why.
func (r LetterRefused) Error() string { return "refused for good: " + r.Cause.Error() }

// Unwrap returns why.
func (r LetterRefused) Unwrap() error { return r.Cause }

// LetterID is 32 hexadecimal digits of the SHA-256 over studio, person and revisions.
func (c MailClaim) LetterID() string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s/%s/%d/%d/%d", c.StudioID, c.Choice.PersonID, c.Choice.Revision, c.Choice.ToldRevision, c.Until))
	return hex.EncodeToString(sum[:16])
}
