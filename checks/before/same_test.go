//go:build linux

package before

import (
	"math"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"loadline/checks"
	"loadline/checks/share"
)

// TestSameReport: one tree gives one report, byte for byte, times aside: whatever the number of workers
// is, and in whatever order the entries were made.
func TestSameReport(t *testing.T) {
	base := realTemp(t)
	tree := append([]string{}, hostile...)
	var firsts, links []string
	for i, l := range append(tree, `"e\u0301" 1`, `"\u00e9" 1`, "K 1", "k 1", `"\u212a" 1`, "loop => loop", "out => ../x", ".DS_Store 3") {
		if strings.Contains(l, " == ") {
			links = append(links, l)
		} else {
			firsts = append(firsts, l)
		}
		_ = i
	}
	want := ""
	for round, workers := range []int{1, 2, 3, 5, 8, 16} {
		rand.New(rand.NewPCG(1, uint64(round))).Shuffle(len(firsts), func(i, j int) { firsts[i], firsts[j] = firsts[j], firsts[i] })
		root := filepath.Join(base, string(rune('a'+round)))
		grow(t, base, string(rune('a'+round))+"/")
		grow(t, root, append(append([]string{}, firsts...), links...)...)
		rep := examine(t, checks.Job{Source: root, Workers: workers, Prefix: "p"})
		var text strings.Builder
		if err := rep.WriteText(&text); err != nil {
			t.Fatal(err)
		}
		_, js := readJSON(t, rep)
		got := strings.ReplaceAll(text.String()+js, root, "ROOT")
		if want == "" {
			want = got
			continue
		}
		if got != want {
			a, b := strings.Split(want, "\n"), strings.Split(got, "\n")
			for i := range min(len(a), len(b)) {
				if a[i] != b[i] {
					t.Fatalf("%d workers: line %d\n%.300s\nwas\n%.300s", workers, i+1, b[i], a[i])
				}
			}
			t.Fatalf("%d workers: another length", workers)
		}
	}
}

// Check values 9 and 10: 1448 and 1460 bytes of data in every 1538 on the wire (IEEE 802.3 overhead of
// 38 bytes at MTU 1500, from memory; the rest is arithmetic).
func TestOnWire(t *testing.T) {
	const terabyte = int64(1e12)
	second := func(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
	near := func(what string, got, want time.Duration) {
		t.Helper()
		if d := got - want; d.Abs() > time.Second {
			t.Errorf("%s: %s, want %s", what, got, want)
		}
	}
	for _, c := range []struct {
		bits      float64
		low, high time.Duration
	}{
		{1e9, 2*time.Hour + 20*time.Minute + 27*time.Second, 2*time.Hour + 21*time.Minute + 37*time.Second},
		{1e9, second(8e3 * 1538 / 1460), second(8e3 * 1538 / 1448)},
		{100e6, second(8e4 * 1538 / 1460), 23*time.Hour + 36*time.Minute + 12*time.Second},
		{10e9, second(800.0 * 1538 / 1460), 14*time.Minute + 10*time.Second},
	} {
		e := onWire(terabyte, c.bits)
		near("low", e.Low, c.low)
		near("high", e.High, c.high)
	}
	// 1 TB over an uplink of 10 Mb/s: 9 days 6 h at the line rate.
	if got := checks.Span(atLineRate(terabyte, 10e6)); got != "9 days 6 h" {
		t.Errorf("over 10 Mb/s: %s", got)
	}
	// An appliance's battery lasts about 6 hours, 80 % of which are 4 h 48 min (common practice).
	safe := time.Duration(0.8 * float64(6*time.Hour))
	for n, fits := range map[int64]bool{1: true, 2: true, 3: false} {
		if got := onWire(n*terabyte, 1e9).High <= safe; got != fits {
			t.Errorf("%d TB over 1 Gb/s within %s: %v", n, safe, got)
		}
	}
	// 1 TiB is 1,099,511,627,776 bytes and does not fit 1 TB (IEC 80000-13).
	if tib, err := sizeOf("1T"); err != nil || tib != 1_099_511_627_776 || tib <= terabyte {
		t.Errorf("1 TiB = %d, %v", tib, err)
	}
	for _, c := range []struct {
		bytes int64
		bits  float64
	}{{0, 1e9}, {1, 0}, {1<<63 - 1, 1e-300}, {1<<63 - 1, 1e300}} {
		if e := onWire(c.bytes, c.bits); e.Low < 0 || e.High < e.Low {
			t.Errorf("OnWire(%d, %g) = %v", c.bytes, c.bits, e)
		}
		_ = checks.Span(onWire(c.bytes, c.bits).High)
	}
	for _, d := range []time.Duration{-1 << 63, 1<<63 - 1, -1, 0, 1} {
		if checks.Span(d) == "" || checks.Bytes(int64(d)) == "" {
			t.Errorf("%d is not told", int64(d))
		}
	}
}

func TestParseRate(t *testing.T) {
	for s, want := range map[string]float64{
		"10Mb/s": 10e6, "1Gb/s": 1e9, "1 Gbit/s": 1e9, "100M": 100e6, "12.5 MB/s": 100e6, "1000": 1000, "10 kbps": 10e3, "2.5Gb/s": 2.5e9,
		"1T": 1e12, "1 MByte/s": 8e6, " 7 b/s ": 7,
	} {
		if got, err := checks.ParseRate(s); err != nil || got != want {
			t.Errorf("ParseRate(%q) = %g, %v; want %g", s, got, err, want)
		}
	}
	for _, s := range []string{"", " ", "fast", "0", "-1M", "1e400", "nan", "inf", "Mb/s", "10 parsecs", "10 Mb/h", "1.2.3M", "0x1p4", "10\x1b[2JM", "\xff", "1_000"} {
		got, err := checks.ParseRate(s)
		if err == nil {
			t.Errorf("ParseRate(%q) = %g", s, got)
		} else if why := unsafeText(err.Error()); why != "" {
			t.Errorf("ParseRate(%q) says %s", s, why)
		}
	}
}

func FuzzParseRate(f *testing.F) {
	for _, s := range []string{"10Mb/s", "1 Gbit/s", "12.5 MB/s", "1e3", "\xff", "9999999999999999T"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, err := checks.ParseRate(s)
		if err != nil {
			if why := unsafeText(err.Error()); why != "" {
				t.Errorf("ParseRate(%q) says %s", s, why)
			}
			return
		}
		if !(got > 0) || got > 1e30 {
			t.Errorf("ParseRate(%q) = %g", s, got)
		}
		if e := onWire(1<<63-1, got); e.Low < 0 || e.High < e.Low || checks.Span(e.High) == "" || checks.LineRate(got) == "" {
			t.Errorf("%g bits a second take %v", got, e)
		}
	})
}

// FuzzTextReport puts names and words of others everywhere in a report: no line may be forged, and
// JSON must give every path back.
func FuzzTextReport(f *testing.F) {
	f.Add("a\nfail  b", "x\x1b[2J", "\xff\u202e", "two  spaces")
	f.Add("", "\u0085", "{\"", strings.Repeat("w ", 100))
	f.Add("0", "0", "0", "\xcc\xdc") // two bytes that are no UTF-8, in a row
	f.Fuzz(func(t *testing.T, path, detail, reason, option string) {
		path = strings.Trim(path, "/")
		if strings.HasPrefix(path, "./") {
			return
		}
		rep := &checks.Report{
			Stage: checks.Before, Version: option, Started: treeNow, Finished: treeNow, Machine: detail, Invented: reason,
			Source: checks.Place{Path: path, From: option, Type: detail, Options: []string{option}},
			Share:  &checks.Place{Path: reason, Prefix: path, From: detail, Type: option, Options: []string{detail, option}},
		}
		job := &checks.Job{}
		for i, c := range List() {
			tr := checks.NewPass(c, job, 1)
			tr.Summarize("%s", option)
			tr.Fact("key", option, "%s", detail)
			if !c.Rules[0].Counted && i%2 == 0 {
				tr.Add(checks.Finding{Path: path, Rule: c.Rules[0], Level: c.Rules[0].Level, Detail: "d" + strings.ToValidUTF8(detail, ""), Remedy: "r" + strings.ToValidUTF8(reason, "")})
			}
			rep.Checks = append(rep.Checks, tr.Close(reason))
		}
		rep.Verdict = checks.Verdict(rep.Checks)
		sound(t, rep)
		var b strings.Builder
		if err := rep.WriteText(&b); err != nil {
			t.Fatal(err)
		}
		// The findings' lines are all there are that begin as one.
		marked := 0
		for line := range strings.Lines(b.String()) {
			for _, level := range []string{"  fail  ", "  warn  ", "  note  "} {
				if strings.HasPrefix(line, level) {
					marked++
				}
			}
		}
		want := 0
		for i := range rep.Checks {
			want += len(rep.Checks[i].Findings)
		}
		if marked != want {
			t.Errorf("%d lines look like findings, there are %d", marked, want)
		}
	})
}

// TestSlowestPart: a copy takes as long as the slowest of disk, link and share. Arithmetic on 1 TB.
func TestSlowestPart(t *testing.T) {
	const terabyte = 1_000_000_000_000
	trial := &share.Result{Rate: 100e6, RateLow: 80e6, RateHigh: 125e6}
	for _, c := range []struct {
		what      string
		p         paces
		low, high float64 // seconds
		limit     string
	}{
		{"the share alone", paces{bytes: terabyte, trial: trial}, 8_000, 12_500, limitShare},
		{"a slow disk", paces{bytes: terabyte, trial: trial, source: sourceSpeed{rate: 40e6}}, 25_000, 25_000, limitSource},
		{"a fast disk", paces{bytes: terabyte, trial: trial, source: sourceSpeed{rate: 400e6}}, 8_000, 12_500, limitShare},
		{"a disk between the ends", paces{bytes: terabyte, trial: trial, source: sourceSpeed{rate: 100e6}}, 10_000, 12_500, limitShare},
		{"USB 2.0, not measured", paces{bytes: terabyte, trial: trial, source: sourceSpeed{usb: 480e6}}, 16_666, 16_667, limitSource},
		{"a slow link", paces{bytes: terabyte, trial: trial, link: 100e6, source: sourceSpeed{rate: 40e6}}, 84_274, 84_973, limitLink},
	} {
		e, limit := c.p.estimate()
		if math.Abs(e.Low.Seconds()-c.low) > 1 || math.Abs(e.High.Seconds()-c.high) > 1 || limit != c.limit {
			t.Errorf("%s: %.0f to %.0f s by the %s, want %.0f to %.0f by the %s", c.what, e.Low.Seconds(), e.High.Seconds(), limit, c.low, c.high, c.limit)
		}
	}
}
