package app

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/server/store"
)

// withParts returns the newest version of each material and of all that mixtures among them hold, by id; those that do not
// stand are left out. Mixtures deeper than chem allows are not followed: chem refuses them.
func withParts(ctx context.Context, tx *store.Tx, studioKey int64, ids []string) (chem.Materials, error) {
	found, asked := chem.Materials{}, map[string]bool{}
	for range chem.MaxMixtureDepth + 2 {
		ids = slices.DeleteFunc(slices.Compact(slices.Sorted(slices.Values(ids))), func(id string) bool { return asked[id] })
		if len(ids) == 0 {
			break
		}
		newest, err := tx.Materials(ctx, studioKey, ids)
		if err != nil {
			return nil, err
		}
		for _, id := range ids {
			asked[id] = true
		}
		maps.Copy(found, newest)
		ids = nil
		for _, material := range newest {
			for _, part := range material.Parts {
				ids = append(ids, part.Material)
			}
		}
	}
	return found, nil
}

// mixturesStand checks, after materials were stored, that every mixture of the studio can be worked out: a new version of a
// part may make one that stood hold itself, or lie too deep. Faults name the materials.
func (l *studioLoad) mixturesStand(ctx context.Context) error {
	all, err := l.tx.ListMaterials(ctx, l.studio.Key, "", 0)
	if err != nil {
		return err
	}
	materials := make(chem.Materials, len(all))
	for _, material := range all {
		materials[material.ID] = material
	}
	var faults finding.Faults
	for _, material := range all {
		if !material.IsMixture() {
			continue
		}
		_, err := materials.Resolved(material.ID)
		for _, fault := range finding.FaultsOf(err) {
			if !slices.Contains(faults, fault) {
				faults = append(faults, fault)
			}
		}
	}
	if err := faults.Err(); err != nil {
		return fmt.Errorf("mixtures: %w", err)
	}
	return nil
}
