package slack

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"

	api "github.com/slack-go/slack"
)

// maxAnswer bounds an answer that is read back: 200 messages with their blocks.
const maxAnswer = 32 << 20

// read calls a reading method and keeps only what is used here: the library gives
// up a whole page for one block it does not know. Errors are the library's.
func (s *Slack) read(ctx context.Context, method string, args url.Values, out any) error {
	base := s.cfg.APIURL
	if base == "" {
		base = api.APIURL
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, base+method, strings.NewReader(args.Encode()))
	if err != nil {
		return fmt.Errorf("%s: %s", method, plainly(err))
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	req.Header.Set("Authorization", "Bearer "+s.cfg.BotToken)
	res, err := s.ask.Do(req)
	if err != nil {
		return fmt.Errorf("%s: %s", method, plainly(err))
	}
	defer res.Body.Close()
	switch {
	case res.StatusCode == http.StatusTooManyRequests:
		return &api.RateLimitedError{RetryAfter: asked(res, nil)}
	case res.StatusCode != http.StatusOK:
		return api.StatusCodeError{Code: res.StatusCode, Status: res.Status}
	}
	body, err := io.ReadAll(io.LimitReader(res.Body, maxAnswer))
	if err != nil {
		return fmt.Errorf("%s: %s", method, plainly(err))
	}
	var status struct {
		OK    bool   `json:"ok"`
		Error string `json:"error"`
	}
	if err := strictly(body, &status); err != nil {
		return fmt.Errorf("%s: %w", method, err)
	}
	if !status.OK {
		if status.Error == "" {
			return fmt.Errorf("%s: %w", method, errors.New("refused without a reason"))
		}
		return api.SlackErrorResponse{Err: status.Error}
	}
	if err := json.Unmarshal(body, out); err != nil {
		return fmt.Errorf("%s: an answer of another form", method)
	}
	return nil
}

// patiently repeats a reading call until it is answered, as slowly as Slack asks.
// What is refused is refused.
func (s *Slack) patiently(ctx context.Context, method string, args url.Values, out any) error {
	for pause := s.times.retry; ; pause = min(2*pause, s.times.most) {
		err := s.read(ctx, method, args, out)
		if err == nil || ctx.Err() != nil || refusedFor(err) {
			return err
		}
		if !sleep(ctx, max(wait(err), pause)) {
			return ctx.Err()
		}
	}
}

// args makes the arguments of a method; empty ones are left out.
func args(pairs ...string) url.Values {
	v := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			v.Set(pairs[i], pairs[i+1])
		}
	}
	return v
}
