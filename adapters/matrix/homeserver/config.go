package homeserver

import (
	"crypto/rand"
	"encoding/pem"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

const (
	configName = "server.yaml"
	keyName    = "matrix_key.pem"
	logName    = "server.log"

	// ServerName is the part of user and room identifiers after the colon.
	ServerName = "localhost"
)

// config is the server's own format, version 2. Paths in it are relative to its
// working directory. No two parts may share a SQLite file.
const config = `version: 2
global:
  server_name: ` + ServerName + `
  private_key: ` + keyName + `
  disable_federation: true
  presence: {enable_inbound: false, enable_outbound: false}
  cache: {max_size_estimated: 32mb}
  jetstream: {storage_path: jetstream, addresses: []}
app_service_api: {database: {connection_string: "file:appservice.db"}}
client_api:
  registration_disabled: false
  registration_shared_secret: only-for-tests
  rate_limiting: {enabled: false}
federation_api: {database: {connection_string: "file:federation.db"}}
key_server: {database: {connection_string: "file:keys.db"}}
media_api:
  base_path: media
  max_file_size_bytes: %d
  database: {connection_string: "file:media.db"}
mscs: {database: {connection_string: "file:mscs.db"}}
relay_api: {database: {connection_string: "file:relay.db"}}
room_server: {database: {connection_string: "file:rooms.db"}}
sync_api: {database: {connection_string: "file:sync.db"}}
user_api:
  bcrypt_cost: 4
  account_database: {connection_string: "file:accounts.db"}
logging: [{type: std, level: warn}]
`

// writeConfig fills a new folder with all the server reads.
func writeConfig(dir string, o Options) error {
	limit := o.MediaLimit
	if limit == 0 {
		limit = 10 << 20
	}
	if err := os.WriteFile(filepath.Join(dir, configName), fmt.Appendf(nil, config, limit), 0o600); err != nil {
		return err
	}
	seed := make([]byte, 32)
	rand.Read(seed) // never fails
	key := pem.EncodeToMemory(&pem.Block{Type: "MATRIX PRIVATE KEY",
		Headers: map[string]string{"Key-ID": "ed25519:" + strings.ToLower(rand.Text()[:6])}, Bytes: seed})
	return os.WriteFile(filepath.Join(dir, keyName), key, 0o600)
}
