//go:build !goolm

package person

import (
	"context"
	"errors"

	"maunium.net/go/mautrix"
)

// CanEncrypt says if people of this build can use encrypted rooms.
const CanEncrypt = false

func newCrypt(context.Context, string, *mautrix.Client, *syncer) (crypt, error) {
	return nil, errors.New("encrypted rooms are not in this build")
}
