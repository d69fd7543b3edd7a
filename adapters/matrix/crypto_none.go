//go:build !goolm

package matrix

import (
	"context"

	"maunium.net/go/mautrix"

	"milepost/bot"
)

// hasEncryption says whether this build can serve encrypted rooms.
const hasEncryption = false

func openCipher(context.Context, *mautrix.Client, Config) (cipher, error) {
	return nil, errNoEncryption
}

// keyFindings says how encryption stands, without a cipher and without changing
// anything: for a configuration that is tried.
func keyFindings(_ context.Context, _ *mautrix.Client, cfg Config) []bot.Finding {
	return []bot.Finding{recoveryFinding(cfg)}
}

// recoveryFinding says what can be told of the recovery key before it is used.
func recoveryFinding(cfg Config) bot.Finding {
	f := bot.Finding{Area: NetworkName, What: "encryption: not in this build", OK: !cfg.Encryption}
	if !f.OK {
		f.Mend = "build with -tags goolm, or set encryption = false"
	}
	return f
}
