package convert

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/chem/heat"
	saggarv1 "saggar/proto/saggar/v1"
)

// The contract's comments say what a message means that leaves something open; each default is held to them here.
func TestWhatAnEmptyMessageMeans(t *testing.T) {
	assert.Equal(t, air.Room{MixingFactor: 3, CrewCount: 1}, RoomFromProto(&saggarv1.Room{}))
	assert.Equal(t, air.Circuit{}, CircuitFromProto(&saggarv1.ExtractionCircuit{}))
	assert.Equal(t, heat.Furnace{
		AmbientCelsius: 20, Control: heat.ByHand, Atmospheres: []heat.Atmosphere{heat.Oxidising},
	}, FurnaceFromProto(&saggarv1.Furnace{}), "capture that was not measured stays zero: chem/air decides")
	assert.Equal(t, &heat.Program{Cooling: heat.CoolClosed}, ProgramFromProto(&saggarv1.HeatProgram{}))
	assert.Equal(t, chem.Material{}, MaterialFromProto(&saggarv1.Material{}))
	assert.Equal(t, chem.Recipe{
		Stages: []chem.Stage{{Atmosphere: heat.Oxidising, Lid: chem.OpenLid}},
	}, RecipeFromProto(&saggarv1.Recipe{Stages: []*saggarv1.Stage{{}}}))
	assert.Equal(t, finding.Finding{Severity: finding.Block}, FindingFromProto(&saggarv1.Finding{}))
}

func TestWhatIsSetIsNoDefault(t *testing.T) {
	room := RoomFromProto(&saggarv1.Room{MixingFactor: 1, CrewCount: 4})
	assert.Equal(t, 1.0, room.MixingFactor)
	assert.Equal(t, 4, room.CrewCount)
	furnace := FurnaceFromProto(&saggarv1.Furnace{
		AmbientCelsius: -5, Atmospheres: []saggarv1.Atmosphere{saggarv1.Atmosphere_ATMOSPHERE_REDUCING},
	})
	assert.Equal(t, -5.0, furnace.AmbientCelsius)
	assert.Equal(t, []heat.Atmosphere{heat.Reducing}, furnace.Atmospheres)
}
