package bot_test

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"milepost/bot"
	"milepost/bot/bottest"
	"milepost/bot/journal"
	"milepost/flow"
)

func file(name, content string) *bot.Attachment {
	return &bot.Attachment{Name: name, Open: func() (io.ReadCloser, error) { return io.NopCloser(strings.NewReader(content)), nil }}
}

func (r *rig) upload(who string, a *bot.Attachment) []string {
	r.t.Helper()
	in := r.in(who, "")
	in.File = a
	return r.give(in)
}

func TestEvidence(t *testing.T) {
	r := start(t, newMem(), func(c *bot.Config) { c.Shops[0].Policy.MaxFile = 1 << 20 })
	r.say("tech", "new job unit 14")
	nmea := "$GPRMC,081836,A,3751.65,S,14507.36,E,000.0,360.0,130998,011.3,E*62\r\n" // the sentence commonly quoted for RMC
	for _, c := range []struct{ name, content, want string }{
		{"orig.bin", "\x00\x01\x02\x03 data", "file orig.bin application/octet-stream 9 web=false elsewhere=false stretches=-1"},
		{`C:\Users\kim\orig.bin`, "\x00\x01", "file orig.bin application/octet-stream 2"},
		{"../../etc/passwd", "\x00\x02", "file passwd "},
		{"", "\x00\x03", "file file "},
		{"saved.bin", "<!DOCTYPE html><html><title>log in</title>", "file saved.bin text/html 42 web=true"},
		{"saved.bin", "\n\n  <HTML><body>", "web=true"},
		{"empty.bin", "", "fault file.empty"},
		{"big.bin", strings.Repeat("x", 1<<20+1), "fault file.too_large"},
		{"track.nmea", nmea, "stretches=0"},
		{"photo.jpg", "\xff\xd8\xff\xe0\x00\x10JFIF", "file photo.jpg image/jpeg"},
	} {
		got := r.upload("tech", file(c.name, c.content))
		if len(got) != 1 || !strings.Contains(got[0], c.want) {
			t.Errorf("%q: %q, want %q", c.name, got, c.want)
		}
	}
	broken := &bot.Attachment{Name: "x", Open: func() (io.ReadCloser, error) {
		return io.NopCloser(io.MultiReader(strings.NewReader("abc"), brokenReader{})), nil
	}}
	if got := r.upload("tech", broken); !slices.Equal(got, []string{"fault file.gone"}) {
		t.Errorf("a transfer broken off: %q", got)
	}
	if got := r.upload("tech", &bot.Attachment{Name: "x", Fault: "file.link"}); !slices.Equal(got, []string{"fault file.link"}) {
		t.Errorf("the adapter's fault: %q", got)
	}
	opened := 0
	never := &bot.Attachment{Name: "x", Open: func() (io.ReadCloser, error) { opened++; return nil, errors.New("no") }}
	if r.upload("stranger", never); opened != 0 {
		t.Error("a stranger's file was opened")
	}
}

type brokenReader struct{}

func (brokenReader) Read([]byte) (int, error) { return 0, errors.New("connection reset") }

// A track with half a minute of held speed: the steady stretch comes out, places
// don't.
func TestTrackFile(t *testing.T) {
	var gpx strings.Builder
	gpx.WriteString(`<gpx version="1.0" xmlns="http://www.topografix.com/GPX/1/0"><trk><trkseg>`)
	for i := range 30 {
		fmt.Fprintf(&gpx, `<trkpt lat="%.6f" lon="0"><time>2026-01-05T09:00:%02dZ</time><speed>29.0</speed></trkpt>`, float64(i)*0.000261, i)
	}
	gpx.WriteString(`</trkseg></trk></gpx>`)
	r := start(t, newMem())
	r.say("tech", "new job unit 14")
	got := r.upload("tech", file("drive.gpx", gpx.String()))
	if !strings.Contains(got[0], "stretches=1") || !strings.Contains(got[0], "application/gpx+xml") {
		t.Errorf("%q", got)
	}
}

func TestEvidenceElsewhere(t *testing.T) {
	r := start(t, newMem())
	for i, c := range []struct {
		vehicle string
		want    bool
	}{{"unit 14", false}, {"Unit-14", false}, {"unit 15", true}} {
		r.say("tech", fmt.Sprintf("new job %d", i))
		r.say("tech", "vehicle "+c.vehicle)
		got := r.upload("tech", file("orig.bin", "\x00the same data"))
		if want := fmt.Sprintf("elsewhere=%v", c.want); len(got) != 1 || !strings.Contains(got[0], want) {
			t.Errorf("%s: %q, want %s", c.vehicle, got, want)
		}
	}
}

func TestKnownVehicle(t *testing.T) {
	r := start(t, newMem())
	r.say("tech", "new job")
	first := r.job()
	if got := r.say("tech", "vehicle Unit 14"); !slices.Equal(got, []string{"new"}) {
		t.Errorf("the first time: %q", got)
	}
	r.say("tech", "stored")
	r.say("tech", "new job again")
	if got := r.say("tech", "vehicle unit 14"); !slices.Equal(got, []string{"new"}) {
		t.Errorf("the first job is not finished, yet: %q", got)
	}
	r.say("tech", "job "+first)
	r.say("tech", "close")
	r.say("tech", "new job")
	want := "known from " + first + " at 2438 vin=false"
	if got := r.say("tech", "vehicle UNIT-14"); !slices.Equal(got, []string{want}) {
		t.Errorf("said %q, want %q", got, want)
	}
	if n := len(r.entries(r.job())); n != 3+3 {
		t.Errorf("%d entries: the step that did not know must leave none", n)
	}
	if _, err := r.bot.Erase(t.Context(), "", first); err != nil {
		t.Fatal(err)
	}
	r.say("tech", "new job")
	if got := r.say("tech", "vehicle unit 14"); !slices.Equal(got, []string{"new"}) {
		t.Errorf("still known after the words were erased: %q", got)
	}
}

// Board, known vehicles, codes and evidence are rebuilt from the log as they were.
func TestIndexIsRebuilt(t *testing.T) {
	r := start(t, newMem())
	r.say("tech", "new job unit 14")
	r.say("tech", "vehicle unit 14")
	r.say("tech", "stored")
	r.upload("tech", file("orig.bin", "\x00data"))
	r.say("noor", "new job the van")
	r.say("noor", "invite")
	r.say("tech", "new job third")
	r.say("tech", "vehicle unit 99")
	r.say("tech", "remind")
	r.say("tech", "close")
	r.say("stranger", "hello")
	snapshot := func() string {
		defer r.store.lock()()
		var b strings.Builder
		for _, k := range slices.Sorted(maps.Keys(r.store.index)) {
			row := r.store.index[k]
			fmt.Fprintf(&b, "%s %v %v %s %d %s\n", k, row.Open, row.Since, row.Data, row.Seq, row.Prev)
		}
		fmt.Fprintln(&b, r.store.keys, r.store.evidence)
		return b.String()
	}
	before := snapshot()
	board, err := r.bot.Board(t.Context(), "")
	if err != nil || len(board) != 2 || !slices.ContainsFunc(board, func(r bot.Row) bool {
		return r.Vehicle == "unit 14" && r.Value == "2438 mm" && r.Name == "tech"
	}) { // both wait since the same moment: either may come first
		t.Errorf("board %+v %v", board, err)
	}
	r.store.mu.Lock()
	clear(r.store.index)
	clear(r.store.keys)
	clear(r.store.evidence)
	r.store.mu.Unlock()
	if err := r.bot.Rebuild(t.Context(), ""); err != nil {
		t.Fatal(err)
	}
	if after := snapshot(); after != before {
		t.Errorf("rebuilt:\n%s\nwas:\n%s", after, before)
	}
}

func TestEraseJob(t *testing.T) {
	r := start(t, newMem())
	r.say("tech", "new job")
	r.say("tech", "vehicle the secret truck")
	r.upload("tech", file("secret-orig.bin", "\x00secret backup"))
	job := r.job()
	// Running: the backup stays, all else goes.
	e, err := r.bot.Erase(t.Context(), "", job)
	if err != nil || len(e.Kept) != 2 || e.Files != 0 || len(e.Beyond) == 0 {
		t.Fatalf("%+v %v", e, err)
	}
	if dump := r.store.dump(); strings.Contains(dump, "truck") || strings.Contains(dump, "fake:tech") && !strings.Contains(dump, "command") || !strings.Contains(dump, "secret-orig.bin") {
		t.Errorf("after an erasure in a running job:\n%s", dump)
	}
	if len(r.blobs.files) != 1 {
		t.Error("the backup's file is gone")
	}
	in := r.in("tech", "close")
	in.Job = job
	r.give(in)
	e, err = r.bot.Erase(t.Context(), "", job)
	if err != nil || len(e.Kept) != 0 || e.Files != 1 || len(r.blobs.files) != 0 {
		t.Fatalf("%+v %v", e, err)
	}
	if dump := r.store.dump(); strings.Contains(dump, "secret") {
		t.Errorf("after an erasure in a closed job:\n%s", dump)
	}
	if _, err := r.bot.Erase(t.Context(), "", "2222222"); err == nil {
		t.Error("erased a job that is not there")
	}
	if _, err := r.bot.Erase(t.Context(), "", "tech"); err == nil {
		t.Error("erased a person by half a name")
	}
}

func TestErasePerson(t *testing.T) {
	r := start(t, newMem())
	r.say("tech", "new job unit 14")
	job := r.job()
	in := r.in("noor", "my private words")
	in.Job, in.Name = job, "Noor N"
	r.give(in)
	r.say("tech", "ask Noor N about it")
	r.say("noor", "jobs")
	before := r.entries(job)
	e, err := r.bot.Erase(t.Context(), "", "fake:noor")
	if err != nil || len(e.Jobs) != 1 || e.Items == 0 {
		t.Fatalf("%+v %v", e, err)
	}
	dump := r.store.dump()
	for _, gone := range []string{"private", "fake:noor", "Noor N"} {
		if strings.Contains(dump, gone) {
			t.Errorf("%q is still in the store:\n%s", gone, dump)
		}
	}
	if !strings.Contains(dump, "fake:tech") || !strings.Contains(dump, "new job unit 14") {
		t.Error("another's words are gone too")
	}
	after := r.entries(job)
	for i := range before {
		if !bytes.Equal(before[i].Bytes, after[i].Bytes) {
			t.Fatalf("entry %d was changed", i+1)
		}
	}
	if l, _ := journal.Parse(after[len(after)-1].Bytes); l.Kind != "erased" {
		t.Errorf("the last entry is %s", l.Kind)
	}
	if got := r.say("tech", "go on"); !slices.Contains(got, "echo go on") {
		t.Errorf("then: %q", got)
	}
}

func newKey(t *testing.T, shop string, seed byte) journal.Key {
	t.Helper()
	k, err := journal.NewKey(shop, bytes.NewReader(bytes.Repeat([]byte{seed}, 32)))
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func TestExportVerifies(t *testing.T) {
	key, next := newKey(t, "oakroad", 1), newKey(t, "oakroad", 2)
	with := func(k journal.Key) func(*bot.Config) { return func(c *bot.Config) { c.Shops[0].Key = k } }
	r := start(t, newMem(), with(key))
	r.say("tech", "new job unit 14")
	job := r.job()
	r.say("tech", "vehicle unit 14")
	got := r.say("tech", "close")
	if len(got) != 2 || !strings.HasPrefix(got[1], "Log head ") {
		t.Fatalf("no head was given out at the close: %q\n%s", got, r.log)
	}
	head := strings.TrimPrefix(strings.SplitN(got[1], ".", 2)[0], "Log head ")
	check := func(name string, without bool, keys, heads []string) {
		t.Helper()
		var b bytes.Buffer
		if err := r.bot.Export(t.Context(), "", job, &b, without); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if without && strings.Contains(b.String(), "unit 14") {
			t.Errorf("%s: people are in it", name)
		}
		sum, err := journal.Verify(bytes.NewReader(b.Bytes()), keys, heads)
		if err != nil || !sum.Proven || sum.Job != job {
			t.Errorf("%s: %+v %v", name, sum, err)
		}
	}
	check("fresh", false, []string{key.Public()}, []string{head})
	check("without people", true, []string{key.Public()}, []string{head})
	if _, err := r.bot.Erase(t.Context(), "", job); err != nil {
		t.Fatal(err)
	}
	check("after an erasure", false, []string{key.Public()}, []string{head})
	r.stop()
	r.again(with(next))
	if err := r.bot.RecordKey(t.Context(), "", key, ""); err != nil {
		t.Fatal(err)
	}
	if err := r.bot.RecordKey(t.Context(), "", key, ""); err != nil {
		t.Fatal(err)
	}
	check("after a change of key, by the old one", false, []string{key.Public()}, []string{head})
	check("after a change of key, by the new one", false, []string{next.Public()}, []string{head})
	if err := r.bot.RecordRestore(t.Context(), ""); err != nil {
		t.Fatal(err)
	}
	in := r.in("tech", "after the restore")
	in.Job = job
	r.give(in)
	check("after a restore", false, []string{key.Public()}, []string{head})
}

func TestDigest(t *testing.T) {
	r := start(t, newMem(), func(c *bot.Config) {
		c.Shops[0].Key = newKey(t, "oakroad", 1)
		c.Shops[0].Digest = []bot.JobThread{{Network: "fake", Thread: "office"}}
	})
	r.say("tech", "new job unit 14")
	count := func() (n int) {
		r.bot.Tick(t.Context())
		r.flush()
		for _, o := range r.sent() {
			if o.Thread == "office" {
				n++
			}
		}
		return n
	}
	today := count()
	r.clock.pass(24 * time.Hour)
	if n := count(); n != today+1 {
		t.Errorf("%d digests after a day, %d before", n, today)
	}
	if n := count(); n != today+1 {
		t.Error("twice on one day")
	}
}

// Reminders go by elapsed time, through a jump of the clock, and never twice.
func TestReminders(t *testing.T) {
	for _, c := range []struct {
		name string
		jump time.Duration
	}{{"steady", 0}, {"clock forth", 72 * time.Hour}, {"clock back", -72 * time.Hour}} {
		t.Run(c.name, func(t *testing.T) {
			r := start(t, newMem())
			r.say("tech", "new job unit 14")
			r.say("tech", "remind")
			n := len(r.texts())
			tick := func() []string { r.bot.Tick(t.Context()); r.flush(); return r.texts()[n:] }
			r.clock.set(c.jump)
			r.clock.pass(59 * time.Minute)
			if got := tick(); len(got) != 0 {
				t.Errorf("before its time: %q", got)
			}
			r.clock.pass(2 * time.Minute)
			if got := tick(); !slices.Equal(got, []string{"torque the wheels"}) {
				t.Errorf("at its time: %q", got)
			}
			r.clock.pass(48 * time.Hour)
			if got := tick(); len(got) != 1 {
				t.Errorf("again: %q", got)
			}
		})
	}
}

// A reminder that was due while nothing ran comes after the start.
func TestReminderAfterRestart(t *testing.T) {
	r := start(t, newMem())
	r.say("tech", "new job unit 14")
	r.say("tech", "remind")
	r.stop()
	r.clock.pass(5 * time.Hour)
	r.again()
	deadline := time.Now().Add(time.Minute)
	for !slices.Contains(r.texts(), "torque the wheels") {
		if time.Now().After(deadline) {
			t.Fatalf("said %q", r.texts())
		}
		time.Sleep(5 * time.Millisecond)
	}
	r.stop()
	r.again()
	r.flush()
	if n := strings.Count(strings.Join(r.texts(), "\n"), "torque"); n != 1 {
		t.Errorf("reminded %d times", n)
	}
}

// A job in two threads: each reply goes to those meant for its role, an answer
// to who asks goes where it was asked.
func TestTwoThreads(t *testing.T) {
	r := start(t, newMem())
	r.say("cust", "new job our van")
	job := r.job()
	in := r.in("noor", "hello")
	in.Job = job
	r.give(in)
	before := len(r.sent())
	r.say("cust", "455 rev/km")
	sent := r.sent()[before:]
	if len(sent) != 1 || sent[0].Thread != "dm-cust" {
		t.Errorf("%+v", sent)
	}
	r.stop()
	r.again()
	if got := r.say("noor", "release"); !slices.Contains(got, "echo release") || r.job() != job {
		t.Errorf("from the second thread: %q in %s", got, r.job())
	}
}

// A job's thread begins with its card. Where the network can change it in place
// there is one, as the job stands; else a new one when the phase changes.
func TestCard(t *testing.T) {
	cards := func(sent []bot.Outbound) (n int, last string) {
		for _, o := range sent {
			if o.Reply.Kind == flow.Card {
				n, last = n+1, o.Reply.Text
			}
		}
		return n, last
	}
	r := start(t, newMem())
	r.say("tech", "new job unit 14")
	if first := r.net.Sent()[0]; first.Reply.Kind != flow.Card || first.Log != 3 {
		t.Errorf("the thread begins with %+v", first)
	}
	r.say("tech", "stored")
	if n, _ := cards(r.net.Sent()); n != 1 {
		t.Errorf("%d cards in one phase", n)
	}
	r.say("tech", "close")
	if n, _ := cards(r.net.Sent()); n != 2 {
		t.Errorf("%d cards after the phase changed once", n)
	}

	in := &bottest.CardFake{}
	in.Named = "fake"
	r = start(t, newMem(), func(c *bot.Config) { c.Networks = []bot.Network{in} })
	r.net = &in.Fake
	for _, text := range []string{"new job unit 14", "vehicle the blue van", "stored"} {
		r.say("tech", text)
	}
	if n, last := cards(r.net.Sent()); n != 1 || !strings.Contains(last, "the blue van") || !strings.Contains(last, "2438") {
		t.Errorf("%d cards, the last %q", n, last)
	}
}

// A raw track is erased when its days after the close are over; what was made
// of it stays.
func TestTrackRetention(t *testing.T) {
	step := func(s *flow.State, m flow.Message, env flow.Env) (flow.Outcome, error) {
		out, err := stub(s, m, env)
		if m.File != nil { // in this test every file is a track
			for i := range out.Entries {
				if out.Entries[i].Kind == flow.KindBackup {
					out.Entries[i].Kind, out.Entries[i].Fact = flow.KindFile, &flow.FileFact{Bytes: m.File.Bytes, Use: "track"}
				}
			}
		}
		return out, err
	}
	r := startStep(t, newMem(), step, func(c *bot.Config) { c.Shops[0].Policy.Retention = 30 })
	r.say("tech", "new job unit 14")
	r.upload("tech", file("drive.gpx", "<gpx/>"))
	r.say("tech", "close")
	for _, c := range []struct{ days, files int }{{1, 1}, {28, 1}, {2, 0}, {1, 0}} {
		r.clock.pass(time.Duration(c.days) * 24 * time.Hour)
		r.bot.Tick(t.Context())
		if n := len(r.blobs.files); n != c.files {
			t.Errorf("%v after the close: %d files", r.clock.Now().Format(time.DateOnly), n)
		}
	}
	erased := 0
	for _, e := range r.entries(r.job()) {
		if l, _ := journal.Parse(e.Bytes); l.Kind == "erased" {
			erased++
		}
	}
	if erased != 1 || strings.Contains(r.store.dump(), "drive.gpx") && strings.Count(r.store.dump(), "drive.gpx") > 1 {
		t.Errorf("%d erasures\n%s", erased, r.store.dump())
	}
}
