package heat

// Cooling is how a furnace loses its heat after the last segment.
type Cooling string

const (
	CoolClosed Cooling = "closed"
	CoolOpen   Cooling = "open"
	SetDown    Cooling = "set_down" // the vessel is lifted out and cools outside
)

// Segment is one step of a heat program: to a temperature, then a hold.
type Segment struct {
	ToCelsius float64 `json:"to_celsius"`
	// RateCelsiusPerHour is the asked rate, always positive; 0 means at full power (or natural cooling downwards).
	RateCelsiusPerHour float64 `json:"rate_celsius_per_hour"`
	HoldMinutes        float64 `json:"hold_minutes"`
}

// Program is an ordered list of segments and the way it cools afterwards.
type Program struct {
	Segments []Segment `json:"segments"`
	Cooling  Cooling   `json:"cooling"`
}

// Watch is what a phase needs of a person.
type Watch string

const (
	WatchNone Watch = "none"
	InReach   Watch = "in_reach"
	InRoom    Watch = "in_room"
)

// PhaseKind names a part of a firing, in the order in which they come.
type PhaseKind string

const (
	Warm   PhaseKind = "warm"
	Charge PhaseKind = "charge"
	Fire   PhaseKind = "fire"
	Feed   PhaseKind = "feed"
	Cool   PhaseKind = "cool"
	Open   PhaseKind = "open"
	Wait   PhaseKind = "wait"
	Draw   PhaseKind = "draw"
	Clear  PhaseKind = "clear"
	Work   PhaseKind = "work" // bench work
)

// DoorOpen reports whether the furnace stands open in such a phase, so that gas spills past its capture.
func (k PhaseKind) DoorOpen() bool { return k == Charge || k == Feed || k == Open || k == Draw }

// Phase is one part of a firing with its length in whole minutes and what it needs while it lasts.
type Phase struct {
	Kind    PhaseKind `json:"kind"`
	Minutes int       `json:"minutes"`
	// MaxMinutes is above Minutes only for an elastic phase (wait).
	MaxMinutes  int     `json:"max_minutes"`
	Watch       Watch   `json:"watch"`
	PeopleCount int     `json:"people_count"` // people that the watch needs at once
	Kilowatts   float64 `json:"kilowatts"`    // peak drawn from the supply
}

// Point is a temperature at a time since the firing's first segment began; between points it is linear.
type Point struct {
	Minute  float64 `json:"minute"`
	Celsius float64 `json:"celsius"`
}
