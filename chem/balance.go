package chem

import (
	"fmt"
	"math"
	"slices"

	"saggar/chem/finding"
	"saggar/chem/heat"
)

// ElementBalance is one element through one stage in the likely case, in moles. In = Product + OffGas + LeftOver, to
// 1e-9 of In. Ware fired with the charge is left out.
type ElementBalance struct {
	Element string `json:"element"`
	// InMoles is what the charge brings; for oxygen it includes FromAirMoles.
	InMoles       float64 `json:"in_moles"`
	ProductMoles  float64 `json:"product_moles"`
	OffGasMoles   float64 `json:"off_gas_moles"`
	LeftOverMoles float64 `json:"left_over_moles"`
	// FromAirMoles is oxygen that the solids take up beyond what the charge brought; 0 for every other element.
	FromAirMoles float64 `json:"from_air_moles"`
}

// PhaseAmount is a compound that lies in the charge.
type PhaseAmount struct {
	// Compound is its composition, and Formula that in words; only the words are passed on.
	Compound  Formula `json:"-"`
	Formula   string  `json:"formula"`
	Moles     float64 `json:"moles"`
	MassGrams float64 `json:"mass_grams"`
}

// StageBalance is what one stage does to the charge.
type StageBalance struct {
	Stage       string  `json:"stage"`
	PeakCelsius float64 `json:"peak_celsius"` // 0 for bench work
	// MassInGrams is the charge as it goes in, additions and water included; MassOutGrams what stays, in the likely case.
	MassInGrams  float64 `json:"mass_in_grams"`
	MassOutGrams float64 `json:"mass_out_grams"`
	// FreeWaterGrams and BoundWaterGrams are in the charge as it goes in.
	FreeWaterGrams  float64 `json:"free_water_grams"`
	BoundWaterGrams float64 `json:"bound_water_grams"`
	InertGrams      float64 `json:"inert_grams"`
	WareGrams       float64 `json:"ware_grams"`
	// Product is empty when the stage names none; then all that stays counts as product.
	Product         string           `json:"product"`
	ProductMoles    float64          `json:"product_moles"`
	ProductGrams    float64          `json:"product_grams"`
	LimitingElement string           `json:"limiting_element"`
	Elements        []ElementBalance `json:"elements"` // by atomic number
	// Charged is every compound that goes in, free water and what is inert left out.
	Charged []PhaseAmount `json:"charged"`
	// Remaining is everything that stays, the product first, in the likely case.
	Remaining []PhaseAmount `json:"remaining"`
	// OffGas holds both cases, the cautious first.
	OffGas []OffGas `json:"off_gas"`
	// WeighOut is what is put in at this stage.
	WeighOut []WeighedMaterial `json:"weigh_out"`
}

// OffGasOf returns the off-gas of one case.
func (b StageBalance) OffGasOf(c Case) []OffGas {
	return slices.DeleteFunc(slices.Clone(b.OffGas), func(g OffGas) bool { return g.Case != c })
}

// WeighedMaterial is one addition worked out in grams as weighed.
type WeighedMaterial struct {
	Stage     string  `json:"stage"`
	Material  string  `json:"material"`
	MassGrams float64 `json:"mass_grams"`
	// FractionOfIntermediate is set when the mass follows from the intermediate, here from the ideal one: weigh it that day.
	FractionOfIntermediate float64 `json:"fraction_of_intermediate"`
	FedHot                 bool    `json:"fed_hot"`
}

// BalanceResult is a recipe's balance at one scale, stage by stage.
type BalanceResult struct {
	Factor float64        `json:"factor"`
	Stages []StageBalance `json:"stages"`
	// The ideal product is that of the last stage that names one.
	IdealProduct      string  `json:"ideal_product"`
	IdealProductGrams float64 `json:"ideal_product_grams"`
	LimitingElement   string  `json:"limiting_element"`
	// Findings tell of products that cannot form.
	Findings    []finding.Finding `json:"findings"`
	Assumptions []string          `json:"assumptions"`
	Caution     string            `json:"caution"`
}

// maxScaleFactor bounds how far a recipe is scaled.
const maxScaleFactor = 1e4

// Balance works a recipe's balance with the default practice; see Practice.Balance.
func Balance(recipe Recipe, materials Materials, factor float64) (BalanceResult, error) {
	return DefaultPractice().Balance(recipe, materials, factor)
}

// Balance follows the charge through every stage at factor times the recipe's own masses. It returns finding.Faults when
// the recipe, a material it uses or the practice has faults, or when the factor is not in (0, 10000].
func (p Practice) Balance(recipe Recipe, materials Materials, factor float64) (BalanceResult, error) {
	return p.BalanceConverted(recipe, materials, factor, nil)
}

// Converted are the fractions, by stage and then by the name of the reaction, that tabled rates convert where more is known
// of a stage than what it asks for: the furnace's own temperatures and the bed.
type Converted map[string]map[string]float64

// BalanceConverted is Balance with the likely case held to those fractions. A reaction that is not among them goes by the
// program as asked, or by its range where it has no rate.
func (p Practice) BalanceConverted(recipe Recipe, materials Materials, factor float64, known Converted) (BalanceResult, error) {
	stated := materials
	materials, faults := p.checkInput(recipe, stated, factor)
	if err := faults.Err(); err != nil {
		return BalanceResult{}, err
	}
	result := BalanceResult{
		Factor: factor, Findings: []finding.Finding{}, Caution: Caution,
		Assumptions: append(p.assumptions(), stated.assumptions(recipe)...),
	}
	carried := &charge{}
	for i, stage := range recipe.Stages {
		weighed, fedLater, err := addStage(stage, materials, carried, factor)
		if err != nil {
			return BalanceResult{}, err
		}
		balance, after, err := p.balanceStage(stage, batch{carried, fedLater}, factor, known[stage.ID])
		if err != nil {
			return BalanceResult{}, err
		}
		balance.WeighOut = weighed
		result.Assumptions = append(result.Assumptions, stage.override(&balance, factor)...)
		if balance.Product != "" {
			result.IdealProduct, result.IdealProductGrams = balance.Product, balance.ProductGrams
			result.LimitingElement = balance.LimitingElement
		}
		if balance.Product != "" && balance.ProductMoles == 0 {
			result.Findings = append(result.Findings, productNotFormed(i, balance))
		}
		result.Stages = append(result.Stages, balance)
		carried = after
	}
	return result, nil
}

// checkInput returns the materials with the mixtures resolved, and everything that is wrong.
func (p Practice) checkInput(recipe Recipe, materials Materials, factor float64) (Materials, finding.Faults) {
	faults := recipe.Validate(materials)
	faults.AddUnder("practice", p.Validate())
	if !(factor > 0 && factor <= maxScaleFactor) {
		faults.Add("factor", fmt.Sprintf("%g is not in (0, %g]", factor, maxScaleFactor), "give 1 for the recipe's own masses")
	}
	resolved, wrong := materials.resolveUsed(recipe)
	return resolved, append(faults, wrong...)
}

// batch is a stage's whole charge, and what of it lies in the furnace before anything is fed hot.
type batch struct{ whole, beforeFeed *charge }

// addStage puts a stage's additions into the charge and says what was weighed, and what the charge is without those fed
// hot. A fraction is of the dry charge as it came from the stage before, without the stage's other additions.
func addStage(stage Stage, materials Materials, carried *charge, factor float64) ([]WeighedMaterial, *charge, error) {
	intermediate, beforeFeed := carried.dryGrams(), carried.clone()
	weighed := make([]WeighedMaterial, 0, len(stage.Additions))
	for _, addition := range stage.Additions {
		grams := addition.MassGrams * factor
		if addition.FractionOfIntermediate > 0 {
			grams = addition.FractionOfIntermediate * intermediate
		}
		parts, err := materials[addition.Material].divide(grams)
		if err != nil {
			return nil, nil, err
		}
		carried.putAll(parts)
		if !addition.FedHot {
			beforeFeed.putAll(parts)
		}
		weighed = append(weighed, WeighedMaterial{
			Stage: stage.ID, Material: addition.Material, MassGrams: grams,
			FractionOfIntermediate: addition.FractionOfIntermediate, FedHot: addition.FedHot,
		})
	}
	return weighed, beforeFeed, nil
}

func (p Practice) balanceStage(stage Stage, in batch, factor float64, known map[string]float64) (StageBalance, *charge, error) {
	var product Formula
	if stage.Product != "" {
		var err error
		if product, err = ParseFormula(stage.Product); err != nil {
			return StageBalance{}, nil, err
		}
	}
	work := stageWork{stage, product, factor, known}
	_, cautiousGas, err := p.fireBatch(work, in, Cautious)
	if err != nil {
		return StageBalance{}, nil, err
	}
	likely, likelyGas, err := p.fireBatch(work, in, Likely)
	if err != nil {
		return StageBalance{}, nil, err
	}
	after := likely.charge.clone()
	after.put(likely.product)
	balance := StageBalance{
		Stage: stage.ID, PeakCelsius: stage.peakCelsius(), MassInGrams: in.whole.grams(), MassOutGrams: after.grams(),
		FreeWaterGrams: in.whole.freeWaterGrams(), BoundWaterGrams: in.whole.boundWaterGrams(), InertGrams: after.inertGrams,
		WareGrams: stage.WareGrams * factor, Product: stage.Product, ProductMoles: likely.product.Moles,
		LimitingElement: likely.limiting, Elements: likely.balance(in.whole),
		OffGas: append(cautiousGas, likelyGas...), Charged: stated(in.whole.phases),
	}
	if !product.IsZero() {
		balance.ProductGrams = likely.product.Grams()
	}
	balance.Remaining = remaining(likely)
	return balance, after, nil
}

// stageWork is what a stage does, whatever it is done to.
type stageWork struct {
	stage   Stage
	product Formula
	factor  float64
	// converted is by the reaction's name, where it is known.
	converted map[string]float64
}

// fireBatch fires the whole batch in one case. Of its gas, what the part that was there before the feed would not have
// given counts as coming from what was fed hot.
func (p Practice) fireBatch(work stageWork, in batch, c Case) (*firing, []OffGas, error) {
	whole, err := p.fire(work, in.whole, c)
	if err != nil {
		return nil, nil, err
	}
	gases := whole.offGas(p)
	if !slices.ContainsFunc(work.stage.Additions, func(a Addition) bool { return a.FedHot }) {
		return whole, gases, nil
	}
	before, err := p.fire(work, in.beforeFeed, c)
	if err != nil {
		return nil, nil, err
	}
	return whole, splitFed(gases, before.offGas(p)), nil
}

// fire runs one stage in one case on a copy of the charge.
func (p Practice) fire(work stageWork, in *charge, c Case) (*firing, error) {
	stage := work.stage
	f := &firing{which: c, atmosphere: stage.Atmosphere, peakCelsius: stage.peakCelsius(), charge: in.clone()}
	switch {
	case stage.Program != nil:
		f.segments, f.temperatures, f.converted = stage.Program.Segments, stage.temperatures(), work.converted
		f.sulfatesReduce = stage.reducesSulfates(in)
		f.dry(f.share(rules().freeWater))
		f.form(work.product)
		f.breakDown()
		if c == Cautious && f.product.Moles > 0 && f.ruleFor(f.product.Formula) == nil {
			f.product = f.strip(f.product, bindableElements)
		}
		f.fireWare(stage.WareGrams*work.factor, p)
	case stage.Kind == Dry:
		f.peakCelsius = rules().freeWater.HighCelsius
		f.dry(1)
	}
	return f, f.conserves(in)
}

// reducesSulfates reports whether uncombined carbon meets sulfates in a reducing stage hot enough for it.
func (s Stage) reducesSulfates(in *charge) bool {
	carbon := rules().byPhase[elemental("C").key()]
	return s.Atmosphere == heat.Reducing && s.peakCelsius() >= carbon.LowCelsius && in.elementalMoles("C") > 0
}

// conserves reports a bug: an element, oxygen aside, that went missing or came from nowhere.
func (f *firing) conserves(in *charge) error {
	before := in.moles()
	after := f.charge.moles()
	after.Add(f.product.Formula.counts, f.product.Moles)
	after.Add(f.fromCharge(), 1)
	for _, symbol := range before.Symbols() {
		if symbol != "O" && math.Abs(before[symbol]-after[symbol]) > conservedTo*before[symbol] {
			return fmt.Errorf("bug: %s in %g mol, out %g mol", symbol, before[symbol], after[symbol])
		}
	}
	return nil
}

// conservedTo is the relative error allowed in an element's balance.
const conservedTo = 1e-9

// balance lists every element of the charge that went in. Oxygen closes with the air: what the solids lose goes off,
// what they gain came from it.
func (f *firing) balance(in *charge) []ElementBalance {
	before, left := in.moles(), f.charge.moles()
	product := Moles{}
	product.Add(f.product.Formula.counts, f.product.Moles)
	if !f.named {
		product, left = left, Moles{}
	}
	gone := f.fromCharge()
	all := Moles{}
	for _, part := range []Moles{before, product, left} {
		all.Add(part, 1)
	}
	list := make([]ElementBalance, 0, len(all))
	for _, symbol := range all.Symbols() {
		row := ElementBalance{
			Element: symbol, InMoles: before[symbol], ProductMoles: product[symbol],
			OffGasMoles: gone[symbol], LeftOverMoles: left[symbol],
		}
		if symbol == "O" {
			row.FromAirMoles = math.Max(0, product[symbol]+left[symbol]-before[symbol])
			if row.FromAirMoles < conservedTo*before[symbol] {
				row.FromAirMoles = 0 // rounding
			}
			row.InMoles += row.FromAirMoles
			row.OffGasMoles = math.Max(0, row.InMoles-product[symbol]-left[symbol])
		}
		list = append(list, row)
	}
	return list
}

func remaining(f *firing) []PhaseAmount {
	amounts := f.charge.phases
	if f.product.Moles > 0 {
		amounts = append([]Amount{f.product}, amounts...)
	}
	return stated(amounts)
}

func stated(amounts []Amount) []PhaseAmount {
	list := make([]PhaseAmount, 0, len(amounts))
	for _, amount := range amounts {
		list = append(list, PhaseAmount{amount.Formula, amount.Formula.String(), amount.Moles, amount.Grams()})
	}
	return list
}

func productNotFormed(index int, balance StageBalance) finding.Finding {
	return finding.Finding{
		Severity: finding.Warn,
		Code:     "CHARGE_PRODUCT_NOT_FORMED",
		Field:    fmt.Sprintf("stages[%d].product", index),
		About:    balance.Stage,
		Message: fmt.Sprintf("%s cannot form at stage %s: the charge holds no %s that is free at %g C",
			balance.Product, balance.Stage, balance.LimitingElement, balance.PeakCelsius),
		Cure:   "add a material that holds the element, or fire hotter",
		Source: "the stage's element balance",
	}
}
