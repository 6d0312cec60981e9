package domain

import (
	"strings"
	"time"
)

// Feed is a calendar under an address of its own. Only the SHA-256 of the secret in the address is kept.
type Feed struct {
	StudioKey    int64
	StudioID     string
	ID           string
	Ordinal      int64 // the database's, in the order in which feeds were made
	SecretSHA256 [32]byte
	Owner        string // who made it
	// Subject is what it shows: people/ID, furnaces/ID or departments/ID.
	Subject      string
	Label        string
	CreateTime   time.Time
	RevokeTime   time.Time // zero: it stands
	LastReadTime time.Time // zero: never
}

// About splits the subject into its collection and id.
func (f Feed) About() (collection, id string) {
	collection, id, _ = strings.Cut(f.Subject, "/")
	return collection, id
}

// Appointment is one load of a run as a calendar shows it.
type Appointment struct {
	RunID, RunTitle, RecipeID string
	Department, Maker         string
	AttendedBy                string // who charges, watches and draws
	Stage                     string
	State                     LoadState
	Window                    Window
	Furnace                   string // id; empty: at the bench, without a station
	Phases                    []FiringPhase
	Firing                    string // id; empty: at the bench, without a station
	// SharedBy attends the shared firing in which it rides; empty: the firing is its own.
	SharedBy      string
	RunCreateTime time.Time
	// Revision and ChangeTime are of the run's last change: a number that rises with each, and when it was.
	Revision   int64
	ChangeTime time.Time
}
