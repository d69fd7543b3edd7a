//go:build goolm

package matrix

import (
	"context"
	"errors"
	"fmt"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/crypto/ssss"
	"maunium.net/go/mautrix/id"
)

// sign makes our device one that the account's owner has signed, if it is not
// yet. Without that the program works, but some clients refuse to talk to it: so
// what fails here is only logged, and found by Findings.
func (c *olmCipher) sign(ctx context.Context, cfg Config, theirs *mautrix.RespQueryKeys) error {
	c.keys.Lock()
	defer c.keys.Unlock()
	_, has := theirs.MasterKeys[c.client.UserID]
	signed := signing(theirs, c.client.UserID, c.client.DeviceID, c.mach.GetAccount().SigningKey()).OK
	var err error
	switch {
	case has && (signed || cfg.RecoveryKey == ""):
		return nil
	case has:
		err = c.mach.VerifyWithRecoveryKey(ctx, cfg.RecoveryKey)
	case cfg.Password == "":
		return nil
	case cfg.RecoveryKey != "":
		err = c.resumeIdentity(ctx, cfg)
	case cfg.SaveRecoveryKey != nil:
		err = c.makeIdentity(ctx, cfg)
	}
	// Whoever holds these could sign anything as the account: they are not needed again.
	c.mach.CrossSigningKeys = nil
	if err != nil {
		c.log.Warn("matrix: our device could not be signed", "err", err)
	}
	// The machine's view of the account is now what the server says.
	if _, again := c.mach.FetchKeys(ctx, []id.UserID{c.client.UserID}, true); again != nil {
		return unreachable(again)
	}
	if _, err := c.mach.GetOwnCrossSigningPublicKeys(ctx); err != nil {
		return unreachable(err)
	}
	return nil
}

// makeIdentity makes cross-signing keys for an account that has none. The
// recovery key, which opens them, is kept before any of it is in force: nobody
// could use keys whose recovery key was lost. A crash from there on is made good
// by resumeIdentity.
func (c *olmCipher) makeIdentity(ctx context.Context, cfg Config) error {
	switch _, err := c.mach.SSSS.GetDefaultKeyID(ctx); {
	case err == nil:
		return errors.New("make cross-signing keys: the account has a recovery key already: give it, or reset the account's identity in a client")
	case !errors.Is(err, ssss.ErrNoDefaultKeyAccountDataEvent):
		return fmt.Errorf("make cross-signing keys: %w", err)
	}
	key, err := c.mach.SSSS.GenerateAndUploadKey(ctx, "")
	if err != nil {
		return fmt.Errorf("make cross-signing keys: %w", err)
	}
	if err := cfg.SaveRecoveryKey(key.RecoveryKey()); err != nil {
		return fmt.Errorf("make cross-signing keys: the recovery key can't be kept: %w", err)
	}
	if err := c.mach.SSSS.SetDefaultKeyID(ctx, key.ID); err != nil {
		return fmt.Errorf("make cross-signing keys: %w", err)
	}
	return c.publishIdentity(ctx, cfg, key)
}

// resumeIdentity goes on where makeIdentity was cut short.
func (c *olmCipher) resumeIdentity(ctx context.Context, cfg Config) error {
	id, data, err := c.mach.SSSS.GetDefaultKeyData(ctx)
	if err != nil {
		return fmt.Errorf("make cross-signing keys: the recovery key belongs to nothing: move its file away to make new ones: %w", err)
	}
	key, err := data.VerifyRecoveryKey(id, cfg.RecoveryKey)
	if err != nil {
		return fmt.Errorf("make cross-signing keys: the recovery key is not the account's: %w", err)
	}
	return c.publishIdentity(ctx, cfg, key)
}

func (c *olmCipher) publishIdentity(ctx context.Context, cfg Config, key *ssss.Key) error {
	keys, err := c.mach.GenerateCrossSigningKeys()
	if err != nil {
		return fmt.Errorf("make cross-signing keys: %w", err)
	}
	steps := []func() error{
		func() error { return c.mach.UploadCrossSigningKeysToSSSS(ctx, key, keys) },
		func() error {
			return c.mach.PublishCrossSigningKeys(ctx, keys, func(ui *mautrix.RespUserInteractive) any {
				return &mautrix.ReqUIAuthLogin{
					BaseAuthData: mautrix.BaseAuthData{Type: mautrix.AuthTypePassword, Session: ui.Session},
					User:         string(c.client.UserID), Password: cfg.Password,
				}
			})
		},
		func() error { return c.mach.SignOwnDevice(ctx, c.mach.OwnIdentity()) },
		func() error { return c.mach.SignOwnMasterKey(ctx) },
	}
	for _, step := range steps {
		if err := step(); err != nil {
			return fmt.Errorf("make cross-signing keys: %w", err)
		}
	}
	c.log.Info("matrix: cross-signing keys made, our device is signed")
	return nil
}

// forgetIdentity removes what is stored of the account's cross-signing keys.
func (c *olmCipher) forgetIdentity(ctx context.Context) error {
	return c.db.DoTxn(ctx, nil, func(ctx context.Context) error {
		if _, err := c.db.Exec(ctx, "DELETE FROM crypto_cross_signing_signatures WHERE signer_user_id = $1", c.client.UserID); err != nil {
			return err
		}
		_, err := c.db.Exec(ctx, "DELETE FROM crypto_cross_signing_keys WHERE user_id = $1", c.client.UserID)
		return err
	})
}
