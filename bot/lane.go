package bot

import (
	"container/list"
	"context"
	"fmt"
	"slices"
	"sync"

	"milepost/bot/journal"
	"milepost/flow"
)

// lane is one job's way through: one message at a time, in the order they
// came. Between messages it keeps what the log adds up to, so that a turn need
// not read it again.
type lane struct {
	shop, job string

	turn chan struct{} // holds one token while someone is on the lane; the waiting are served in order

	users int           // on the lane or waiting; guarded by lanes.mu
	place *list.Element // in lanes.idle while nobody is; guarded by lanes.mu

	// Owned by whoever is on the lane.
	folded
	threads []JobThread
	loaded  bool
}

// folded is what a job's entries add up to: the flow's state and what is found
// by the way.
type folded struct {
	state *flow.State
	prev  string // hash of the last leaf
	found finds
}

// lanes are the jobs that are busy, and the ones used last.
type lanes struct {
	mu   sync.Mutex
	all  map[string]*lane
	idle *list.List // of *lane, used last in front
	keep int        // how many idle ones are kept
	wait int        // how many may wait on one lane
}

func newLanes(keep, wait int) *lanes {
	return &lanes{all: map[string]*lane{}, idle: list.New(), keep: keep, wait: wait}
}

// enter waits for a job's lane. Whoever enters must leave.
func (ls *lanes) enter(ctx context.Context, shop, job string) (*lane, error) {
	key := shop + "/" + job
	ls.mu.Lock()
	l := ls.all[key]
	if l == nil {
		l = &lane{shop: shop, job: job, turn: make(chan struct{}, 1)}
		ls.all[key] = l
	}
	if l.users >= ls.wait {
		ls.mu.Unlock()
		return nil, &Error{Kind: Unavailable, Err: fmt.Errorf("job %s: %d messages waiting", job, l.users)}
	}
	l.users++
	if l.place != nil {
		ls.idle.Remove(l.place)
		l.place = nil
	}
	ls.mu.Unlock()

	select {
	case l.turn <- struct{}{}:
		return l, nil
	case <-ctx.Done():
		ls.release(l)
		return nil, &Error{Kind: Unavailable, Err: fmt.Errorf("wait for job %s: %w", job, ctx.Err())}
	}
}

// leave gives the lane to the next.
func (ls *lanes) leave(l *lane) {
	<-l.turn
	ls.release(l)
}

func (ls *lanes) release(l *lane) {
	ls.mu.Lock()
	defer ls.mu.Unlock()
	if l.users--; l.users > 0 {
		return
	}
	l.place = ls.idle.PushFront(l)
	for ls.idle.Len() > ls.keep {
		old := ls.idle.Remove(ls.idle.Back()).(*lane)
		delete(ls.all, old.shop+"/"+old.job)
	}
}

// forget drops what the lane knows: the next turn reads the log again.
func (l *lane) forget() {
	l.folded, l.threads, l.loaded = folded{}, nil, false
}

// load makes sure that the lane holds the job as the log has it.
func (l *lane) load(ctx context.Context, s Store) error {
	if l.loaded {
		return nil
	}
	f, err := readJob(ctx, s, l.shop, l.job)
	if err != nil {
		return err
	}
	threads, err := s.Threads(ctx, l.shop, l.job)
	if err != nil {
		return failed("threads of job "+l.job, err)
	}
	l.folded, l.threads, l.loaded = f, threads, true
	return nil
}

// fresh makes the lane that of a job that does not exist yet.
func (l *lane) fresh() {
	l.folded, l.threads, l.loaded = folded{state: flow.NewState(l.shop, l.job)}, nil, true
}

// readJob folds a job's log.
func readJob(ctx context.Context, s Store, shop, job string) (folded, error) {
	entries, prev, err := readEntries(ctx, s, shop, job)
	if err != nil {
		return folded{}, err
	}
	f := folded{state: flow.Fold(shop, job, entries), prev: prev}
	for i := range entries {
		f.found.add(&entries[i])
	}
	return f, nil
}

// ReadState folds a job's log as it stands in a store, checked on the way: for
// those who show a job without running it.
func ReadState(ctx context.Context, s Store, shop, job string) (*flow.State, error) {
	f, err := readJob(ctx, s, shop, job)
	return f.state, err
}

// readEntries reads a job's log and checks it on the way.
func readEntries(ctx context.Context, s Store, shop, job string) (entries []flow.Entry, prev string, err error) {
	stored, err := s.Entries(ctx, shop, job, 0)
	if err != nil {
		return nil, "", failed("read job "+job, err)
	}
	entries = make([]flow.Entry, 0, len(stored))
	for i := range stored {
		e, err := fromLeaf(shop, job, int64(i)+1, prev, &stored[i])
		if err != nil {
			return nil, "", &Error{Kind: Internal, Err: fmt.Errorf("read job %s: %w", job, err)}
		}
		entries = append(entries, e)
		prev = journal.Hash(stored[i].Bytes)
	}
	return entries, prev, nil
}

// finds are what a job can be found by, collected from its entries.
type finds struct {
	vehicle, vin string   // in the user's words, "" once erased
	codes        []string // hashes of guest codes
	files        []string // hashes of evidence files
	track        bool     // a raw track file is still kept
}

// add takes what an entry brings.
func (f *finds) add(e *flow.Entry) {
	switch fact := e.Fact.(type) {
	case *flow.VehicleFact:
		f.vehicle = e.Item(flow.ItemVehicle)
	case *flow.VINFact:
		f.vin = e.Item(flow.ItemVIN)
	case *flow.InviteFact:
		if !slices.Contains(f.codes, fact.Hash) {
			f.codes = append(slices.Clip(f.codes), fact.Hash)
		}
	case *flow.FileFact:
		f.addFile(e.Item(flow.ItemSHA256))
		f.track = f.track || fact.Use == "track" && e.Item(flow.ItemSHA256) != ""
	case *flow.BackupFact:
		f.addFile(e.Item(flow.ItemSHA256))
	}
}

func (f *finds) addFile(sha256 string) {
	if sha256 != "" && !slices.Contains(f.files, sha256) {
		// Clipped: the copy of a state that came to nothing must not share it.
		f.files = append(slices.Clip(f.files), sha256)
	}
}
