package workspace

import (
	"encoding/json"
	"io"
	"maps"
	"mime"
	"net/http"
	"net/url"
	"strconv"
	"strings"
)

// readCall reads token and arguments from header, query, form, multipart or JSON.
func (w *Workspace) readCall(name string, r *http.Request) (*call, string) {
	c := &call{method: name, args: url.Values{}}
	query := r.URL.Query()
	if query.Has("token") {
		w.broke("%s: token in the URL", name)
		return c, "invalid_auth"
	}
	maps.Copy(c.args, query)
	kind, params, _ := mime.ParseMediaType(r.Header.Get("Content-Type"))
	body, err := io.ReadAll(http.MaxBytesReader(nil, r.Body, 4<<20))
	if err != nil {
		return c, "invalid_form_data"
	}
	switch {
	case len(body) == 0:
	case kind == "application/x-www-form-urlencoded":
		form, err := url.ParseQuery(string(body))
		if err != nil {
			return c, "invalid_form_data"
		}
		maps.Copy(c.args, form)
	case kind == "multipart/form-data":
		form, err := multipartForm(body, params["boundary"])
		if err != nil {
			return c, "invalid_form_data"
		}
		maps.Copy(c.args, form)
	case kind == "application/json":
		if bad := w.jsonArgs(c, body); bad != "" {
			return c, bad
		}
	default:
		return c, "invalid_post_type"
	}
	c.token = c.args.Get("token")
	c.args.Del("token")
	if bearer, ok := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer "); ok {
		c.token = bearer
	}
	return c, ""
}

// secrets finds tokens and the signing secret where they have no business.
func (w *Workspace) secrets(where string, args url.Values) {
	for k, list := range args {
		for _, v := range list {
			if strings.Contains(v, w.botToken) || strings.Contains(v, w.appToken) || strings.Contains(v, w.key) {
				w.broke("%s: a secret in %s", where, k)
			}
		}
	}
}

func (w *Workspace) jsonArgs(c *call, body []byte) string {
	v, err := parse(body)
	if err != nil {
		return "invalid_json"
	}
	if v == nil {
		return "" // a client without arguments may send null
	}
	o, ok := v.(obj)
	if !ok {
		return "json_not_object"
	}
	if !allMethods[c.method].json {
		w.broke("%s takes no JSON body", c.method)
		return "" // the arguments count as not given
	}
	for k, v := range o {
		switch x := v.(type) {
		case nil:
		case string:
			c.args.Set(k, x)
		case json.Number:
			if strings.HasSuffix(k, "ts") || k == "timestamp" || k == "oldest" || k == "latest" {
				w.broke("%s: %s given as a number loses digits", c.method, k)
			}
			c.args.Set(k, x.String())
		case bool:
			c.args.Set(k, strconv.FormatBool(x))
		default:
			b, _ := json.Marshal(x)
			c.args.Set(k, string(b))
		}
	}
	if c.args.Has("token") {
		c.args.Del("token") // in a JSON body a token is not looked at
	}
	return ""
}
