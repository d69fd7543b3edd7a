package main

import (
	"context"

	"milepost/adapters/matrix"
	"milepost/bot"
)

// wireMatrix makes the Matrix network of [matrix].
func wireMatrix(c *config, k kit) (network, error) {
	if c.matrix == nil {
		return nil, nil
	}
	mc := matrix.Config{
		Homeserver:  c.matrix.homeserver,
		User:        c.matrix.user,
		DeviceName:  c.matrix.device,
		AccessToken: c.matrix.token,
		Password:    c.matrix.password,
		PickleKey:   c.matrix.pickleKey,
		RecoveryKey: c.matrix.recoveryKey,
		Dir:         k.own(matrix.NetworkName),
		Encryption:  c.matrix.encryption,
		Servers:     c.matrix.servers,
		May:         c.may(matrix.Identity),
		Patterns:    c.patterns(func(room string) bool { return isMatrixRoom(room) || isMatrixAll(room) }),
		Posts:       c.posts(matrix.NetworkName),
		MaxFile:     c.maxFile(),
		Blobs:       k.blobs,
		Program:     program(),
		Log:         k.log,
	}
	if c.matrix.makesRecoveryKey() {
		mc.SaveRecoveryKey = c.matrix.saveRecoveryKey
	}
	m, err := matrix.New(mc)
	if err != nil {
		return nil, err
	}
	return matrixNetwork{m}, nil
}

// matrixNetwork is the adapter as serve runs it, with all its abilities.
type matrixNetwork struct{ *matrix.Matrix }

// Run is of network.
func (n matrixNetwork) Run(ctx context.Context, hear hearer) error { return n.Matrix.Run(ctx, hear) }

var (
	_ bot.CardEditor = matrixNetwork{}
	_ bot.Forgetter  = matrixNetwork{}
	_ bot.Leaver     = matrixNetwork{}
)
