package slack

import (
	"context"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"
)

// Calls of a method that people wait for are on the way together, only so many; what
// Slack asked of one keeps the others away; and who had no turn in time has not called.
func TestPatient(t *testing.T) {
	came, answer := make(chan struct{}, 99), make(chan int)
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		came <- struct{}{}
		status := <-answer
		w.Header().Set("Retry-After", "60")
		w.WriteHeader(status)
	}))
	defer server.Close()
	base := &http.Transport{}
	defer base.CloseIdleConnections()
	client := &http.Client{Transport: newPatient(base)}
	ask := func(ctx context.Context, method string) (int, error) {
		r, err := http.NewRequestWithContext(ctx, http.MethodPost, server.URL+"/api/"+method, strings.NewReader("x"))
		if err != nil {
			return 0, err
		}
		res, err := client.Do(r)
		if err != nil {
			return 0, err
		}
		_, err = io.Copy(io.Discard, res.Body)
		return res.StatusCode, errors.Join(err, res.Body.Close())
	}
	for method, most := range map[string]int{"views.open": 32, "users.info": 8, "conversations.replies": 8, "chat.update": 1} {
		got := make(chan int, 99)
		for range most {
			go func() {
				n, err := ask(t.Context(), method)
				if err != nil {
					t.Error(err)
				}
				got <- n
			}()
		}
		for range most { // all of them are on the way
			select {
			case <-came:
			case <-time.After(time.Minute):
				t.Fatalf("%s: they wait for each other", method)
			}
		}
		ctx, stop := context.WithTimeout(t.Context(), 50*time.Millisecond)
		if _, err := ask(ctx, method); !errors.Is(err, errNoTurn) || len(came) > 0 {
			t.Errorf("%s: one more: %v", method, err)
		}
		stop()
		answer <- http.StatusTooManyRequests
		for range most - 1 {
			answer <- http.StatusOK
		}
		for range most {
			<-got
		}
		if n, err := ask(t.Context(), method); n != http.StatusTooManyRequests || err != nil || len(came) > 0 {
			t.Errorf("%s: after a refusal: %d %v", method, n, err)
		}
	}
}
