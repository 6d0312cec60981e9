package domain

import (
	"cmp"
	"fmt"
	"math"
	"reflect"
	"regexp"
	"slices"
	"time"

	"saggar/chem"
	"saggar/chem/finding"
)

// Micrograms is a mass as lots keep it: whole micrograms, so that sums are exact.
type Micrograms int64

const microgramsPerGram = 1e6

// MicrogramsOf is a mass in grams, rounded to the nearest microgram.
func MicrogramsOf(grams float64) Micrograms { return Micrograms(math.Round(grams * microgramsPerGram)) }

// Grams is the mass in grams.
func (m Micrograms) Grams() float64 { return float64(m) / microgramsPerGram }

// Lot is one delivery or one intermediate that the studio keeps. Its embedded MassGrams is not kept up: OnHand counts.
type Lot struct {
	chem.Lot
	Title string `json:"title"`
	// Department is whose it is; empty: everybody's. Others take of it only when it is Shared.
	Department    string  `json:"department"`
	Shared        bool    `json:"shared"`
	Place         string  `json:"place"`
	SafetySheet   string  `json:"safety_sheet"`
	LowStockGrams float64 `json:"low_stock_grams"`
	// OnHand is what is there, Reserved what of it runs will take.
	OnHand   Micrograms `json:"-"`
	Reserved Micrograms `json:"-"`
	// DescribedRevision is the one at which what is said of it last changed, its weighing included; Revision counts what is
	// taken and reserved too.
	DescribedRevision int64     `json:"-"`
	Revision          int64     `json:"-"`
	CreateTime        time.Time `json:"-"`
}

// Free is what nobody has reserved.
func (l Lot) Free() Micrograms { return l.OnHand - l.Reserved }

// MadeOfTheSame reports whether two descriptions of a lot say the same of what it is made of; moisture is weighed and may differ.
func (l Lot) MadeOfTheSame(o Lot) bool {
	phases := len(l.Phases)+len(o.Phases) == 0 || reflect.DeepEqual(l.Phases, o.Phases)
	oxides := len(l.Oxides)+len(o.Oxides) == 0 || reflect.DeepEqual(l.Oxides, o.Oxides)
	return phases && oxides && l.PurityFraction == o.PurityFraction && l.LossOnIgnitionFraction == o.LossOnIgnitionFraction
}

// IsLow reports whether less is free than the lot is watched for.
func (l Lot) IsLow() bool { return l.Free() < MicrogramsOf(l.LowStockGrams) }

// OpenTo reports whether work of a department may take of it.
func (l Lot) OpenTo(department string) bool {
	return l.Department == "" || l.Shared || l.Department == department
}

// Holding is what chem reckons with: the lot with a mass that is there.
func (l Lot) Holding(mass Micrograms) chem.Lot {
	held := l.Lot
	held.MassGrams = mass.Grams()
	return held
}

var sheetAddress = regexp.MustCompile(`^https?://[^ ]+$`)

// Check returns what is wrong with what is said of the lot, with paths relative to it. Its mass is not looked at.
func (l Lot) Check() finding.Faults {
	faults := l.Holding(1).Validate()
	if l.SafetySheet != "" && !sheetAddress.MatchString(l.SafetySheet) {
		faults.Add("safety_sheet", fmt.Sprintf("%q is no address", l.SafetySheet), "give one that begins with http:// or https://")
	}
	if l.LowStockGrams < 0 {
		faults.Add("low_stock_grams", "is below zero", "give grams, or 0 when the lot need not be watched")
	}
	return faults
}

// LotHolder is a run that has reserved of a lot.
type LotHolder struct {
	Run   string `json:"run"`
	Maker string `json:"maker"`
}

// LotNotice is what the change log keeps of a lot for those who rest on it.
type LotNotice struct {
	MoistureFraction *float64 `json:"moisture_fraction"`
	MadeOn           string   `json:"made_on"`
	// Holders are the runs that had reserved of it when what is said of it changed.
	Holders []LotHolder `json:"holders"`
}

// LotEntryKind is what an entry of a lot's history tells.
type LotEntryKind string

// The kinds of entries.
const (
	LotCreated  LotEntryKind = "CREATED"
	LotTaken    LotEntryKind = "TAKEN"
	LotReturned LotEntryKind = "RETURNED"
	LotWeighed  LotEntryKind = "WEIGHED"
	LotReserved LotEntryKind = "RESERVED"
	LotReleased LotEntryKind = "RELEASED"
)

// LotMove is one change of a lot's mass or of what is reserved of it, and its entry in the history.
type LotMove struct {
	LotID          string
	Kind           LotEntryKind
	MassChange     Micrograms
	ReservedChange Micrograms
	// DescribedRevision is the one at which the lot was looked at, when the change rests on what is said of it; 0: any.
	DescribedRevision int64
	Revision          int64
	RunID             string // empty: for none
	Reason            string
}

// LotEntry is one entry of a lot's history.
type LotEntry struct {
	LotMove
	LotKey   int64 // the database's
	Time     time.Time
	Caller   string
	OnHand   Micrograms // afterwards
	Reserved Micrograms
}

// LotDrawState is where that which a run takes of a lot stands.
type LotDrawState string

// The states of a draw.
const (
	DrawReserved LotDrawState = "RESERVED"
	DrawTaken    LotDrawState = "TAKEN"
	DrawReleased LotDrawState = "RELEASED"
)

// LotDraw is what a run takes of one lot at one stage for one material; for none when the run starts from the lot.
type LotDraw struct {
	Stage    string       `json:"stage"`
	Material string       `json:"material"`
	Lot      string       `json:"lot"`
	Mass     Micrograms   `json:"micrograms"`
	State    LotDrawState `json:"state"`
	// described is the revision at which the lot was looked at.
	described int64
}

// NewLotDraw is a reservation of a lot as it was looked at.
func NewLotDraw(lot Lot, stage, material string, mass Micrograms) LotDraw {
	return LotDraw{Stage: stage, Material: material, Lot: lot.ID, Mass: mass, State: DrawReserved, described: lot.DescribedRevision}
}

// Or is the draw as it was taken already, when it is among earlier ones.
func (d LotDraw) Or(earlier []LotDraw) LotDraw {
	for _, e := range earlier {
		if e.State == DrawTaken && e.Lot == d.Lot && e.Stage == d.Stage && e.Material == d.Material {
			return e
		}
	}
	return d
}

// reserved sums by lot what draws reserve.
func reserved(draws []LotDraw) (byLot map[string]Micrograms, described map[string]int64) {
	byLot, described = map[string]Micrograms{}, map[string]int64{}
	for _, d := range draws {
		if d.State == DrawReserved {
			byLot[d.Lot] += d.Mass
			described[d.Lot] = d.described
		}
	}
	return byLot, described
}

// LotMoves are the changes to lots when a run's draws take the place of earlier ones, which may be none: one for each lot,
// by id. A lot of which as much is reserved as before has one too, since the draws rest on what it now is.
func (r Run) LotMoves(before []LotDraw) []LotMove {
	was, _ := reserved(before)
	now, described := reserved(r.Draws)
	var moves []LotMove
	for id, mass := range now {
		moves = append(moves, LotMove{
			LotID: id, Kind: LotReserved, ReservedChange: mass - was[id], DescribedRevision: described[id], Revision: r.Revision, RunID: r.ID,
		})
	}
	for id, mass := range was {
		if _, stays := now[id]; !stays {
			moves = append(moves, LotMove{LotID: id, Kind: LotReleased, ReservedChange: -mass, Revision: r.Revision, RunID: r.ID})
		}
	}
	slices.SortFunc(moves, func(a, b LotMove) int { return cmp.Compare(a.LotID, b.LotID) })
	return moves
}

// Release gives up what the run reserves for stages that were called off or missed. What was taken stays taken.
func (r *Run) Release() {
	for i := range r.Draws {
		at := slices.IndexFunc(r.Loads, func(l Load) bool { return l.Stage == r.Draws[i].Stage })
		if at >= 0 && r.Loads[at].State.Occupies() {
			continue
		}
		if r.Draws[i].State == DrawReserved {
			r.Draws[i].State = DrawReleased
		}
	}
}
