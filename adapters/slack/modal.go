package slack

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	api "github.com/slack-go/slack"

	"milepost/bot"
	"milepost/flow"
)

// A form saves typing where several figures are asked for at once. What is sent
// with it becomes what the person would have typed; nothing depends on it.

// formMeta travels with an open form: where it belongs.
type formMeta struct {
	Form    string `json:"f"`
	Thread  string `json:"t"`
	Job     string `json:"j"`
	Ask     int    `json:"a"`
	Speed   string `json:"u,omitempty"` // unit of the dash
	Channel string `json:"c"`
	Post    string `json:"m"`
}

// Forms by name. A name stands in posts that are out, so it keeps its meaning.
const (
	formReadings = "readings"
	formFitted   = "fitted"
	formPlacard  = "placard"
	formStored   = "stored"
)

const formCallback = "milepost_form"

// formFor names the form that answers the open question, "" if typing is as short.
func formFor(out *bot.Outbound) string {
	if out.Job == "" || out.Reply.Kind != flow.Prompt {
		return ""
	}
	switch out.Asked.Question {
	case flow.QDrive:
		return formReadings
	case flow.QFitted:
		return formFitted
	case flow.QPlacard:
		return formPlacard
	case flow.QStored:
		return formStored
	}
	return ""
}

// formView is the form as Slack shows it.
func formView(m formMeta) (api.ModalViewRequest, error) {
	meta, err := json.Marshal(m)
	if err != nil {
		return api.ModalViewRequest{}, fmt.Errorf("make form: %w", err)
	}
	f, ok := forms(m.Speed)[m.Form]
	if !ok {
		return api.ModalViewRequest{}, fmt.Errorf("make form: no form %.40q", m.Form)
	}
	blocks := make([]api.Block, len(f.fields))
	for i, d := range f.fields {
		blocks[i] = d.block(i == 0)
	}
	return api.ModalViewRequest{Type: api.VTModal, CallbackID: formCallback, PrivateMetadata: string(meta), Title: plain(f.title, 24),
		Submit: plain(saySubmit, 24), Close: plain(sayCancel, 24), Blocks: api.Blocks{BlockSet: blocks}}, nil
}

// submission is a form that was sent.
type submission struct {
	Thread bot.Thread
	Job    string
	Texts  []string          // what would have been typed, in order
	Errors map[string]string // by field: then nothing is taken
}

// answer is what Slack is told: nil closes the form.
func (f *submission) answer() any {
	if len(f.Errors) == 0 {
		return nil
	}
	return api.NewErrorsViewSubmissionResponse(f.Errors)
}

var errNoForm = errors.New("it is no form of ours")

// readForm takes a view_submission apart.
func readForm(raw []byte) (submission, formMeta, error) {
	var in struct {
		View struct {
			Callback string `json:"callback_id"`
			Meta     string `json:"private_metadata"`
			State    struct {
				Values map[string]map[string]entered `json:"values"`
			} `json:"state"`
		} `json:"view"`
	}
	if err := json.Unmarshal(raw, &in); err != nil {
		return submission{}, formMeta{}, fmt.Errorf("read form: %w", err)
	}
	var m formMeta
	if err := json.Unmarshal([]byte(in.View.Meta), &m); err != nil || in.View.Callback != formCallback {
		return submission{}, formMeta{}, fmt.Errorf("read form: %w", errNoForm)
	}
	f, ok := forms(m.Speed)[m.Form]
	if !ok {
		return submission{}, formMeta{}, fmt.Errorf("read form: %w", errNoForm)
	}
	got := map[string]string{}
	for block, actions := range in.View.State.Values {
		for _, e := range actions {
			got[block] = strings.TrimSpace(e.String())
		}
	}
	sub := submission{Thread: bot.Thread(m.Thread), Job: m.Job, Errors: map[string]string{}}
	sub.Texts = f.read(m.Speed, got, sub.Errors)
	return sub, m, nil
}

// submitted reads a form that was sent, as long as it may still be refused: what
// can't be taken, or comes for a step that is over, is said at its field.
func (s *Slack) submitted(ctx context.Context, raw []byte) (submission, error) {
	sub, m, err := readForm(raw)
	if err != nil {
		return sub, err
	}
	ctx, leave, err := s.enter(ctx)
	if err != nil {
		return sub, err
	}
	defer leave()
	r, ok, err := s.state.offered(ctx, m.Channel, m.Post)
	if err != nil {
		return sub, failed("read form", err)
	}
	if !ok || r.post.Ask != m.Ask || r.job != m.Job {
		sub.Errors = map[string]string{forms(m.Speed)[m.Form].fields[0].id: sayClosed}
	}
	return sub, nil
}

// taken says whether a form that is sent was taken already.
func (s *Slack) taken(ctx context.Context, key string) (bool, error) {
	ctx, leave, err := s.enter(ctx)
	if err != nil {
		return false, err
	}
	defer leave()
	return s.state.knows(ctx, key)
}

// entered is the value of one field, of whatever kind.
type entered struct {
	Value    string `json:"value"`
	Selected *struct {
		Value string `json:"value"`
	} `json:"selected_option"`
	Several []struct {
		Value string `json:"value"`
	} `json:"selected_options"`
}

func (e *entered) String() string {
	switch {
	case e.Selected != nil:
		return e.Selected.Value
	case len(e.Several) > 0:
		return e.Several[0].Value
	}
	return e.Value
}

// offered gives a post whose question is still open.
func (s *state) offered(ctx context.Context, channel, ts string) (shown, bool, error) {
	r, ok, err := s.shownAt(ctx, channel, ts)
	return r, ok && !r.post.Over, err
}
