//go:build goolm

package matrix

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"go.mau.fi/util/dbutil"
	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/crypto"
	"maunium.net/go/mautrix/crypto/signatures"
	"maunium.net/go/mautrix/crypto/utils"
	"maunium.net/go/mautrix/id"

	"milepost/bot"
)

const (
	otkFew      = 10
	unusedAfter = 30 * 24 * time.Hour
)

// Findings implements cipher.
func (c *olmCipher) Findings(ctx context.Context) []bot.Finding {
	c.keys.RLock()
	account := c.mach.GetAccount()
	c.keys.RUnlock()
	return inspect(ctx, c.client, c.store.SQLCryptoStore, account)
}

// keyFindings says how encryption stands, without a cipher and without changing
// anything: for a configuration that is tried. The program may run meanwhile.
func keyFindings(ctx context.Context, client *mautrix.Client, cfg Config) []bot.Finding {
	if !cfg.Encryption {
		return nil
	}
	path := filepath.Join(cfg.Dir, cryptoFile)
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return []bot.Finding{good("encryption: no keys yet, they are made at the first start"), standing()}
	}
	raw, err := sql.Open("sqlite", "file:"+(&url.URL{Path: path}).EscapedPath()+"?mode=ro&_pragma=busy_timeout(5000)&_pragma=query_only(1)")
	if err != nil {
		return []bot.Finding{bad("encryption: the keys can't be opened: "+err.Error(), "see that "+path+" can be read")}
	}
	raw.SetMaxOpenConns(1)
	defer raw.Close()
	db, err := dbutil.NewWithDB(raw, "sqlite")
	if err != nil {
		return []bot.Finding{bad("encryption: the keys can't be opened: "+err.Error(), "see that "+path+" can be read")}
	}
	store := crypto.NewSQLCryptoStore(db, nil, string(client.UserID), client.DeviceID, []byte(cfg.PickleKey))
	device, err := store.FindDeviceID(ctx)
	if err == nil && device != "" && client.DeviceID != "" && device != client.DeviceID {
		return []bot.Finding{bad(fmt.Sprintf("encryption: the keys are those of device %s, the access token is that of %s", device, client.DeviceID),
			"give the token of "+string(device)+", or begin with a new device")}
	}
	account, err2 := store.GetAccount(ctx)
	switch {
	case err != nil || err2 != nil:
		return []bot.Finding{bad("encryption: the keys can't be read: "+errors.Join(err, err2).Error(), "check the pickle key")}
	case account == nil:
		return []bot.Finding{good("encryption: no keys yet, they are made at the first start"), standing()}
	}
	store.DeviceID = device
	return inspect(ctx, client, store, account)
}

// inspect compares what is stored with what the server says, asking only.
func inspect(ctx context.Context, client *mautrix.Client, store *crypto.SQLCryptoStore, account *crypto.OlmAccount) []bot.Finding {
	user, device := client.UserID, store.DeviceID
	found := []bot.Finding{good(fmt.Sprintf("encryption: device %s, session key %s", device, account.SigningKey().Fingerprint())), standing()}
	var said string
	switch err := store.DB.QueryRow(ctx, "PRAGMA quick_check(1)").Scan(&said); {
	case err != nil:
		found = append(found, bad("encryption: the key database can't be checked: "+err.Error(), "see that the disk is sound"))
	case said != "ok":
		found = append(found, bad("encryption: the key database is damaged: "+said, "begin with a new device: log in anew and move "+cryptoFile+" away"))
	default:
		found = append(found, good("encryption: the key database is sound"))
	}
	resp, err := client.QueryKeys(ctx, &mautrix.ReqQueryKeys{DeviceKeys: mautrix.DeviceKeysRequest{user: {}}})
	if err != nil {
		return append(found, bad("encryption: the homeserver could not be asked for our keys: "+err.Error(), "see that it is reachable"))
	}
	keys := resp.DeviceKeys[user][device]
	switch {
	case len(keys.Keys) == 0:
		found = append(found, bad("encryption: the homeserver has no keys of device "+string(device), "log in anew: begin with a new device"))
	case keys.Keys.GetEd25519(device) != account.SigningKey() || keys.Keys.GetCurve25519(device) != account.IdentityKey():
		found = append(found, bad("encryption: the homeserver has other keys of device "+string(device), "log in anew: begin with a new device"))
	default:
		found = append(found, good("encryption: the homeserver has the keys of our device"))
	}
	found = append(found, signing(resp, user, device, account.SigningKey()))
	if count, err := client.UploadKeys(ctx, &mautrix.ReqUploadKeys{}); err != nil {
		found = append(found, bad("encryption: one-time keys could not be counted: "+err.Error(), "see that the homeserver is reachable"))
	} else if n := count.OneTimeKeyCounts.SignedCurve25519; n < otkFew {
		found = append(found, bad("encryption: "+amount(n, "one-time key", "one-time keys")+" on the homeserver", "start the program: it uploads more"))
	} else {
		found = append(found, good("encryption: "+amount(n, "one-time key", "one-time keys")+" on the homeserver"))
	}
	return append(found, otherDevices(ctx, client, device)...)
}

// giveRecovery is what to do about a device that is not signed.
const giveRecovery = "name a recovery_key_file: with the account's recovery key, or, if the file is not there yet and a password is given, for new keys"

// recoveryFinding says what can be told of the recovery key before it is used:
// its form. (Of 35 bytes, with parity: Client-Server API, appendix
// "Cryptographic key representation"; as the library reads it.)
func recoveryFinding(cfg Config) bot.Finding {
	switch {
	case cfg.RecoveryKey == "" && cfg.SaveRecoveryKey == nil:
		return bad("cross-signing: there is no recovery key, so the device will not be signed: some clients don't talk to such", giveRecovery)
	case cfg.RecoveryKey == "":
		return good("cross-signing: the recovery key is made at the first start, if the account has none")
	case utils.DecodeBase58RecoveryKey(cfg.RecoveryKey) == nil:
		return bad("cross-signing: what stands for the recovery key is none", "copy it once more: twelve groups of four letters and digits")
	}
	return good("cross-signing: the recovery key is one; whether it is the account's shows at the first start")
}

// signing says whether the account vouches for our device, by the server's own
// answer and the signatures in it.
func signing(resp *mautrix.RespQueryKeys, user id.UserID, device id.DeviceID, own id.Ed25519) bot.Finding {
	master, has := resp.MasterKeys[user]
	self, hasSelf := resp.SelfSigningKeys[user]
	if !has || !hasSelf {
		return bad("cross-signing: the account has no keys, our device is not signed", giveRecovery)
	}
	keys := resp.DeviceKeys[user][device]
	signed := verified(keys, user, self.FirstKey().String(), self.FirstKey())
	chained := verified(self, user, master.FirstKey().String(), master.FirstKey())
	ours := verified(master, user, string(device), own)
	switch {
	case !signed || !chained:
		return bad("cross-signing: the account has keys, our device is not signed", giveRecovery)
	case !ours:
		return bad("cross-signing: our device is signed, but has not signed the account's master key", giveRecovery)
	}
	return good("cross-signing: our device is signed by the account, and the account's master key by our device")
}

func verified(obj any, user id.UserID, keyName string, key id.Ed25519) bool {
	ok, err := signatures.VerifySignatureJSON(obj, user, keyName, key)
	return ok && err == nil
}

// otherDevices lists the account's other devices. People's clients encrypt for each of
// them; none is removed by us.
func otherDevices(ctx context.Context, client *mautrix.Client, device id.DeviceID) []bot.Finding {
	resp, err := client.GetDevicesInfo(ctx)
	if err != nil {
		return []bot.Finding{bad("devices: they could not be listed: "+err.Error(), "see that the homeserver is reachable")}
	}
	var names []string
	old := false
	for _, d := range resp.Devices {
		if d.DeviceID == device {
			continue
		}
		seen := "never seen"
		if d.LastSeenTS > 0 {
			seen = "last seen " + time.UnixMilli(d.LastSeenTS).UTC().Format(time.DateOnly)
		}
		old = old || time.Since(time.UnixMilli(d.LastSeenTS)) > unusedAfter
		names = append(names, fmt.Sprintf("%s (%s)", d.DeviceID, seen))
	}
	switch {
	case len(names) == 0:
		return []bot.Finding{good("devices: ours is the account's only one")}
	case old:
		return []bot.Finding{bad("devices: others of the account: "+strings.Join(names, ", "), "sign out in a client those that are not in use: everybody encrypts for them")}
	}
	return []bot.Finding{good("devices: others of the account: " + strings.Join(names, ", "))}
}

func standing() bot.Finding {
	return good("encryption: by goolm, a Go implementation of Olm and Megolm without a published audit")
}

func good(what string) bot.Finding { return bot.Finding{Area: NetworkName, What: what, OK: true} }

func bad(what, mend string) bot.Finding {
	return bot.Finding{Area: NetworkName, What: what, Mend: mend}
}
