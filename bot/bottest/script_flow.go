package bottest

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/gabriel-vasile/mimetype"

	"milepost/bot"
	"milepost/calib/track"
	"milepost/flow"
	"milepost/flow/understand"
)

// pace is how much time passes before each input.
const pace = 30 * time.Second

// FlowWay takes a script into the flow alone, with nothing of package bot about
// it but what a message needs: whose it is and which job it belongs to. After
// each step it checks that the entries add up to the state.
type FlowWay struct {
	t       testing.TB
	s       *Script
	now     time.Time
	seen    map[string]string // job by delivery
	current map[string]*flowJob
	jobs    []*flowJob
	codes   int
}

type flowJob struct {
	id      string
	state   *flow.State
	entries []flow.Entry
	wake    time.Time
	hashes  []string
}

// NewFlowWay is the way in by Step alone.
func NewFlowWay(t testing.TB, s *Script) *FlowWay {
	return &FlowWay{t: t, s: s, now: s.Start, seen: map[string]string{}, current: map[string]*flowJob{}}
}

// Log gives a job's entries.
func (w *FlowWay) Log(job string) ([]flow.Entry, error) {
	for _, j := range w.jobs {
		if j.id == job {
			return j.entries, nil
		}
	}
	return nil, fmt.Errorf("no job %s", job)
}

// Give takes a message through Step.
func (w *FlowWay) Give(m ScriptMessage) ([]ScriptSaid, map[string]int64, error) {
	w.now = w.now.Add(pace)
	if m.Wait > 0 {
		return w.wait(m.Wait)
	}
	if _, ok := w.seen[m.ID]; ok {
		w.now = w.now.Add(-pace)
		return nil, w.after(), nil // what was seen before never comes so far
	}
	j, text, used := w.route(m)
	w.seen[m.ID], w.current[m.Who.Name] = j.id, j
	msg := flow.Message{ID: m.ID, Text: text, Tap: m.Tap, Edit: m.Edit, Delete: m.Delete, Role: m.Who.Role}
	if m.Ago > 0 {
		msg.SentAt = w.now.Add(-m.Ago)
	}
	if m.Unread {
		msg.Fault = bot.FaultUnreadable
	}
	w.stand(j, &msg, m.Who, used != "")
	if target := m.Edit + m.Delete; target != "" && j.state.ByWho[target] != msg.Who {
		return nil, w.after(), nil
	}
	if m.File != "" {
		msg.File = w.file(j, m.File, m.Bytes)
	}
	if used != "" {
		e := flow.Entry{Seq: j.state.Seq + 1, At: w.now, Kind: flow.KindInvite, V: 1, Fact: &flow.InviteFact{Hash: used, Used: true}}
		j.entries = append(j.entries, e)
		j.state = flow.Fold(bot.DefaultShop, j.id, j.entries)
	}
	said, err := w.step(j, msg)
	return said, w.after(), err
}

// wait lets time pass and wakes the jobs that wanted to be.
func (w *FlowWay) wait(d time.Duration) (said []ScriptSaid, after map[string]int64, err error) {
	w.now = w.now.Add(d)
	for _, j := range w.jobs {
		for !j.wake.IsZero() && !w.now.Before(j.wake) {
			was := j.state.Seq
			some, err := w.step(j, flow.Message{Wake: true})
			if err != nil {
				return nil, nil, err
			}
			said = append(said, some...)
			if j.state.Seq == was {
				break
			}
		}
	}
	return said, w.after(), nil
}

func (w *FlowWay) step(j *flowJob, m flow.Message) ([]ScriptSaid, error) {
	w.codes++
	env := flow.Env{Now: w.now, Policy: w.s.Policy.Sound(), Program: "script", Code: fmt.Sprintf("7QKM-4TXN-R2HD-%04d", 2222+w.codes),
		Others: map[flow.Role][]flow.Who{}}
	for who, p := range j.state.People {
		if who != m.Who && (p.Role == flow.Helper || p.Role == flow.Supervisor) {
			env.Others[p.Role] = append(env.Others[p.Role], who)
			slices.Sort(env.Others[p.Role])
		}
	}
	out, err := flow.Step(j.state, m, env)
	if err != nil {
		return nil, err
	}
	if k := w.known(j, out.Entries); k != nil {
		env.Known = k
		if out, err = flow.Step(j.state, m, env); err != nil {
			return nil, err
		}
	}
	j.entries, j.wake = append(j.entries, out.Entries...), out.Wake
	j.state = out.State
	if d := SameState(flow.Fold(bot.DefaultShop, j.id, decoded(w.t, j.entries)), out.State); d != "" {
		w.t.Errorf("%q: the entries add up to another state: %s", m.Text, d)
	}
	var said []ScriptSaid
	for _, r := range out.Replies {
		if r.Seq > out.State.Seq {
			w.t.Errorf("%q is said of entry %d of %d", r.Text, r.Seq, out.State.Seq)
		}
		if r.Kind == flow.Card && len(r.To) == 0 {
			continue // edited in place, or shown where a network can't
		}
		x := ScriptSaid{Job: j.id, Seq: r.Seq, Kind: r.Kind, Text: r.Text, Choices: r.Choices}
		for _, who := range r.To {
			x.To = append(x.To, out.State.People[who].Name)
		}
		slices.Sort(x.To)
		said = append(said, x)
	}
	return said, nil
}

// decoded gives entries as they come out of their stored form.
func decoded(t testing.TB, entries []flow.Entry) []flow.Entry {
	out := make([]flow.Entry, len(entries))
	for i, e := range entries {
		raw, err := flow.Encode(&e)
		if err != nil {
			t.Fatal(err)
		}
		if err := flow.Decode(&e, raw); err != nil {
			t.Fatal(err)
		}
		out[i] = e
	}
	return out
}

func (w *FlowWay) after() map[string]int64 {
	m := map[string]int64{}
	for _, j := range w.jobs {
		m[j.id] = j.state.Seq
	}
	return m
}

// route finds the job of a message, as package bot does.
func (w *FlowWay) route(m ScriptMessage) (j *flowJob, text, used string) {
	text = m.Text
	for _, job := range []string{flow.TapJob(m.Tap), w.seen[m.Edit], w.seen[m.Delete]} {
		for _, j := range w.jobs {
			if job != "" && j.id == job {
				return j, text, ""
			}
		}
	}
	c, ok := understand.ReadCommand(text)
	if ok && c.Value.Name == understand.CmdNew || len(w.jobs) == 0 {
		return w.newJob(), text, ""
	}
	if code, ok := understand.GuestCode(text); ok && m.Who.Role == flow.Customer {
		sum := sha256.Sum256([]byte(code.Value))
		hash := hex.EncodeToString(sum[:])
		for _, j := range w.jobs {
			for _, i := range j.state.Invites {
				if i.Hash == hash && !i.Used {
					return j, text[:code.Start] + "…" + text[code.End:], hash
				}
			}
		}
	}
	if j := w.current[m.Who.Name]; j != nil {
		return j, text, ""
	}
	return w.jobs[len(w.jobs)-1], text, ""
}

func (w *FlowWay) newJob() *flowJob {
	id := fmt.Sprintf("script%d", len(w.jobs)+1)
	j := &flowJob{id: id, state: flow.NewState(bot.DefaultShop, id)}
	w.jobs = append(w.jobs, j)
	return j
}

// stand finds who somebody is in a job.
func (w *FlowWay) stand(j *flowJob, m *flow.Message, p ScriptPerson, byCode bool) {
	for who, q := range j.state.People {
		if q.Name == p.Name {
			m.Who = who
			if q.Role == p.Role {
				return
			}
		}
	}
	if m.Who == "" {
		m.Who = flow.Who("p" + strconv.Itoa(len(j.state.People)+1))
	}
	m.Join = &flow.Person{Who: m.Who, Role: p.Role, Identity: "script:" + p.Name, Name: p.Name, ByCode: byCode}
}

// known is what an earlier job left a vehicle at that a turn names.
func (w *FlowWay) known(j *flowJob, entries []flow.Entry) *flow.Known {
	form := func(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), "")) }
	for _, e := range entries {
		vin := e.Item(flow.ItemVIN)
		vehicle := e.Item(flow.ItemVehicle)
		for i := len(w.jobs) - 1; i >= 0; i-- {
			o := w.jobs[i]
			m := o.state.Main()
			if o == j || o.state.Phase != flow.PhaseClosed || m == nil || m.Now.Zero() {
				continue
			}
			if vin != "" && vin == o.state.VIN || vehicle != "" && form(vehicle) == form(o.state.Vehicle) {
				k := &flow.Known{Job: o.id, When: o.state.Last, Size: o.state.Sizes["fitted"], Factory: o.state.Sizes["factory"], Module: *m, VIN: vin != ""}
				if a := o.state.Answers[flow.Key{Question: flow.QOdometer}]; !a.Skipped {
					k.Odometer, k.OdometerUnit = a.Number, a.Unit
				}
				if o.state.Restored {
					k.Size = k.Factory
				}
				return k
			}
		}
	}
	return nil
}

// file finds out of a file what can be known.
func (w *FlowWay) file(j *flowJob, name string, b []byte) *flow.File {
	sum := sha256.Sum256(b)
	f := &flow.File{Name: name, Bytes: int64(len(b)), SHA256: hex.EncodeToString(sum[:])}
	for _, o := range w.jobs {
		f.Elsewhere = f.Elsewhere || o != j && slices.Contains(o.hashes, f.SHA256) && o.state.Vehicle != j.state.Vehicle
	}
	if len(b) == 0 {
		f.Fault = "file.empty"
		return f
	}
	j.hashes = append(j.hashes, f.SHA256)
	f.Type, _, _ = strings.Cut(mimetype.Detect(b).String(), ";")
	f.Web = f.Type == "text/html"
	tr, format, _ := track.Read(bytes.NewReader(b), track.Limits{})
	if tr == nil || format == track.Unknown || f.Web {
		return f
	}
	f.Type = "text/plain"
	if format == track.GPX {
		f.Type = "application/gpx+xml"
	}
	f.Track = &flow.Track{Format: string(format), Seconds: tr.End().Sub(tr.Start()).Seconds(), Metres: tr.Distance().Metres()}
	for _, s := range tr.Steady(track.Steadiness{}) {
		f.Track.Stretches = append(f.Track.Stretches, flow.Stretch{Start: s.Start, Seconds: s.Duration.Seconds(), SpeedMS: s.SpeedMPS})
	}
	return f
}
