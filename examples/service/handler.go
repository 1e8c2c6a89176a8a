package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"mime"
	"net/http"
	"runtime"
	"time"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

const (
	maxBody     = 64 << 10        // bytes of one question
	maxThinking = 2 * time.Second // of one suggestion
)

// handler answers for one model. A model never changes, so all requests share it.
func handler(m *discharge.Model) http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /model", func(w http.ResponseWriter, _ *http.Request) { reply(w, http.StatusOK, describe(m)) })
	mux.Handle("POST /predict", ask(func(_ context.Context, q predictQuestion) (any, error) { return predict(m, q) }))
	// Suggestions take milliseconds of a core each: no more at once than cores.
	turn := make(chan struct{}, runtime.GOMAXPROCS(0))
	mux.Handle("POST /suggest", ask(func(ctx context.Context, q suggestQuestion) (any, error) {
		ctx, cancel := context.WithTimeout(ctx, maxThinking)
		defer cancel()
		select {
		case turn <- struct{}{}:
			defer func() { <-turn }()
		case <-ctx.Done():
			return nil, ctx.Err()
		}
		return suggest(ctx, m, q)
	}))
	return mux
}

// ask decodes one JSON question strictly, has it answered, and writes the
// answer or the fault as JSON.
func ask[Q any](answer func(context.Context, Q) (any, error)) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/json" {
			fault(w, http.StatusUnsupportedMediaType, errors.New("want Content-Type: application/json"))
			return
		}
		dec := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxBody))
		dec.DisallowUnknownFields()
		var q Q
		err := dec.Decode(&q)
		if err == nil {
			if _, more := dec.Token(); more != io.EOF {
				err = errors.New("want one JSON object and nothing after it")
			}
		}
		var large *http.MaxBytesError
		switch {
		case errors.As(err, &large):
			fault(w, http.StatusRequestEntityTooLarge, fmt.Errorf("the question is larger than %d bytes", large.Limit))
			return
		case err != nil:
			fault(w, http.StatusBadRequest, err)
			return
		}
		a, err := answer(r.Context(), q)
		switch {
		case errors.Is(err, context.DeadlineExceeded), errors.Is(err, context.Canceled):
			fault(w, http.StatusServiceUnavailable, errors.New("no answer in time: ask again, or fix some settings by equal bounds"))
		case err != nil: // the model names what is wrong with the question
			fault(w, http.StatusUnprocessableEntity, err)
		default:
			reply(w, http.StatusOK, a)
		}
	})
}

// reply writes JSON; the encoder escapes what HTML could take for markup.
func reply(w http.ResponseWriter, status int, v any) {
	data, err := json.Marshal(v)
	if err != nil { // a NaN, which the model never gives
		status, data = http.StatusInternalServerError, []byte(`{"error":"the answer cannot be written"}`)
	}
	h := w.Header()
	h.Set("Content-Type", "application/json")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_, _ = w.Write(append(data, '\n')) // a client that has gone needs no answer
}

func fault(w http.ResponseWriter, status int, err error) {
	reply(w, status, map[string]string{"error": err.Error()})
}

type predictQuestion struct {
	Settings discharge.Settings `json:"settings"`
}

type suggestQuestion struct {
	Lab       []float64                  `json:"lab"` // under the model's viewing
	Tolerance float64                    `json:"tolerance"`
	Bounds    map[string]discharge.Range `json:"bounds"`
	Available map[string][]float64       `json:"available"`
}

type shade struct {
	L float64 `json:"L"`
	A float64 `json:"a"`
	B float64 `json:"b"`
}

type prediction struct {
	Shade        shade      `json:"shade"`
	LRange       [2]float64 `json:"L_lot_interval"` // holds 95 % of the means of lots
	DeltaEP95    float64    `json:"delta_e_p95"`
	Extrapolated bool       `json:"extrapolated"`
}

func predict(m *discharge.Model, q predictQuestion) (any, error) {
	p, err := m.Predict(q.Settings)
	if err != nil {
		return nil, err
	}
	a := prediction{Shade: shade(p.Shade), DeltaEP95: p.DeltaEP95, Extrapolated: p.Extrapolated}
	a.LRange[0], a.LRange[1] = p.Interval(0, 0.95)
	return a, nil
}

type suggestions struct {
	Reachable     bool     `json:"reachable"`
	ClosestDeltaE float64  `json:"closest_delta_e"`
	Why           string   `json:"why"`
	Warnings      []string `json:"warnings"`
	List          []choice `json:"suggestions"`
}

type choice struct {
	Settings        discharge.Settings `json:"settings"`
	Shade           shade              `json:"shade"`
	PassProbability float64            `json:"pass_probability"`
	TimeWindowMin   [2]float64         `json:"time_window_min"`
	Extrapolated    bool               `json:"extrapolated"`
}

func suggest(ctx context.Context, m *discharge.Model, q suggestQuestion) (any, error) {
	if len(q.Lab) != 3 || !(q.Lab[0] >= 0 && q.Lab[0] <= 100) || math.Abs(q.Lab[1]) > 150 || math.Abs(q.Lab[2]) > 150 {
		return nil, errors.New(`want "lab": [L, a, b] with L* from 0 to 100 and a*, b* from -150 to 150`)
	}
	t := discharge.Target{ID: "target", Viewing: m.Viewing(), Lab: colorimetry.Lab{L: q.Lab[0], A: q.Lab[1], B: q.Lab[2]}}
	s, err := m.SuggestContext(ctx, t, &discharge.SuggestOptions{Tolerance: q.Tolerance, Bounds: q.Bounds, Available: q.Available})
	if err != nil {
		return nil, err
	}
	a := suggestions{Reachable: s.Reachable, ClosestDeltaE: s.ClosestDeltaE, Why: s.Why, Warnings: []string{}, List: []choice{}}
	for _, w := range s.Warnings {
		a.Warnings = append(a.Warnings, w.Error())
	}
	for _, x := range s.List {
		a.List = append(a.List, choice{x.Settings, shade(x.Shade), x.PassProbability, x.TimeWindowMin, x.Extrapolated})
	}
	return a, nil
}

type description struct {
	Process string   `json:"process"`
	Viewing string   `json:"viewing"`
	Factors []factor `json:"factors"`
}

type factor struct {
	Column string  `json:"column"`
	Unit   string  `json:"unit"`
	Lo     float64 `json:"tested_from"`
	Hi     float64 `json:"tested_to"`
}

func describe(m *discharge.Model) description {
	d := description{Process: m.Process().ID, Viewing: m.Viewing().String(), Factors: []factor{}}
	for _, f := range m.Factors() {
		d.Factors = append(d.Factors, factor{f.Column, f.Unit, f.Lo, f.Hi})
	}
	return d
}
