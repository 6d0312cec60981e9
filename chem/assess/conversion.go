package assess

import (
	"saggar/chem/heat"
	"saggar/chem/reaction"
)

// convert works out how far what reacts in the charge gets in the furnace as the stage fires it, and finds what falls short.
func (t *Treatment) convert(c Charge) error {
	stage, fireStart := c.Recipe.Stages[t.Stage], t.startOf(heat.Fire)
	along := reaction.InFurnace(t.Heat.Profile, stage.ChargeAtCelsius, t.startOf(heat.Charge)-fireStart)
	along.DepthMillimeters = stage.BedDepthMillimeters
	conversions, found, err := reaction.Convert(reaction.Stage{
		Kind: stage.Kind, Name: stage.ID, Balance: c.Balance.Stages[t.Stage], Along: along,
	})
	if err != nil {
		return err
	}
	t.Conversions = conversions
	for _, f := range found {
		if f.Field = stagePath(t.Stage) + "." + f.Field; f.Field == stagePath(t.Stage)+"." {
			f.Field = stagePath(t.Stage)
		}
		t.Findings = append(t.Findings, f)
	}
	for _, conversion := range conversions {
		if conversion.Result != nil {
			t.Assumptions = once(append(t.Assumptions, conversion.Result.Assumptions...))
		}
	}
	return nil
}
