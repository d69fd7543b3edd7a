package homeserver

import (
	"crypto/rand"
	"encoding/pem"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

const (
	configName = "server.yaml"
	keyName    = "matrix_key.pem"
	logName    = "server.log"
	queueName  = "jetstream"

	// ServerName is the part of user and room identifiers after the colon.
	ServerName = "localhost"
)

// pragmas of every database, put where the server takes them for a part of the
// file's name. Writers don't wait for readers then, nor for the disk: data that
// outlive the system are not needed.
const pragmas = "%3F_pragma=journal_mode(WAL)&_pragma=synchronous(OFF)"

// config is the server's own format, version 2. Paths in it are relative to its
// working directory, but for the databases. No two parts may share one.
const config = `version: 2
global:
  server_name: ` + ServerName + `
  private_key: ` + keyName + `
  disable_federation: true
  presence: {enable_inbound: false, enable_outbound: false}
  cache: {max_size_estimated: 32mb}
  jetstream: {storage_path: ` + queueName + `, addresses: []}
app_service_api: {database: {connection_string: "{{db}}/appservice.db{{pragmas}}"}}
client_api:
  registration_disabled: false
  registration_shared_secret: only-for-tests
  rate_limiting: {enabled: false}
federation_api: {database: {connection_string: "{{db}}/federation.db{{pragmas}}"}}
key_server: {database: {connection_string: "{{db}}/keys.db{{pragmas}}"}}
media_api:
  base_path: media
  max_file_size_bytes: {{limit}}
  database: {connection_string: "{{db}}/media.db{{pragmas}}"}
mscs: {database: {connection_string: "{{db}}/mscs.db{{pragmas}}"}}
relay_api: {database: {connection_string: "{{db}}/relay.db{{pragmas}}"}}
room_server: {database: {connection_string: "{{db}}/rooms.db{{pragmas}}"}}
sync_api: {database: {connection_string: "{{db}}/sync.db{{pragmas}}"}}
user_api:
  bcrypt_cost: 4
  account_database: {connection_string: "{{db}}/accounts.db{{pragmas}}"}
logging: [{type: std, level: warn}]
`

// writeConfig fills a new folder with all the server reads.
func writeConfig(dir string, o Options) error {
	limit := o.MediaLimit
	if limit == 0 {
		limit = 10 << 20
	}
	text := strings.NewReplacer(
		"{{db}}", "file://"+(&url.URL{Path: filepath.ToSlash(dir)}).EscapedPath(),
		"{{pragmas}}", pragmas,
		"{{limit}}", strconv.FormatInt(limit, 10)).Replace(config)
	if err := os.WriteFile(filepath.Join(dir, configName), []byte(text), 0o600); err != nil {
		return err
	}
	seed := make([]byte, 32)
	rand.Read(seed) // never fails
	key := pem.EncodeToMemory(&pem.Block{Type: "MATRIX PRIVATE KEY",
		Headers: map[string]string{"Key-ID": "ed25519:" + strings.ToLower(rand.Text()[:6])}, Bytes: seed})
	return os.WriteFile(filepath.Join(dir, keyName), key, 0o600)
}
