package store

import (
	"context"
	"time"

	"saggar/chem"
	"saggar/server/store/queries"
)

// Material returns a version of a material, 0 for the newest, or domain.ErrNotFound.
func (t *Tx) Material(ctx context.Context, studioKey int64, id string, version int) (chem.Material, error) {
	var body []byte
	var err error
	if version == 0 {
		body, err = t.q.NewestMaterial(ctx, queries.NewestMaterialParams{StudioKey: studioKey, MaterialID: id})
	} else {
		body, err = t.q.GetMaterial(ctx, queries.GetMaterialParams{
			StudioKey: studioKey, MaterialID: id, Version: int32(version),
		})
	}
	if err != nil {
		return chem.Material{}, named(err, "materials", versionOf(id, version))
	}
	return toMaterial(body)
}

// Materials returns the newest version of each material, by id; those that do not stand are left out.
func (t *Tx) Materials(ctx context.Context, studioKey int64, ids []string) (map[string]chem.Material, error) {
	bodies, err := t.q.NewestMaterials(ctx, queries.NewestMaterialsParams{StudioKey: studioKey, MaterialIds: ids})
	if err != nil {
		return nil, err
	}
	return toMaterialMap(bodies)
}

// ListMaterials returns the newest version of each material with an id after the given one, by id, at most limit; 0: all.
func (t *Tx) ListMaterials(ctx context.Context, studioKey int64, after string, limit int) ([]chem.Material, error) {
	bodies, err := t.q.ListMaterials(ctx, queries.ListMaterialsParams{
		StudioKey: studioKey, AfterID: after, MaxRows: int64(limit),
	})
	if err != nil {
		return nil, err
	}
	return decodeAll(bodies, toMaterial)
}

// InsertMaterial stores a new version of a material. Errors: domain.ErrAlreadyExists when the version stands,
// domain.ErrNotFound when there is no such studio.
func (t *Tx) InsertMaterial(ctx context.Context, studioKey int64, m chem.Material, now time.Time) error {
	body, err := encode("material "+m.ID, m)
	if err != nil {
		return err
	}
	return taken(t.q.InsertMaterial(ctx, queries.InsertMaterialParams{
		StudioKey: studioKey, MaterialID: m.ID, Version: int32(m.Version), Body: body, CreateTime: now,
	}), "materials", m.ID)
}

func toMaterial(body []byte) (chem.Material, error) { return decode[chem.Material]("material", body) }

func toMaterialMap(bodies [][]byte) (map[string]chem.Material, error) {
	materials := make(map[string]chem.Material, len(bodies))
	for _, body := range bodies {
		m, err := toMaterial(body)
		if err != nil {
			return nil, err
		}
		materials[m.ID] = m
	}
	return materials, nil
}
