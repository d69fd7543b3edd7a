package matrix

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/id"

	"milepost/bot"
)

// login gives the client a device: the configured token's, else the one made
// with the password at the first start. A new login at each start would leave
// devices behind, and the server forgets transactions with the token. Where the
// server has ended the login only, the password makes a new one of the same
// device, which keeps its keys.
func (m *stint) login(ctx context.Context) error {
	tokens, err := m.state.tokens(ctx, m.cfg)
	if err != nil {
		return err
	}
	if len(tokens) == 0 {
		if m.client.AccessToken, err = m.logIn(ctx, ""); err != nil {
			return err
		}
		return m.whose(ctx)
	}
	for _, token := range tokens {
		m.client.AccessToken = token
		if err = m.whose(ctx); !softLogout(err) {
			break
		}
	}
	if softLogout(err) && m.cfg.Password != "" {
		err = m.logInAgain(ctx, err)
	}
	if errors.Is(err, mautrix.MUnknownToken) {
		return m.tokenGone(err)
	}
	return err
}

// whose asks whose the client's token is, and of which device.
func (m *stint) whose(ctx context.Context) error {
	who, err := m.client.Whoami(ctx)
	switch {
	case err != nil:
		return fmt.Errorf("ask who we are: %w", err)
	case who.UserID != id.UserID(m.cfg.User):
		return &bot.Error{Kind: bot.Invalid, Err: fmt.Errorf("the access token belongs to %.200q, the configuration names %.200q", who.UserID, m.cfg.User)}
	}
	m.client.DeviceID = who.DeviceID
	return m.state.set(ctx, metaDevice, string(who.DeviceID))
}

// tokens gives the configured token and the one of an earlier login, as far as
// there are.
func (s *state) tokens(ctx context.Context, cfg Config) (tokens []string, err error) {
	if cfg.AccessToken != "" {
		tokens = append(tokens, cfg.AccessToken)
	}
	user, err := s.get(ctx, metaUser)
	if err != nil || user != cfg.User {
		return tokens, err
	}
	token, err := s.get(ctx, metaToken)
	if err == nil && token != "" {
		tokens = append(tokens, token)
	}
	return tokens, err
}

// logInAgain logs in as the device we had: gone is why that is needed.
func (m *stint) logInAgain(ctx context.Context, gone error) error {
	device, err := m.state.get(ctx, metaDevice)
	if err != nil {
		return err
	}
	if device == "" {
		return gone
	}
	if m.client.AccessToken, err = m.logIn(ctx, id.DeviceID(device)); err != nil {
		return err
	}
	return m.whose(ctx)
}

// logIn logs in with the password, as a new device or as one we had. If we crash
// before the token is stored, a new device stays at the server without use.
func (m *stint) logIn(ctx context.Context, device id.DeviceID) (string, error) {
	m.client.AccessToken = "" // it is no part of a login
	res, err := m.client.Login(ctx, &mautrix.ReqLogin{
		Type:                     mautrix.AuthTypePassword,
		Identifier:               mautrix.UserIdentifier{Type: mautrix.IdentifierTypeUser, User: m.cfg.User},
		Password:                 m.cfg.Password,
		DeviceID:                 device,
		InitialDeviceDisplayName: m.cfg.DeviceName,
	})
	if err != nil && !transient(err) {
		return "", &bot.Error{Kind: bot.Forbidden, Err: fmt.Errorf("log in as %s: %w: check user and password, or configure an access token", m.cfg.User, err)}
	}
	if err != nil {
		return "", fmt.Errorf("log in: %w", err)
	}
	if device != "" && res.DeviceID != device {
		return "", &bot.Error{Kind: bot.Forbidden, Err: fmt.Errorf("log in as %s: the homeserver makes the device %.200q instead of %.200q: configure an access token of that", m.cfg.User, res.DeviceID, device)}
	}
	err = m.state.tx(ctx, func(tx *sql.Tx) error {
		for k, v := range map[string]string{metaToken: res.AccessToken, metaUser: m.cfg.User, metaDevice: string(res.DeviceID)} {
			if _, err := tx.ExecContext(ctx, "INSERT OR REPLACE INTO meta (k, v) VALUES (?, ?)", k, v); err != nil {
				return err
			}
		}
		return nil
	})
	if device == "" {
		m.cfg.Log.Info("matrix: made a device", "device", res.DeviceID)
	} else {
		m.cfg.Log.Warn("matrix: the homeserver had ended the login; logged in again as the same device", "device", res.DeviceID)
	}
	return res.AccessToken, err
}

// softLogout says whether a refused token is one whose device the server keeps: a
// new login of that device goes on with its keys (Matrix specification,
// client-server API, "Soft logout").
func softLogout(err error) bool {
	var he mautrix.HTTPError
	if !errors.Is(err, mautrix.MUnknownToken) || !errors.As(err, &he) || he.RespError == nil {
		return false
	}
	soft, _ := he.RespError.ExtraData["soft_logout"].(bool)
	return soft
}

// tokenGone says what to do about a token that is refused: nothing helps but a
// person.
func (m *stint) tokenGone(err error) error {
	what := "it was logged out or its device was removed"
	if softLogout(err) {
		what = "the login has ended, its device is still there"
	}
	return &bot.Error{Kind: bot.Forbidden, Err: fmt.Errorf("the homeserver no longer takes the token of %s: %s: %s: %w", m.cfg.User, what, mendToken(m.cfg, err), err)}
}

// mendToken says what helps where a token is refused.
func mendToken(cfg Config, err error) string {
	switch {
	case softLogout(err) && cfg.Password != "":
		return "start again: it logs in as the same device; leave the directory " + cfg.Dir + " where it is"
	case softLogout(err):
		return "configure the password, or a new access token of the same device; leave the directory " + cfg.Dir + " where it is"
	case cfg.AccessToken != "":
		return "configure a new access token; with encrypted rooms also move the directory " + cfg.Dir + " away, as a new device has new keys"
	}
	return "to make a new device move the directory " + cfg.Dir + " away and start again; jobs are not in it"
}
