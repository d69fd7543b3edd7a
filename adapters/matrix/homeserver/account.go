package homeserver

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"testing"
)

// Account is a person on the server, on one device.
type Account struct {
	UserID      string `json:"user_id"`
	AccessToken string `json:"access_token"`
	DeviceID    string `json:"device_id"`
}

// Register makes an account, "@name:localhost", with a first device. A password
// has 8 characters at least.
func (s *Server) Register(t testing.TB, name, password string) Account {
	t.Helper()
	var a Account
	s.mustCall(t, "", "POST", "/_matrix/client/v3/register", map[string]any{
		"username": name, "password": password, "auth": map[string]string{"type": "m.login.dummy"}}, &a)
	return a
}

// Login gives an account one more device.
func (s *Server) Login(t testing.TB, name, password string) Account {
	t.Helper()
	var a Account
	s.mustCall(t, "", "POST", "/_matrix/client/v3/login", map[string]any{"type": "m.login.password",
		"identifier": map[string]string{"type": "m.id.user", "user": name}, "password": password}, &a)
	return a
}

// Logout takes a device away: its token is refused with M_UNKNOWN_TOKEN.
func (s *Server) Logout(t testing.TB, a Account) {
	t.Helper()
	s.mustCall(t, a.AccessToken, "POST", "/_matrix/client/v3/logout", map[string]any{}, nil)
}

// Call makes one request of the client-server API and gives its status. body
// and answer are JSON values; each may be nil. The path may hold a query.
func (s *Server) Call(t testing.TB, token, method, path string, body, answer any) int {
	t.Helper()
	status, text, err := s.call(token, method, path, body)
	if err == nil && answer != nil {
		err = json.Unmarshal(text, answer)
	}
	if err != nil {
		t.Fatalf("%s %s: %v", method, path, err)
	}
	return status
}

func (s *Server) mustCall(t testing.TB, token, method, path string, body, answer any) {
	t.Helper()
	status, text, err := s.call(token, method, path, body)
	if err == nil && status != http.StatusOK {
		err = fmt.Errorf("status %d: %s", status, text)
	}
	if err == nil && answer != nil {
		err = json.Unmarshal(text, answer)
	}
	if err != nil {
		t.Fatalf("%s %s: %v", method, path, err)
	}
}

func (s *Server) call(token, method, path string, body any) (int, []byte, error) {
	var in io.Reader
	if body != nil {
		text, err := json.Marshal(body)
		if err != nil {
			return 0, nil, err
		}
		in = bytes.NewReader(text)
	}
	req, err := http.NewRequest(method, s.inner()+path, in)
	if err != nil {
		return 0, nil, err
	}
	if token != "" {
		req.Header.Set("Authorization", "Bearer "+token)
	}
	res, err := s.client.Do(req)
	if err != nil {
		return 0, nil, err
	}
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	return res.StatusCode, text, err
}
