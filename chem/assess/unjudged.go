package assess

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"saggar/chem"
	"saggar/chem/finding"
)

// CodeAirNotJudged notes a stage that no furnace can do and whose gas was therefore held to no limit.
const CodeAirNotJudged = "AIR_NOT_JUDGED"

// unjudgedAir notes what a stage gives off in the cautious case when no furnace fits it, so that nobody takes silence about the
// air for clean air. Nothing when nothing but water comes off, or no candidate stands in a known room.
func (s Site) unjudgedAir(charge Charge, index int, candidates []string) []finding.Finding {
	gases := gramsOf(charge.Balance.Stages[index].OffGasOf(chem.Cautious))
	var rooms []string
	for _, id := range candidates {
		furnace, _ := s.furnace(id)
		if _, known := s.Rooms[furnace.Room]; known && !slices.Contains(rooms, furnace.Room) {
			rooms = append(rooms, furnace.Room)
		}
	}
	if len(gases) == 0 || len(rooms) == 0 {
		return nil
	}
	slices.Sort(rooms)
	name := charge.Recipe.Stages[index].ID
	found := finding.Finding{
		Severity: finding.Note, Code: CodeAirNotJudged, Field: stagePath(index), About: name,
		Cure: "make the stage fit a furnace: then the air of its room is worked out and held to every limit",
	}
	said := make([]string, 0, len(gases))
	for _, g := range gases {
		said = append(said, fmt.Sprintf("%.4g g of %s", g.MassGrams, g.Species))
		found.Figures = append(found.Figures, finding.Figure{Name: g.Species, Value: g.MassGrams, Unit: "g"})
	}
	found.Message = fmt.Sprintf("stage %s gives off %s in the cautious case; no furnace fits it, so the air of %s was not judged",
		name, strings.Join(said, ", "), strings.Join(rooms, " and "))
	return []finding.Finding{found}
}

// gramsOf are the sums of gases by species, the most first, without water.
func gramsOf(gases []chem.OffGas) []chem.OffGas {
	var sums []chem.OffGas
	for _, g := range gases {
		at := slices.IndexFunc(sums, func(sum chem.OffGas) bool { return sum.Species == g.Species })
		switch {
		case g.Species == "H2O" || g.MassGrams == 0:
		case at < 0:
			sums = append(sums, chem.OffGas{Species: g.Species, MassGrams: g.MassGrams})
		default:
			sums[at].MassGrams += g.MassGrams
		}
	}
	slices.SortStableFunc(sums, func(a, b chem.OffGas) int {
		return cmp.Or(cmp.Compare(b.MassGrams, a.MassGrams), cmp.Compare(a.Species, b.Species))
	})
	return sums
}
