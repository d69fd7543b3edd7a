package matrix

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"maunium.net/go/mautrix/id"

	"milepost/adapters/own"
)

// cryptoFile is the database of the keys, in Config.Dir. It belongs to one
// device: an older copy of it must never be used again.
const cryptoFile = "crypto.db"

// forgetStored is ForgetPeople where no cipher is open: in a program that does
// not run, or that was made without encryption and finds keys of before.
func forgetStored(ctx context.Context, cfg Config, users []id.UserID) error {
	path := filepath.Join(cfg.Dir, cryptoFile)
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if users = others(users, id.UserID(cfg.User)); len(users) == 0 {
		return nil
	}
	db, err := own.Open(ctx, path)
	if err != nil {
		return fmt.Errorf("forget people's keys: %w", err)
	}
	var tables int // none where the program ended before it made them
	err = db.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_schema WHERE name = 'crypto_account'").Scan(&tables)
	if err == nil && tables > 0 {
		err = forgetPeople(ctx, db, users)
	}
	return errors.Join(err, db.Close())
}

// others leaves out the account's own user, who is never forgotten.
func others(users []id.UserID, own id.UserID) []id.UserID {
	return slices.DeleteFunc(slices.Clone(users), func(u id.UserID) bool { return u == "" || u == own })
}

// forgetPeople removes users from the library's tables: all of them or none.
func forgetPeople(ctx context.Context, db *sql.DB, users []id.UserID) error {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("forget people's keys: %w", err)
	}
	for _, u := range users {
		for _, stmt := range forgetOne {
			if _, err := tx.ExecContext(ctx, stmt, string(u)); err != nil {
				return fmt.Errorf("forget people's keys: %w", errors.Join(err, tx.Rollback()))
			}
		}
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("forget people's keys: %w", err)
	}
	// Deleted bytes are overwritten; VACUUM rebuilds what is left of the pages, and
	// the log beside the database still has the old ones.
	for _, stmt := range []string{"VACUUM", "PRAGMA wal_checkpoint(TRUNCATE)"} {
		if _, err := db.ExecContext(ctx, stmt); err != nil {
			return fmt.Errorf("forget people's keys: %s: %w", strings.ToLower(stmt), err)
		}
	}
	return nil
}

// forgetOne removes one user, table by table. Sessions are kept by the key of
// the device they belong to, so devices go last.
var forgetOne = []string{
	`DELETE FROM crypto_olm_session WHERE sender_key IN (SELECT identity_key FROM crypto_device WHERE user_id = ?1)`,
	`DELETE FROM crypto_message_index WHERE session_id IN (SELECT session_id FROM crypto_megolm_inbound_session
	   WHERE source_user = ?1 OR sender_key IN (SELECT identity_key FROM crypto_device WHERE user_id = ?1))`,
	`DELETE FROM crypto_megolm_inbound_session WHERE source_user = ?1 OR sender_key IN (SELECT identity_key FROM crypto_device WHERE user_id = ?1)`,
	`DELETE FROM crypto_megolm_outbound_session_shared WHERE user_id = ?1`,
	`DELETE FROM crypto_cross_signing_signatures WHERE signed_user_id = ?1 OR signer_user_id = ?1`,
	`DELETE FROM crypto_cross_signing_keys WHERE user_id = ?1`,
	`DELETE FROM crypto_tracked_user WHERE user_id = ?1`,
	`DELETE FROM crypto_device WHERE user_id = ?1`,
}
