package bottest_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// rule says what packages may import. Of the rules that cover a package the most
// exact one holds. Patterns are an import path, or one with /... at the end for
// all below it and itself.
type rule struct {
	of      string
	ours    []string // packages of this module
	modules []string // of others
	noStd   []string // of the standard library, forbidden
	pure    bool     // no clock of its own: time.Now is not called
}

var (
	outside = []string{"os/...", "net/...", "database/sql/...", "log/...", "math/rand/...", "crypto/rand", "syscall"}
	chance  = []string{"math/rand/...", "crypto/rand"}
)

// rules is the whole of the dependency rule. calib knows nothing of us, flow
// knows calib, bot knows both, adapters know bot and flow's plain types and never
// each other, cmd puts all together.
var rules = []rule{
	{of: "milepost/calib/...", ours: []string{"milepost/calib/..."}, modules: []string{"gonum.org/v1/gonum/..."}, noStd: outside, pure: true},
	{of: "milepost/calib/track", ours: []string{"milepost/calib/..."}, modules: []string{"gonum.org/v1/gonum/...", "github.com/golang/geo/..."}, noStd: outside, pure: true},
	{of: "milepost/flow", ours: []string{"milepost/calib/...", "milepost/flow/..."}, modules: []string{"github.com/looplab/fsm"}, noStd: outside, pure: true},
	{of: "milepost/flow/understand/...", ours: []string{"milepost/calib/...", "milepost/flow/understand/..."}, modules: []string{"github.com/rivo/uniseg", "golang.org/x/text/..."}, noStd: outside, pure: true},
	{of: "milepost/flow/words/...", ours: []string{"milepost/calib/..."}, modules: []string{"github.com/nicksnyder/go-i18n/v2/...", "github.com/BurntSushi/toml", "golang.org/x/text/..."}, noStd: outside, pure: true},
	{of: "milepost/bot", ours: []string{"milepost/bot/...", "milepost/flow/...", "milepost/calib/..."}, modules: []string{"github.com/gabriel-vasile/mimetype", "golang.org/x/mod/sumdb/..."}, noStd: []string{"database/sql/..."}},
	{of: "milepost/bot/journal", modules: []string{"golang.org/x/mod/sumdb/...", "github.com/gowebpki/jcs"}, noStd: append([]string{"os/...", "net/...", "log/...", "database/sql/..."}, chance...), pure: true},
	{of: "milepost/bot/sheet/...", ours: []string{"milepost/bot/sheet/...", "milepost/flow/...", "milepost/calib/..."}, noStd: outside, pure: true},
	{of: "milepost/bot/bottest/...", ours: []string{"milepost/bot/...", "milepost/flow/...", "milepost/calib/..."}, modules: []string{"github.com/gabriel-vasile/mimetype", "golang.org/x/mod/sumdb/...", "golang.org/x/tools/txtar", "github.com/rogpeppe/go-internal/..."}},
	{of: "milepost/adapters/terminal/...", ours: plain("terminal"), modules: []string{"github.com/peterh/liner", "golang.org/x/term", "github.com/rivo/uniseg"}},
	{of: "milepost/adapters/sqlite/...", ours: plain("sqlite"), modules: []string{"modernc.org/sqlite/...", "github.com/gofrs/flock", "golang.org/x/mod/sumdb/..."}},
	{of: "milepost/adapters/postgres/...", ours: plain("postgres"), modules: []string{"github.com/jackc/pgx/v5/...", "golang.org/x/mod/sumdb/..."}},
	{of: "milepost/adapters/own", modules: []string{"modernc.org/sqlite"}},
	{of: "milepost/adapters/matrix/...", ours: append(plain("matrix"), "milepost/adapters/own"), modules: []string{"maunium.net/go/mautrix/...", "go.mau.fi/util/...", "github.com/rs/zerolog/...", "github.com/gofrs/flock", "github.com/gabriel-vasile/mimetype"}},
	{of: "milepost/adapters/matrix/homeserver", modules: []string{"github.com/gofrs/flock"}},
	{of: "milepost/adapters/matrix/person", ours: []string{"milepost/adapters/matrix/homeserver"}, modules: []string{"maunium.net/go/mautrix/...", "go.mau.fi/util/...", "github.com/rs/zerolog/...", "modernc.org/sqlite"}},
	{of: "milepost/adapters/slack/...", ours: append(plain("slack"), "milepost/adapters/own"), modules: []string{"github.com/slack-go/slack/...", "github.com/gofrs/flock", "github.com/gabriel-vasile/mimetype"}},
	{of: "milepost/adapters/slack/workspace", modules: []string{"github.com/coder/websocket/..."}},
	{of: "milepost/adapters/web/...", ours: plain("web"), modules: []string{"github.com/prometheus/client_golang/..."}},
	{of: "milepost/cmd/milepost/demo", ours: []string{"milepost/adapters/terminal", "milepost/bot/...", "milepost/flow/...", "milepost/calib/..."},
		modules: []string{"github.com/rivo/uniseg", "golang.org/x/term"}},
	{of: "milepost/cmd/milepost", ours: []string{"milepost/cmd/milepost/...", "milepost/adapters/...", "milepost/bot/...", "milepost/flow/...", "milepost/calib/..."},
		modules: []string{"github.com/spf13/cobra", "github.com/spf13/pflag", "github.com/BurntSushi/toml", "golang.org/x/term", "golang.org/x/mod/sumdb/...", "github.com/cenkalti/backoff/v5"}},
}

// plain is what an adapter may see of us.
func plain(name string) []string {
	return []string{"milepost/bot", "milepost/bot/journal", "milepost/flow", "milepost/adapters/" + name + "/..."}
}

// forTests is what tests may import besides: downwards as their subject may, the
// suites, and what tests are made with.
var forTests = rule{
	ours: []string{"milepost/bot/bottest/..."},
	modules: []string{"pgregory.net/rapid", "go.uber.org/goleak", "github.com/rogpeppe/go-internal/...", "golang.org/x/mod/sumdb/...",
		"golang.org/x/tools/txtar"},
}

type pkg struct {
	ImportPath, Dir                             string
	GoFiles, Imports, TestImports, XTestImports []string
}

func TestImports(t *testing.T) {
	out, err := exec.Command("go", "list", "-e", "-tags", "goolm", "-json=ImportPath,Dir,GoFiles,Imports,TestImports,XTestImports", "milepost/...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var pkgs []pkg
	for dec := json.NewDecoder(bytes.NewReader(out)); ; {
		var p pkg
		if err := dec.Decode(&p); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		pkgs = append(pkgs, p)
	}
	if len(pkgs) < 5 {
		t.Fatalf("only %d packages were listed", len(pkgs))
	}
	for _, p := range pkgs {
		for _, fault := range check(p) {
			t.Error(fault)
		}
	}
}

// check gives everything that stands against the imports of a package.
func check(p pkg) (faults []string) {
	r, ok := ruleOf(p.ImportPath)
	if !ok {
		return []string{p.ImportPath + ": no rule covers this package"}
	}
	for _, path := range p.Imports {
		if !r.allows(path) {
			faults = append(faults, p.ImportPath+" imports "+path)
		}
	}
	for _, path := range slices.Concat(p.TestImports, p.XTestImports) {
		if !isStd(path) && path != p.ImportPath && !r.allows(path) && !forTests.allows(path) {
			faults = append(faults, "tests of "+p.ImportPath+" import "+path)
		}
	}
	for _, f := range p.GoFiles {
		b, err := os.ReadFile(filepath.Join(p.Dir, f))
		if err != nil {
			faults = append(faults, err.Error())
		}
		if r.pure && bytes.Contains(b, []byte("time.Now(")) {
			faults = append(faults, fmt.Sprintf("%s/%s asks the clock", p.ImportPath, f))
		}
	}
	return faults
}

func ruleOf(path string) (best rule, ok bool) {
	for _, r := range rules {
		if covers(r.of, path) && (!ok || len(r.of) > len(best.of)) {
			best, ok = r, true
		}
	}
	return best, ok
}

func (r rule) allows(path string) bool {
	any := func(patterns []string) bool {
		return slices.ContainsFunc(patterns, func(p string) bool { return covers(p, path) })
	}
	switch {
	case isStd(path):
		return !any(r.noStd)
	case path == "milepost" || strings.HasPrefix(path, "milepost/"):
		return any(r.ours)
	}
	return any(r.modules)
}

func covers(pattern, path string) bool {
	base, all := strings.CutSuffix(pattern, "/...")
	return path == base || all && strings.HasPrefix(path, base+"/")
}

// isStd: paths of the standard library have no dot in their first part.
func isStd(path string) bool {
	first, _, _ := strings.Cut(path, "/")
	return first != "milepost" && !strings.Contains(first, ".")
}

// TestCheckImports tries the rule itself on imports that must not be.
func TestCheckImports(t *testing.T) {
	for _, c := range []struct {
		of, imports string
		test, fault bool
	}{
		{"milepost/calib", "math", false, false},
		{"milepost/calib", "gonum.org/v1/gonum/stat", false, false},
		{"milepost/calib", "github.com/golang/geo/s2", false, true},
		{"milepost/calib", "milepost/calib/unit", false, false},
		{"milepost/calib/unit", "milepost/flow", false, true},
		{"milepost/calib/track", "github.com/golang/geo/s2", false, false},
		{"milepost/calib/track", "pgregory.net/rapid", false, true},
		{"milepost/calib/track", "pgregory.net/rapid", true, false},
		{"milepost/calib/track", "os", false, true},
		{"milepost/calib/track", "os", true, false},
		{"milepost/flow", "net/http", false, true},
		{"milepost/flow", "log/slog", false, true},
		{"milepost/flow", "database/sql", false, true},
		{"milepost/flow", "crypto/rand", false, true},
		{"milepost/flow", "milepost/bot", false, true},
		{"milepost/flow", "milepost/bot", true, true},
		{"milepost/flow", "milepost/calib/tyre", false, false},
		{"milepost/flow/understand", "milepost/flow", false, true},
		{"milepost/flow/understand", "github.com/looplab/fsm", false, true},
		{"milepost/bot/journal", "milepost/flow", false, true},
		{"milepost/bot", "milepost/adapters/sqlite", false, true},
		{"milepost/bot", "milepost/adapters/sqlite", true, true},
		{"milepost/bot", "modernc.org/sqlite", false, true},
		{"milepost/adapters/sqlite", "milepost/bot", false, false},
		{"milepost/adapters/sqlite", "milepost/adapters/terminal", false, true},
		{"milepost/adapters/sqlite", "milepost/calib", false, true},
		{"milepost/adapters/sqlite", "milepost/bot/bottest", false, true},
		{"milepost/adapters/sqlite", "milepost/bot/bottest", true, false},
		{"milepost/adapters/matrix", "milepost/cmd/milepost", false, true},
		{"milepost/cmd/milepost", "milepost/adapters/sqlite", false, false},
		{"milepost/helpers", "fmt", false, true},
	} {
		p := pkg{ImportPath: c.of}
		if c.test {
			p.XTestImports = []string{c.imports}
		} else {
			p.Imports = []string{c.imports}
		}
		if faults := check(p); len(faults) > 0 != c.fault {
			t.Errorf("%s importing %s (test %t): %q, want a fault: %t", c.of, c.imports, c.test, faults, c.fault)
		}
	}
}
