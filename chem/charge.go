package chem

import "slices"

// charge is what lies in the furnace or on the bench at one moment.
type charge struct {
	phases         []Amount
	freeWaterMoles float64
	inertGrams     float64
}

// put adds an amount, joining it to a phase of the same composition.
func (c *charge) put(amount Amount) {
	if amount.Moles <= 0 || amount.Formula.IsZero() {
		return
	}
	key := amount.Formula.key()
	for i, phase := range c.phases {
		if phase.Formula.key() == key {
			c.phases[i].Moles += amount.Moles * amount.Formula.atoms() / phase.Formula.atoms()
			return
		}
	}
	c.phases = append(c.phases, amount)
}

// putAll adds everything that a weighed-out mass consists of.
func (c *charge) putAll(parts Breakdown) {
	for _, phase := range parts.Phases {
		c.put(phase)
	}
	c.freeWaterMoles += parts.FreeWaterGrams / rules().water.MolarMass()
	c.inertGrams += parts.InertGrams
}

// putPart adds a share of another charge.
func (c *charge) putPart(other *charge, share float64) {
	for _, phase := range other.phases {
		c.put(Amount{phase.Formula, phase.Moles * share})
	}
	c.freeWaterMoles += other.freeWaterMoles * share
	c.inertGrams += other.inertGrams * share
}

func (c *charge) clone() *charge {
	copied := *c
	copied.phases = slices.Clone(c.phases)
	return &copied
}

// moles counts every element, free water included.
func (c *charge) moles() Moles {
	total := Moles{}
	for _, phase := range c.phases {
		total.Add(phase.Formula.counts, phase.Moles)
	}
	if c.freeWaterMoles > 0 {
		total.Add(rules().water.counts, c.freeWaterMoles)
	}
	return total
}

// grams is the mass of everything, inert part and free water included.
func (c *charge) grams() float64 {
	total := c.inertGrams + c.freeWaterGrams()
	for _, phase := range c.phases {
		total += phase.Grams()
	}
	return total
}

// dryGrams is the mass of everything but free water.
func (c *charge) dryGrams() float64 { return c.grams() - c.freeWaterGrams() }

func (c *charge) freeWaterGrams() float64 { return c.freeWaterMoles * rules().water.MolarMass() }

// boundWaterGrams is the water that the hydrogen of all phases would give.
func (c *charge) boundWaterGrams() float64 {
	hydrogen := 0.0
	for _, phase := range c.phases {
		hydrogen += phase.Moles * phase.Formula.Count("H")
	}
	return hydrogen / 2 * rules().water.MolarMass()
}

// elementalMoles is how much of an element lies there uncombined.
func (c *charge) elementalMoles(symbol string) float64 {
	for _, phase := range c.phases {
		if isElemental(phase.Formula, symbol) {
			return phase.Moles * phase.Formula.Count(symbol)
		}
	}
	return 0
}

func isElemental(f Formula, symbol string) bool { return len(f.counts) == 1 && f.Count(symbol) > 0 }
