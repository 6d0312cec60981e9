package domain

import (
	"strings"
	"time"
)

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

// Caller is who asks for something, and what they may do where they ask for it.
type Caller struct {
	ID   string
	Role Role
}

// Membership is somebody's part in one studio.
type Membership struct {
	StudioID string
	PersonID string
	Role     Role
}

// Identity is who a key or token stands for, before it is known what they ask for.
type Identity struct {
	// ID is the person or program; of a token the subject's.
	ID string
	// KeyID is the key that was used; empty for a token.
	KeyID string
	// Subject is how the issuer of a token knows them; empty for a key. Two people of two studios may share an id, never this.
	Subject string
	// ServerRole holds in every studio and for the server as a whole; RoleNone for who belongs to studios only.
	ServerRole Role
	// Memberships are in studios that stand, each once.
	Memberships []Membership
	// MustExchange says that the key opens nothing but its exchange.
	MustExchange bool
}

// In is who they are in a studio; an empty id means the server as a whole. Whoever has no part in it has RoleNone, whether
// the studio stands or not.
func (i Identity) In(studioID string) Caller {
	caller := Caller{ID: i.ID, Role: i.ServerRole}
	for _, m := range i.Memberships {
		if m.StudioID == studioID && m.Role > caller.Role {
			caller = Caller{ID: m.PersonID, Role: m.Role}
		}
	}
	return caller
}

// Anywhere is who they are where they may most, for what belongs to no studio.
func (i Identity) Anywhere() Caller {
	caller := Caller{ID: i.ID, Role: i.ServerRole}
	for _, m := range i.Memberships {
		caller.Role = max(caller.Role, m.Role)
	}
	return caller
}

// AccessKey is a key as stored: only the SHA-256 of its secret. A time that is zero is not set.
type AccessKey struct {
	ID      string
	Ordinal int64 // the database's, in the order in which keys were made
	// StudioKey and StudioID are the studio that it opens; zero and empty: every one.
	StudioKey    int64
	StudioID     string
	SecretSHA256 [32]byte
	// Caller is for whom it was made, with the most that it opens.
	Caller Caller
	// PersonRole is what the person may do in the studio as it was read; RoleNone when they belong to it no more.
	PersonRole Role
	Label      string
	// OneTime keys open nothing but their exchange.
	OneTime     bool
	CreateTime  time.Time
	ExpireTime  time.Time
	RevokeTime  time.Time
	LastUseTime time.Time
}

// Stands reports whether the key opens anything at an instant: it does until it expires or is revoked.
func (k AccessKey) Stands(at time.Time) bool {
	return k.RevokeTime.IsZero() && (k.ExpireTime.IsZero() || at.Before(k.ExpireTime))
}

// Name is the key's name within the server.
func (k AccessKey) Name() string { return AccessKeyName(k.StudioID, k.ID) }

// AccessKeyName is `studios/{studio}/accessKeys/{id}`, or `accessKeys/{id}` for a key that opens every studio.
func AccessKeyName(studioID, id string) string {
	name := "accessKeys/" + id
	if studioID != "" {
		name = strings.Join([]string{"studios", studioID, name}, "/")
	}
	return name
}

// Identity is who the key stands for. One of a studio opens no more than its person may there.
func (k AccessKey) Identity() Identity {
	i := Identity{ID: k.Caller.ID, KeyID: k.ID, MustExchange: k.OneTime}
	if k.StudioID == "" {
		i.ServerRole = k.Caller.Role
	} else {
		i.Memberships = []Membership{{StudioID: k.StudioID, PersonID: k.Caller.ID, Role: min(k.Caller.Role, k.PersonRole)}}
	}
	return i
}

// Remembered is the trace of a request id: what it did, so that a repeat does nothing.
type Remembered struct {
	Caller     string
	RequestID  string
	Method     string
	BodySHA256 [32]byte
	Resources  []string // ids of what was made or changed
}
