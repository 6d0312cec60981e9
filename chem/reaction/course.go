package reaction

// Stand is how far a reaction has come at a minute of the profile.
type Stand struct {
	Minute float64
	// Surface and Mean are the fractions converted at the surface and over the bed; without a depth they are the same.
	Surface, Mean float64
}

// courseSeconds is the longest step of a course, so that one can be read between its points.
const courseSeconds = 300.0

// Course is the reaction's way along a profile, from its first point until all has reacted or the profile ends, fractions that
// never fall. Errors as of Along.
func (r Reaction) Course(q Request) ([]Stand, error) {
	if err := r.faults(q).Err(); err != nil {
		return nil, err
	}
	w := newWalk(r, q)
	w.longest = courseSeconds
	stands := []Stand{{Minute: w.minute}}
	w.along(q.Profile, func() bool {
		stand := Stand{Minute: w.minute, Surface: w.fraction(surfacePlace)}
		if stand.Mean = stand.Surface; w.deep() {
			stand.Mean = w.meanFraction()
		}
		stands = append(stands, stand)
		return !w.done()
	})
	return stands, nil
}
