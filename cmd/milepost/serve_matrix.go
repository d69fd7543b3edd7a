package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

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
	var makes string
	if c.matrix.makesRecoveryKey() {
		mc.SaveRecoveryKey, makes = c.matrix.saveRecoveryKey, c.matrix.recoveryKeyAt.file
	}
	m, err := matrix.New(mc)
	if err != nil {
		return nil, err
	}
	return matrixNetwork{m, makes}, nil
}

// matrixNetwork is the adapter as serve runs it, with all its abilities.
type matrixNetwork struct {
	*matrix.Matrix
	makes string // file of the recovery key that is still to be made, "" if none is
}

// Run is of network.
func (n matrixNetwork) Run(ctx context.Context, hear hearer) error { return n.Matrix.Run(ctx, hear) }

// Check is of network. Where the recovery key goes is looked at too: if it can't
// be kept at the first start none is made, and the device stays unsigned.
func (n matrixNetwork) Check(ctx context.Context) []bot.Finding {
	found := n.Matrix.Check(ctx)
	if n.makes == "" {
		return found
	}
	dir := filepath.Dir(n.makes)
	f := bot.Finding{Area: matrix.NetworkName, What: "recovery key: its folder can be written to", OK: true}
	fi, err := os.Stat(dir)
	if err == nil && !fi.IsDir() {
		err = fmt.Errorf("%s is no directory", dir)
	}
	if err == nil {
		err = mayWrite(dir)
	}
	if err != nil {
		f = bot.Finding{Area: matrix.NetworkName, What: "recovery key: its file can't be made in " + dir,
			Mend: err.Error() + "\nmake the folder, for the owner alone: install -d -m 700 " + dir}
	}
	return append(found, f)
}

var (
	_ bot.CardEditor = matrixNetwork{}
	_ bot.Forgetter  = matrixNetwork{}
	_ bot.Receiver   = matrixNetwork{}
	_ bot.Leaver     = matrixNetwork{}
)
