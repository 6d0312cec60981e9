package domain

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"saggar/chem/heat"
)

// ReportDimension is what a report's rows are by.
type ReportDimension string

// The dimensions of a report.
const (
	ByDepartment ReportDimension = "department"
	ByFurnace    ReportDimension = "furnace"
	ByMonth      ReportDimension = "month"
	ByMaker      ReportDimension = "maker"
)

// ReportInput is what a report is made of. Every time is a whole minute.
type ReportInput struct {
	Window   Window
	Zone     *time.Location
	GroupBy  []ReportDimension
	Furnaces []ReportFurnace
	Uses     []ReportUse
}

// ReportFurnace is a furnace or station with its staffed windows, in order and apart, and what is asked for it.
type ReportFurnace struct {
	ID      string
	Staffed []Window
	// PricePerHour and PricePerKilowattHour are in the studio's own currency; 0: nothing is asked.
	PricePerHour, PricePerKilowattHour float64
}

// ReportUse is a firing, or bench work without a station, whatever became of it.
type ReportUse struct {
	Department string
	Maker      string
	Furnace    string // empty for bench work without a station
	State      LoadState
	Window     Window
	Phases     []FiringPhase
	// EnergyKilowattHours is what the supply gives for it, planned; below 0: not known.
	EnergyKilowattHours float64
	// Shares are what of the energy each department of a shared firing takes, adding up to 1; nil: all is the department's own. The
	// firing itself, its time and its people count for Department alone, and all of it for Maker.
	Shares map[string]float64
}

// ReportRow is one row of a report. Minutes are exact.
type ReportRow struct {
	Department, Furnace, Month      string // empty where the rows are not by it
	Maker                           string
	FiringCount                     int // that begin in it and were not called off
	HeldMinutes, HeldStaffedMinutes int
	AllMinutes, StaffedMinutes      int // of the furnaces that it is about
	EnergyKilowattHours             float64
	UnknownEnergyCount              int
	InRoomMinutes, InReachMinutes   int // people times minutes
	MissedMinutes, CancelledMinutes int
	Cost                            float64
	Priced                          bool // something in it has a price
}

// Report adds up how furnaces were used over the window: the rows by their keys, and the whole. Firings are cut at the ends
// of the window and of local months; their energy is spread evenly over their time with the heat on. Rows that are not by
// department or maker stand for every furnace and month, used or not.
func Report(in ReportInput) (rows []ReportRow, total ReportRow) {
	whole := in
	whole.GroupBy = nil
	if all := whole.rows(); len(all) > 0 {
		total = all[0]
	}
	if len(in.GroupBy) == 0 {
		return nil, total
	}
	return in.rows(), total
}

// span is a part of the window under its key; a month's, or the whole.
type span struct {
	Window
	month string
}

// rowKey is what sets rows apart.
type rowKey struct{ department, maker, furnace, month string }

func (in ReportInput) by(d ReportDimension) bool { return slices.Contains(in.GroupBy, d) }

func (in ReportInput) key(use ReportUse, s span) rowKey {
	key := rowKey{month: s.month}
	if in.by(ByDepartment) {
		key.department = use.Department
	}
	if in.by(ByMaker) {
		key.maker = use.Maker
	}
	if in.by(ByFurnace) {
		key.furnace = use.Furnace
	}
	return key
}

func (in ReportInput) rows() []ReportRow {
	rows, open := map[rowKey]*ReportRow{}, map[rowKey]ReportRow{}
	at := func(key rowKey) *ReportRow {
		if rows[key] == nil {
			rows[key] = &ReportRow{Department: key.department, Maker: key.maker, Furnace: key.furnace, Month: key.month}
		}
		return rows[key]
	}
	byID := map[string]ReportFurnace{}
	spans := in.spans()
	for _, f := range in.Furnaces {
		byID[f.ID] = f
		for _, s := range spans {
			key := in.key(ReportUse{Furnace: f.ID}, s)
			if !in.by(ByDepartment) && !in.by(ByMaker) {
				at(key)
			}
			hours := open[key]
			hours.AllMinutes += s.Minutes()
			hours.StaffedMinutes += overlapping(f.Staffed, s.Window)
			open[key] = hours
		}
	}
	for _, use := range in.Uses {
		for _, s := range spans {
			if !use.Window.Overlaps(s.Window) {
				continue
			}
			at(in.key(use, s)).add(use, s.Window, byID[use.Furnace])
			for _, department := range slices.Sorted(maps.Keys(use.Shares)) {
				if theirs := use; department != use.Department {
					theirs.Department = department
					at(in.key(theirs, s)).addEnergy(use.energyOf(department, s.Window), byID[use.Furnace])
				}
			}
		}
	}
	list := make([]ReportRow, 0, len(rows))
	for key, row := range rows {
		key.department, key.maker = "", ""
		row.AllMinutes, row.StaffedMinutes = open[key].AllMinutes, open[key].StaffedMinutes
		list = append(list, *row)
	}
	slices.SortFunc(list, func(a, b ReportRow) int {
		return cmp.Or(cmp.Compare(a.Month, b.Month), cmp.Compare(a.Department, b.Department), cmp.Compare(a.Maker, b.Maker),
			cmp.Compare(a.Furnace, b.Furnace))
	})
	return list
}

// spans cut the window at the first instants of local months when the rows are by month.
func (in ReportInput) spans() []span {
	if !in.by(ByMonth) {
		return []span{{Window: in.Window}}
	}
	var spans []span
	first := in.Window.Start.In(in.Zone)
	for n := 0; ; n++ {
		month := time.Date(first.Year(), first.Month()+time.Month(n), 1, 12, 0, 0, 0, in.Zone)
		w := cut(Window{localMinute(month, 0, in.Zone), localMinute(month.AddDate(0, 1, 0), 0, in.Zone)}, in.Window)
		if !w.Start.Before(in.Window.End) {
			return spans
		}
		spans = append(spans, span{w, month.Format("2006-01")})
	}
}

// cut is the part of a window within another; with no length, or less, where there is none.
func cut(w, within Window) Window {
	if w.Start.Before(within.Start) {
		w.Start = within.Start
	}
	if w.End.After(within.End) {
		w.End = within.End
	}
	return w
}

func overlapping(windows []Window, within Window) int {
	sum := 0
	for _, w := range windows {
		sum += max(cut(w, within).Minutes(), 0)
	}
	return sum
}

// add adds the part of a use that lies within a span.
func (r *ReportRow) add(use ReportUse, within Window, furnace ReportFurnace) {
	part := cut(use.Window, within)
	switch {
	case use.State == LoadMissed:
		r.MissedMinutes += part.Minutes()
		return
	case !use.State.Occupies():
		r.CancelledMinutes += part.Minutes()
		return
	}
	begins := !use.Window.Start.Before(within.Start)
	if begins {
		r.FiringCount++
	}
	for _, p := range use.Phases {
		minutes := max(cut(p.Window, within).Minutes(), 0) * p.PeopleCount
		switch p.Watch {
		case heat.InRoom:
			r.InRoomMinutes += minutes
		case heat.InReach:
			r.InReachMinutes += minutes
		}
	}
	if use.Furnace == "" {
		return
	}
	r.HeldMinutes += part.Minutes()
	r.HeldStaffedMinutes += overlapping(furnace.Staffed, part)
	if use.EnergyKilowattHours < 0 && begins {
		r.UnknownEnergyCount++
	}
	r.addEnergy(use.energyOf(use.Department, within), furnace)
	r.Cost += float64(part.Minutes()) / 60 * furnace.PricePerHour
	r.Priced = r.Priced || furnace.PricePerHour > 0 || furnace.PricePerKilowattHour > 0
}

// addEnergy adds energy and what it costs.
func (r *ReportRow) addEnergy(kilowattHours float64, furnace ReportFurnace) {
	r.EnergyKilowattHours += kilowattHours
	r.Cost += kilowattHours * furnace.PricePerKilowattHour
	r.Priced = r.Priced || furnace.PricePerKilowattHour > 0
}

// energyOf is a department's part of the energy that is given within a window; 0 where it is not known.
func (u ReportUse) energyOf(department string, within Window) float64 {
	if u.EnergyKilowattHours < 0 {
		return 0
	}
	share := 1.0
	if u.Shares != nil {
		share = u.Shares[department]
	}
	return u.EnergyKilowattHours * u.heatedShare(within) * share
}

// Shares are the departments' parts of a shared firing by the room that their loads take, adding up to 1, and the one that it counts
// for: its own run's, else the one with most of the room. Nothing rides in it: it is nobody's.
func (f Firing) Shares() (mostly string, shares map[string]float64) {
	sum, liters := 0.0, map[string]float64{}
	for _, r := range f.Riders {
		sum += r.Liters
		liters[r.Department] += r.Liters
	}
	mostly = f.Department
	for _, department := range slices.Sorted(maps.Keys(liters)) {
		if f.Department == "" && (mostly == "" || liters[department] > liters[mostly]) {
			mostly = department
		}
	}
	if sum <= 0 {
		return mostly, nil
	}
	for department := range liters {
		liters[department] /= sum
	}
	return mostly, liters
}

// heatedShare is how much of the time with the heat on lies within a window, [0, 1]; of a use without any, how much of all.
func (u ReportUse) heatedShare(within Window) float64 {
	inside, all := 0, 0
	for _, p := range u.Phases {
		if p.Kilowatts > 0 {
			inside += max(cut(p.Window, within).Minutes(), 0)
			all += p.Window.Minutes()
		}
	}
	if all == 0 {
		inside, all = max(cut(u.Window, within).Minutes(), 0), u.Window.Minutes()
	}
	if all == 0 {
		return 0
	}
	return float64(inside) / float64(all)
}
