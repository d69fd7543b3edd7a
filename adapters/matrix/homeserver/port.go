package homeserver

import (
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/gofrs/flock"
)

// Ports are taken from below the range from which systems give them to outgoing
// connections: a server that is down for a while must find its own free again.
const (
	firstPort = 20100
	ports     = 2000
)

// reservePort gives a free loopback address that no other test, in whichever
// process, is given before this one ends.
func reservePort(t testing.TB) string {
	t.Helper()
	dir, err := cacheDir("ports")
	if err != nil {
		t.Fatalf("reserve port: %v", err)
	}
	for i := range ports {
		port := firstPort + (os.Getpid()*37+i)%ports // processes side by side begin apart
		lock := flock.New(filepath.Join(dir, strconv.Itoa(port)))
		if held, err := lock.TryLock(); err != nil || !held {
			continue
		}
		addr := fmt.Sprintf("127.0.0.1:%d", port)
		l, err := net.Listen("tcp", addr)
		if err != nil {
			lock.Close()
			continue
		}
		l.Close()
		t.Cleanup(func() { lock.Close() })
		return addr
	}
	t.Fatal("reserve port: none is free")
	return ""
}
