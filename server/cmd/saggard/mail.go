package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"strings"
	"time"

	"saggar/server/app"
	"saggar/server/config"
	"saggar/server/domain"
	"saggar/server/post"
)

// deliverEvery is how often it is looked who is due for a letter.
const deliverEvery = 5 * time.Second

// startMail sends letters, when a server is given for them, until it is stopped.
func startMail(ctx context.Context, operations *app.App, settings config.Config, logger *slog.Logger) (stop func(), err error) {
	if settings.MailServer == "" {
		return func() {}, nil
	}
	password, err := mailPassword(settings.MailPasswordFile)
	if err != nil {
		return nil, err
	}
	sender, err := post.New(post.Options{
		Server: settings.MailServer, Security: post.Security(settings.MailSecurity), User: settings.MailUser, Password: password,
		From: settings.MailFrom,
	})
	if err != nil {
		return nil, err
	}
	operations.SendMail(sender.Send)
	ctx, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		deliver(ctx, operations, logger)
	}()
	return func() {
		cancel()
		<-done
	}, nil
}

// mailPassword reads a file with one line that nobody else may read.
func mailPassword(path string) (string, error) {
	if path == "" {
		return "", nil
	}
	info, err := os.Stat(path)
	if err != nil {
		return "", fmt.Errorf("mail password: %w", err)
	}
	if info.Mode().Perm()&0o077 != 0 {
		return "", fmt.Errorf("mail password: %s can be read by others (mode %04o): chmod 600 it", path, info.Mode().Perm())
	}
	text, err := os.ReadFile(path)
	return strings.TrimRight(string(text), "\r\n"), err
}

// deliver looks after everybody who is due, again and again until the context ends. What cannot be sent is tried again later;
// the rest of a round waits for the next one then, since it would hardly fare better.
func deliver(ctx context.Context, operations *app.App, logger *slog.Logger) {
	ticker := time.NewTicker(deliverEvery)
	defer ticker.Stop()
	for {
		for ctx.Err() == nil {
			due, err := operations.DeliverMail(ctx)
			if err != nil && ctx.Err() == nil {
				logger.Warn("a letter was not sent", "cause", err)
			}
			_, refused := errors.AsType[domain.LetterRefused](err)
			if !due || err != nil && !refused {
				break
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
		}
	}
}
