package slack

import (
	"bytes"
	"slices"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/bot/bottest"
)

// A file that is deleted, while its message stays, is a deletion of that part: told
// by the message's change, by an event of its own, or by both, and once.
func TestHearFileGone(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		all := workspace.DefaultEvents()
		for name, o := range map[string]workspace.Options{
			"both":       {},
			"no event":   {Events: slices.DeleteFunc(all, func(s string) bool { return s == "file_deleted" })},
			"out of row": {},
		} {
			t.Run(name, func(t *testing.T) {
				r := listen(t, http, o)
				thread, _ := r.begins("kim")
				card := r.card(thread, "k7mw2pd")
				kim, base := r.w.User("kim"), r.w.Team()+"/"+r.w.Channel("shop")+"/"
				ts, ids := kim.Upload("shop", card, "two of them", workspace.Upload{Name: "a.bin", Content: []byte("first")},
					workspace.Upload{Name: "b.bin", Content: []byte("second")})
				r.hears(4)
				if name == "out of row" {
					r.w.Reorder(2)
				}
				kim.DeleteFile(ids[0])
				in := r.hears(5)[4]
				if in.Delete != base+ts+"/f/"+ids[0] || in.From != Identity(r.w.Team(), kim.ID()) || in.Delivery == in.Delete || in.File != nil || in.Text != "" {
					t.Errorf("heard %+v", in)
				}
				// With the message go the parts that are left.
				kim.Delete("shop", ts)
				var gone []string
				for _, in := range r.hears(7)[5:] {
					gone = append(gone, in.Delete)
				}
				if slices.Sort(gone); !slices.Equal(gone, []string{base + ts, base + ts + "/f/" + ids[1]}) {
					t.Errorf("with the message: %q", gone)
				}
			})
		}
		// The event alone, of a file that stands in two threads, and of one that is not known.
		r := listen(t, http, workspace.Options{})
		thread, _ := r.begins("kim")
		card := r.card(thread, "k7mw2pd")
		ts, ids := r.w.User("kim").Upload("shop", card, "", workspace.Upload{Name: "a.bin", Content: []byte("first")})
		r.hears(2)
		for _, id := range []string{"F0UNKNOWN", ids[0]} {
			r.w.Emit(map[string]any{"type": "file_deleted", "file_id": id, "event_ts": tsOf(time.Now())})
		}
		if in := r.hears(3)[2]; in.Delete != r.w.Team()+"/"+r.w.Channel("shop")+"/"+ts+"/f/"+ids[0] {
			t.Errorf("heard %+v", in)
		}
	})
}

// Files deleted while we were away, of a message that was heard and of one that was
// not.
func TestCatchUpFileGone(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		r := listen(t, http, workspace.Options{Retries: []time.Duration{0, 10 * time.Millisecond}})
		thread, _ := r.begins("kim")
		card := r.card(thread, "k7mw2pd")
		kim, base := r.w.User("kim"), r.w.Team()+"/"+r.w.Channel("shop")+"/"
		a, heard := kim.Upload("shop", card, "caption", workspace.Upload{Name: "a.bin", Content: []byte("first")}, workspace.Upload{Name: "b.bin", Content: []byte("second")})
		c, loose := kim.Upload("shop", "", "", workspace.Upload{Name: "c.bin", Content: []byte("third")})
		r.hears(5)
		r.end()
		b, missed := kim.Upload("shop", card, "", workspace.Upload{Name: "d.bin", Content: []byte("fourth")})
		for _, id := range []string{heard[1], loose[0], missed[0]} {
			kim.DeleteFile(id)
		}
		time.Sleep(200 * time.Millisecond) // given up by Slack
		r.start()
		got := map[string]bot.Inbound{}
		for _, in := range r.hears(8)[5:] {
			got[in.Delivery+in.Delete] = in
		}
		for _, gone := range []string{base + a + "/f/" + heard[1], base + c + "/f/" + loose[0]} {
			if in := got[gone+"/d"+gone]; in.From != Identity(r.w.Team(), kim.ID()) {
				t.Errorf("no deletion of %s: %s", gone, r.heard())
			}
		}
		if in := got[base+b+"/f/"+missed[0]]; in.File == nil || in.File.Fault != fileGone {
			t.Errorf("missed: %s", r.heard())
		}
		r.end()
		r.start()
		r.hears(8)
	})
}

// The log of a job says that an upload was deleted: with the real bot, in both ways.
func TestFileGoneInLog(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		for _, s := range bottest.ReadScripts(t, "../../testdata/conversations") {
			if s.Name != "bay" {
				continue
			}
			p := newParty(t, s, http)
			s.Play(t, p.way)
			var uploads []workspace.Message
			for _, root := range p.roots() {
				for _, m := range p.w.Messages("bay", root) {
					if len(m.Files) > 0 && !m.App {
						uploads = append(uploads, m)
					}
				}
			}
			if len(uploads) == 0 {
				t.Fatal("nothing was uploaded")
			}
			deleted := func() (n int) {
				jobs, err := p.way.Store().Jobs(t.Context(), bot.DefaultShop)
				if err != nil {
					t.Fatal(err)
				}
				for _, job := range jobs {
					list, err := p.way.Store().Entries(t.Context(), bot.DefaultShop, job, 0)
					if err != nil {
						t.Fatal(err)
					}
					for _, e := range list {
						n += bytes.Count(e.Bytes, []byte(`"what":"delete"`))
					}
				}
				return n
			}
			before := deleted()
			p.w.User(uploads[0].User).DeleteFile(uploads[0].Files[0])
			if !p.w.Await(workspace.Patience, func() bool { return deleted() > before }) {
				t.Fatal("the log says nothing of it")
			}
			time.Sleep(200 * time.Millisecond)
			if n := deleted() - before; n != 1 {
				t.Errorf("the log says it %d times", n)
			}
		}
	})
}
