package paper

import (
	"io"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	saggarv1 "saggar/proto/saggar/v1"
)

// Risk writes the risk assessment of a run. Times are the studio's. Errors: as Day.
func Risk(w io.Writer, assessment *saggarv1.RiskAssessment) error {
	return write(w, "risk.html.tmpl", assessment.GetTimeZone(), time.Time{}, risk{assessment})
}

// risk is what the page calls besides.
type risk struct{ *saggarv1.RiskAssessment }

// Window is where and when a stage is done; nil: the run has none of it.
func (r risk) Window(stage string) *saggarv1.StageWindow {
	windows := r.GetRun().GetStageWindows()
	at := slices.IndexFunc(windows, func(w *saggarv1.StageWindow) bool { return w.GetStage() == stage })
	if at < 0 {
		return nil
	}
	return windows[at]
}

// Start is when a stage begins.
func (r risk) Start(stage string) *timestamppb.Timestamp { return firstOf(r.Window(stage)) }

// End is when its furnace is free again.
func (r risk) End(stage string) *timestamppb.Timestamp {
	phases := r.Window(stage).GetPhases()
	if len(phases) == 0 {
		return nil
	}
	return phases[len(phases)-1].GetEndTime()
}

// At is a minute of a stage by the clock.
func (r risk) At(stage string, minute float64) *timestamppb.Timestamp {
	start := r.Start(stage)
	return timestamppb.New(start.AsTime().Add(time.Duration(minute) * time.Minute))
}

func firstOf(w *saggarv1.StageWindow) *timestamppb.Timestamp {
	if len(w.GetPhases()) == 0 {
		return nil
	}
	return w.GetPhases()[0].GetStartTime()
}

// Stage is a stage of the recipe.
func (r risk) Stage(id string) *saggarv1.Stage {
	for _, stage := range r.GetRecipe().GetStages() {
		if stage.GetId() == id {
			return stage
		}
	}
	return nil
}

// OffGas are the gases of a case, by stage.
func (r risk) OffGas(cautious bool) []*saggarv1.OffGasLine {
	var lines []*saggarv1.OffGasLine
	for _, line := range r.GetAssessment().GetOffGas() {
		if (line.GetCase() == saggarv1.OffGasCase_OFF_GAS_CASE_CAUTIOUS) == cautious && line.GetMassGrams() > 0 {
			lines = append(lines, line)
		}
	}
	return lines
}

// Likely is the mass of a gas in the likely case, in g.
func (r risk) Likely(stage, species string) float64 {
	for _, line := range r.OffGas(false) {
		if line.GetStage() == stage && line.GetSpecies() == species {
			return line.GetMassGrams()
		}
	}
	return 0
}

// deciding are, of a gas's limits, the nearest that refuses and the nearest that only warns.
func deciding(limits []*saggarv1.LimitRatio) []*saggarv1.LimitRatio {
	var list []*saggarv1.LimitRatio
	for _, severity := range []saggarv1.Severity{saggarv1.Severity_SEVERITY_BLOCK, saggarv1.Severity_SEVERITY_WARN} {
		var nearest *saggarv1.LimitRatio
		for _, limit := range limits {
			if limit.GetSeverity() == severity && (nearest == nil || limit.GetRatio() > nearest.GetRatio()) {
				nearest = limit
			}
		}
		if nearest != nil {
			list = append(list, nearest)
		}
	}
	return list
}
