package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
)

func demoModel(t *testing.T) *discharge.Model {
	t.Helper()
	table, err := discharge.ReadTable(demo.PelletTrialsFile, bytes.NewReader(demo.PelletTrials()), nil)
	require.NoError(t, err)
	m, err := discharge.Fit(table, nil)
	require.NoError(t, err)
	return m
}

func post(t *testing.T, url, body string) (status int, text string, header http.Header) {
	t.Helper()
	r, err := http.Post(url, "application/json; charset=utf-8", strings.NewReader(body))
	require.NoError(t, err)
	defer r.Body.Close()
	data, err := io.ReadAll(r.Body)
	require.NoError(t, err)
	return r.StatusCode, string(data), r.Header
}

func TestServiceSaysWhatTheModelSays(t *testing.T) {
	m := demoModel(t)
	s := httptest.NewServer(handler(m))
	defer s.Close()
	status, text, header := post(t, s.URL+"/predict", `{"settings": {"strength_pct": 6, "ratio": 1.3, "time_min": 14}}`)
	require.Equal(t, http.StatusOK, status, text)
	require.Equal(t, "application/json", header.Get("Content-Type"))
	require.Equal(t, "nosniff", header.Get("X-Content-Type-Options"))
	var p prediction
	require.NoError(t, json.Unmarshal([]byte(text), &p))
	want, err := m.Predict(discharge.Settings{"strength_pct": 6, "ratio": 1.3, "time_min": 14})
	require.NoError(t, err)
	require.Equal(t, shade(want.Shade), p.Shade, "JSON keeps every digit")

	status, text, _ = post(t, s.URL+"/suggest", `{"lab": [48, -2.6, -9], "bounds": {"time_min": {"Lo": 10, "Hi": 10}}, "available": {"strength_pct": [4, 8]}}`)
	require.Equal(t, http.StatusOK, status, text)
	var a suggestions
	require.NoError(t, json.Unmarshal([]byte(text), &a))
	require.True(t, a.Reachable)
	require.NotEmpty(t, a.List)
	for _, c := range a.List {
		require.Equal(t, 10.0, c.Settings["time_min"])
		require.Contains(t, []float64{4, 8}, c.Settings["strength_pct"])
	}

	r, err := http.Get(s.URL + "/model")
	require.NoError(t, err)
	defer r.Body.Close()
	var d description
	require.NoError(t, json.NewDecoder(r.Body).Decode(&d))
	require.Equal(t, "permanganate-pellet", d.Process)
	require.NotEmpty(t, d.Factors)
}

func TestServiceRefusesBadQuestions(t *testing.T) {
	s := httptest.NewServer(handler(demoModel(t)))
	defer s.Close()
	for _, c := range []struct {
		path, body string
		status     int
		says       string
	}{
		{"/predict", `{"settings": `, 400, "unexpected EOF"},
		{"/predict", `{"setings": {}}`, 400, "unknown field"},
		{"/predict", `{"settings": {"time_min": "x"}}`, 400, "cannot unmarshal"},
		{"/predict", `{"settings": {}} {}`, 400, "nothing after it"},
		{"/predict", `{"settings": {"time_min": 1e999}}`, 400, "1e999"},
		{"/predict", `{}`, 422, "settings lack"},
		{"/predict", `{"settings": {"strength_pct": -1, "ratio": 1, "time_min": 5}}`, 422, "above 0"},
		{"/predict", `{"settings": {"x": ` + strings.Repeat("[", maxBody) + `}}`, 400, "depth"},
		{"/predict", `"` + strings.Repeat("a", maxBody+1) + `"`, 413, "larger than"},
		{"/suggest", `{"lab": [1, 2]}`, 422, "want"},
		{"/suggest", `{"lab": [48, -2, -9], "tolerance": -1}`, 422, "tolerance"},
		{"/suggest", `{"lab": [48, -2, -9], "bounds": {"<script>alert(1)</script>": {"Lo": 1, "Hi": 2}}}`, 422, `\u003cscript\u003e`},
	} {
		status, text, header := post(t, s.URL+c.path, c.body)
		require.Equal(t, c.status, status, text)
		require.Contains(t, text, c.says)
		require.Equal(t, "application/json", header.Get("Content-Type"))
		require.NotContains(t, text, "<script", "input must not come back as markup")
	}
	r, err := http.Post(s.URL+"/predict", "text/plain", strings.NewReader("{}"))
	require.NoError(t, err)
	r.Body.Close()
	require.Equal(t, http.StatusUnsupportedMediaType, r.StatusCode)
	r, err = http.Get(s.URL + "/predict")
	require.NoError(t, err)
	r.Body.Close()
	require.Equal(t, http.StatusMethodNotAllowed, r.StatusCode)
}

// A client that sends its question a byte at a time is cut off, and others are
// served meanwhile.
func TestServiceCutsSlowClientsOff(t *testing.T) {
	s := httptest.NewUnstartedServer(handler(demoModel(t)))
	limits := newServer(nil)
	require.Positive(t, limits.ReadTimeout)
	require.Positive(t, limits.ReadHeaderTimeout)
	require.Positive(t, limits.WriteTimeout)
	s.Config.ReadTimeout = 200 * time.Millisecond // the same, for a test's patience
	s.Start()
	defer s.Close()
	c, err := net.Dial("tcp", s.Listener.Addr().String())
	require.NoError(t, err)
	defer c.Close()
	_, err = io.WriteString(c, "POST /predict HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: 1000\r\n\r\n{")
	require.NoError(t, err)
	status, text, _ := post(t, s.URL+"/predict", `{"settings": {"strength_pct": 6, "ratio": 1.3, "time_min": 14}}`)
	require.Equal(t, http.StatusOK, status, text)
	require.NoError(t, c.SetReadDeadline(time.Now().Add(20*time.Second)))
	_, err = io.ReadAll(c)
	require.NoError(t, err, "the server must close the connection before the deadline")
}

func TestServiceServesManyAtOnceAndStopsGracefully(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- serve(ctx, l, newServer(handler(demoModel(t)))) }()
	url := "http://" + l.Addr().String()
	var all sync.WaitGroup
	for range 16 {
		all.Go(func() {
			for range 10 {
				r, err := http.Post(url+"/suggest", "application/json", strings.NewReader(`{"lab": [48, -2.6, -9]}`))
				if err != nil {
					t.Error(err)
					return
				}
				if r.StatusCode != http.StatusOK {
					t.Error(r.Status)
				}
				_, _ = io.Copy(io.Discard, r.Body)
				r.Body.Close()
			}
		})
	}
	all.Wait()
	cancel()
	select {
	case err := <-ended:
		require.NoError(t, err)
	case <-time.After(20 * time.Second):
		t.Fatal("the service goes on after it was told to stop")
	}
	_, err = http.Post(url+"/predict", "application/json", strings.NewReader("{}"))
	require.Error(t, err)
}

func TestServiceNeedsItsArguments(t *testing.T) {
	require.ErrorContains(t, run(t.Context(), nil), "two arguments")
	require.Error(t, run(t.Context(), []string{"missing.json", "127.0.0.1:0"}))
}
