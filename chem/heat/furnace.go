// Package heat computes what a heat program does on a real furnace: how long each segment takes, how long the chamber
// cools, the temperature over time, the power and the energy. Temperatures are degrees Celsius, times minutes, powers
// kilowatts, energies kilowatt hours, as the names say. It finds a furnace's constants from measured times or from a log, and
// turns a thermocouple's voltage into its temperature. It knows nothing of chemistry, rooms or bookings: what a charge takes
// it is told.
//
// A furnace is one lump of heat, and two where its cooling was measured well enough (TwoLumps). Left out: the charge's own
// lag, heat that goes out with gas or through an open door, and a loss that grows faster than the temperature.
package heat

// Atmosphere is what surrounds the charge while it fires.
type Atmosphere string

const (
	Oxidising Atmosphere = "oxidising"
	Neutral   Atmosphere = "neutral"
	Reducing  Atmosphere = "reducing"
)

// Source is where a furnace's heat comes from.
type Source string

const (
	Electric Source = "electric"
	Gas      Source = "gas"
	// Bench is no heat at all: a station such as a mortar or a dust hood, booked like a furnace.
	Bench Source = "bench"
)

// Control is how a furnace follows a heat program.
type Control string

const (
	Programmed Control = "programmed"
	SetPoint   Control = "set_point"
	ByHand     Control = "by_hand"
)

// Timing is one measured stretch of heating at full power, or of cooling closed.
type Timing struct {
	FromCelsius float64 `json:"from_celsius"`
	ToCelsius   float64 `json:"to_celsius"`
	Minutes     float64 `json:"minutes"`
}

// Capture is the share of what a charge gives off that the furnace's branch draws away, each in [0, 1].
type Capture struct {
	ClosedFraction float64 `json:"closed_fraction"`
	// DoorOpenFraction applies while charging, feeding, opening and drawing.
	DoorOpenFraction float64 `json:"door_open_fraction"`
	// Method is how it was measured: "tracer", "smoke" or "" for not measured.
	Method     string `json:"method"`
	MeasuredOn string `json:"measured_on"` // ISO date, empty when never
}

// InterlockKind is what cuts a furnace's heat when its fan stops.
type InterlockKind string

const (
	NoInterlock    InterlockKind = "none"
	FlowSwitch     InterlockKind = "flow_switch"
	CurrentRelay   InterlockKind = "current_relay"
	PressureSwitch InterlockKind = "pressure_switch"
)

// FanInterlock is what cuts the heat when the fan of the furnace's branch stops.
type FanInterlock struct {
	Kind InterlockKind `json:"kind"` // empty: nobody has said, which counts as none
	// TestedOn is when the fan was last stopped and the heat seen to go off: an ISO date, empty when never.
	TestedOn string `json:"tested_on"`
}

// Fitted reports whether there is one.
func (i FanInterlock) Fitted() bool { return i.Kind != "" && i.Kind != NoInterlock }

// Furnace is any heated chamber that can be booked, with what was measured on it.
type Furnace struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	// Room, Supply and Branch name the room it stands in, the supply it draws on and the extraction branch above it.
	Room           string  `json:"room"`
	Supply         string  `json:"supply"`
	Branch         string  `json:"branch"`
	Source         Source  `json:"source"`
	NetKilowatts   float64 `json:"net_kilowatts"`   // heat into the chamber at full power
	InputKilowatts float64 `json:"input_kilowatts"` // drawn from the supply at full power
	TopCelsius     float64 `json:"top_celsius"`
	ChamberLiters  float64 `json:"chamber_liters"`
	// ChamberWidthMillimeters and ChamberDepthMillimeters are of the floor; 0: not known.
	ChamberWidthMillimeters  float64      `json:"chamber_width_millimeters,omitempty"`
	ChamberDepthMillimeters  float64      `json:"chamber_depth_millimeters,omitempty"`
	ChamberHeightMillimeters float64      `json:"chamber_height_millimeters,omitempty"`
	MaxChargeGrams           float64      `json:"max_charge_grams"` // 0: not stated
	Atmospheres              []Atmosphere `json:"atmospheres"`
	HeatingTimes             []Timing     `json:"heating_times"`
	CoolingTimes             []Timing     `json:"cooling_times"`
	AmbientCelsius           float64      `json:"ambient_celsius"`
	Control                  Control      `json:"control"`
	ToleranceCelsius         float64      `json:"tolerance_celsius"`
	// MaxRateCelsiusPerHour is the fastest ramp its control or lining allows; 0: none stated.
	MaxRateCelsiusPerHour float64 `json:"max_rate_celsius_per_hour"`
	ElementType           string  `json:"element_type"`
	ThermocoupleType      string  `json:"thermocouple_type"`
	OverTemperatureCutOut bool    `json:"over_temperature_cut_out"`
	Capture               Capture `json:"capture"`
	// Excludes lists what may not go in: "sulfur", "chloride", "fluoride", "volatile_metal", "carbon".
	Excludes     []string     `json:"excludes"`
	FanInterlock FanInterlock `json:"fan_interlock,omitzero"`
	// StopSteps are what to do, in order, when it must be stopped.
	StopSteps []string `json:"stop_steps,omitempty"`
	// PricePerHour is what an hour of its use costs in the studio's own currency; 0: nothing is asked.
	PricePerHour float64 `json:"price_per_hour,omitempty"`
	// FlueCarbonMonoxideGramsPerKilowattHour is what a gas furnace's own flame gives off, by atmosphere; unset: none.
	FlueCarbonMonoxideGramsPerKilowattHour map[Atmosphere]float64 `json:"flue_carbon_monoxide_grams_per_kilowatt_hour"`
}
