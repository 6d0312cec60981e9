package app

import (
	"time"

	"saggar/chem"
	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/server/domain"
)

// LoadStudioInput is everything that a studio's files describe. Studio is nil when only parts are loaded.
type LoadStudioInput struct {
	StudioID  string
	Studio    *domain.Studio
	Equipment []domain.Equipment
	Materials []chem.Material
	Recipes   []chem.Recipe
	Rules     []domain.BookingRule
}

// LoadStudioResult is the studio after a load, and how many resources the load touched.
type LoadStudioResult struct {
	Studio                                     domain.Studio
	CreatedCount, UpdatedCount, UnchangedCount int
}

// CheckRecipeInput is a recipe to be worked out, and how much of it.
type CheckRecipeInput struct {
	StudioID string
	Recipe   chem.Recipe
	Scale    chem.Scale
	Start    *chem.Start // nil: from its own additions
}

// RunRequest is a run as asked for.
type RunRequest struct {
	ID            string // empty: given by the server
	Title         string // empty: the recipe's
	RecipeID      string
	RecipeVersion int // 0: the newest
	Scale         chem.Scale
	Department    string
	StartStage    string        // empty: the first
	FromLot       string        // id of the lot that it starts from; empty: from its own additions
	Draws         []DrawRequest // which lots its additions come from
	Windows       []domain.StageWindow
	Limits        domain.PlanLimits // kept with the run
}

// DrawRequest says that an addition comes from a lot.
type DrawRequest struct {
	Lot      string
	Material string // empty: the lot's own
	Stage    string // empty: every one that puts the material in
}

// BookRunInput is what is to be booked together, all or none.
type BookRunInput struct {
	StudioID     string
	Runs         []RunRequest
	Acknowledged []string // codes of warnings that the caller accepts
	Revision     int64    // at which the windows were planned; 0: not known
}

// BookRunResult is what was booked, or would be.
type BookRunResult struct {
	Runs        []domain.Run
	Findings    []finding.Finding
	Revision    int64
	Assumptions []string
	// Assessments are what each run does, in the order of Runs, with the air of its rooms as they are with everyone else's
	// firings. Their findings and assumptions stand above; a repeated request has none.
	Assessments []assess.Assessment
	// Days are what the people breathe who attend the runs' firings; a repeated request has none.
	Days []PersonDay
}

// OpeningsQuery asks when furnaces stand free.
type OpeningsQuery struct {
	StudioID       string
	Window         domain.Window
	FurnaceIDs     []string // none: all
	MinimumMinutes int
	For            string // whose time it would be; what is held for others is not free
}

// Opening is a stretch of time in which a furnace stands free.
type Opening struct {
	Furnace        string
	Window         domain.Window
	StaffedMinutes int
}

// RunMove is a run and where it goes.
type RunMove struct {
	RunID          string
	Windows        []domain.StageWindow
	ExpectRevision int64 // the etag; 0: any
}

// FiringMove is a shared firing that moves with all that rides in it.
type FiringMove struct {
	FiringID       string
	Start          time.Time
	ExpectRevision int64 // the etag; 0: any
}

// Overrun is a firing that holds its furnace longer than booked.
type Overrun struct {
	FiringID string
	End      time.Time // when its furnace is free again
}

// MoveRunsInput is what moves together, all or none, and what overran.
type MoveRunsInput struct {
	StudioID     string
	Moves        []RunMove
	Overruns     []Overrun
	Firings      []FiringMove
	Acknowledged []string
	Revision     int64 // at which the windows were planned; 0: not known
}
