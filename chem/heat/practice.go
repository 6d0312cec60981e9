package heat

// Caution goes with every length, temperature and energy that this package gives.
const Caution = "Planning estimate from stated assumptions and the furnace's own measured times; it replaces no thermocouple " +
	"reading, no maker's instruction and no person who answers for the furnace."

// The habits of the trade below have no source: common practice. Each is the cautious end of what is usual.
const (
	// DefaultAmbientCelsius stands in where a furnace states no ambient temperature (0).
	DefaultAmbientCelsius = 20
	// DefaultOpenBelowCelsius is how cold a charge must be before the furnace is opened, where the stage states nothing.
	DefaultOpenBelowCelsius = 100
	// ColdChargeCelsius is the charging temperature up to which a stage counts as charged cold.
	ColdChargeCelsius = 50
	// HandOverCelsius is the most that a furnace may be left at; left hotter, it cools on before the next firing.
	HandOverCelsius = 300
	// DefaultColdBelowCelsius is where the lining begins to rule the cooling, so that one lump fitted hot is too quick.
	DefaultColdBelowCelsius = 300
	// DefaultColdFactor is how much longer cooling takes there than the one lump says.
	DefaultColdFactor = 1.3
	// OpenCoolingShare is the length of cooling with the door open as a share of that closed, while the charge is hot.
	OpenCoolingShare = 0.7
	// FinalMarginShare is how far above the top temperature a furnace with one measured heating time is taken to settle,
	// as a share of its rise over ambient. A small margin makes it slow near the top.
	FinalMarginShare = 0.1
	// DefaultChargeMinutes and DefaultDrawMinutes are the lengths of charging and drawing where nothing is stated.
	DefaultChargeMinutes = 20
	DefaultDrawMinutes   = 20
	// DefaultClearCelsius and DefaultClearMinutes are the empty oxidising burn-off after a dirty firing.
	DefaultClearCelsius = 900
	DefaultClearMinutes = 60
	// CarbonMonoxideBurnsAboveCelsius is the chamber temperature below which carbon monoxide may collect unburnt.
	CarbonMonoxideBurnsAboveCelsius = 650
	// MostChargeMultiple is how many times as long a ramp may take with its charge as without, or as asked; a ramp slower
	// than that, and by MostChargeDelayMinutes, is no longer the program that was meant.
	MostChargeMultiple     = 3
	MostChargeDelayMinutes = 60
	// WarnChargeDelayMinutes is from which delay on a charge that holds up an asked ramp is warned of, not only noted.
	WarnChargeDelayMinutes = 15
	// WarnExothermCelsius is from how far beyond the program on a charge that gives off heat is warned of.
	WarnExothermCelsius = 50
	// SulfurChargePeople is how many people charge a batch with sulfur into a hot furnace.
	SulfurChargePeople = 2
)

// practiceSource is the source of a finding that rests on a habit of the trade.
const practiceSource = "common practice, no source"

// Limits of what is taken as input; beyond them a number is a slip of the pen.
const (
	maxCelsius               = 2000.0
	minCelsius               = -40.0
	maxAmbientCelsius        = 60.0
	maxRateCelsiusPerHour    = 20000.0
	maxStretchMinutes        = 14 * 24 * 60.0
	maxProgramMinutes        = 60 * 24 * 60.0
	maxSegments              = 100
	maxKilowatts             = 10000.0
	maxKilojoules            = 1e9
	maxUptakes               = 500 // points of what a charge takes
	minAboveAmbientCelsius   = 5.0 // cooling gets ever slower towards ambient
	maxFinalRatio            = 3.0 // most rise at full power, over the rise to the top temperature
	profileToleranceCelsius  = 1.0 // most error of the profile's straight lines
	roundingToleranceMinutes = 1e-6
	mostMisfitShare          = 0.3 // of what the fit gives; a measured heating time further off is a slip of the pen
	mostMisfitMinutes        = 5.0 // and as long as that, so that a short stretch read off a clock passes
)
