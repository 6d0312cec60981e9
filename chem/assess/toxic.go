package assess

import (
	"fmt"
	"slices"
	"strings"
	"sync"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/data"
	"saggar/chem/finding"
	"saggar/chem/hazard"
)

// leastToxicShare is the share of a dry material from which a toxic element counts; below it the element is a trace. 29 CFR
// 1910.1024 leaves out materials below 0.1 % of beryllium by weight (read in a summary of it); for the others common
// practice, no source.
const leastToxicShare = 0.001

// harm gathers what one finding says of a stage's additions.
type harm struct {
	code     string
	severity finding.Severity
	what     []string // "red-lead (lead)"
	figures  []finding.Figure
	sources  []string
}

func (h *harm) add(material string, row data.ToxicElement) {
	h.what = append(h.what, fmt.Sprintf("%s (%s)", material, row.What))
	h.sources = append(h.sources, sourced(row.Source, row.Read))
	if row.LimitMilligramsPerCubicMeter > 0 {
		h.figures = append(h.figures, finding.Figure{
			Name: "limit_" + strings.ToLower(row.Element), Value: row.LimitMilligramsPerCubicMeter, Unit: "mg/m3",
		})
	}
}

// toxicElements is the table, read once.
var toxicElements = sync.OnceValue(data.ToxicElements)

// banned finds toxic elements in what a stage adds, by composition and as declared.
func (c Charge) banned(index int) []finding.Finding {
	stage := c.Recipe.Stages[index]
	var harms []*harm
	of := func(code string, severity finding.Severity) *harm {
		i := slices.IndexFunc(harms, func(h *harm) bool { return h.code == code && h.severity == severity })
		if i < 0 {
			harms = append(harms, &harm{code: code, severity: severity})
			i = len(harms) - 1
		}
		return harms[i]
	}
	for _, id := range addedOnce(stage) {
		material := c.Materials[id]
		brought := broughtBy(material, 1)
		for _, h := range material.Hazards {
			if code, ok := codeOf[h]; ok {
				declared := data.ToxicElement{What: "declared " + string(h), Source: "what the material declares"}
				of(code, finding.Block).add(id, declared)
			}
		}
		for _, row := range toxicElements() {
			share, severity := elementShare(brought, row), finding.Severity(row.Severity)
			switch {
			case share >= leastToxicShare:
				of(row.Code, severity).add(id, row)
			case share > 0 && severity == finding.Block:
				of(row.Code+"_TRACE", finding.Note).add(id, row)
			}
		}
	}
	var found []finding.Finding
	for _, h := range harms {
		found = append(found, h.finding(stage, stagePath(index)))
	}
	return found
}

// codeOf is the code of what a material declares.
var codeOf = map[chem.Hazard]string{chem.HazardToxic: "CONTENTS_TOXIC", chem.HazardFluoride: "CONTENTS_FLUORIDE"}

func (h *harm) finding(stage chem.Stage, path string) finding.Finding {
	f := finding.Finding{
		Severity: h.severity, Code: h.code, Field: path + ".additions", About: stage.ID, Figures: h.figures,
		Source: strings.Join(once(h.sources), "; "),
	}
	what := strings.Join(once(h.what), ", ")
	switch h.severity {
	case finding.Block:
		f.Message = fmt.Sprintf("stage %s adds what is toxic, and what that gives off is not modelled: %s", stage.ID, what)
		f.Cure = "leave it out, or take the work to a laboratory that is set up for it"
	case finding.Warn:
		f.Message = fmt.Sprintf("stage %s adds what harms as dust or fume, which is not modelled: %s", stage.ID, what)
		f.Cure = "have it cleared by whoever answers for the room, work at the dust hood, and acknowledge this code"
	default:
		f.Message = fmt.Sprintf("stage %s adds what harms as dust: %s", stage.ID, what)
		if strings.HasSuffix(h.code, "_TRACE") {
			f.Message = fmt.Sprintf("stage %s adds a trace, below %g %%, of what is toxic: %s", stage.ID, 100*leastToxicShare, what)
		}
		f.Cure = "work at the dust hood or wet, and wash hands before eating"
	}
	return f
}

// addedOnce lists the materials that a stage adds, each once.
func addedOnce(stage chem.Stage) []string {
	var ids []string
	for _, a := range stage.Additions {
		ids = append(ids, a.Material)
	}
	return once(ids)
}

// elementShare is the mass share of an element in what a material brings, counting only compounds that the row speaks of.
func elementShare(brought contents, row data.ToxicElement) float64 {
	var grams float64
	if brought.grams <= 0 {
		return 0
	}
	for _, p := range brought.portions {
		if row.Only != "" && !slices.Contains(p.traits, hazard.Trait(row.Only)) {
			continue
		}
		for _, e := range p.formula.Elements() {
			if e.Symbol == row.Element {
				grams += p.grams * e.MassFraction
			}
		}
	}
	return grams / brought.grams
}

// dusty notes crystalline silica where it becomes dust, where it is weighed out and where a charge with it is ground, with
// every limit for it. How much rises is not worked out: no figure for it is assumed, it must be measured.
func (c Charge) dusty(index int) []finding.Finding {
	stage := c.Recipe.Stages[index]
	names := c.held[index].added.names(hazard.Silica)
	if stage.Kind == chem.Grind {
		names = c.held[index].all.names(hazard.Silica)
	}
	if len(names) == 0 {
		return nil
	}
	var words, sources []string
	var figures []finding.Figure
	for _, l := range air.StrictestFirst("SiO2") {
		if l.Kind == data.DangerousToLife {
			continue
		}
		words = append(words, fmt.Sprintf("%s %s %g", l.Authority, l.Kind, l.MilligramsPerCubicMeter))
		sources = append(sources, l.Source)
		figures = append(figures, finding.Figure{
			Name: "limit_" + strings.ToLower(l.Authority+"_"+string(l.Kind)), Value: l.MilligramsPerCubicMeter, Unit: "mg/m3",
		})
	}
	return []finding.Finding{{
		Severity: finding.Note, Code: "SILICA_DUST", Field: stagePath(index) + ".additions", About: stage.ID,
		Message: fmt.Sprintf("weighing, sieving and grinding %s at stage %s raises respirable crystalline silica, which no eye "+
			"sees; the limits over a shift, strictest first: %s mg/m3", strings.Join(names, ", "), stage.ID,
			strings.Join(words, ", ")),
		Figures: figures,
		Cure: "work at the dust hood or wet, and wipe up wet; what respirator would be enough follows from a measured " +
			"concentration only",
		Source: strings.Join(once(sources), "; "),
	}}
}
