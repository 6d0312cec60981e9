package chem

import "saggar/chem/heat"

// StageKind is what a stage does: a heat treatment or bench work.
type StageKind string

const (
	Calcine StageKind = "calcine"
	Reduce  StageKind = "reduce"
	Oxidise StageKind = "oxidise"
	Sinter  StageKind = "sinter"
	Bisque  StageKind = "bisque"
	Glaze   StageKind = "glaze"
	Anneal  StageKind = "anneal"
	Melt    StageKind = "melt"
	BurnOut StageKind = "burn_out"
	Dry     StageKind = "dry"
	Weigh   StageKind = "weigh"
	Mix     StageKind = "mix"
	Grind   StageKind = "grind"
	Pack    StageKind = "pack"
	Wash    StageKind = "wash"
	Label   StageKind = "label"
)

// Lid is how a vessel is closed while it fires.
type Lid string

const (
	OpenLid   Lid = "open"
	LooseLid  Lid = "loose"
	SealedLid Lid = "sealed"
)

// VesselKind is what kind of vessel holds a charge.
type VesselKind string

const (
	Crucible VesselKind = "crucible"
	Saggar   VesselKind = "saggar"
	Tray     VesselKind = "tray"
)

// Vessel is what holds the charge while it fires.
type Vessel struct {
	Kind VesselKind `json:"kind"` // empty: not said
	// TopCelsius is the highest temperature that it takes; 0: not known.
	TopCelsius float64 `json:"top_celsius"`
}

// Addition is something put in at a stage. Exactly one of the two amounts is above zero.
type Addition struct {
	Material string `json:"material"`
	// MassGrams is the mass as weighed (moist, impure), at the recipe's own scale.
	MassGrams float64 `json:"mass_grams"`
	// FractionOfIntermediate is the mass, as weighed, as a fraction of the intermediate at that stage without its free water: of
	// what is weighed there times one less its moisture.
	FractionOfIntermediate float64 `json:"fraction_of_intermediate"`
	// FedHot puts it in while the furnace is hot, in a feed phase, instead of at the charge.
	FedHot bool `json:"fed_hot"`
}

// Stage is one heat treatment or bench work of a recipe.
type Stage struct {
	ID        string        `json:"id"`
	Title     string        `json:"title"`
	Kind      StageKind     `json:"kind"`
	Additions []Addition    `json:"additions"`
	Program   *heat.Program `json:"program"` // nil for bench work
	// BenchMinutes is the length of bench work; 0 for a heat treatment.
	BenchMinutes int             `json:"bench_minutes"`
	Atmosphere   heat.Atmosphere `json:"atmosphere"`
	Lid          Lid             `json:"lid"`
	// Vessel is the zero value where nothing is said of it.
	Vessel Vessel `json:"vessel"`
	// ChargeAtCelsius is the furnace's temperature when charged; 0 or near ambient: charged cold.
	ChargeAtCelsius float64 `json:"charge_at_celsius"`
	// OpenBelowCelsius is how cold the charge must be before the furnace is opened.
	OpenBelowCelsius    float64 `json:"open_below_celsius"`
	BedDepthMillimeters float64 `json:"bed_depth_millimeters"`
	// TampedDensityGramsPerMilliliter is of the packed charge; 0: not known.
	TampedDensityGramsPerMilliliter float64 `json:"tamped_density_grams_per_milliliter"`
	ChargeMinutes                   int     `json:"charge_minutes"` // 0: the studio's default
	DrawMinutes                     int     `json:"draw_minutes"`
	// MaxWaitMinutes is how long the cold load may stand closed until somebody can draw it.
	MaxWaitMinutes int `json:"max_wait_minutes"`
	// FireWatch is what the fire phase needs of a person; empty: decided by furnace and off-gas.
	FireWatch heat.Watch `json:"fire_watch"`
	// Product is the formula of what this stage ideally forms; empty: nothing new is named, all that stays goes on.
	Product string `json:"product"`
	// Furnaces limits the stage to these; empty: every furnace of the studio that can do it.
	Furnaces []string `json:"furnaces"`
	// WareGrams is ordinary ware (pots, glass) fired with the charge, for its own off-gas; 0: none.
	WareGrams float64 `json:"ware_grams"`
	// MaxIntermediateAgeDays is how old an intermediate that this stage starts from may be; 0: the practice's.
	MaxIntermediateAgeDays int `json:"max_intermediate_age_days"`
	// MeasuredReleases were measured in this stage; they stand for what the balance says of their gases, in both cases.
	MeasuredReleases []MeasuredRelease `json:"measured_releases"`
}

// Lag is the least and most time from the draw's end of one stage to the charge's start of a later one.
type Lag struct {
	FromStage  string `json:"from_stage"`
	ToStage    string `json:"to_stage"`
	MinMinutes int    `json:"min_minutes"`
	MaxMinutes int    `json:"max_minutes"` // 0: no most
}

// Recipe is what is put in and done to it, at its own scale. It is immutable once versioned.
type Recipe struct {
	ID      string  `json:"id"`
	Version int     `json:"version"`
	Title   string  `json:"title"`
	Stages  []Stage `json:"stages"`
	Lags    []Lag   `json:"lags"`
}

// Scale says how much of a recipe to make. At most one of the ways is set; none set means the recipe's own masses.
type Scale struct {
	Factor       float64 `json:"factor"`
	ProductGrams float64 `json:"product_grams"`
	// CrucibleCount crucibles of CrucibleMilliliters each, filled to CrucibleFillFraction (0: two thirds) at CrucibleStage.
	CrucibleCount        int     `json:"crucible_count"`
	CrucibleMilliliters  float64 `json:"crucible_milliliters"`
	CrucibleFillFraction float64 `json:"crucible_fill_fraction"`
	CrucibleStage        string  `json:"crucible_stage"` // empty: the stage whose charge fills the most volume
}
