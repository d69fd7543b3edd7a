package sqlite_test

import (
	"bufio"
	"context"
	"fmt"
	"testing"
	"time"
)

// TestKilled kills a process that commits, over and over: what it was told is
// stored is there, what is there is whole.
func TestKilled(t *testing.T) {
	dir := t.TempDir()
	rounds := 6
	if testing.Short() {
		rounds = 2
	}
	acknowledged := map[string]int64{}
	var deliveries []string
	for round := range rounds {
		c := child(t, "commit", dir)
		out, err := c.StdoutPipe()
		must(t, err)
		must(t, c.Start())
		kill := time.AfterFunc(time.Duration(150+37*round)*time.Millisecond, func() { c.Process.Kill() })
		lines := bufio.NewScanner(out)
		for lines.Scan() {
			var job, delivery string
			var seq int64
			if n, _ := fmt.Sscanf(lines.Text(), "%s %d %s", &job, &seq, &delivery); n == 3 {
				acknowledged[job] = seq
				deliveries = append(deliveries, delivery)
			}
		}
		c.Wait() // it was killed
		kill.Stop()
		checkKilled(t, dir, acknowledged, deliveries)
	}
	t.Logf("%d commits acknowledged in %d lives", len(deliveries), rounds)
	if len(deliveries) < rounds {
		t.Errorf("only %d commits in %d lives", len(deliveries), rounds)
	}
}

func checkKilled(t *testing.T, dir string, acknowledged map[string]int64, deliveries []string) {
	t.Helper()
	ctx := context.Background()
	s := open(t, dir) // with its own checks
	must(t, s.Verify(ctx))
	for job, seq := range acknowledged {
		e := entries(t, s, "north", job)
		// One more may be there, of a commit whose acknowledgement was cut off.
		if n := int64(len(e)); n != seq && n != seq+4 {
			t.Fatalf("%s has %d entries, %d were acknowledged", job, n, seq)
		}
	}
	for _, d := range deliveries {
		if _, ok, err := s.Delivered(ctx, "north", d); !ok || err != nil {
			t.Fatalf("delivery %s was acknowledged and is not known: %v", d, err)
		}
	}
	must(t, s.Close())
}
