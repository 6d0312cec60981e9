package app

import "saggar/server/domain"

// What a caller may see, in one place. Within a studio its members see equipment, materials, recipes, runs and firings
// alike, since all of them share the room; the rest is limited here. That another studio's things are not seen at all
// follows from the keys of every read, which begin with the studio.

// studiosSeen are the ids of the studios that somebody may see; nil: every one.
func studiosSeen(who domain.Identity) []string {
	if who.ServerRole >= domain.RoleViewer {
		return nil
	}
	ids := []string{}
	for _, m := range who.Memberships {
		ids = append(ids, m.StudioID)
	}
	return ids
}

// mayTouch reports whether the caller may see or change what belongs to somebody.
func (c Call) mayTouch(ownerID string) bool { return !c.OwnOnly || ownerID == c.Caller.ID }

// ownerFilter limits a list to the caller's own, or is empty.
func (c Call) ownerFilter() string {
	if c.OwnOnly {
		return c.Caller.ID
	}
	return ""
}

// seen is a person without what the caller may not see of them: trainings are for themselves and from technician up, how
// the issuer of tokens knows them for stewards.
func (c Call) seen(p domain.Person) domain.Person {
	if !c.mayTouch(p.ID) {
		p.Trainings = nil
	}
	if c.Caller.Role < domain.RoleSteward {
		p.OpenIDSubject = ""
	}
	return p
}

// mayNotice reports whether the caller may know of a change: what happens to keys and feeds is for their holders and
// for stewards, to requests for time for who asked and for technicians.
func (c Call) mayNotice(n *domain.Notice) bool {
	return c.Caller.Role >= n.PrivateTo() || n.Owner == c.Caller.ID
}
