package main

import (
	"bufio"
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"time"

	"saggar/server/app"
	"saggar/server/config"
	"saggar/server/domain"
)

// headFile keeps where each studio's trace ended, outside the database: one line of JSON a head, only ever appended. Whoever
// alters the database must alter this file too, and every copy of it.
type headFile struct {
	path string
	mu   sync.Mutex
	last map[string]int64 // revision of the last line of each studio
}

// headLine is one line of the file.
type headLine struct {
	Time        time.Time `json:"time"`
	Studio      string    `json:"studio"`
	Revision    int64     `json:"revision"`
	ChainSHA256 string    `json:"chain_sha256"`
}

// openHeads reads which heads were kept before.
func openHeads(path string) (*headFile, error) {
	h := &headFile{path: path, last: map[string]int64{}}
	err := h.each(func(line headLine) { h.last[line.Studio] = line.Revision })
	return h, err
}

// each reads the file from the start; one that is not there is empty.
func (h *headFile) each(fn func(line headLine)) error {
	file, err := os.Open(h.path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	defer file.Close()
	lines := bufio.NewScanner(file)
	for number := 1; lines.Scan(); number++ {
		var line headLine
		if err := json.Unmarshal(lines.Bytes(), &line); err != nil {
			return fmt.Errorf("%s line %d: %w", h.path, number, err)
		}
		fn(line)
	}
	return lines.Err()
}

// of returns a studio's heads in the order in which they were kept.
func (h *headFile) of(studioID string) ([]domain.TraceHead, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	var heads []domain.TraceHead
	var damaged error
	err := h.each(func(line headLine) {
		head := domain.TraceHead{StudioID: line.Studio, Revision: line.Revision, Time: line.Time}
		link, err := hex.DecodeString(line.ChainSHA256)
		if err != nil || len(link) != len(head.ChainSHA256) {
			damaged = fmt.Errorf("%s: %q is no link", h.path, line.ChainSHA256)
			return
		}
		copy(head.ChainSHA256[:], link)
		if line.Studio == studioID {
			heads = append(heads, head)
		}
	})
	return heads, errors.Join(err, damaged)
}

// keep appends the heads that went on since the last time.
func (h *headFile) keep(heads []domain.TraceHead) (err error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	var text []byte
	for _, head := range heads {
		if h.last[head.StudioID] == head.Revision {
			continue
		}
		line, err := json.Marshal(headLine{
			Time: head.Time.UTC(), Studio: head.StudioID, Revision: head.Revision, ChainSHA256: hex.EncodeToString(head.ChainSHA256[:]),
		})
		if err != nil {
			return err
		}
		text = append(append(text, line...), '\n')
	}
	if len(text) == 0 {
		return nil
	}
	if err := os.MkdirAll(filepath.Dir(h.path), 0o711); err != nil {
		return err
	}
	file, err := os.OpenFile(h.path, os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o600)
	if err != nil {
		return err
	}
	if _, err := file.Write(text); err != nil {
		return errors.Join(err, file.Close())
	}
	if err := errors.Join(file.Sync(), file.Close()); err != nil {
		return err
	}
	for _, head := range heads {
		h.last[head.StudioID] = head.Revision
	}
	return nil
}

// startHeads lets verification see the heads that were kept and keeps further ones until it is stopped.
func startHeads(ctx context.Context, operations *app.App, settings config.Config, logger *slog.Logger) (stop func(), err error) {
	file, err := openHeads(settings.TraceFile)
	if err != nil {
		return nil, err
	}
	operations.KeepHeads(file.of)
	ctx, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() {
		keepHeads(ctx, operations, file, settings.TraceEvery, logger)
		close(done)
	}()
	return func() {
		cancel()
		<-done
	}, nil
}

// keepHeads keeps the heads at intervals until the context ends, and once more then.
func keepHeads(ctx context.Context, operations *app.App, file *headFile, every time.Duration, logger *slog.Logger) {
	look := func(ctx context.Context) {
		ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
		defer cancel()
		heads, err := operations.TraceHeads(ctx)
		if err == nil {
			err = file.keep(heads)
		}
		if err != nil {
			logger.Error("the trace's heads could not be kept", "file", file.path, "cause", err)
		}
	}
	ticker := time.NewTicker(every)
	defer ticker.Stop()
	for {
		look(context.WithoutCancel(ctx))
		select {
		case <-ticker.C:
		case <-ctx.Done():
			look(context.WithoutCancel(ctx))
			return
		}
	}
}
