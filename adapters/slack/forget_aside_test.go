package slack

import (
	"slices"
	"strings"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
)

// An erasure takes of what lies aside only what may be of the erased, and says how
// much that was, without a word of it.
func TestForgetAside(t *testing.T) {
	for what, c := range map[string]struct {
		f    bot.Forgotten
		left []string
	}{
		"job":    {bot.Forgotten{Job: "k7mw2pd"}, []string{"other thread", "other thread, kim", "other thread, names kim", "waits"}},
		"person": {bot.Forgotten{People: []bot.Identity{"slack:T0SHOP/U0KIM"}}, []string{"other thread", "this thread", "waits"}},
	} {
		t.Run(what, func(t *testing.T) {
			r := listen(t, false, workspace.Options{})
			r.end()
			st, err := openState(t.Context(), r.cfg.Dir)
			if err != nil {
				t.Fatal(err)
			}
			defer func() {
				if err := st.close(); err != nil {
					t.Error(err)
				}
			}()
			for job, ts := range map[string]string{"k7mw2pd": "1", "aaaaaaa": "2"} {
				if err := st.setRoot(t.Context(), "T0SHOP/C1/"+ts, "C1", ts, job); err != nil {
					t.Fatal(err)
				}
			}
			for i, x := range []struct {
				key, lane, user, raw string
				state                int
			}{
				{"unread", "", "", "Harrow", stateBad},
				{"this thread", "C1/1", "U0SAM", "Harrow", statePoison},
				{"other thread", "C1/2", "U0SAM", "Harrow", statePoison},
				{"other thread, kim", "C1/2", "U0KIM", "Harrow", statePoison},
				{"other thread, names kim", "C1/2", "U0SAM", `{"text":"<@U0KIM> Harrow"}`, statePoison},
				{"waits", "C1/2", "U0SAM", "Harrow", stateWaits},
			} {
				if _, err := st.db.Exec("INSERT INTO inbox (key, lane, at, user, raw, came, state) VALUES (?, ?, ?, ?, CAST(? AS BLOB), 1, ?)",
					x.key, x.lane, tsOf(time.Unix(int64(i), 0)), x.user, x.raw, x.state); err != nil {
					t.Fatal(err)
				}
			}
			if err := st.close(); err != nil { // it is forgotten while nothing runs
				t.Fatal(err)
			}
			if err := r.Forget(t.Context(), c.f); err != nil {
				t.Fatal(err)
			}
			if st, err = openState(t.Context(), r.cfg.Dir); err != nil {
				t.Fatal(err)
			}
			rows, err := st.db.Query("SELECT key FROM inbox ORDER BY key")
			if err != nil {
				t.Fatal(err)
			}
			defer rows.Close()
			var left []string
			for rows.Next() {
				var key string
				if err := rows.Scan(&key); err != nil {
					t.Fatal(err)
				}
				left = append(left, key)
			}
			if err := rows.Err(); err != nil || !slices.Equal(left, c.left) {
				t.Errorf("left %q, want %q (%v)", left, c.left, err)
			}
			if s := r.log.String(); !strings.Contains(s, "unread=1 ") || strings.Contains(s, "Harrow") {
				t.Error("it is not said that something went, or what it was")
			}
		})
	}
}

// What is old is forgotten as long as it runs, and not only when it begins.
func TestPruneAtTimes(t *testing.T) {
	r := listen(t, false, workspace.Options{})
	r.end()
	r.start(func(s *Slack) { s.times.prune = 50 * time.Millisecond })
	r.begins("kim")
	now := time.Now()
	for key, came := range map[string]time.Time{"m:old": now.Add(-seenFor - time.Hour), "m:young": now.Add(-seenFor + time.Hour),
		"x:old": now.Add(-eventSeenFor - time.Hour), "x:young": now.Add(-time.Hour)} {
		if _, err := r.state.db.Exec("INSERT INTO seen (key, channel, at, came) VALUES (?, '', '', ?)", key, came.UnixMilli()); err != nil {
			t.Fatal(err)
		}
	}
	for key, came := range map[string]time.Time{"old": now.Add(-asideFor - time.Hour), "young": now.Add(-asideFor + time.Hour)} {
		if _, err := r.state.db.Exec("INSERT INTO inbox (key, lane, at, user, raw, came, state) VALUES (?, '', '', '', CAST('Harrow' AS BLOB), ?, ?)",
			key, came.UnixMilli(), statePoison); err != nil {
			t.Fatal(err)
		}
	}
	count := func(query string) (n int) {
		if err := r.state.db.QueryRow(query).Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	r.await("the old ones gone", func() bool {
		return count("SELECT count(*) FROM seen WHERE key LIKE '%:old'")+count("SELECT count(*) FROM inbox WHERE key = 'old'") == 0
	})
	if n := count("SELECT count(*) FROM seen WHERE key LIKE '%:young'") + count("SELECT count(*) FROM inbox WHERE key = 'young'"); n != 3 {
		t.Errorf("%d young ones are left", n)
	}
}
