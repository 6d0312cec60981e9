package heat

// What a charge may hold that a furnace or its other users may suffer from: the words of Furnace.Excludes.
const (
	Sulfur        = "sulfur"
	Chloride      = "chloride"
	Fluoride      = "fluoride"
	VolatileMetal = "volatile_metal"
	Carbon        = "carbon"
)

// Contents lists those words.
func Contents() []string { return []string{Sulfur, Chloride, Fluoride, VolatileMetal, Carbon} }
