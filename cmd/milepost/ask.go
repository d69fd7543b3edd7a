package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"

	"milepost/adapters/sqlite"
	"milepost/adapters/terminal"
	"milepost/bot"
)

// ask has something done by the running program, or does it here where none
// runs.
func ask(ctx context.Context, s *streams, data *dataFlag, q request) (*bot.Erased, error) {
	from, err := data.source()
	if err != nil {
		return nil, err
	}
	// That there is a store: opening it to write would make one.
	r, err := openToRead(ctx, s, from)
	if err != nil {
		return nil, err
	}
	if q.Do == "erase" && !strings.Contains(q.What, ":") {
		q.What, err = r.person(ctx, q.What)
	}
	if err := errors.Join(err, r.close()); err != nil {
		return nil, err
	}
	h, err := openToWrite(ctx, s, from, equipment{log: s.log(slog.LevelWarn), networks: silent(s, from, q)})
	var held *sqlite.LockedError
	if errors.As(err, &held) {
		e, asked := knock(ctx, from.dir, q)
		if errors.Is(asked, errNobody) {
			return nil, fmt.Errorf("%w; it has no socket that answers", held)
		}
		return e, asked
	}
	if err != nil {
		return nil, err
	}
	e, err := h.do(ctx, q)
	return e, errors.Join(err, h.close())
}

// silent gives the networks for an erasure without a running program: none is
// talked to, but each removes what it has kept of its own.
func silent(s *streams, from source, q request) func(*house) ([]bot.Network, error) {
	if q.Do != "erase" {
		return nil
	}
	return func(h *house) ([]bot.Network, error) {
		if from.cfg == nil {
			if owner, err := ownerOf(from.dir); err != nil || owner != ownerServe {
				return nil, err
			}
			return nil, errors.New("this store is one of serve, whose networks keep something of their own: erase with --config FILE")
		}
		if err := from.cfg.readSecrets(); err != nil {
			return nil, err
		}
		nets, err := makeNetworks(s.wires(), from.cfg, kit{dir: h.dir, blobs: h.store, log: s.log(slog.LevelWarn)})
		return asBot(nets), err
	}
}

// person tells a job's number from the name of somebody who wrote here.
func (h *house) person(ctx context.Context, what string) (string, error) {
	for _, shop := range h.shops {
		jobs, err := h.store.Jobs(ctx, shop)
		if err != nil {
			return "", err
		}
		if slices.Contains(jobs, strings.ToLower(what)) {
			return strings.ToLower(what), nil
		}
	}
	return string(terminal.Identity(what)), nil
}
