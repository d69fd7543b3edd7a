// Package homeserver runs a real Matrix homeserver for tests, and a proxy before
// it that does what networks do: it answers late, twice or not at all. Nothing
// of the program imports it.
//
// The server is pinned by the module testdata/homeserver, which also gives it a
// newer SQLite than its own: with that one, a request cut short in a bad moment
// leaves a connection interrupted for ever, and nobody is shown anything more.
// It is built once into the user's cache directory and started once per test on
// a free loopback port, with a folder of its own. Without it (no network for the
// first build) a test is skipped; it fails instead if MILEPOST_REQUIRE, a list
// with commas, holds "homeserver". MILEPOST_HOMESERVER names a binary to use in
// place of ours.
//
// What it does not do: sending is never limited by rate, whatever its
// configuration, and there is no list of threads (404). The server is for tests
// on loopback; it is no longer developed and not one to operate.
package homeserver
