package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"milepost/adapters/matrix/person"
	"milepost/bot/bottest"
	"milepost/flow"
)

// BenchmarkMatrixReply is the way of a message through the whole program, which
// is a process of its own with its store on the disk, with 200 jobs in progress:
// from the moment the homeserver has accepted it to the moment it has accepted
// the reply. The program's own share is from the last byte of the /sync answer
// with the message to the arrival of the request with the reply, less what the
// server takes for requests of the same thread in between (the edited card); the
// line between the two counts to it. The rest is the homeserver's.
//
// "8 at once" has eight messages written one behind the other before any is
// waited for.
func BenchmarkMatrixReply(b *testing.B) {
	for _, encrypted := range []bool{false, true} {
		name := map[bool]string{false: "plain", true: "encrypted"}[encrypted]
		if encrypted && !person.CanEncrypt {
			continue
		}
		b.Run(name, func(b *testing.B) {
			const jobs, rooms = 200, 10
			c := newCrew(b, encrypted, flow.Policy{Speed: "mph", Rule: "none", WorkSpeed: 65}, bottest.ScriptPerson{Name: "tech", Role: flow.Technician})
			wire := newTap(b, c.server.URL())
			text, err := os.ReadFile(c.file)
			if err != nil {
				b.Fatal(err)
			}
			c.write("serve.toml", strings.Replace(string(text), c.proxy.URL(), wire.url, 1))
			c.start().ready()
			tech := c.people["tech"]
			all := c.beginMany(tech, jobs, rooms)
			turn := 0 // each job is led on, one input after the other
			write := func() (person.EventID, time.Time) {
				j, n := all[turn%jobs], 1+turn/jobs
				turn++
				if n >= len(wholeJob) {
					b.Fatal("all jobs are at their end: ask for fewer runs")
				}
				text := wholeJob[n]
				if text == theFile {
					text = "on the shop laptop under this unit"
				}
				id := tech.SayInThread(j.room, j.root, text)
				return id, time.Now()
			}
			for _, burst := range []int{1, 8} {
				b.Run(fmt.Sprintf("%d at once", burst), func(b *testing.B) {
					var own, theirs []time.Duration
					for b.Loop() {
						ids, accepted := make([]person.EventID, burst), make([]time.Time, burst)
						for i := range burst {
							ids[i], accepted[i] = write()
						}
						for i, id := range ids {
							o, replied := wire.reply(b, string(id))
							own, theirs = append(own, o), append(theirs, max(0, replied.Sub(accepted[i])-o))
						}
					}
					for name, of := range map[string][]time.Duration{"own": own, "server": theirs} {
						slices.Sort(of)
						b.ReportMetric(float64(of[len(of)/2])/1e6, name+"-p50-ms")
						b.ReportMetric(float64(of[len(of)*99/100])/1e6, name+"-p99-ms")
					}
					b.ReportMetric(float64(len(own)), "messages")
				})
			}
			c.stop()
		})
	}
}

// tap passes requests on and keeps times.
type tap struct {
	url, target string
	client      *http.Client

	mu      sync.Mutex
	arrived map[string]time.Time // events, by the first /sync that brought them
	puts    map[string][]put     // by root of a thread
	replied map[string]put       // by the event replied to; the first
	changed chan struct{}
}

type put struct {
	root       string
	start, end time.Time
}

func newTap(b *testing.B, target string) *tap {
	t := &tap{target: target, client: &http.Client{Transport: &http.Transport{DisableCompression: true, MaxIdleConnsPerHost: 64}},
		arrived: map[string]time.Time{}, puts: map[string][]put{}, replied: map[string]put{}, changed: make(chan struct{})}
	s := httptest.NewServer(t)
	t.url = s.URL
	b.Cleanup(func() { s.CloseClientConnections(); s.Close(); t.client.CloseIdleConnections() })
	return t
}

var eventIDs = regexp.MustCompile(`"event_id":"(\$[^"]+)"`)

func (t *tap) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	start := time.Now()
	if err != nil {
		return
	}
	req, err := http.NewRequestWithContext(r.Context(), r.Method, t.target+r.URL.RequestURI(), bytes.NewReader(body))
	if err != nil {
		return
	}
	req.Header = r.Header.Clone()
	req.Header.Del("Accept-Encoding")
	res, err := t.client.Do(req)
	if err != nil {
		w.WriteHeader(http.StatusBadGateway)
		return
	}
	defer res.Body.Close()
	answer, err := io.ReadAll(res.Body)
	if err != nil {
		return
	}
	end := time.Now()
	if strings.HasSuffix(r.URL.Path, "/sync") {
		t.note(func() {
			for _, m := range eventIDs.FindAllSubmatch(answer, -1) {
				if id := string(m[1]); t.arrived[id].IsZero() {
					t.arrived[id] = time.Now()
				}
			}
		})
	}
	if r.Method == http.MethodPut && strings.Contains(r.URL.Path, "/send/") {
		t.put(body, start, end)
	}
	w.Header().Set("Content-Type", res.Header.Get("Content-Type"))
	w.WriteHeader(res.StatusCode)
	_, _ = w.Write(answer) // the program may be gone
}

func (t *tap) put(body []byte, start, end time.Time) {
	var c struct {
		RelatesTo struct {
			RelType string `json:"rel_type"`
			EventID string `json:"event_id"`
			Reply   struct {
				EventID string `json:"event_id"`
			} `json:"m.in_reply_to"`
		} `json:"m.relates_to"`
	}
	if json.Unmarshal(body, &c) != nil || c.RelatesTo.EventID == "" {
		return
	}
	t.note(func() {
		p := put{c.RelatesTo.EventID, start, end}
		t.puts[p.root] = append(t.puts[p.root], p)
		if to := c.RelatesTo.Reply.EventID; c.RelatesTo.RelType == "m.thread" && t.replied[to].start.IsZero() {
			t.replied[to] = p
		}
	})
}

func (t *tap) note(what func()) {
	t.mu.Lock()
	defer t.mu.Unlock()
	what()
	close(t.changed)
	t.changed = make(chan struct{})
}

// reply waits for the reply to an event: the program's own time, and when the
// server had accepted it.
func (t *tap) reply(b *testing.B, to string) (own time.Duration, at time.Time) {
	b.Helper()
	late := time.After(person.Patience)
	for {
		t.mu.Lock()
		p, arrived, changed := t.replied[to], t.arrived[to], t.changed
		puts := slices.Clone(t.puts[p.root])
		t.mu.Unlock()
		if !p.start.IsZero() && !arrived.IsZero() {
			own = p.start.Sub(arrived)
			for _, q := range puts {
				if q.start.After(arrived) && q.end.Before(p.start) {
					own -= q.end.Sub(q.start)
				}
			}
			return own, p.end
		}
		select {
		case <-changed:
		case <-late:
			b.Fatalf("no reply to %s", to)
		}
	}
}
