package matrix

import (
	"flag"
	"os"
	"testing"
)

// TestMain lets more tests run at once than there are processors: they wait for
// a homeserver most of the time.
func TestMain(m *testing.M) {
	flag.Parse()
	if err := flag.Set("test.parallel", "6"); err != nil {
		panic(err)
	}
	os.Exit(m.Run())
}
