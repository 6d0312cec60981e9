package app

import (
	"time"

	"saggar/chem/finding"
	"saggar/server/domain"
)

// PlanWish says what a plan makes least before the ends of its runs.
type PlanWish string

// The wishes.
const (
	WishEarliest     PlanWish = "earliest"
	WishFewestVisits PlanWish = "fewest-visits"
	WishLeastEnergy  PlanWish = "least-energy"
	// WishLeastChange stays near the windows given with the runs, or else those in which they stand.
	WishLeastChange PlanWish = "least-change"
)

// PlanInput asks for windows for all stages of runs at once.
type PlanInput struct {
	StudioID string
	Runs     []RunRequest // their windows count only for WishLeastChange
	Maker    string       // who would book them
	// Role is what the maker may do in the studio; RoleNone: whatever a technician may.
	Role   domain.Role
	Window domain.Window
	Wish   PlanWish
	Limits []domain.PlanLimits // none, one for all runs, or one for each
	// SearchTime is how long to search when something may be better still; 0: defaultSearchTime.
	SearchTime   time.Duration
	Alternatives int // how many different plans to offer beside the first; only for one run
	// overruns are counted as having happened.
	overruns []Overrun
	// notEarlier: nothing moves to before where it stands, since a maker may learn of it too late.
	notEarlier bool
}

// PlanStatus is how good an answer is.
type PlanStatus string

// The statuses of an answer.
const (
	PlanOptimal    PlanStatus = "optimal"
	PlanFeasible   PlanStatus = "feasible"
	PlanInfeasible PlanStatus = "infeasible"
	PlanSearching  PlanStatus = "searching"  // the search goes on
	PlanUnresolved PlanStatus = "unresolved" // the time ended before anything was found that can be booked
)

// PlanReason says why a stage does not start earlier, or why nothing fits.
type PlanReason struct {
	Run     int    // index of the run; 0 when it is about the whole
	Label   string // of the run, where there are several; empty when it is about the whole
	Stage   string // id; empty when it is about the whole
	Code    string // as the contract lists them
	About   string
	Message string
}

// PlanProgress is how far a search has come.
type PlanProgress struct {
	Objectives []PlanObjective
	Elapsed    time.Duration
	WaitingFor int // how many plans of others come before this one is begun
	AirRounds  int // how often the air sent the search back
}

// PlanObjective is a sum that is made least, and what is proven of it.
type PlanObjective struct {
	Code, Unit   string // as the contract lists them
	Value, Bound float64
	Gap          float64 // how far the value may be from the least, as a share of it
}

// PlanAlternative is another plan for a run, that differs in more than times.
type PlanAlternative struct {
	Run           RunRequest
	Summary       string
	End           time.Time
	VisitDays     int
	KilowattHours float64
	Findings      []finding.Finding
}

// PlanAnswer is one answer of PlanRuns.
type PlanAnswer struct {
	Status        PlanStatus
	Runs          []RunRequest // with windows that BookRun takes as they are; none when nothing was found
	Reasons       []PlanReason
	Blames        []PlanReason
	BlamesMinimal bool
	Findings      []finding.Finding
	Assumptions   []string
	Revision      int64
	Moving        bool // the runs stand already
	End           time.Time
	Progress      PlanProgress
	Alternatives  []PlanAlternative
	VisitDays     int     // days on which somebody must come
	KilowattHours float64 // what the supplies give for the firings
}
