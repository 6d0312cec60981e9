package app

import (
	"context"
	"fmt"

	"saggar/server/domain"
	"saggar/server/store"
)

const (
	// changesAtOnce are read in one go while a trace is looked through.
	changesAtOnce = 500
	// mostVerifications look through a trace at one time: each holds a connection for as long as it takes, of which all
	// studios share 16.
	mostVerifications = 2
	// mostTraceFaults is more than anybody needs to see that a trace was tampered with.
	mostTraceFaults = 20
)

// HeadsFunc returns the heads of a studio's trace that were kept outside the database, in the order in which they were kept.
type HeadsFunc func(studioID string) ([]domain.TraceHead, error)

// KeepHeads says where heads kept outside the database are found. Call it before the first request.
func (a *App) KeepHeads(heads HeadsFunc) { a.heads = heads }

// TraceHeads returns where the trace of each studio ends now.
func (a *App) TraceHeads(ctx context.Context) ([]domain.TraceHead, error) {
	var heads []domain.TraceHead
	err := a.store.InSnapshot(ctx, func(ctx context.Context, tx *store.Tx) (err error) {
		heads, err = tx.TraceHeads(ctx)
		return err
	})
	for i := range heads {
		heads[i].Time = a.now()
	}
	return heads, err
}

// ListChanges lists a studio's changes after a revision, oldest first.
func (a *App) ListChanges(ctx context.Context, studioID string, after int64, limit int) ([]domain.Change, error) {
	var changes []domain.Change
	err := a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		changes, err = tx.ListChanges(ctx, studio.Key, after, limit)
		return err
	})
	return changes, err
}

// TraceReport is what looking through a whole trace showed.
type TraceReport struct {
	ChangeCount, UnlinkedCount, HeadCount int
	Head                                  domain.TraceHead
	// Faults are sentences, the earliest first; none: the trace is whole.
	Faults []string
}

// VerifyTrace looks through the whole trace of a studio in one snapshot: that no revision is missing, that each link fits
// what it links, that the last is the studio's, and that every head kept outside the database, or given, still stands in
// it. Few traces at a time are looked through; others wait. Errors: domain.ErrNotFound.
func (a *App) VerifyTrace(ctx context.Context, studioID string, given []domain.TraceHead) (TraceReport, error) {
	select {
	case a.verifying <- struct{}{}:
		defer func() { <-a.verifying }()
	case <-ctx.Done():
		return TraceReport{}, ctx.Err()
	}
	heads := given
	if a.heads != nil {
		kept, err := a.heads(studioID)
		if err != nil {
			return TraceReport{}, err
		}
		heads = append(kept, heads...)
	}
	var walk *traceWalk
	err := a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		walk = newTraceWalk(studio, heads)
		for {
			changes, err := tx.ListChanges(ctx, studio.Key, walk.revision, changesAtOnce)
			if err != nil {
				return err
			}
			for _, c := range changes {
				if err := walk.step(c); err != nil {
					return err
				}
			}
			if len(changes) < changesAtOnce {
				walk.end()
				return nil
			}
		}
	})
	if err != nil {
		return TraceReport{}, err
	}
	return walk.report, nil
}

// traceWalk goes along a trace from its first entry.
type traceWalk struct {
	studio   domain.Studio
	heads    map[int64][][32]byte // by revision
	revision int64                // of the last entry
	link     [32]byte             // of the last entry that has one
	linked   bool
	report   TraceReport
}

func newTraceWalk(studio domain.Studio, heads []domain.TraceHead) *traceWalk {
	w := &traceWalk{studio: studio, heads: map[int64][][32]byte{}}
	for _, head := range heads {
		w.heads[head.Revision] = append(w.heads[head.Revision], head.ChainSHA256)
	}
	w.report.HeadCount = len(heads)
	return w
}

func (w *traceWalk) fault(format string, args ...any) {
	if len(w.report.Faults) < mostTraceFaults {
		w.report.Faults = append(w.report.Faults, fmt.Sprintf(format, args...))
	}
}

func (w *traceWalk) step(c domain.Change) error {
	if c.Revision != w.revision+1 {
		w.fault("revisions %d to %d are missing", w.revision+1, c.Revision-1)
	}
	w.revision = c.Revision
	w.report.ChangeCount++
	if !c.Linked {
		w.report.UnlinkedCount++
		if w.linked {
			w.fault("revision %d has lost its link", c.Revision)
		}
		return nil
	}
	link, err := c.Link(w.studio.ID, w.link)
	if err != nil {
		return err
	}
	if link != c.ChainSHA256 {
		w.fault("revision %d is not what was written, or what came before it is not", c.Revision)
	}
	// The stored link goes on, so that one fault is not told of everything after it.
	w.link, w.linked = c.ChainSHA256, true
	w.compare(c.Revision, c.ChainSHA256)
	return nil
}

// compare holds an entry against the heads that were kept when it was the last.
func (w *traceWalk) compare(revision int64, link [32]byte) {
	for _, kept := range w.heads[revision] {
		if kept != link {
			w.fault("revision %d had another link when it was the last: %x", revision, kept)
		}
	}
}

func (w *traceWalk) end() {
	w.report.Head = domain.TraceHead{StudioID: w.studio.ID, Revision: w.revision, ChainSHA256: w.link}
	if w.studio.Revision != w.revision {
		w.fault("the trace ends at revision %d, the studio is at %d", w.revision, w.studio.Revision)
	}
	if w.studio.ChainSHA256 != w.link {
		w.fault("the trace ends with another link than the studio's")
	}
	for revision := range w.heads {
		if revision > w.revision {
			w.fault("the trace ends at revision %d, and was seen to end at %d", w.revision, revision)
		}
	}
}
