package slack

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"time"

	api "github.com/slack-go/slack"

	"milepost/bot"
)

// callTimeout ends a call whose answer does not come. What became of the deed is
// then not known.
const callTimeout = 20 * time.Second

// newClient makes the client of the Web API. It repeats nothing by itself: after
// an answer that was lost the deed may be done, so who called decides.
func newClient(cfg Config, more ...api.Option) *api.Client {
	o := []api.Option{api.OptionHTTPClient(&http.Client{Timeout: callTimeout, Transport: newPatient(http.DefaultTransport)}), api.OptionRetry(0)}
	if cfg.AppToken != "" {
		o = append(o, api.OptionAppLevelToken(cfg.AppToken))
	}
	if cfg.APIURL != "" {
		o = append(o, api.OptionAPIURL(cfg.APIURL))
	}
	return api.New(cfg.BotToken, append(o, more...)...)
}

// laterError is a failure that says when to try again.
type laterError struct {
	err   error
	after time.Duration
}

func (e *laterError) Error() string             { return e.err.Error() }
func (e *laterError) Unwrap() error             { return e.err }
func (e *laterError) RetryAfter() time.Duration { return e.after }

// errNoAnswer is an answer without what it must hold.
var errNoAnswer = errors.New("the answer says nothing")

// fate is what became of a deed that failed.
type fate int

const (
	undone  fate = iota // refused: it was not done
	unknown             // it may have been done
)

// Slack's error codes by what follows from them (Web API methods, "Errors").
var (
	// The deed may have been done in spite of these.
	unsure = []string{"fatal_error", "internal_error", "request_timeout", "service_unavailable", "team_added_to_org"}
	// Too many calls: as an answer of its own, and chat.postMessage's.
	limits = []string{"ratelimited", "rate_limited"}
	// The message itself is at fault: it will never be taken as it is.
	badBody = []string{"invalid_blocks", "invalid_blocks_format", "msg_blocks_too_long", "msg_too_long", "no_text",
		"invalid_arguments", "invalid_attachments", "too_many_attachments", "invalid_metadata_format",
		"invalid_metadata_schema", "metadata_too_large", "markdown_text_conflict", "attachment_payload_limit_exceeded"}
	// The file is not taken, by this workspace or in this channel, and will not be
	// (docs.slack.dev, files.getUploadURLExternal and files.completeUploadExternal).
	badFile = []string{"file_uploads_disabled", "file_uploads_except_images_disabled", "file_type_not_allowed", "file_upload_size_restricted",
		"storage_limit_reached", "alt_txt_too_large", "snippet_too_large", "unknown_snippet_type", "posting_to_channel_denied"}
	// The channel takes nothing from us any more.
	gone = []string{"channel_not_found", "not_in_channel", "is_archived", "restricted_action", "restricted_action_thread_locked",
		"restricted_action_read_only_channel", "restricted_action_non_threadable_channel", "user_is_restricted", "ekm_access_denied",
		"team_access_not_granted", "as_user_not_supported", "messages_tab_disabled", threadsOnly}
	// The thread takes nothing any more: its root was deleted.
	rootless = []string{"thread_not_found", "message_not_found", "cannot_reply_to_message"}
	// The post to be changed is not there: deleted, or what is left of it is Slack's.
	lost = []string{"message_not_found", "cant_update_message"}
	// The same, and posts that can't be changed for another reason.
	uneditable = []string{"message_not_found", "cant_update_message", "edit_window_closed", "is_inactive", "streaming_state_conflict"}
)

// threadsOnly says that we may write in a channel's threads, and only there.
const threadsOnly = "restricted_action_thread_only_channel"

// code is Slack's error code, "" where it is another failure.
func code(err error) string {
	var r api.SlackErrorResponse
	if errors.As(err, &r) {
		return r.Err
	}
	return ""
}

func is(err error, codes []string) bool { return slices.Contains(codes, code(err)) }

// fateOf judges a failed call.
func fateOf(err error) fate {
	var limited *api.RateLimitedError
	var status api.StatusCodeError
	switch c := code(err); {
	case errors.As(err, &limited):
		return undone
	case errors.As(err, &status):
		if status.Code == http.StatusTooManyRequests || status.Code >= 400 && status.Code < 500 {
			return undone
		}
		return unknown
	case is(err, limits):
		return undone
	case c != "" && !slices.Contains(unsure, c):
		return undone
	}
	return unknown
}

// wait says how long Slack asked to be left alone, 0 if it did not.
func wait(err error) time.Duration {
	var limited *api.RateLimitedError
	var status api.StatusCodeError
	switch {
	case errors.As(err, &limited):
		return max(limited.RetryAfter, time.Second)
	case errors.As(err, &status) && status.Code == http.StatusTooManyRequests, is(err, limits):
		return time.Minute // the header was missing
	}
	return 0
}

// refusedFor says whether a call was refused, so that the same again will be.
func refusedFor(err error) bool { return code(err) != "" && fateOf(err) == undone && wait(err) == 0 }

// failed wraps a call's failure for whoever tries again: with the time to wait,
// and for good where trying again can't help.
func failed(op string, err error) error {
	if err == nil {
		return nil
	}
	err = fmt.Errorf("%s: %w", op, err)
	switch d := wait(err); {
	case d > 0:
		return &laterError{err: err, after: d}
	case is(err, badBody):
		return &bot.Error{Kind: bot.Invalid, Err: err}
	case is(err, gone):
		return &bot.Error{Kind: bot.Forbidden, Err: err}
	}
	return &bot.Error{Kind: bot.Unavailable, Err: err}
}
