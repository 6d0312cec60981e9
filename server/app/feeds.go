package app

import (
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"io"
	"time"

	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

const (
	// feedPast is how far back calendars reach.
	feedPast = 90 * 24 * time.Hour
	// mostAppointments bounds one calendar; the latest are left out, which lie furthest ahead.
	mostAppointments = 5000
	// touchFeedEvery is how exactly a feed's last reading is kept.
	touchFeedEvery = time.Hour
)

// ServeFeeds says under which URL feeds are read, without a slash at its end. Call it before the first request; without it no
// feed is made.
func (a *App) ServeFeeds(base string) { a.feedBase = base }

// CreateFeed makes a feed and returns its address, once; only the SHA-256 of the secret in it is stored.
// Errors: finding.Faults for a subject that does not stand; domain.ErrNotFound; domain.ErrWrongState when the server serves
// none.
func (a *App) CreateFeed(ctx context.Context, call Call, studioID string, given domain.Feed) (address string, made domain.Feed, err error) {
	if a.feedBase == "" {
		return "", made, &domain.Error{
			Kind: domain.ErrWrongState, Message: "this server serves no calendars", Cure: "start saggard with --feed-listen",
		}
	}
	raw := make([]byte, secretBytes+keyIDBytes)
	if _, err := io.ReadFull(a.random, raw); err != nil {
		return "", made, err
	}
	secret := base64.RawURLEncoding.EncodeToString(raw[:secretBytes])
	made = domain.Feed{
		StudioID: studioID, ID: "f" + hex.EncodeToString(raw[secretBytes:]), SecretSHA256: sha256.Sum256([]byte(secret)),
		Owner: call.Caller.ID, Subject: given.Subject, Label: given.Label, CreateTime: a.now(),
	}
	err = a.rosterChange(ctx, call, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (domain.Change, error) {
		made.StudioKey = studio.Key
		if err := feedSubjectStands(ctx, tx, call, made); err != nil {
			return domain.Change{}, err
		}
		return a.logged(call, studio.Revision, "feeds/"+made.ID, nil, loggedFeed(made)), tx.InsertFeed(ctx, made)
	})
	if err != nil {
		return "", domain.Feed{}, err
	}
	return a.feedBase + "/feeds/" + secret + ".ics", made, nil
}

// feedSubjectStands refuses a feed about nothing.
func feedSubjectStands(ctx context.Context, tx *store.Tx, call Call, f domain.Feed) error {
	collection, id := f.About()
	var err error
	switch collection {
	case "people":
		_, err = tx.Person(ctx, f.StudioKey, id)
	case "departments":
		_, err = tx.Department(ctx, f.StudioKey, id)
	default:
		_, err = tx.EquipmentOne(ctx, f.StudioKey, domain.KindFurnace, id)
	}
	if errors.Is(err, domain.ErrNotFound) {
		cure := "name one that stands"
		if collection == "people" {
			cure = "name one of its people, a furnace or a department; or " + addThem(call, id)
		}
		return finding.Faults{{Field: "feed.subject", Message: "there is no " + f.Subject + " in the studio", Cure: cure}}
	}
	return err
}

// loggedFeed is what the log keeps of a feed: nothing by which anybody reads it.
func loggedFeed(f domain.Feed) any {
	return map[string]any{"caller": f.Owner, "subject": f.Subject, "label": f.Label, "revoke_time": f.RevokeTime}
}

// FeedsQuery asks for a page of feeds.
type FeedsQuery struct {
	StudioID      string
	BeforeOrdinal int64 // 0: from the newest
	ShowEnded     bool
	Limit         int
}

// ListFeeds lists feeds, newest first. Who may see only their own gets only those.
func (a *App) ListFeeds(ctx context.Context, call Call, q FeedsQuery) (feeds []domain.Feed, err error) {
	err = a.read(ctx, q.StudioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		feeds, err = tx.ListFeeds(ctx, store.FeedsQuery{
			StudioKey: studio.Key, Owner: call.ownerFilter(), BeforeOrdinal: q.BeforeOrdinal, ShowEnded: q.ShowEnded, Limit: q.Limit,
		})
		return err
	})
	return feeds, err
}

// errNothingToDo ends a transaction that found everything as it shall be.
var errNothingToDo = errors.New("nothing to do")

// RevokeFeed ends a feed for good. Errors: domain.ErrNotFound, also for somebody else's that the caller may not see.
func (a *App) RevokeFeed(ctx context.Context, call Call, studioID, id string) (revoked domain.Feed, err error) {
	err = a.rosterChange(ctx, call, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (entry domain.Change, err error) {
		if revoked, err = tx.Feed(ctx, studio.Key, id); err != nil {
			return entry, err
		}
		if !call.mayTouch(revoked.Owner) {
			return entry, domain.NotFound("feeds/" + id)
		}
		if !revoked.RevokeTime.IsZero() {
			return entry, errNothingToDo
		}
		before := loggedFeed(revoked)
		revoked.RevokeTime = a.now()
		return a.logged(call, studio.Revision, "feeds/"+id, before, loggedFeed(revoked)),
			tx.RevokeFeed(ctx, studio.Key, id, revoked.RevokeTime)
	})
	if errors.Is(err, errNothingToDo) {
		err = nil
	}
	return revoked, err
}

// FeedContents is what a feed shows now.
type FeedContents struct {
	Feed         domain.Feed
	Title        string
	Zone         *time.Location
	Furnaces     map[string]string // titles by id
	Appointments []domain.Appointment
}

// ReadFeed returns what stands under an address's secret. It depends on nothing but what is stored and the day, so that it stays
// the same while nothing changes. Errors: domain.ErrNotFound for a secret that was guessed or revoked, alike.
func (a *App) ReadFeed(ctx context.Context, secret string) (FeedContents, error) {
	if !isSecret(secret) {
		return FeedContents{}, domain.NotFound("feed")
	}
	hash := sha256.Sum256([]byte(secret))
	feed, err := a.store.FindFeed(ctx, hash)
	if err != nil {
		return FeedContents{}, err
	}
	if subtle.ConstantTimeCompare(feed.SecretSHA256[:], hash[:]) != 1 {
		return FeedContents{}, domain.NotFound("feed")
	}
	contents := FeedContents{Feed: feed, Furnaces: map[string]string{}}
	err = a.read(ctx, feed.StudioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		site, err := readSite(ctx, tx, studio)
		if err != nil {
			return err
		}
		contents.Zone = site.Zone
		for id, furnace := range site.Furnaces {
			contents.Furnaces[id] = furnace.Title
		}
		collection, id := feed.About()
		contents.Title = site.Studio.Title + ": " + id
		query := store.AppointmentsQuery{Since: a.now().UTC().Truncate(24 * time.Hour).Add(-feedPast), Limit: mostAppointments}
		switch collection {
		case "people":
			query.Person = id
		case "departments":
			query.Department = id
		default:
			query.Furnace = id
		}
		contents.Appointments, err = tx.Appointments(ctx, studio.Key, query)
		return err
	})
	if err == nil {
		a.touchFeed(ctx, feed)
	}
	return contents, err
}

// touchFeed notes a reading about once an hour, without letting the reader wait.
func (a *App) touchFeed(ctx context.Context, feed domain.Feed) {
	now := a.now()
	if now.Sub(feed.LastReadTime) < touchFeedEvery {
		return
	}
	go func() {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), touchPatience)
		defer cancel()
		_ = a.store.InTx(ctx, func(ctx context.Context, tx *store.Tx) error { return tx.TouchFeed(ctx, feed.StudioKey, feed.ID, now) })
	}()
}
