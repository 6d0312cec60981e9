package app

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"saggar/chem"
	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/domain"
)

const ofPractice = "common practice, no source"

// vesselAsk is what a stage needs of vessels when it is done at a certain time.
type vesselAsk struct {
	run        int64 // whose; its own holds are not in its way
	department string
	field      string // of the stage's window
	stage      chem.Stage
	index      int // of the stage in the charge
	charge     assess.Charge
	furnace    heat.Furnace
	span       domain.Window // from packing until cleaned
	onDate     string        // of the day on which it is charged
	crucibles  int           // how many the scale asks for; 0: as many as the charge fills
	liters     float64       // that the charge fills; 0: not known
	leaves     []string
	fill       float64 // how full a vessel is packed at most
	clock      func(time.Time) string
}

// newVesselAsk is what a stage of a charge asks for on a furnace; where and when is left to the caller.
func newVesselAsk(site *domain.Site, charge assess.Charge, index int, furnace string, scale chem.Scale) vesselAsk {
	ask := vesselAsk{
		stage: charge.Recipe.Stages[index], index: index, charge: charge, furnace: site.Furnaces[furnace],
		leaves: charge.LeavesInVessel(index), fill: chem.DefaultPractice().MaxFillFraction,
		clock: joint{site: site}.clock,
	}
	if density := ask.stage.TampedDensityGramsPerMilliliter; density > 0 {
		ask.liters = charge.Balance.Stages[index].MassInGrams / density / 1000
	}
	if ask.stage.Vessel.Kind == chem.Crucible && (scale.CrucibleStage == "" || scale.CrucibleStage == ask.stage.ID) {
		ask.crucibles = scale.CrucibleCount
	}
	return ask
}

// needed is how many of a vessel hold the charge.
func (a vesselAsk) needed(v domain.Vessel) int {
	switch {
	case a.crucibles > 0:
		return a.crucibles
	case a.liters == 0 || v.VolumeLiters == 0:
		return 1
	default:
		return max(1, int(math.Ceil(a.liters/(v.VolumeLiters*a.fill)-1e-9)))
	}
}

// against holds some of one vessel or set against the stage, whoever has it.
func (a vesselAsk) against(v domain.Vessel, count int) []finding.Finding {
	found := slices.Concat(a.allowed(v, count), a.lidded(v), a.inspected(v), a.fits([]domain.VesselUse{{Vessel: v.ID, Count: count}},
		map[string]domain.Vessel{v.ID: v}))
	own := a.charge.InVessel(a.index, chem.Vessel{Kind: v.Kind, TopCelsius: v.TopCelsius}, v.Lid, a.furnace)
	for _, f := range own {
		f.Field, f.About = a.field+".vessels", v.ID
		f.Message = fmt.Sprintf("%s: %s", v.Words(), f.Message)
		found = append(found, f)
	}
	return found
}

func (a vesselAsk) finding(severity finding.Severity, code, about, message, cure string) finding.Finding {
	return finding.Finding{Severity: severity, Code: code, Field: a.field + ".vessels", About: about, Message: message, Cure: cure}
}

// allowed finds a vessel that is not the stage's to take, or of which there are too few.
func (a vesselAsk) allowed(v domain.Vessel, count int) []finding.Finding {
	switch {
	case v.OutOfUse:
		return []finding.Finding{a.finding(finding.Block, "VESSEL_OUT_OF_USE", v.ID, v.Words()+" is out of use", "take another")}
	case !v.OpenTo(a.department):
		return []finding.Finding{a.finding(finding.Block, "VESSEL_OF_OTHERS", v.ID,
			fmt.Sprintf("%s is %s's, and others may not take it", v.Words(), v.Department), "ask them to share it, or take another")}
	case a.stage.Vessel.Kind != "" && v.Kind != a.stage.Vessel.Kind:
		return []finding.Finding{a.finding(finding.Block, "VESSEL_OTHER_KIND", v.ID,
			fmt.Sprintf("%s is a %s, stage %s is done in a %s", v.Words(), v.Kind, a.stage.ID, a.stage.Vessel.Kind),
			fmt.Sprintf("take a %s, or change the recipe", a.stage.Vessel.Kind))}
	case count > v.Items():
		f := a.finding(finding.Block, "VESSEL_TOO_FEW", v.ID, fmt.Sprintf("%d of %s are asked for, and there are %d", count, v.Words(), v.Items()),
			"make less at a time, or take others besides")
		f.Figures = []finding.Figure{{Name: "asked", Value: float64(count), Unit: "1"}, {Name: "there", Value: float64(v.Items()), Unit: "1"}}
		return []finding.Finding{f}
	}
	return nil
}

// lidded finds a vessel without the lid under which the gas was reckoned to come off.
func (a vesselAsk) lidded(v domain.Vessel) []finding.Finding {
	asks := a.stage.Lid == chem.LooseLid || a.stage.Lid == chem.SealedLid
	if v.Lid != chem.OpenLid || !asks || a.stage.Program == nil {
		return nil
	}
	return []finding.Finding{a.finding(finding.Block, "VESSEL_LID_MISSING", v.ID,
		fmt.Sprintf("%s has no lid, and stage %s is fired under a %s one: its gas would come off sooner than is reckoned", v.Words(),
			a.stage.ID, a.stage.Lid), "take one with a lid, or change the recipe's lid and check it again")}
}

// inspected warns of a vessel that nobody has looked over for too long on the day on which it is charged.
func (a vesselAsk) inspected(v domain.Vessel) []finding.Finding {
	until := v.InspectedUntil()
	if until >= a.onDate {
		return nil
	}
	message := fmt.Sprintf("%s was never looked over for cracks", v.Words())
	if until != "" {
		message = fmt.Sprintf("%s was last looked over on %s, which counts until %s and not on %s", v.Words(), v.InspectedOn, until, a.onDate)
	}
	f := a.finding(finding.Warn, "VESSEL_INSPECTION_DUE", v.ID, message, "look it over before it is packed and record the date, or acknowledge this code")
	f.Source = ofPractice
	return []finding.Finding{f}
}

// filled finds vessels that are too small for the charge together.
func (a vesselAsk) filled(uses []domain.VesselUse, vessels map[string]domain.Vessel) []finding.Finding {
	var liters float64
	for _, use := range uses {
		if vessels[use.Vessel].VolumeLiters == 0 {
			return nil
		}
		liters += float64(use.Items()) * vessels[use.Vessel].VolumeLiters
	}
	if a.liters <= a.fill*liters*(1+1e-9) {
		return nil
	}
	severity, cure := finding.Warn, "take larger ones or more of them"
	if a.liters > liters {
		severity = finding.Block
	}
	f := a.finding(severity, "VESSEL_TOO_SMALL", uses[0].Vessel,
		fmt.Sprintf("the charge of stage %s fills %.3g l, and the vessels hold %.3g l, to be packed to at most %.3g l: it may foam or swell over the rim",
			a.stage.ID, a.liters, liters, a.fill*liters),
		fmt.Sprintf("%s, or make at most %.2f of this scale", cure, math.Floor(100*a.fill*liters/a.liters)/100))
	f.Figures = []finding.Figure{{Name: "charge", Value: a.liters, Unit: "l"}, {Name: "vessels", Value: liters, Unit: "l"},
		{Name: "most", Value: a.fill, Unit: "1"}}
	f.Source = ofPractice
	return []finding.Finding{f}
}

// fits finds vessels that do not stand in the furnace's chamber together. With the chamber's floor known they stand in rows, the
// flat and boxed ones in layers as high as it is; else only their volumes are held against it.
func (a vesselAsk) fits(uses []domain.VesselUse, vessels map[string]domain.Vessel) []finding.Finding {
	var share float64
	how := "by their volume only, since their size or the chamber's floor is not known"
	for _, use := range uses {
		v := vessels[use.Vessel]
		room, inRows := chamberHolds(a.furnace, v)
		if inRows {
			how = "in rows"
		}
		if math.IsInf(room, 1) {
			continue
		}
		share += float64(use.Items()) / room
	}
	if a.furnace.ID == "" || a.furnace.Source == heat.Bench || share <= 1+1e-9 {
		return nil
	}
	f := a.finding(finding.Block, "VESSELS_DO_NOT_FIT", uses[0].Vessel,
		fmt.Sprintf("%s do not stand in %s together, reckoned %s: they fill it %.2f times", usesInWords(uses), a.furnace.ID, how, share),
		"take fewer or smaller ones, make less at a time, or use a larger furnace")
	if math.IsInf(share, 1) {
		f.Message = fmt.Sprintf("%s do not go into %s: one is larger than the chamber", usesInWords(uses), a.furnace.ID)
	} else {
		f.Figures = []finding.Figure{{Name: "filled", Value: share, Unit: "1"}}
	}
	return []finding.Finding{f}
}

// chamberHolds is how many of a vessel stand in a chamber; infinite when neither says. In rows: crucibles in one layer, saggars
// and trays in as many as the height takes.
func chamberHolds(f heat.Furnace, v domain.Vessel) (count float64, inRows bool) {
	if f.ChamberWidthMillimeters > 0 && f.ChamberDepthMillimeters > 0 && v.DiameterMillimeters > 0 {
		layers := 1.0
		if f.ChamberHeightMillimeters > 0 && v.HeightMillimeters > 0 {
			layers = math.Floor(f.ChamberHeightMillimeters / v.HeightMillimeters)
			if v.Kind == chem.Crucible {
				layers = min(layers, 1)
			}
		}
		return math.Floor(f.ChamberWidthMillimeters/v.DiameterMillimeters) * math.Floor(f.ChamberDepthMillimeters/v.DiameterMillimeters) * layers, true
	}
	liters := v.VolumeLiters
	if v.DiameterMillimeters > 0 && v.HeightMillimeters > 0 {
		liters = math.Pi / 4 * v.DiameterMillimeters * v.DiameterMillimeters * v.HeightMillimeters / 1e6
	}
	if liters == 0 || f.ChamberLiters == 0 {
		return math.Inf(1), false
	}
	return f.ChamberLiters / liters, false
}

func usesInWords(uses []domain.VesselUse) string {
	var words []string
	for _, use := range uses {
		words = append(words, fmt.Sprintf("%d of %s", use.Items(), use.Vessel))
	}
	return strings.Join(words, " and ")
}

// ofKind are the vessels of a kind by id; all where no kind is asked for.
func (d vesselDesk) ofKind(kind chem.VesselKind) []domain.Vessel {
	var list []domain.Vessel
	for _, id := range slices.Sorted(maps.Keys(d.site.Vessels)) {
		if v := d.site.Vessels[id]; kind == "" || v.Kind == kind {
			list = append(list, v)
		}
	}
	return list
}

// candidate is a vessel that a stage may take.
type candidate struct {
	domain.Vessel
	needed int // to hold the charge
	found  []finding.Finding
}

// candidates are vessels in the order in which they are taken: least is said against them, fewest are needed, the smallest; the
// largest where nobody knows what the charge fills.
func (a vesselAsk) candidates(vessels []domain.Vessel) []candidate {
	list := make([]candidate, len(vessels))
	for i, v := range vessels {
		needed := a.needed(v)
		list[i] = candidate{Vessel: v, needed: needed, found: a.against(v, min(needed, v.Items()))}
	}
	slices.SortFunc(list, func(x, y candidate) int {
		volume := cmp.Compare(x.VolumeLiters, y.VolumeLiters)
		if a.liters == 0 {
			volume = -volume
		}
		return cmp.Or(cmp.Compare(len(x.found), len(y.found)), cmp.Compare(x.needed, y.needed), volume, cmp.Compare(x.ID, y.ID))
	})
	return list
}
