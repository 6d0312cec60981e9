package assess

import (
	"fmt"
	"strings"
	"sync"

	"saggar/chem"
	"saggar/chem/data"
	"saggar/chem/finding"
)

// nearlyLeavingCelsius is how far below its boiling or sublimation point something counts as leaving altogether: there its
// vapour has a third of an atmosphere or more. Common practice, no source.
const nearlyLeavingCelsius = 100

// leaving is what of a stage's charge leaves as vapour or oxygen, by the table of vapours.
type leaving struct {
	row   data.Vapour
	name  string  // the material or compound
	grams float64 // of the vapour, all of it, or of the oxygen
}

// vapourByRatios finds a row of the table by the atom ratios of its formula.
var vapourByRatios = sync.OnceValue(func() map[string]data.Vapour {
	rows := map[string]data.Vapour{}
	for _, row := range data.Vapours() {
		formula, err := chem.ParseFormula(row.Formula)
		if err != nil {
			panic("bug: " + err.Error())
		}
		row.OxygenMoles /= formula.MolarMass() // per gram from here on, so that the spelling does not matter
		rows[ratios(formula)] = row
	}
	return rows
})

// leavingAt lists what fumes, leaves or sets oxygen free by a stage's peak; traces are left out.
func (c Charge) leavingAt(index int) []leaving {
	oxygen := chem.Moles{"O": 2}.Grams()
	all, peak := c.held[index].all, c.Balance.Stages[index].PeakCelsius
	var list []leaving
	for _, p := range all.portions {
		if p.formula.IsZero() || p.bound || p.declared || p.grams <= traceShare*all.grams {
			continue
		}
		row, known := vapourByRatios()[ratios(p.formula)]
		switch {
		case !known || peak < row.FumesCelsius:
		case row.OxygenMoles > 0:
			list = append(list, leaving{row, p.name, p.grams * row.OxygenMoles * oxygen})
		default:
			list = append(list, leaving{row, p.name, p.grams})
		}
	}
	return list
}

// sealed finds a tight lid over a charge that gives off gas: what reactions give off, oxygen set free, and what boils or
// sublimes below the peak. Where only temperatures from memory say so, it warns.
func (c Charge) sealed(index int) []finding.Finding {
	stage, peak := c.Recipe.Stages[index], c.Balance.Stages[index].PeakCelsius
	if stage.Lid != chem.SealedLid {
		return nil
	}
	severity, sources := finding.Warn, []string{commonPractice}
	var grams float64
	var what []string
	for _, gas := range c.Balance.Stages[index].OffGasOf(chem.Cautious) {
		grams += gas.MassGrams
		severity = finding.Block
	}
	for _, l := range c.leavingAt(index) {
		if peak < l.row.LeavesCelsius {
			continue
		}
		grams += l.grams
		what = append(what, l.says())
		sources = append(sources, sourced(l.row.Source, l.row.Read))
		if l.row.Read != data.FromMemory {
			severity = finding.Block
		}
	}
	if grams <= 0 {
		return nil
	}
	message := fmt.Sprintf("stage %s gives off up to %.1f g of gas under a sealed lid, which can burst", stage.ID, grams)
	if len(what) > 0 {
		message += ": " + strings.Join(once(what), ", ")
	}
	cure := "use a loose lid"
	if severity == finding.Warn {
		cure = "use a loose lid, or have it cleared by whoever answers for the room and acknowledge this code"
	}
	return []finding.Finding{{
		Severity: severity, Code: "SEALED_OVER_GAS", Field: stagePath(index) + ".lid", About: stage.ID, Message: message,
		Figures: []finding.Figure{{Name: "off_gas", Value: grams, Unit: "g"}}, Cure: cure, Source: strings.Join(once(sources), "; "),
	}}
}

// says tells what leaves and from where on.
func (l leaving) says() string {
	if l.row.OxygenMoles > 0 {
		return fmt.Sprintf("%s (%s) sets oxygen free from %g C", l.name, l.row.Name, l.row.LeavesCelsius)
	}
	return fmt.Sprintf("%s (%s) boils or sublimes at %g C", l.name, l.row.Name, l.row.LeavesCelsius)
}

// fuming says what of a charge leaves as vapour, which is not modelled, and what oxygen it sets free. It warns of what leaves
// altogether and notes what only fumes.
func (c Charge) fuming(index int) []finding.Finding {
	stage, peak := c.Recipe.Stages[index], c.Balance.Stages[index].PeakCelsius
	var found []finding.Finding
	for _, l := range c.leavingAt(index) {
		f := finding.Finding{
			Severity: finding.Note, Code: "FUME_NOT_MODELLED", Field: stagePath(index), About: stage.ID,
			Message: fmt.Sprintf("at %.0f C stage %s lets off vapour, which is not worked out: %s", peak, stage.ID, l.says()),
			Figures: []finding.Figure{
				{Name: "held", Value: l.grams, Unit: "g"}, {Name: "peak", Value: peak, Unit: "C"},
				{Name: "leaves", Value: l.row.LeavesCelsius, Unit: "C"},
			},
			Cure: "fire it under extraction, and colder where that will do", Source: sourced(l.row.Source, l.row.Read),
		}
		switch {
		case l.row.OxygenMoles > 0:
			f.Code = "OXYGEN_SET_FREE"
			f.Message = fmt.Sprintf("stage %s sets up to %.1f g of oxygen free, in which what can burn burns faster: %s", stage.ID,
				l.grams, l.says())
			f.Figures[0].Name = "oxygen"
			f.Cure = "keep what burns away from it"
		case peak >= l.row.LeavesCelsius-nearlyLeavingCelsius:
			f.Severity = finding.Warn
			f.Cure = "fire it colder, or have it cleared by whoever answers for the room, and acknowledge this code"
		}
		found = append(found, f)
	}
	return found
}
