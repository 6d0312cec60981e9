package domain

import "time"

// Role is what a caller may do. Each may do what the ones before it may.
type Role int

// The roles, from least to most.
const (
	RoleNone Role = iota
	RoleViewer
	RoleMaker
	RoleTechnician
	RoleSteward
)

// Caller is who a key stands for.
type Caller struct {
	ID   string
	Role Role
}

// AccessKey is a key as stored: only the SHA-256 of its secret.
type AccessKey struct {
	SecretSHA256 [32]byte
	Caller       Caller
	CreateTime   time.Time
}

// Change is one entry of the append-only log: what was changed, by whom, when, before and after. Revision has no gaps
// within a studio and is in commit order.
type Change struct {
	Revision  int64
	Time      time.Time
	Caller    string
	RequestID string
	Method    string // the RPC's name
	Subject   string // the resource's name
	Before    any    // encoded as JSON; nil when there was nothing
	After     any
}

// Remembered is the trace of a request id: what it did, so that a repeat does nothing.
type Remembered struct {
	Caller     string
	RequestID  string
	Method     string
	BodySHA256 [32]byte
	Resources  []string // ids of what was made or changed
}
