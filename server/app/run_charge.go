package app

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"saggar/chem"
	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

// codeLotChanged is of findings that a run rests on a lot that was weighed since and holds another moisture.
const codeLotChanged = "LOT_CHANGED"

// runInputs are what a run request rests on, read: the recipe's version as the run does it, from its start on and with the
// lots named, and the materials.
type runInputs struct {
	at        runAt
	recipe    chem.Recipe
	materials chem.Materials
	started   *chem.Started // nil: the run begins with the recipe
	scale     chem.Scale    // as asked for; of a run from a lot all of it when nothing is asked for
	lots      map[string]domain.Lot
	findings  []finding.Finding
}

// runCharge is a run request worked out before any furnace is chosen.
type runCharge struct {
	runInputs
	charge assess.Charge
	draws  []domain.LotDraw
}

// readRun reads what a run request rests on. Errors: finding.Faults below the run's field; domain.ErrNotFound for the recipe.
func readRun(ctx context.Context, tx *store.Tx, studioKey int64, practice chem.Practice, at runAt) (runInputs, error) {
	in := runInputs{at: at, scale: at.request.Scale}
	var err error
	if in.recipe, err = tx.Recipe(ctx, studioKey, at.request.RecipeID, at.request.RecipeVersion); err != nil {
		return in, err
	}
	if in.lots, err = tx.Lots(ctx, studioKey, at.request.lotIDs()); err != nil {
		return in, err
	}
	if err := underPath(at.field, in.missingLots().Err()); err != nil {
		return in, err
	}
	ids := materialIDs(in.recipe)
	for _, lot := range in.lots {
		if !lot.IsIntermediate() {
			ids = append(ids, lot.Material)
		}
	}
	if in.materials, err = withParts(ctx, tx, studioKey, ids); err != nil {
		return in, err
	}
	if err := in.start(practice); err != nil {
		return in, underPath(at.field, err)
	}
	in.findings = append(in.ofOthers(), in.changedLots()...)
	return in, underPath(at.field, in.draw())
}

// lotIDs are the lots that a request names, each once.
func (r RunRequest) lotIDs() []string {
	var ids []string
	for _, draw := range r.Draws {
		ids = append(ids, draw.Lot)
	}
	if r.FromLot != "" {
		ids = append(ids, r.FromLot)
	}
	slices.Sort(ids)
	return slices.Compact(ids)
}

// key is the same for requests of one studio that are worked out alike.
func (in *runInputs) key() string {
	return fmt.Sprintf("%s %d %v %q %q %v", in.recipe.ID, in.recipe.Version, in.scale, in.at.request.StartStage, in.at.request.FromLot,
		in.at.request.Draws)
}

// missingLots are the faults of lots that do not stand, and of a start without its lot.
func (in *runInputs) missingLots() finding.Faults {
	var faults finding.Faults
	missing := func(field, id string) {
		if _, stands := in.lots[id]; !stands && id != "" {
			faults.Add(field, fmt.Sprintf("there is no lot %q", id), "name one that stands, as 'lot list' shows them")
		}
	}
	missing("from_lot", in.at.request.FromLot)
	for i, draw := range in.at.request.Draws {
		missing(fmt.Sprintf("lot_draws[%d].lot", i), draw.Lot)
	}
	if in.at.request.StartStage != "" && in.at.request.FromLot == "" {
		faults.Add("from_lot", "a start stage is given without the lot that it starts from", "name the lot, or leave start_stage out")
	}
	return faults
}

// drawn is what the run, when it stands already, reserves and has taken of lots.
func (at runAt) drawn() []domain.LotDraw {
	if at.standing == nil {
		return nil
	}
	return at.standing.Draws
}

// available is what a run may take of a lot: what is free, and what it has reserved or taken already.
func (in *runInputs) available(lot domain.Lot) domain.Micrograms {
	available := lot.Free()
	for _, d := range in.at.drawn() {
		if d.Lot == lot.ID && d.State != domain.DrawReleased {
			available += d.Mass
		}
	}
	return available
}

// start lets the recipe start from the lot that the request names, if any.
func (in *runInputs) start(practice chem.Practice) error {
	lot, named := in.lots[in.at.request.FromLot]
	if !named {
		return nil
	}
	free := in.available(lot)
	if free <= 0 {
		return finding.Faults{{
			Field: "from_lot", Message: fmt.Sprintf("nothing of lot %s is free: %.6g g are there, and runs have reserved %.6g g",
				lot.ID, lot.OnHand.Grams(), lot.Reserved.Grams()), Cure: "take another lot, make more of it, or cancel a run that reserved it",
		}}
	}
	started, err := practice.StartFrom(in.recipe, in.materials, chem.Start{Stage: in.at.request.StartStage, Lot: lot.Holding(free)})
	if err != nil {
		return err
	}
	in.started, in.recipe, in.materials, in.scale = &started, started.Recipe, started.Materials, started.Scaled(in.scale)
	return nil
}

// leastHeld is enough of a lot for its description to be reckoned with.
const leastHeld domain.Micrograms = 1

// draw puts the lots in that the request names for additions.
func (in *runInputs) draw() error {
	var draws []chem.Draw
	for _, d := range in.at.request.Draws {
		draws = append(draws, chem.Draw{Stage: d.Stage, Material: d.Material, Lot: in.lots[d.Lot].Holding(leastHeld)})
	}
	for _, f := range chem.OfOtherMaterials(in.materials, draws) {
		f.Field = in.at.field + ".lot_" + f.Field
		in.findings = append(in.findings, f)
	}
	recipe, materials, err := in.recipe.DrawnFrom(in.materials, draws)
	if err != nil {
		faults := slices.Clone(finding.FaultsOf(err))
		for i := range faults {
			faults[i].Field = "lot_" + faults[i].Field
		}
		return faults
	}
	in.recipe, in.materials = recipe, materials
	return nil
}

// ofOthers refuses lots of another department that is not open to this one.
func (in *runInputs) ofOthers() []finding.Finding {
	var found []finding.Finding
	for _, id := range slices.Sorted(maps.Keys(in.lots)) {
		if lot := in.lots[id]; !lot.OpenTo(in.at.request.Department) {
			found = append(found, finding.Finding{
				Severity: finding.Block, Code: "LOT_OF_OTHERS", Field: in.lotField(id), About: id,
				Message: fmt.Sprintf("lot %s is %s's, and others may not take of it", id, lot.Department),
				Cure:    fmt.Sprintf("ask %s to share it, or take another lot", cmp.Or(lot.Owner, lot.Department)),
			})
		}
	}
	return found
}

// changedLots tells of lots that hold another moisture than the run, when it stands already, was checked with: it is worked out
// anew with what they hold now.
func (in *runInputs) changedLots() []finding.Finding {
	if in.at.standing == nil {
		return nil
	}
	var found []finding.Finding
	for _, id := range slices.Sorted(maps.Keys(in.lots)) {
		before, known := in.at.standing.Inputs.Lots[id]
		now := in.lots[id]
		if !known || sameMoisture(before.MoistureFraction, now.MoistureFraction) {
			continue
		}
		severity := finding.Note // it is weighed out already
		if slices.ContainsFunc(in.at.drawn(), func(d domain.LotDraw) bool { return d.Lot == id && d.State == domain.DrawReserved }) {
			severity = finding.Warn
		}
		found = append(found, finding.Finding{
			Severity: severity, Code: codeLotChanged, Field: in.lotField(id), About: id,
			Message: fmt.Sprintf("the run was checked when lot %s held %s of free water, and it holds %s now: this check is made with that", id,
				moistureWords(before.MoistureFraction), moistureWords(now.MoistureFraction)),
			Cure: "read the figures again, and weigh out by them; or dry the lot and weigh it",
		})
	}
	return found
}

// lotField is the path of the request's field that names a lot.
func (in *runInputs) lotField(id string) string {
	i := slices.IndexFunc(in.at.request.Draws, func(d DrawRequest) bool { return d.Lot == id })
	if i < 0 {
		return in.at.field + ".from_lot"
	}
	return fmt.Sprintf("%s.lot_draws[%d]", in.at.field, i)
}

// place gives a path in the recipe as the run does it as one of the run.
func (in *runInputs) place(field string) string {
	if in.started == nil {
		return strings.TrimSuffix(in.at.field+".recipe."+field, ".")
	}
	placed := in.started.Place(field)
	if strings.HasPrefix(placed, "from_lot") {
		return in.at.field + ".from_lot"
	}
	return strings.TrimSuffix(in.at.field+".recipe."+placed, ".")
}

// placed puts findings about the recipe under the run.
func (in *runInputs) placed(findings []finding.Finding) []finding.Finding {
	list := slices.Clone(findings)
	for i := range list {
		list[i].Field = in.place(list[i].Field)
	}
	return list
}

// workOut works the charge out, and what it takes of each lot. Errors: finding.Faults below the run's field.
func (in runInputs) workOut(assessor assess.Site) (runCharge, error) {
	charge, err := assessor.NewCharge(in.recipe, in.materials, in.scale)
	if err != nil {
		return runCharge{}, underPath(in.at.field, err)
	}
	c := runCharge{runInputs: in, charge: charge}
	c.findings = append(c.findings, c.placed(charge.Findings)...)
	if in.started != nil {
		ofLot, err := in.started.Findings(assessor.Practice, charge.Factor, assessor.OnDate)
		if err != nil {
			return runCharge{}, underPath(in.at.field, err)
		}
		for _, f := range ofLot {
			if f.Code == "LOT_TOO_SMALL" {
				continue // said with everything else that is taken of lots
			}
			f.Field = in.at.field + ".from_lot"
			c.findings = append(c.findings, f)
		}
	}
	c.draws = c.takes()
	return c, nil
}

// takes lists what is weighed out of lots, by stage.
func (c *runCharge) takes() []domain.LotDraw {
	var draws []domain.LotDraw
	for i, stage := range c.charge.Balance.Stages {
		for k, weighed := range stage.WeighOut {
			id, ofLot := strings.CutPrefix(weighed.Material, chem.LotMaterial(""))
			if !ofLot {
				continue
			}
			material := ""
			if c.started == nil || i > 0 || k > 0 {
				material = c.materialFor(id, stage.Stage)
			}
			draw := domain.NewLotDraw(c.lots[id], stage.Stage, material, domain.MicrogramsOf(weighed.MassGrams))
			draws = append(draws, draw.Or(c.at.drawn()))
		}
	}
	return draws
}

// materialFor is the material for which a lot is put in at a stage.
func (c *runCharge) materialFor(lotID, stage string) string {
	for _, d := range c.at.request.Draws {
		if d.Lot == lotID && (d.Stage == "" || d.Stage == stage) {
			return cmp.Or(d.Material, c.lots[lotID].Material)
		}
	}
	return c.lots[lotID].Material
}

// keptLots are the lots as they were reckoned with, for the run's record.
func (c *runCharge) keptLots() map[string]chem.Lot {
	if len(c.lots) == 0 {
		return nil
	}
	kept := make(map[string]chem.Lot, len(c.lots))
	for id, lot := range c.lots {
		kept[id] = lot.Holding(max(c.available(lot), leastHeld))
	}
	return kept
}

// lotFindings hold what all runs of a request take of each lot against what of it is free.
func lotFindings(charges []runCharge) []finding.Finding {
	asked, first := map[string]domain.Micrograms{}, map[string]*runCharge{}
	for i := range charges {
		for _, draw := range charges[i].draws {
			if draw.State != domain.DrawReserved {
				continue
			}
			asked[draw.Lot] += draw.Mass
			if first[draw.Lot] == nil {
				first[draw.Lot] = &charges[i]
			}
		}
	}
	var found []finding.Finding
	for _, id := range slices.Sorted(maps.Keys(asked)) {
		c := first[id]
		lot, free := c.lots[id], c.available(c.lots[id])
		f := finding.Finding{Field: c.lotField(id), About: id, Figures: []finding.Figure{
			{Name: "asked", Value: asked[id].Grams(), Unit: "g"}, {Name: "free", Value: free.Grams(), Unit: "g"},
			{Name: "at_hand", Value: lot.OnHand.Grams(), Unit: "g"},
		}}
		switch left := free - asked[id]; {
		case left < 0:
			f.Severity, f.Code = finding.Block, "LOT_SHORT"
			f.Message = fmt.Sprintf("%.6g g of lot %s are asked for, and %.6g g are free: %.6g g are there, of which runs have reserved %.6g g",
				asked[id].Grams(), id, free.Grams(), lot.OnHand.Grams(), (lot.OnHand - free).Grams())
			f.Cure = fmt.Sprintf("make at most %.4g of it, take another lot, or cancel a run that reserved it",
				max(free.Grams(), 0)/asked[id].Grams())
		case left < domain.MicrogramsOf(lot.LowStockGrams):
			f.Severity, f.Code = finding.Note, "LOT_LOW"
			f.Message = fmt.Sprintf("%.6g g of lot %s are left free, less than the %.6g g that it is watched for", left.Grams(), id, lot.LowStockGrams)
			f.Cure = "order or make more of it"
		default:
			continue
		}
		found = append(found, f)
	}
	return found
}

// requestOf asks for a run as it stands, without windows.
func requestOf(run domain.Run) RunRequest {
	request := RunRequest{
		ID: run.ID, Title: run.Title, RecipeID: run.RecipeID, RecipeVersion: run.RecipeVersion, Scale: run.Scale, Department: run.Department,
		StartStage: run.StartStage, FromLot: run.FromLot, Limits: run.Inputs.Limits,
	}
	request.Draws = drawRequests(run)
	return request
}

// drawRequests are a run's draws on lots for its additions, as they were asked for.
func drawRequests(run domain.Run) []DrawRequest {
	var draws []DrawRequest
	for _, d := range run.Draws {
		if d.Material != "" {
			draws = append(draws, DrawRequest{Lot: d.Lot, Material: d.Material, Stage: d.Stage})
		}
	}
	return draws
}
