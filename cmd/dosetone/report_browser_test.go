package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// browserPath finds an installed browser, "" when there is none.
func browserPath() string {
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "headless-shell", "microsoft-edge"} {
		if p, err := exec.LookPath(name); err == nil {
			return p
		}
	}
	return ""
}

// startBrowser starts a browser with a profile of its own.
func startBrowser(t *testing.T) context.Context {
	t.Helper()
	path := browserPath()
	if path == "" {
		t.Skip("no browser is installed: pages are not opened (install chromium to run this test)")
	}
	opts := []chromedp.ExecAllocatorOption{
		chromedp.ExecPath(path), chromedp.Headless, chromedp.NoSandbox, chromedp.NoFirstRun, chromedp.UserDataDir(t.TempDir()), chromedp.WSURLReadTimeout(60 * time.Second),
	}
	for _, flag := range []string{"disable-gpu", "disable-quic", "disable-background-networking", "disable-component-update", "disable-sync", "disable-dev-shm-usage"} {
		opts = append(opts, chromedp.Flag(flag, true))
	}
	allocator, stopAllocator := chromedp.NewExecAllocator(t.Context(), opts...)
	t.Cleanup(stopAllocator)
	ctx, stop := chromedp.NewContext(allocator)
	t.Cleanup(stop)
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate("about:blank")))
	return ctx
}

// look is what a page tells about itself.
type look struct {
	Overflow float64      `json:"overflow"`
	Figures  []figureLook `json:"figures"`
	Faint    []string     `json:"faint"` // texts whose contrast is below 4.5
	Texts    int          `json:"texts"`
	Small    []string     `json:"small"` // texts below 9 px
	Cut      []string     `json:"cut"`   // tables of which a part is only seen by scrolling sideways
	NoCue    []string     `json:"noCue"` // those of them without a shadow at the edge
	Paper    string       `json:"paper"`
}

type figureLook struct {
	Name    string   `json:"name"`
	Marks   int      `json:"marks"`
	Empty   int      `json:"empty"`
	Outside []string `json:"outside"` // marks and texts that leave the figure
}

// lookScript measures in the page: contrast is WCAG 2.2's, of the computed
// color against the nearest opaque background.
const lookScript = `(() => {
  const d = document.documentElement, out = {overflow: d.scrollWidth - d.clientWidth, figures: [], faint: [], small: [], texts: 0, paper: getComputedStyle(document.body).backgroundColor};
  for (const s of document.querySelectorAll('svg.fig')) {
    const f = s.getBoundingClientRect(), r = {name: s.getAttribute('aria-labelledby'), marks: 0, empty: 0, outside: []};
    for (const m of s.querySelectorAll('.mark, text')) {
      const b = m.getBoundingClientRect(), mark = m.classList.contains('mark');
      if (mark) { r.marks++; if (!(b.width > 0 || b.height > 0)) r.empty++; }
      if (b.left < f.left - 2 || b.right > f.right + 2 || b.top < f.top - 2 || b.bottom > f.bottom + 2) r.outside.push(m.textContent);
    }
    out.figures.push(r);
  }
  out.cut = [...document.querySelectorAll('.scroll')].filter(e => e.scrollWidth > e.clientWidth).map(e => e.ariaLabel);
  out.noCue = [...document.querySelectorAll('.scroll')].filter(e => e.scrollWidth > e.clientWidth && !getComputedStyle(e).backgroundImage.includes('gradient')).map(e => e.ariaLabel);
  const parse = c => c.match(/[\d.]+/g).map(Number);
  const lum = c => { const [r, g, b] = c.slice(0, 3).map(v => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; }); return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let n = walk.nextNode(); n; n = walk.nextNode()) {
    const e = n.parentElement;
    if (!n.data.trim() || ['TITLE', 'DESC', 'STYLE'].includes(e.tagName.toUpperCase())) continue;
    const s = getComputedStyle(e), svg = e.namespaceURI.endsWith('svg');
    let bg = null;
    for (let p = e; p && !bg; p = p.parentElement) { const c = parse(getComputedStyle(p).backgroundColor); if (c.length < 4 || c[3] === 1) bg = c; }
    const a = lum(parse(svg ? s.fill : s.color)), b = lum(bg), ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    out.texts++;
    if (!(ratio >= 4.5)) out.faint.push(n.data.trim().slice(0, 40) + ' ' + ratio.toFixed(2));
    const size = svg ? parseFloat(s.fontSize) * e.ownerSVGElement.getScreenCTM().a : parseFloat(s.fontSize);
    if (size < 9) out.small.push(n.data.trim().slice(0, 40) + ' ' + size.toFixed(1));
  }
  return out;
})()`

// TestPagesInABrowser opens every kind of page, on a desk and on a phone, light
// and dark.
func TestPagesInABrowser(t *testing.T) {
	ctx := startBrowser(t)
	dir := workspace(t)
	ok(t, "fit", "trials.csv", "-o", "m.json", "--report", "fit.html")
	ok(t, "suggest", "m.json", "--target", "standard.csv", "--report", "suggest.html")
	ok(t, "suggest", "m.json", "--lab", "45,30,12", "--report", "red.html")
	ok(t, "check", "trials.csv", "--bands-only", "--report", "bands.html")
	r := tool(t, "", "check", "trials.csv", "--lot", "T01,T06,T13", "--standard", "standard.csv", "--model", "m.json", "--ledger", "l.csv", "--report", "check.html")
	require.Contains(t, []int{exitDone, exitOutside}, r.code, r.err)
	ok(t, strings.Fields("charge m.json --strength 6 --ratio 1.3 --time 14 --mass 60 --capacity 40,40 --purity 99 --neutralizer bisulfite --neutralizer-purity 97 --report charge.html")...)

	v := listen(t, ctx)
	figures := map[string]int{"fit": 5, "suggest": 5, "red": 3, "bands": 1, "check": 2*3 + 3, "charge": 0}
	for name, want := range figures {
		url := "file://" + filepath.Join(dir, name+".html")
		for _, width := range []int64{1280, 390} {
			for _, scheme := range []string{"light", "dark"} {
				t.Run(fmt.Sprintf("%s/%d/%s", name, width, scheme), func(t *testing.T) {
					got, requests, errs := v.visit(t, url, width, scheme)
					assert.Empty(t, errs)
					assert.Contains(t, requests, url)
					for _, r := range requests {
						assert.True(t, r == url || strings.HasPrefix(r, "data:"), "the page asks for %s", r)
					}
					assert.LessOrEqual(t, got.Overflow, 0.0)
					assert.Equal(t, map[string]string{"light": "rgb(251, 250, 246)", "dark": "rgb(20, 23, 29)"}[scheme], got.Paper)
					assert.Greater(t, got.Texts, 50)
					assert.Empty(t, got.Faint)
					assert.Empty(t, got.Small)
					assert.Empty(t, got.NoCue)
					if name == "charge" {
						assert.Empty(t, got.Cut, "notes at the scales")
					}
					assert.Len(t, got.Figures, want)
					for _, f := range got.Figures {
						assert.Positive(t, f.Marks, f.Name)
						assert.Zero(t, f.Empty, f.Name)
						assert.Empty(t, f.Outside, f.Name)
					}
				})
			}
		}
	}
}

// visitor opens pages and keeps what they ask for and complain of.
type visitor struct {
	ctx            context.Context
	mu             sync.Mutex
	requests, errs []string
}

func listen(t *testing.T, ctx context.Context) *visitor {
	t.Helper()
	v := &visitor{ctx: ctx}
	require.NoError(t, chromedp.Listen(ctx, func(ev any) {
		v.mu.Lock()
		defer v.mu.Unlock()
		switch ev := ev.(type) {
		case *network.EventRequestWillBeSent:
			v.requests = append(v.requests, ev.Request.URL)
		case *runtime.EventExceptionThrown:
			v.errs = append(v.errs, ev.ExceptionDetails.Text)
		case *log.EventEntryAdded:
			v.errs = append(v.errs, ev.Entry.Text)
		case *runtime.EventConsoleAPICalled:
			v.errs = append(v.errs, fmt.Sprint(ev.Type))
		}
	}))
	_, err := chromedp.Call(ctx, network.Enable, network.EnableParams{})
	require.NoError(t, err)
	return v
}

func (v *visitor) visit(t *testing.T, url string, width int64, scheme string) (got look, requests, errs []string) {
	t.Helper()
	features := []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}
	_, err := chromedp.Call(v.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: features})
	require.NoError(t, err)
	_, err = chromedp.Call(v.ctx, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: width, Height: 900, DeviceScaleFactor: 1, Mobile: width < 500})
	require.NoError(t, err)
	v.mu.Lock()
	v.requests, v.errs = nil, nil
	v.mu.Unlock()
	require.NoError(t, chromedp.Do(v.ctx, chromedp.Navigate(url)))
	got, err = chromedp.Run(v.ctx, chromedp.Evaluate[look](lookScript))
	require.NoError(t, err)
	v.mu.Lock()
	defer v.mu.Unlock()
	return got, v.requests, v.errs
}

// The measuring itself: a page with every fault that it looks for.
func TestLookSeesFaults(t *testing.T) {
	v := listen(t, startBrowser(t))
	file := filepath.Join(t.TempDir(), "bad.html")
	require.NoError(t, os.WriteFile(file, []byte(`<body style="background:#fff"><p style="color:#999">faint</p><p style="font-size:6px">tiny</p><div style="width:3000px">wide</div><div class="scroll" aria-label="far" style="width:200px;overflow-x:auto"><p style="width:300px">note</p></div>
<svg class="fig" aria-labelledby="a" viewBox="0 0 10 10" width="100" height="100" overflow="visible"><g class="mark"></g><text x="50" y="5">out</text></svg>
<img src="missing.png"><script>console.error("x"); throw new Error("y")</script>`), 0o644))
	got, requests, errs := v.visit(t, "file://"+file, 390, "light")
	assert.Positive(t, got.Overflow)
	assert.Len(t, got.Faint, 1)
	assert.Contains(t, strings.Join(got.Small, "|"), "tiny")
	assert.Equal(t, []string{"far"}, got.Cut)
	require.Len(t, got.Figures, 1)
	assert.Equal(t, 1, got.Figures[0].Empty)
	assert.Equal(t, []string{"out"}, got.Figures[0].Outside)
	assert.Greater(t, len(requests), 1)
	assert.GreaterOrEqual(t, len(errs), 2, "%v", errs)
}
