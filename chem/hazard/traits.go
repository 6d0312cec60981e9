package hazard

import "slices"

var traits = []Trait{
	Oxidiser, Nitrate, Chlorate, Perchlorate, Permanganate, Chromate, Ferrate, Peroxide, Sulfur, Sulfide,
	Sulfite, Sulfate, Carbon, Organic, Phosphorus, Metal, EnergeticMetal, StrongReducer, WaterReactive,
	MetalOxide, HardOxide, ReducibleSalt, Carbonate, Halogen, Carbide, Silicide, Acid, StrongAlkali, AlkaliSalt,
	EarthAlkaliSalt, Ammonium, Azide, Cyanide, Explosive, HydrogenPeroxide, SilverOxide, AsbestosMineral,
	ChromiumThree, Silica,
}

// Traits lists every trait that a composition can show, each once.
func Traits() []Trait { return slices.Clone(traits) }
