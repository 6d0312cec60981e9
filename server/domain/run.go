package domain

import (
	"slices"
	"time"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/heat"
)

// LoadState is where a load, and the firing that carries it, stands.
type LoadState string

// The states of a load. See Next for the moves between them.
const (
	LoadTentative LoadState = "TENTATIVE"
	LoadConfirmed LoadState = "CONFIRMED"
	LoadUnderFire LoadState = "UNDER_FIRE"
	LoadDrawn     LoadState = "DRAWN"
	LoadStopped   LoadState = "STOPPED"
	LoadMissed    LoadState = "MISSED"
	LoadExpired   LoadState = "EXPIRED"
	LoadCancelled LoadState = "CANCELLED"
	// LoadUnplaced lost its shared firing and waits for another.
	LoadUnplaced LoadState = "UNPLACED"
)

var nextLoadStates = map[LoadState][]LoadState{
	LoadTentative: {LoadConfirmed, LoadExpired, LoadCancelled, LoadUnplaced},
	LoadConfirmed: {LoadUnderFire, LoadMissed, LoadCancelled, LoadUnplaced},
	LoadUnderFire: {LoadDrawn, LoadStopped},
	LoadUnplaced:  {LoadTentative, LoadConfirmed, LoadCancelled},
}

// CanBecome reports whether a load may go from one state to another.
func (s LoadState) CanBecome(next LoadState) bool { return slices.Contains(nextLoadStates[s], next) }

// Occupies reports whether a firing in this state holds its furnace.
func (s LoadState) Occupies() bool {
	switch s {
	case LoadTentative, LoadConfirmed, LoadUnderFire, LoadDrawn, LoadStopped:
		return true
	default:
		return false
	}
}

// RunState is where a run stands, derived from its loads.
type RunState string

// The states of a run.
const (
	RunTentative RunState = "TENTATIVE"
	RunConfirmed RunState = "CONFIRMED"
	RunUnderWay  RunState = "UNDER_WAY"
	RunDone      RunState = "DONE"
	RunCancelled RunState = "CANCELLED"
	RunUnplaced  RunState = "UNPLACED"
)

// Run is one making of a recipe, at a scale, by one person for one department.
type Run struct {
	Key           int64
	ID            string
	Title         string
	RecipeID      string
	RecipeVersion int
	Scale         chem.Scale
	Department    string
	Maker         string
	StartStage    string // at which it starts; empty: the first
	FromLot       string // id of the lot that it starts from; empty: from its own additions
	Draws         []LotDraw
	Loads         []Load // one for each stage from the start on, in the recipe's order
	Acknowledged  []string
	Inputs        RunInputs
	// Clearances are what it needs somebody's yes for, decided or not; none: nothing.
	Clearances []Clearance
	Revision   int64
	CreateTime time.Time
}

// RunInputs is what a run was checked with; it stays as it was when the equipment or a material changes later.
type RunInputs struct {
	Materials map[string]int            `json:"materials"` // version by material id
	Lots      map[string]chem.Lot       `json:"lots,omitempty"`
	Furnaces  map[string]heat.Furnace   `json:"furnaces"`  // by furnace id
	Constants map[string]heat.Constants `json:"constants"` // by furnace id
	// EnergyKilowattHours is what the supply gives for each stage that has a furnace or station, planned, by stage id.
	EnergyKilowattHours map[string]float64 `json:"energy_kilowatt_hours,omitempty"`
	// Holds are the vessels and the gear that its stages have.
	Holds []Hold `json:"holds,omitempty"`
	// Limits are what its maker can and will not do.
	Limits PlanLimits `json:"limits,omitzero"`
}

// Load is one stage of one run placed in a firing, or bench work without one.
type Load struct {
	Stage  string
	State  LoadState
	Window Window
	Firing *Firing // nil for bench work that needs no station
	// Ride is what the load is to others in a shared firing; nil: its firing is its own. Joined: the firing was not booked for it.
	Ride   *Ride
	Joined bool
}

// Begun reports whether the load's window has begun. One without a firing to go into never begins.
func (l Load) Begun(now time.Time) bool { return l.State != LoadUnplaced && !l.Window.Start.After(now) }

// State derives where the run stands from its loads.
func (r Run) State() RunState {
	count := map[LoadState]int{}
	for _, l := range r.Loads {
		count[l.State]++
	}
	switch {
	case count[LoadCancelled]+count[LoadExpired]+count[LoadMissed]+count[LoadStopped] > 0:
		return RunCancelled
	case count[LoadUnplaced] > 0:
		return RunUnplaced
	case count[LoadDrawn] == len(r.Loads):
		return RunDone
	case count[LoadUnderFire]+count[LoadDrawn] > 0:
		return RunUnderWay
	case count[LoadTentative] > 0:
		return RunTentative
	default:
		return RunConfirmed
	}
}

// Begun reports whether the first window of a run that has not ended has begun.
func (r Run) Begun(now time.Time) bool {
	return r.State() != RunCancelled && len(r.Loads) > 0 && r.Loads[0].Begun(now)
}

// Firing is one heat cycle of one furnace, exclusive in time on it.
type Firing struct {
	Key        int64
	ID         string
	Furnace    string
	Title      string
	RunID      string
	Stage      string
	Department string
	// AttendedBy is who charges it, is there while it needs somebody in the room, and draws it.
	AttendedBy string
	Maker      string
	State      LoadState
	// HoldExpireTime is until when it waits for clearances; zero when it does not.
	HoldExpireTime time.Time
	Window         Window
	Phases         []FiringPhase
	TopCelsius     float64
	Atmosphere     heat.Atmosphere
	// Releases are what comes off in the cautious case, in minutes from Window.Start.
	Releases []air.Release
	Revision int64
	// Offer is what it offers for others; nil: it is not shared. A shared firing's state is its own, whatever its loads' are.
	Offer *Offer
	// Riders are all loads of a shared firing, that of its own run first, then in the order of booking.
	Riders []Rider
}

// GasUntil is when the last gas of the firing has come off: until then alarms, interlocks and measurements must count. Its start where
// it gives nothing off.
func (f Firing) GasUntil() time.Time {
	last := 0.0
	for _, r := range f.Releases {
		last = max(last, r.EndMinute)
	}
	return f.Window.Start.Add(time.Duration(last * float64(time.Minute)))
}

// FiringPhase is one part of a firing with what it takes.
type FiringPhase struct {
	Kind        heat.PhaseKind
	Window      Window
	Watch       heat.Watch
	PeopleCount int
	Kilowatts   float64
}

// StageWindow is where and when one stage of a run is to be done. A stage without a furnace is bench work.
type StageWindow struct {
	Stage   string
	Furnace string
	// AttendedBy is who is there while somebody must be; empty: the run's maker.
	AttendedBy string
	Phases     []PhaseWindow
	// JoinFiring is the id of the shared firing to ride in; empty: one of its own.
	JoinFiring string
	// LoadLiters is the room that it takes there; 0: as the recipe and its scale say.
	LoadLiters float64
	// Vessels are what holds the charge; none: where the recipe asks for a kind, free ones are picked.
	Vessels []VesselUse
}

// StageWindow is where and when the load is done; bench work without a station is one phase.
func (l Load) StageWindow() StageWindow {
	w := StageWindow{Stage: l.Stage}
	if l.Firing == nil {
		w.Phases = []PhaseWindow{{Kind: heat.Work, Window: l.Window}}
		return w
	}
	w.Furnace, w.AttendedBy = l.Firing.Furnace, l.Firing.AttendedBy
	w.Phases = l.Firing.PhaseWindows()
	if l.Joined {
		w.JoinFiring, w.LoadLiters = l.Firing.ID, l.Ride.Liters
	}
	return w
}

// PhaseWindows are when the firing's phases take place.
func (f Firing) PhaseWindows() []PhaseWindow {
	var windows []PhaseWindow
	for _, phase := range f.Phases {
		windows = append(windows, PhaseWindow{Kind: phase.Kind, Window: phase.Window})
	}
	return windows
}

// PhaseWindow is when one phase is to take place.
type PhaseWindow struct {
	Kind   heat.PhaseKind
	Window Window
}

// Window spans all phases.
func (w StageWindow) Window() Window {
	if len(w.Phases) == 0 {
		return Window{}
	}
	return Window{w.Phases[0].Window.Start, w.Phases[len(w.Phases)-1].Window.End}
}

// Firings returns the firings that carry the run's loads, in order.
func (r Run) Firings() []*Firing {
	var firings []*Firing
	for i := range r.Loads {
		if r.Loads[i].Firing != nil {
			firings = append(firings, r.Loads[i].Firing)
		}
	}
	return firings
}

// Drawn is when what was fired is out: the end of the draw, before what the furnace may still owe; the end of bench work.
func (w StageWindow) Drawn() time.Time {
	for _, p := range w.Phases {
		if p.Kind == heat.Draw {
			return p.Window.End
		}
	}
	return w.Window().End
}

// Charged is when what is fired goes in: the start of the charge, after any warming; the start of bench work.
func (w StageWindow) Charged() time.Time {
	for _, p := range w.Phases {
		if p.Kind == heat.Charge {
			return p.Window.Start
		}
	}
	return w.Window().Start
}

// RunSummary is a run as the change log keeps it.
type RunSummary struct {
	Recipe       string        `json:"recipe"`
	Version      int           `json:"version"`
	Department   string        `json:"department"`
	Maker        string        `json:"maker"`
	State        RunState      `json:"state"`
	Loads        []LoadSummary `json:"loads"`
	Acknowledged []string      `json:"acknowledged,omitempty"`
	StartStage   string        `json:"start_stage,omitempty"`
	FromLot      string        `json:"from_lot,omitempty"`
	Draws        []LotDraw     `json:"draws,omitempty"`
	Clearances   []Clearance   `json:"clearances,omitempty"`
}

// LoadSummary is a load as the change log keeps it.
type LoadSummary struct {
	Stage   string    `json:"stage"`
	State   LoadState `json:"state"`
	Furnace string    `json:"furnace,omitempty"`
	Firing  string    `json:"firing,omitempty"`
	Joined  bool      `json:"joined,omitempty"`
	By      string    `json:"by,omitempty"` // who attends it
	// Holds are the vessels and the gear that it has.
	Holds []string  `json:"holds,omitempty"`
	Start time.Time `json:"start"`
	End   time.Time `json:"end"`
}

// Summary is what the change log keeps of the run.
func (r Run) Summary() RunSummary {
	s := RunSummary{
		Recipe: r.RecipeID, Version: r.RecipeVersion, Department: r.Department, Maker: r.Maker,
		State: r.State(), Acknowledged: r.Acknowledged, StartStage: r.StartStage, FromLot: r.FromLot,
		Draws: slices.Clone(r.Draws), Clearances: r.Clearances,
	}
	for _, l := range r.Loads {
		load := LoadSummary{Stage: l.Stage, State: l.State, Joined: l.Joined, Start: l.Window.Start, End: l.Window.End}
		if l.Firing != nil {
			load.Furnace, load.Firing, load.By = l.Firing.Furnace, l.Firing.ID, l.Firing.AttendedBy
		}
		for _, h := range r.Inputs.Holds {
			if h.Stage == l.Stage && !slices.Contains(load.Holds, h.Subject()) {
				load.Holds = append(load.Holds, h.Subject())
			}
		}
		s.Loads = append(s.Loads, load)
	}
	return s
}
