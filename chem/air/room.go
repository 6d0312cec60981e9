// Package air predicts the concentration of each gas in a room over time and holds it against published limits.
// Times are minutes, volumes cubic metres, flows cubic metres per second, concentrations ppm by volume or mg/m3 at
// 25 C and 1 atm, as the names say. Every figure is a planning estimate; see Caution.
package air

// Transfer is air that a room gives to another, carrying its gas.
type Transfer struct {
	ToRoom               string  `json:"to_room"`
	CubicMetersPerSecond float64 `json:"cubic_meters_per_second"`
}

// Detector is a gas alarm in a room with its last function test.
type Detector struct {
	Species  string `json:"species"`
	TestedOn string `json:"tested_on"` // ISO date, empty when never
}

// Room is a well-mixed volume of air that people and furnaces share.
type Room struct {
	ID                         string  `json:"id"`
	Title                      string  `json:"title"`
	VolumeCubicMeters          float64 `json:"volume_cubic_meters"`
	MakeUpCubicMetersPerSecond float64 `json:"make_up_cubic_meters_per_second"`
	// MixingFactor is K, at least 1: the share 1/K of the flow counts as fresh air. Default 3 (common practice, no source).
	MixingFactor float64    `json:"mixing_factor"`
	Transfers    []Transfer `json:"transfers"`
	Detectors    []Detector `json:"detectors"`
	// CrewCount is how many people can be in the room at once to charge, watch and draw.
	CrewCount int `json:"crew_count"`
	// EmergencyContact is whom to call when something goes wrong there; empty: not stated.
	EmergencyContact string `json:"emergency_contact,omitempty"`
}

// Branch is one inlet of an extraction circuit; it draws from a room, or from a furnace standing in that room.
type Branch struct {
	ID                   string  `json:"id"`
	Room                 string  `json:"room"`
	CubicMetersPerSecond float64 `json:"cubic_meters_per_second"` // measured
	DamperPosition       string  `json:"damper_position"`
	MeasuredOn           string  `json:"measured_on"` // ISO date, empty when never
	Method               string  `json:"method"`
}

// Circuit is a fan and its branches.
type Circuit struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	// Recirculating circuits give the air back to the room and count as no flow.
	Recirculating bool     `json:"recirculating"`
	Branches      []Branch `json:"branches"`
}

// Release is gas given off at a constant rate over [StartMinute, EndMinute).
type Release struct {
	Species        string  `json:"species"` // formula as in the limits table: "SO2", "CO", "H2SO4"
	StartMinute    float64 `json:"start_minute"`
	EndMinute      float64 `json:"end_minute"`
	GramsPerMinute float64 `json:"grams_per_minute"`
}
