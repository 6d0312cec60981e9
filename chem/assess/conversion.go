package assess

import (
	"saggar/chem"
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
	return nil
}

// ofRates are the assumptions of the rates that were followed.
func (t *Treatment) ofRates() []string {
	var list []string
	for _, conversion := range t.Conversions {
		if conversion.Result != nil {
			list = append(list, conversion.Result.Assumptions...)
		}
	}
	return list
}

// known are the fractions that rates convert in the stages of a charge, with those of one treatment; nil where none is
// tabled for anything in it.
func (c Charge) known(t Treatment) chem.Converted {
	fractions := map[string]float64{}
	for _, conversion := range t.Conversions {
		if fraction, rated := conversion.Fraction(); rated {
			fractions[conversion.Reaction.Name] = fraction
		}
	}
	if len(fractions) == 0 {
		return nil
	}
	known := chem.Converted{c.Recipe.Stages[t.Stage].ID: fractions}
	for stage, earlier := range c.converted {
		if known[stage] == nil {
			known[stage] = earlier
		}
	}
	return known
}

// balanced is the charge's balance with what one treatment converts.
func (s Site) balanced(c Charge, t Treatment) (chem.BalanceResult, error) {
	known := c.known(t)
	if known == nil {
		return c.Balance, nil
	}
	return s.Practice.BalanceConverted(c.Recipe, c.stated, c.Factor, known)
}

// after is the charge as later stages meet it, once a stage's treatment is chosen.
func (s Site) after(c Charge, t Treatment) (Charge, error) {
	known := c.known(t)
	if known == nil {
		return c, nil
	}
	c.converted = known
	return s.worked(c)
}
