package domain

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"saggar/chem/finding"
)

// TimeRequestState is where a request for time stands.
type TimeRequestState string

// The states of a request for time. The last three are ends.
const (
	TimeWaiting   TimeRequestState = "WAITING"
	TimeOffered   TimeRequestState = "OFFERED"   // time is held for whoever asked
	TimeTaken     TimeRequestState = "TAKEN"     // they booked it
	TimeWithdrawn TimeRequestState = "WITHDRAWN" // they ask for it no more
	TimePassed    TimeRequestState = "PASSED"    // its window was over before enough fell free
)

// TimeRequest is somebody's wish for furnace time that may fall free: any of some furnaces, between two instants, for at least
// so long.
type TimeRequest struct {
	AskedRevision int64    `json:"-"` // at which it was asked: its id, and its place in the order
	Asker         string   `json:"caller"`
	AskerRole     Role     `json:"role"` // when they asked, for limits that are by role
	Department    string   `json:"department"`
	Furnaces      []string `json:"furnaces"` // ids; any of them will do
	Window        Window   `json:"window"`
	LeastMinutes  int      `json:"least_minutes"`
	Note          string   `json:"note,omitempty"`
	// State is as it was written down; AsOf says where it stands.
	State TimeRequestState `json:"state"`
	// Offer is the time that is held for it, or nil.
	Offer *TimeOffer `json:"offer,omitempty"`
	// LetGo is time that it was offered before; it is not offered again.
	LetGo      []FurnaceTime `json:"let_go,omitempty"`
	Run        string        `json:"run,omitempty"` // id of the run that took the time
	Revision   int64         `json:"-"`
	CreateTime time.Time     `json:"-"`
}

// FurnaceTime is a stretch of time on a furnace.
type FurnaceTime struct {
	Furnace string `json:"furnace"`
	Window  Window `json:"window"`
}

// TimeOffer is time that fell free and is held for somebody until an instant.
type TimeOffer struct {
	FurnaceTime
	ExpireTime time.Time `json:"expire_time"`
}

// timeRequestPrefix begins every id, since ids begin with a letter.
const timeRequestPrefix = "t"

// ID is the request's id within its studio, for example "t17".
func (r TimeRequest) ID() string { return revisionID(timeRequestPrefix, r.AskedRevision) }

// Name is its name within its studio.
func (r TimeRequest) Name() string { return "timeRequests/" + r.ID() }

// TimeRequestRevision is the revision in an id, or 0, at which nothing was asked.
func TimeRequestRevision(id string) int64 { return revisionIn(timeRequestPrefix, id) }

// revisionID is the id of what is known by the revision at which it came to be.
func revisionID(prefix string, revision int64) string {
	return prefix + strconv.FormatInt(revision, 10)
}

// revisionIn is the revision in such an id, or 0 when it is none.
func revisionIn(prefix, id string) int64 {
	revision, err := strconv.ParseInt(strings.TrimPrefix(id, prefix), 10, 64)
	if err != nil || revisionID(prefix, revision) != id {
		return 0
	}
	return revision
}

// Check returns what is wrong with a request by itself, at the instant when it is made.
func (r TimeRequest) Check(now time.Time) finding.Faults {
	var faults finding.Faults
	switch {
	case !r.Window.Start.Before(r.Window.End):
		faults.Add("end_time", "is not after start_time", "give an end after the start")
	case r.Window.Minutes() < r.LeastMinutes:
		faults.Add("least_minutes", fmt.Sprintf("%d min are more than the %d min between start and end", r.LeastMinutes, r.Window.Minutes()),
			"ask for less, or between instants further apart")
	case !r.reaches(now):
		faults.Add("end_time", "no time that long is left until then", "give a later end")
	}
	for i, id := range r.Furnaces {
		if slices.Contains(r.Furnaces[:i], id) {
			faults.Add(fmt.Sprintf("furnaces[%d]", i), fmt.Sprintf("furnace %q stands twice", id), "name each once")
		}
	}
	return faults
}

// reaches reports whether what is left of the window is long enough.
func (r TimeRequest) reaches(now time.Time) bool {
	return !r.Window.End.Add(-time.Duration(r.LeastMinutes) * time.Minute).Before(now)
}

// Held is the time that is held for it at an instant, or nil: an offer that lapsed holds nothing, written down or not.
func (r TimeRequest) Held(now time.Time) *TimeOffer {
	if r.Offer == nil || lapsed(r.Offer.ExpireTime, now) {
		return nil
	}
	return r.Offer
}

// Lapsed reports whether its offer stood longer than it may.
func (r TimeRequest) Lapsed(now time.Time) bool { return r.Offer != nil && r.Held(now) == nil }

// IsOpen reports whether it waits or is offered something.
func (r TimeRequest) IsOpen() bool { return r.State == TimeWaiting || r.State == TimeOffered }

// AsOf is the request as it stands at an instant, written down or not.
func (r TimeRequest) AsOf(now time.Time) TimeRequest {
	if r.Lapsed(now) {
		r = r.WithoutOffer()
	}
	if r.State == TimeWaiting && !r.reaches(now) {
		r.State = TimePassed
	}
	return r
}

// WithoutOffer is the request after its offer lapsed or was declined: it waits on, for other time.
func (r TimeRequest) WithoutOffer() TimeRequest {
	r.LetGo = append(slices.Clone(r.LetGo), r.Offer.FurnaceTime)
	r.State, r.Offer = TimeWaiting, nil
	return r
}

// Ended is the request in a state that ends it.
func (r TimeRequest) Ended(state TimeRequestState, run string) TimeRequest {
	r.State, r.Run, r.Offer = state, run, nil
	return r
}

// Offered is the request with time held for it from an instant on, for as long as the studio says, and no longer than enough
// of the time is left.
func (r TimeRequest) Offered(free FurnaceTime, now time.Time, minutes int) TimeRequest {
	until := now.Add(time.Duration(minutes) * time.Minute)
	if last := free.Window.End.Add(-time.Duration(r.LeastMinutes) * time.Minute); last.Before(until) {
		until = last
	}
	r.State, r.Offer = TimeOffered, &TimeOffer{FurnaceTime: free, ExpireTime: until}
	return r
}

// Fits is the first stretch of free time on a furnace that the request asks for, is long enough, and was not let go before.
func (r TimeRequest) Fits(free FurnaceTime) (FurnaceTime, bool) {
	if !slices.Contains(r.Furnaces, free.Furnace) || !free.Window.Overlaps(r.Window) {
		return free, false
	}
	var gone []Window
	for _, past := range r.LetGo {
		if past.Furnace == free.Furnace {
			gone = append(gone, past.Window)
		}
	}
	for _, w := range free.Window.Within(r.Window).Without(gone) {
		if w.Minutes() >= r.LeastMinutes {
			return FurnaceTime{free.Furnace, w}, true
		}
	}
	return free, false
}

// Within is the part of a window that lies in another, which it overlaps.
func (w Window) Within(o Window) Window {
	if o.Start.After(w.Start) {
		w.Start = o.Start
	}
	if o.End.Before(w.End) {
		w.End = o.End
	}
	return w
}

// Without is what is left of a window outside of others, in order.
func (w Window) Without(others []Window) []Window {
	var left []Window
	for _, o := range MergeWindows(slices.Clone(others)) {
		if !o.Overlaps(w) {
			continue
		}
		if w.Start.Before(o.Start) {
			left = append(left, Window{w.Start, o.Start})
		}
		w.Start = o.End
	}
	if w.Start.Before(w.End) {
		left = append(left, w)
	}
	return left
}
