package before

import (
	"context"
	"errors"
	"fmt"
	"time"

	"loadline/checks"
	"loadline/checks/share"
)

var (
	batteryTooShort = &checks.Rule{
		ID: "battery-too-short", Level: checks.Fail,
		When:   "the estimate is over 80 % of the hours that the appliance runs on its battery (-battery)",
		Fix:    "Keep the appliance on mains power for the whole copy, or copy in parts and charge in between.",
		Source: "common practice, no source",
	}
	wirelessLink = &checks.Rule{
		ID: "wireless-link", Level: checks.Warn,
		When:   "the way to the share leaves by a wireless interface",
		Fix:    "Connect the appliance by cable and look again.",
		Source: "common practice, no source",
	}
	slowLink = &checks.Rule{
		ID: "slow-link", Level: checks.Warn,
		When:   "the interface negotiated less than 1,000 Mb/s, or half duplex",
		Fix:    "Use a cable of category 5e or better and a port of 1 Gb/s or more; a bad plug is enough to fall back.",
		Source: "kernel documentation, sysfs-class-net speed and duplex",
	}
	onBattery = &checks.Rule{
		ID: "on-battery", Level: checks.Warn,
		When:   "this computer runs on its battery",
		Fix:    "Plug it in, and keep it from going to sleep.",
		Source: "common practice, no source",
	}
)

const (
	batteryShare = 0.8  // of the battery's hours (common practice, no source)
	leastLink    = 1e9  // bits a second (common practice, no source)
	gigabit      = 1e9  // bits a second
	tenGigabit   = 10e9 // bits a second

	// Goodput of TCP over IPv4 Ethernet at MTU 1500, with and without timestamps: 1448 or 1460
	// bytes of every 1538 on the wire (IEEE 802.3 overhead 38 bytes, from memory; computed).
	goodputLow  = 1448.0 / 1538
	goodputHigh = 1460.0 / 1538
)

// An Estimate is how long a copy takes, as a range.
type Estimate struct{ Low, High time.Duration }

// String returns "2 h 20 min to 2 h 21 min".
func (e Estimate) String() string {
	low, high := checks.Span(e.Low), checks.Span(e.High)
	if low == high {
		return "about " + low
	}
	return low + " to " + high
}

// OnWire is how long bytes take over a line of a rate in bits a second, by TCP over Ethernet.
func OnWire(bytes int64, bits float64) Estimate {
	if bits <= 0 {
		return Estimate{}
	}
	s := float64(bytes) * 8 / bits
	return Estimate{seconds(s / goodputHigh), seconds(s / goodputLow)}
}

// AtLineRate is how long bytes take at the full rate of a line, in bits a second.
func AtLineRate(bytes int64, bits float64) time.Duration {
	if bits <= 0 {
		return 0
	}
	return seconds(float64(bytes) * 8 / bits)
}

var copyTime = &checks.Check{
	ID: "copy-time", Title: "The copy ends in time", Group: checks.GroupTime,
	Doc: "Divides the bytes by the rate that the trial measured and adds the measured time a small file for each " +
		"file. Beside it stand what the cable could carry at best, what your uplink would need instead, and the " +
		"battery of the appliance.",
	Fix:   "Keep everything on mains power and on a cable, and start early enough.",
	Rules: []*checks.Rule{batteryTooShort, wirelessLink, slowLink, onBattery},
	Finish: func(ctx context.Context, pass *checks.Pass) error {
		n := &pass.Tally().Copy
		job := pass.Job
		if job.Uplink > 0 {
			d := AtLineRate(n.Bytes, job.Uplink)
			pass.Fact("uplink_seconds", d.Seconds(), "Over the uplink of %s instead: %s", checks.LineRate(job.Uplink), checks.Span(d))
		}
		link := job.Link
		m := checks.StateOf[ShareState](pass, ShareMounted)
		if m != nil && m.Facts != nil && m.Usable {
			if bits := judgeLinkTo(ctx, pass, m.Facts); link == 0 {
				link = bits
			}
		}
		if battery, known := share.OnBattery(); known {
			pass.Fact("computer_on_battery", battery, "%s", choose(battery, "This computer runs on its battery", "This computer is on mains power"))
			if battery && job.StandIn == nil {
				pass.FlagJob(onBattery, "this computer is not plugged in")
			}
		}
		e, how := estimate(pass, link)
		if how == "" {
			planWire(pass, n.Bytes)
			if job.Share == "" {
				return errors.New("no share chosen yet")
			}
			if job.StandIn != nil {
				return errors.New("a stand-in has no rate that says anything of a share")
			}
			return errors.New("nothing was measured on the share, and the rate of the link is not known")
		}
		pass.Fact("estimate_low_seconds", e.Low.Seconds(), "Estimate: %s, %s", e, how)
		pass.Fact("estimate_high_seconds", e.High.Seconds(), "At the slow end: %s", checks.Span(e.High))
		if link > 0 {
			w := OnWire(n.Bytes, link)
			pass.Fact("link_bits_per_second", link, "The link of %s could carry it in %s", checks.LineRate(link), w)
		}
		pass.Summarize("%s, %s.", e, how)
		if job.Battery > 0 {
			safe := time.Duration(float64(job.Battery) * batteryShare)
			pass.Fact("battery_seconds", job.Battery.Seconds(), "Battery of the appliance: %s, of which %s are safe", checks.Span(job.Battery), checks.Span(safe))
			if e.High > safe {
				pass.FlagJob(batteryTooShort, "the copy takes up to %s, 80 %% of the battery is %s", checks.Span(e.High), checks.Span(safe))
			}
		}
		if job.Share == "" {
			planWire(pass, n.Bytes)
			return errors.New("no share chosen yet")
		}
		return nil
	},
}

// estimate tells how long the copy takes and by what that is known, "" if by nothing.
func estimate(pass *checks.Pass, link float64) (e Estimate, how string) {
	n := &pass.Tally().Copy
	got := checks.StateOf[share.Result](pass, shareWrites)
	// A stand-in's rate is that of a folder on this computer and says nothing of a share.
	if got != nil && got.Rate > 0 && pass.Job.StandIn == nil {
		calls := float64(n.Files) * got.PerFile.Seconds()
		fast, slow := got.RateHigh, got.RateLow
		if fast <= 0 {
			fast = got.Rate
		}
		if slow <= 0 {
			slow = got.Rate
		}
		e = Estimate{seconds(float64(n.Bytes)/fast + calls), seconds(float64(n.Bytes)/slow + calls)}
		how = "by the rate that the trial measured"
	}
	if link > 0 {
		// No copy is faster than its cable: what a short trial measured may be a cache's rate.
		w := OnWire(n.Bytes, link)
		if how == "" {
			return w, "if the link of " + checks.LineRate(link) + " is the slowest part"
		}
		e.Low, e.High = max(e.Low, w.Low), max(e.High, w.High)
	}
	return e, how
}

// planWire says what to expect while there is no share to measure.
func planWire(pass *checks.Pass, bytes int64) {
	one, ten := OnWire(bytes, gigabit), OnWire(bytes, tenGigabit)
	pass.Fact("plan_1gbit_seconds", one.High.Seconds(), "On a wire of 1 Gb/s: %s", one)
	pass.Fact("plan_10gbit_seconds", ten.High.Seconds(), "On a wire of 10 Gb/s: %s", ten)
	uplink := ""
	if u := pass.Job.Uplink; u > 0 {
		uplink = fmt.Sprintf(", or %s over your uplink", checks.Span(AtLineRate(bytes, u)))
	}
	pass.Summarize("Plan for %s on a wire of 1 Gb/s, %s at 10 Gb/s%s.", checks.Span(one.High), checks.Span(ten.High), uplink)
}

// judgeLinkTo looks at the interface that leads to the share and returns its rate in bits a second, 0
// if that is unknown.
func judgeLinkTo(ctx context.Context, pass *checks.Pass, f *share.Facts) float64 {
	if !f.Network || f.Invented != "" {
		return 0
	}
	l, err := share.Guard(ctx, pass.Job.Deadline, func() (share.Link, error) { return share.Route(ctx, f.Mount.Server()) })
	if err != nil {
		pass.Fact("interface", "", "The way to the share is not known: %s", err)
		return 0
	}
	pass.Fact("interface", l.Interface, "The way to the share: %s%s", l.Interface, choose(l.Bits > 0, ", "+checks.LineRate(l.Bits), ""))
	if l.Wireless {
		pass.FlagJob(wirelessLink, "%s is wireless", l.Interface)
	}
	if l.Bits > 0 && l.Bits < leastLink && !l.Wireless {
		pass.FlagJob(slowLink, "%s negotiated %s, 1 Gb/s are wanted", l.Interface, checks.LineRate(l.Bits))
	}
	if l.HalfDuplex {
		pass.FlagJob(slowLink, "%s runs half duplex", l.Interface)
	}
	return l.Bits
}
