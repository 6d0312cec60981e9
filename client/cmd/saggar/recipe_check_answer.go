package main

import (
	"regexp"

	"google.golang.org/protobuf/reflect/protoreflect"

	"saggar/chem"
	"saggar/chem/data"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

// recipeCheck is what a recipe does, as it is printed.
type recipeCheck struct {
	Findings          []recipeFinding                            `json:"findings"`
	WeighOut          []weighedOut                               `json:"weigh_out"`
	Balance           []elementBalance                           `json:"balance"`
	OffGas            []offGas                                   `json:"off_gas"`
	Stages            []stageTimes                               `json:"stages"`
	Air               []stageAir                                 `json:"air"`
	Heat              render.Messages[*saggarv1.StageHeat]       `json:"heat"`
	Conversions       render.Messages[*saggarv1.StageConversion] `json:"conversions"`
	Atmospheres       render.Messages[*saggarv1.StageAtmosphere] `json:"atmospheres"`
	Releases          []stageRelease                             `json:"releases"`
	Near              render.Messages[*saggarv1.NearAir]         `json:"near"`
	FanFailures       render.Messages[*saggarv1.FanFailure]      `json:"fan_failures"`
	LimitingElement   string                                     `json:"limiting_element"`
	IdealProductGrams float64                                    `json:"ideal_product_grams"`
	Assumptions       []string                                   `json:"assumptions"`
	Caution           string                                     `json:"caution"`
}

// recipeFinding is a finding with the line of the file that it is about, 0 when it is about none.
type recipeFinding struct {
	Severity finding.Severity `json:"severity"`
	Code     string           `json:"code"`
	Field    string           `json:"field"`
	Line     int              `json:"line"`
	About    string           `json:"about"`
	Message  string           `json:"message"`
	Figures  []finding.Figure `json:"figures"`
	Cure     string           `json:"cure"`
	Source   string           `json:"source"`
}

type weighedOut struct {
	Stage     string  `json:"stage"`
	Material  string  `json:"material"`
	MassGrams float64 `json:"mass_grams"`
}

type elementBalance struct {
	Stage         string  `json:"stage"`
	Element       string  `json:"element"`
	InMoles       float64 `json:"in_moles"`
	ProductMoles  float64 `json:"product_moles"`
	OffGasMoles   float64 `json:"off_gas_moles"`
	LeftOverMoles float64 `json:"left_over_moles"`
	// The ratios are nil where the stage forms no product.
	AtomRatio      *float64 `json:"atom_ratio"`
	IdealAtomRatio *float64 `json:"ideal_atom_ratio"`
}

type offGas struct {
	Stage     string    `json:"stage"`
	Case      chem.Case `json:"case"`
	Species   string    `json:"species"`
	Moles     float64   `json:"moles"`
	MassGrams float64   `json:"mass_grams"`
}

// stageRelease is gas given off at a constant rate, in minutes from the start of the first phase.
type stageRelease struct {
	Stage          string    `json:"stage"`
	Case           chem.Case `json:"case"`
	Species        string    `json:"species"`
	StartMinute    float64   `json:"start_minute"`
	EndMinute      float64   `json:"end_minute"`
	GramsPerMinute float64   `json:"grams_per_minute"`
}

type stageTimes struct {
	Stage               string      `json:"stage"`
	Furnace             string      `json:"furnace"`
	Phases              []phaseTime `json:"phases"`
	EnergyKilowattHours float64     `json:"energy_kilowatt_hours"`
	MassInGrams         float64     `json:"mass_in_grams"`
	MassOutGrams        float64     `json:"mass_out_grams"`
}

type phaseTime struct {
	Phase           heat.PhaseKind `json:"phase"`
	DurationMinutes int32          `json:"duration_minutes"`
	Watch           heat.Watch     `json:"watch"`
}

// stageAir is the air of the furnace's room while one stage fires in it.
type stageAir struct {
	Stage                    string            `json:"stage"`
	Room                     string            `json:"room"`
	FlowCubicMetersPerSecond float64           `json:"flow_cubic_meters_per_second"`
	Species                  []stageSpeciesAir `json:"species"`
	MixtureRatio             float64           `json:"mixture_ratio"`
}

// stageSpeciesAir is one gas of it with its course over time.
type stageSpeciesAir struct {
	speciesAir
	Series render.Messages[*saggarv1.ConcentrationPoint] `json:"series"`
}

func newRecipeCheck(m *saggarv1.CheckRecipeResponse, from source) recipeCheck {
	answer := recipeCheck{
		Findings: each(m.GetFindings(), from.finding), WeighOut: each(m.GetWeighOut(), newWeighedOut),
		Balance: each(m.GetBalance(), newElementBalance), OffGas: each(m.GetOffGas(), newOffGas),
		Stages: each(m.GetStages(), newStageTimes), Air: each(m.GetAir(), newStageAir),
		Heat: m.GetHeat(), Conversions: m.GetConversions(), Atmospheres: m.GetAtmospheres(),
		Releases: each(m.GetReleases(), newStageRelease), Near: m.GetNear(), FanFailures: m.GetFanFailures(),
		LimitingElement: m.GetLimitingElement(), IdealProductGrams: m.GetIdealProductGrams(),
		Assumptions: m.GetAssumptions(), Caution: m.GetCaution(),
	}
	return answer
}

// each converts a list; an empty one is no null in JSON.
func each[M, V any](list []M, to func(M) V) []V {
	values := make([]V, 0, len(list))
	for _, m := range list {
		values = append(values, to(m))
	}
	return values
}

func (s source) finding(m *saggarv1.Finding) recipeFinding {
	f := convert.FindingFromProto(m)
	answer := recipeFinding{
		Severity: f.Severity, Code: f.Code, Field: f.Field, About: f.About, Message: f.Message, Figures: f.Figures, Cure: f.Cure,
		Source: f.Source,
	}
	if answer.Figures == nil {
		answer.Figures = []finding.Figure{}
	}
	if inRecipe(f.Field) {
		answer.Line = s.lines.Of(s.path + f.Field)
	}
	return answer
}

var firstOfPath = regexp.MustCompile(`^[a-z_]+`)

// inRecipe reports whether a path begins with a field of a recipe.
func inRecipe(path string) bool {
	first := protoreflect.Name(firstOfPath.FindString(path))
	return (&saggarv1.Recipe{}).ProtoReflect().Descriptor().Fields().ByName(first) != nil
}

func newWeighedOut(m *saggarv1.WeighedMaterial) weighedOut {
	return weighedOut{Stage: m.GetStage(), Material: m.GetMaterial(), MassGrams: m.GetMassGrams()}
}

func newElementBalance(m *saggarv1.BalanceLine) elementBalance {
	return elementBalance{
		Stage: m.GetStage(), Element: m.GetElement(), InMoles: m.GetInMoles(), ProductMoles: m.GetProductMoles(),
		OffGasMoles: m.GetOffGasMoles(), LeftOverMoles: m.GetLeftOverMoles(), AtomRatio: m.AtomRatio,
		IdealAtomRatio: m.IdealAtomRatio,
	}
}

func newStageRelease(m *saggarv1.StageRelease) stageRelease {
	return stageRelease{
		Stage: m.GetStage(), Case: convert.OffGasCaseFromProto(m.GetCase()), Species: m.GetSpecies(),
		StartMinute: m.GetStartMinute(), EndMinute: m.GetEndMinute(), GramsPerMinute: m.GetGramsPerMinute(),
	}
}

func newOffGas(m *saggarv1.OffGasLine) offGas {
	return offGas{
		Stage: m.GetStage(), Case: convert.OffGasCaseFromProto(m.GetCase()), Species: m.GetSpecies(), Moles: m.GetMoles(),
		MassGrams: m.GetMassGrams(),
	}
}

func newStageTimes(m *saggarv1.StageTimes) stageTimes {
	return stageTimes{
		Stage: m.GetStage(), Furnace: m.GetFurnace(), EnergyKilowattHours: m.GetEnergyKilowattHours(),
		MassInGrams: m.GetMassInGrams(), MassOutGrams: m.GetMassOutGrams(),
		Phases: each(m.GetPhases(), func(p *saggarv1.PhaseTime) phaseTime {
			return phaseTime{
				Phase: convert.PhaseKindFromProto(p.GetPhase()), DurationMinutes: p.GetDurationMinutes(),
				Watch: convert.WatchFromProto(p.GetWatch()),
			}
		}),
	}
}

func newStageAir(m *saggarv1.RoomAir) stageAir {
	return stageAir{
		Stage: m.GetStage(), Room: m.GetRoom(), FlowCubicMetersPerSecond: m.GetFlowCubicMetersPerSecond(),
		Species: each(m.GetSpecies(), func(species *saggarv1.SpeciesAir) stageSpeciesAir {
			return stageSpeciesAir{speciesAir: newSpeciesAir(species), Series: species.GetSeries()}
		}),
		MixtureRatio: m.GetMixtureRatio(),
	}
}

func newSpeciesAir(m *saggarv1.SpeciesAir) speciesAir {
	return speciesAir{
		Species: m.GetSpecies(), PeakPPM: m.GetPeakPpm(), PeakMinute: m.GetPeakMinute(), Max15MinutePPM: m.GetMax_15MinutePpm(),
		Max8HourPPM: m.GetMax_8HourPpm(), ReentryMinute: m.ReentryMinute,
		FlowNeededCubicMetersPerSecond: m.FlowNeededCubicMetersPerSecond,
		Limits: each(m.GetLimits(), func(l *saggarv1.LimitRatio) limitRatio {
			return limitRatio{
				Authority: l.GetAuthority(), Kind: data.LimitKind(l.GetKind()), AveragingMinutes: l.GetAveragingMinutes(),
				LimitPPM: l.GetLimitPpm(), Ratio: l.GetRatio(), Severity: convert.SeverityFromProto(l.GetSeverity()),
				Source: l.GetSource(),
			}
		}),
	}
}
