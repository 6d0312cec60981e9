package domain

import (
	"fmt"
	"slices"
	"time"

	"saggar/chem/air"
	"saggar/chem/heat"
)

// Offer is what a firing offers for the loads of others, with what it is fired by.
type Offer struct {
	// Liters and Grams are for others in all, both above 0.
	Liters float64 `json:"liters"`
	Grams  float64 `json:"grams"`
	// Until is until when one may join, at the latest the firing's start.
	Until       time.Time `json:"until"`
	Departments []string  `json:"departments,omitempty"` // none: all
	// OpenedBy opened it for others, without a run; empty: a run's maker shares theirs.
	OpenedBy         string       `json:"opened_by,omitempty"`
	Program          heat.Program `json:"program"`
	OpenBelowCelsius float64      `json:"open_below_celsius"`
	// ChargeGrams is with how much on board, as ordinary ware, the phases were worked out.
	ChargeGrams float64 `json:"charge_grams"`
	// EnergyKilowattHours is what the supply gives for the whole firing, planned.
	EnergyKilowattHours float64 `json:"energy_kilowatt_hours"`
	// Flame is what comes off besides the loads; Ware what ordinary ware of all that is offered gives off.
	Flame []air.Release `json:"flame,omitempty"`
	Ware  []air.Release `json:"ware,omitempty"`
}

// Ride is what a load is to others in a shared firing.
type Ride struct {
	Liters float64 `json:"liters"`
	// Grams is as how much ordinary ware it counts: its mass, or more where it takes more heat.
	Grams float64 `json:"grams"`
	// Ware says that what others give off settles on it.
	Ware bool `json:"ware,omitempty"`
	// Contents is what of heat.Contents() it gives off.
	Contents []string      `json:"contents,omitempty"`
	Releases []air.Release `json:"releases,omitempty"` // in minutes from the firing's start
}

// Rider is one load in a shared firing, with whose it is.
type Rider struct {
	Ride
	RunID, RunTitle, Stage string
	Department, Maker      string
	State                  LoadState
	Joined                 bool // the firing was not booked for it
}

// FreeLiters is the room that nobody has taken of what is offered; 0 when it is not shared.
func (f Firing) FreeLiters() float64 {
	if f.Offer == nil {
		return 0
	}
	return f.Offer.Liters - f.taken(func(r Ride) float64 { return r.Liters })
}

// FreeGrams is the mass that nobody has taken of what is offered, in g; 0 when it is not shared.
func (f Firing) FreeGrams() float64 {
	if f.Offer == nil {
		return 0
	}
	return f.Offer.Grams - f.taken(func(r Ride) float64 { return r.Grams })
}

func (f Firing) taken(of func(Ride) float64) float64 {
	sum := 0.0
	for _, r := range f.Riders {
		if r.Joined {
			sum += of(r.Ride)
		}
	}
	return sum
}

// rounding is what sums of room and mass may be off by, as a share.
const rounding = 1e-9

// Joinable reports whether others may still join: shared, to be fired, not too late, room and mass left.
func (f Firing) Joinable(now time.Time) bool {
	return f.Offer != nil && f.State == LoadConfirmed && now.Before(f.Offer.Until) && f.FreeLiters() > rounding*f.Offer.Liters &&
		f.FreeGrams() > rounding*f.Offer.Grams
}

// With is the firing with one more load, and with what that gives off.
func (f Firing) With(r Rider) Firing {
	f.Riders = append(slices.Clone(f.Riders), r)
	f.Releases = f.sum()
	return f
}

// Without is the firing after a run has taken its load out, the load now standing in a state that holds no furnace. The firing
// stands on for others that ride in it, and where it was opened for others; else it ends in that state with its load.
func (f Firing) Without(runID string, state LoadState) Firing {
	if !f.State.Occupies() {
		return f
	}
	f.HoldExpireTime = time.Time{}
	if f.Offer == nil {
		f.State = state
		return f
	}
	f.Riders = slices.DeleteFunc(slices.Clone(f.Riders), func(r Rider) bool { return r.RunID == runID })
	if len(f.Riders) == 0 && f.Offer.OpenedBy == "" {
		f.State = state
	}
	f.Releases = f.sum()
	return f
}

// Following is the firing when a load of a run comes to stand in another state: one that is not shared goes with its load.
func (f Firing) Following(runID string, state LoadState) Firing {
	switch {
	case !state.Occupies():
		return f.Without(runID, state)
	case f.Offer == nil:
		f.State, f.HoldExpireTime = state, time.Time{}
	}
	return f
}

// Others are the loads in a shared firing of other runs than one.
func (f Firing) Others(runID string) []Rider {
	return slices.DeleteFunc(slices.Clone(f.Riders), func(r Rider) bool { return r.RunID == runID })
}

// Beside says what rides in the firing with a run's load, a sentence for each load of others.
func (f Firing) Beside(runID string) []string {
	var sentences []string
	for _, r := range f.Others(runID) {
		text := fmt.Sprintf("run %s of %s for %s, stage %s: %.4g l, counted as %.6g g", r.RunID, r.Maker, r.Department, r.Stage, r.Liters, r.Grams)
		if len(r.Contents) > 0 {
			text += ", gives off " + inPlainWords(r.Contents)
		}
		sentences = append(sentences, text)
	}
	return sentences
}

// Filled is a shared firing with the loads that ride in it, and with the sum of what comes off.
func (f Firing) Filled(riders []Rider) Firing {
	f.Riders = riders
	f.Releases = f.sum()
	return f
}

// sum is what comes off a shared firing: the flame's gas, that of every load, and of what nobody has taken that of ordinary
// ware, so that the air which an offer needs is held from the start.
func (f Firing) sum() []air.Release {
	if f.Offer == nil {
		return f.Releases
	}
	all := slices.Clone(f.Offer.Flame)
	for _, r := range f.Riders {
		all = append(all, r.Releases...)
	}
	if free := f.FreeGrams() / f.Offer.Grams; free > rounding && f.FreeLiters() > rounding*f.Offer.Liters {
		for _, r := range f.Offer.Ware {
			r.GramsPerMinute *= free
			all = append(all, r)
		}
	}
	return all
}

// FiringSummary is a shared firing as the change log keeps it.
type FiringSummary struct {
	Furnace     string         `json:"furnace"`
	Title       string         `json:"title"`
	State       LoadState      `json:"state"`
	By          string         `json:"by"` // who attends it
	Start       time.Time      `json:"start"`
	End         time.Time      `json:"end"`
	Liters      float64        `json:"liters,omitempty"` // offered; 0: not shared
	Grams       float64        `json:"grams,omitempty"`
	Until       time.Time      `json:"until,omitzero"`
	Departments []string       `json:"departments,omitempty"`
	OpenedBy    string         `json:"opened_by,omitempty"`
	Riders      []RiderSummary `json:"riders,omitempty"`
	MovedTo     string         `json:"moved_to,omitempty"` // the firing that took its place
}

// RiderSummary is a load of a shared firing as the change log keeps it.
type RiderSummary struct {
	Run   string `json:"run"`
	Stage string `json:"stage"`
	Maker string `json:"maker"`
}

// Summary is what the change log keeps of the firing.
func (f Firing) Summary() FiringSummary {
	s := FiringSummary{Furnace: f.Furnace, Title: f.Title, State: f.State, By: f.AttendedBy, Start: f.Window.Start, End: f.Window.End}
	if f.Offer != nil {
		s.Liters, s.Grams, s.Until, s.OpenedBy = f.Offer.Liters, f.Offer.Grams, f.Offer.Until, f.Offer.OpenedBy
		s.Departments = slices.Clone(f.Offer.Departments)
	}
	for _, r := range f.Riders {
		s.Riders = append(s.Riders, RiderSummary{Run: r.RunID, Stage: r.Stage, Maker: r.Maker})
	}
	return s
}
