//go:build goolm

package matrix

import (
	"os"
	"path/filepath"
	"testing"

	"maunium.net/go/mautrix/crypto/utils"

	"milepost/adapters/matrix/homeserver"
)

func TestCheckKeysBeforeStart(t *testing.T) {
	s := homeserver.Start(t, homeserver.Options{})
	c := Config{Homeserver: s.URL(), User: "@milepost:localhost", Password: "any", Dir: t.TempDir(), Encryption: true, PickleKey: "for tests only"}
	finds(t, look(t, c), map[string]bool{"there is no recovery key": false})
	c.SaveRecoveryKey = func(string) error { t.Error("a check makes a recovery key"); return nil }
	finds(t, look(t, c), map[string]bool{"the recovery key is made at the first start": true})
	c.SaveRecoveryKey = nil
	key := []byte(utils.EncodeBase58RecoveryKey(make([]byte, 32)))
	c.RecoveryKey = string(key)
	finds(t, look(t, c), map[string]bool{"the recovery key is one": true})
	key[7]++ // a letter mistyped
	c.RecoveryKey = string(key)
	finds(t, look(t, c), map[string]bool{"what stands for the recovery key is none": false})

	// A new device finds the keys of an earlier one, and would not start.
	if err := os.WriteFile(filepath.Join(c.Dir, cryptoFile), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	finds(t, look(t, c), map[string]bool{"keys of an earlier device": false})
}
