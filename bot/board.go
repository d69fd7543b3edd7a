package bot

import (
	"context"
	"encoding/json"
	"slices"
	"strconv"
	"strings"
	"time"

	"milepost/flow"
	"milepost/flow/words"
)

// Row is a job's line on the board.
type Row struct {
	Job       string     `json:"job"`
	Vehicle   string     `json:"vehicle"` // in the user's words, "" once erased
	Phase     flow.Phase `json:"phase"`
	WaitingOn flow.Role  `json:"waiting_on"` // "" for nobody
	Name      string     `json:"name"`       // what the one waited for is called
	Since     time.Time  `json:"since"`      // waiting since
	Value     string     `json:"value"`      // last value stored, with its unit
	Flags     []string   `json:"flags"`      // as flow.Flags names them
	Stopped   string     `json:"stopped,omitempty"`
	Paused    bool       `json:"paused,omitempty"`
	Track     bool       `json:"track,omitempty"` // a raw track is kept; its days are counted from Since

	identities []string
	called     []string // of those: have only been called
	asked      []string // of those: the open question is for them
	asks       int      // questions put so far
}

// rowData is a row at rest: with who takes part, and how much was asked.
type rowData struct {
	Row
	People []string `json:"people"`
	Called []string `json:"called,omitempty"`
	Asked  []string `json:"asked,omitempty"`
	Asks   int      `json:"asks"`

	HeadOwed bool `json:"head_owed,omitempty"` // closed, and its head is not given out yet
}

// Board gives the open jobs of a shop, the one that waits longest first.
func (b *Bot) Board(ctx context.Context, shopName string) ([]Row, error) {
	s, err := b.shop(shopName)
	if err != nil {
		return nil, err
	}
	stored, err := b.cfg.Store.Index(ctx, s.name, true)
	if err != nil {
		return nil, failed("read board", err)
	}
	now, idle := b.now(), s.policyNow().Idle
	rows := make([]Row, 0, len(stored))
	for i := range stored {
		r, ok := b.openRow(&stored[i])
		if !ok || !stored[i].Open || r.Job == s.ownJob() {
			continue
		}
		if now.Sub(r.Since) > idle {
			r.Flags = append(r.Flags, flow.FlagIdle)
		}
		rows = append(rows, r)
	}
	slices.SortStableFunc(rows, func(a, b Row) int { return a.Since.Compare(b.Since) })
	return rows, nil
}

// rowsOf are the rows of jobs in which somebody takes part.
func rowsOf(rows []Row, id Identity) []Row {
	var his []Row
	for _, r := range rows {
		if slices.Contains(r.identities, string(id)) {
			his = append(his, r)
		}
	}
	return his
}

// meantBy are the rows of jobs that somebody can mean by what he writes beside
// their threads: those he has spoken in, and those that ask him.
func meantBy(rows []Row, id Identity) []Row {
	return slices.DeleteFunc(rowsOf(rows, id), func(r Row) bool {
		return slices.Contains(r.called, string(id)) && !slices.Contains(r.asked, string(id))
	})
}

// lastAsked gives the job of some rows that asked somebody last, "" for none.
func lastAsked(rows []Row, id Identity) (job string) {
	for i := range rows { // the one asked last is the last of the board
		if slices.Contains(rows[i].asked, string(id)) {
			job = rows[i].Job
		}
	}
	return job
}

// openRow reads a row at rest. One that can't be read is left out: it can be
// rebuilt.
func (b *Bot) openRow(ir *IndexRow) (Row, bool) {
	var d rowData
	if err := json.Unmarshal(ir.Data, &d); err != nil {
		b.cfg.Log.Warn("board row can't be read; rebuild the index", "job", ir.Job, "err", err)
		return Row{}, false
	}
	d.Row.identities, d.Row.called, d.Row.asked, d.Row.asks = d.People, d.Called, d.Asked, d.Asks
	return d.Row, true
}

// Text is a row in one line, for people.
func (r *Row) Text(zone *time.Location) string {
	if zone == nil {
		zone = time.UTC
	}
	return r.text(say("bot.since", flow.Technician, words.Args{"At": r.Since.In(zone).Format("2006-01-02 15:04")}))
}

// lasting is how long a job has waited, for people whose zone is not known.
func (r *Row) lasting(now time.Time) string {
	d := max(now.Sub(r.Since), 0)
	return say("bot.for", flow.Technician, words.Args{"Minutes": int(d.Minutes()), "Hours": int(d.Hours()), "Days": int(d.Hours() / 24)})
}

// text is a row in one line, with the time since it waits as it is given.
func (r *Row) text(since string) string {
	marks := make([]string, len(r.Flags))
	for i, f := range r.Flags {
		marks[i] = say("flag."+f, flow.Technician, nil)
	}
	vehicle, waiting := r.Vehicle, string(r.WaitingOn)
	if vehicle == "" {
		vehicle = say("bot.vehicle.none", flow.Technician, nil)
	}
	if r.Name != "" {
		waiting = r.Name
	}
	if waiting == "" {
		waiting = say("bot.nobody", flow.Technician, nil)
	}
	return say("bot.line", flow.Technician, words.Args{"Job": r.Job, "Vehicle": vehicle, "Phase": string(r.Phase), "Waiting": waiting,
		"Since": since, "Value": r.Value, "Flags": strings.Join(marks, ", ")})
}

// indexRow is the one way to a job's row: from what the log adds up to.
func indexRow(s *flow.State, f folded, wake time.Time, owed bool) *IndexRow {
	role, name := waitingOn(s)
	d := rowData{Row: Row{Job: s.Job, Vehicle: s.Vehicle, Phase: s.Phase, WaitingOn: role, Name: name, Since: s.Since,
		Value: lastValue(s), Flags: flow.Flags(s, flow.Policy{}, s.Since), Stopped: s.Stopped, Paused: s.Paused, Track: f.found.track}, Asks: s.Asks, HeadOwed: owed}
	if d.Flags == nil {
		d.Flags = []string{}
	}
	spoke := map[flow.Who]bool{}
	for _, w := range s.ByWho {
		spoke[w] = true
	}
	for _, w := range sortedWho(s.People) {
		p := s.People[w]
		if p.Identity == "" {
			continue
		}
		d.People = append(d.People, p.Identity)
		if p.Called && !spoke[w] {
			d.Called = append(d.Called, p.Identity)
		}
		if a := s.Asked; a != nil && (a.To == "" && w == s.Owner || a.To != "" && a.To == p.Role) {
			d.Asked = append(d.Asked, p.Identity)
		}
	}
	slices.Sort(d.People)
	data, err := json.Marshal(d)
	if err != nil {
		data = nil // strings and a time within range: unreachable
	}
	return &IndexRow{Job: s.Job, Open: s.Phase != flow.PhaseClosed, Since: s.Since, Wake: wake, Data: data, Seq: s.Seq, Prev: f.prev}
}

// waitingOn says whose turn it is.
func waitingOn(s *flow.State) (flow.Role, string) {
	owner := s.People[s.Owner]
	switch {
	case s.Phase == flow.PhaseClosed:
		return "", ""
	case s.Asked != nil && s.Asked.To != "" && s.Asked.To != owner.Role:
		for _, w := range sortedWho(s.People) {
			if p := s.People[w]; p.Role == s.Asked.To {
				return p.Role, p.Name
			}
		}
		return s.Asked.To, ""
	}
	return owner.Role, owner.Name
}

// lastValue is the value stored at present, in its unit.
func lastValue(s *flow.State) string {
	m := s.Main()
	if m == nil || m.Now.Zero() {
		return ""
	}
	if m.Now.Label != "" {
		return m.Now.Label
	}
	return strings.TrimSpace(strconv.FormatFloat(m.Now.Num, 'f', -1, 64) + " " + m.Unit)
}

func sortWho(ws []flow.Who) { slices.Sort(ws) }

func sortedWho(m map[flow.Who]flow.Person) []flow.Who {
	ws := make([]flow.Who, 0, len(m))
	for w := range m {
		ws = append(ws, w)
	}
	sortWho(ws)
	return ws
}

// Rebuild makes the board, and what jobs are found by, anew from the log.
func (b *Bot) Rebuild(ctx context.Context, shopName string) error {
	s, err := b.shop(shopName)
	if err != nil {
		return err
	}
	if err := b.openShop(ctx, s); err != nil {
		return err
	}
	jobs, err := b.cfg.Store.Jobs(ctx, s.name)
	if err != nil {
		return failed("rebuild index", err)
	}
	var rows []IndexRow
	for _, job := range jobs {
		if job == s.ownJob() {
			continue
		}
		f, err := readJob(ctx, b.cfg.Store, s.name, job)
		if err != nil {
			return err
		}
		row := *indexRow(f.state, f, b.wakeOf(s, f.state), b.owed.has(s.name, f.state.Job))
		row.Keys, row.Evidence = keys(s.salt, &f.found), f.found.files
		rows = append(rows, row)
	}
	s.mu.Lock()
	rows = append(rows, *s.days.row(s))
	s.mu.Unlock()
	return failed("rebuild index", b.cfg.Store.Reindex(ctx, s.name, rows))
}
