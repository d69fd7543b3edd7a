//go:build !goolm

package matrix

import (
	"context"

	"maunium.net/go/mautrix"
)

// hasEncryption says whether this build can serve encrypted rooms.
const hasEncryption = false

func openCipher(context.Context, *mautrix.Client, Config) (cipher, error) {
	return nil, errNoEncryption
}
