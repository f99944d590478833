package before

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"time"

	"loadline/checks"
	"loadline/checks/share"
	"loadline/checks/walk"
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
		When:   "the route to the share goes over a wireless interface",
		Fix:    "Connect the appliance by cable and check again.",
		Source: "common practice, no source",
	}
	slowLink = &checks.Rule{
		ID: "slow-link", Level: checks.Warn,
		When:   "the interface negotiated less than 1,000 Mb/s, or half duplex",
		Fix:    "Use a cable of category 5e or better and a port of 1 Gb/s or more; one bad plug is enough to slow the link down.",
		Source: "kernel documentation, sysfs-class-net speed and duplex",
	}
	slowSource = &checks.Rule{
		ID: "slow-source", Level: checks.Warn,
		When:   "the disk reads, or its USB link carries, less than the link to the share",
		Fix:    "Plug the disk into a faster port with the cable that came with it, without a hub in between; if it is no faster then, allow the time.",
		Source: "kernel documentation, sysfs-bus-usb speed; USB 2.0 specification: 480 Mb/s",
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

// An estimate is how long a copy takes, as a range.
type estimate struct{ Low, High time.Duration }

// String returns "2 h 20 min to 2 h 21 min".
func (e estimate) String() string {
	low, high := checks.Span(e.Low), checks.Span(e.High)
	if low == high {
		return "about " + low
	}
	return low + " to " + high
}

// onWire is how long bytes take over a line of a rate in bits a second, by TCP over Ethernet.
func onWire(bytes int64, bits float64) estimate {
	if bits <= 0 {
		return estimate{}
	}
	s := float64(bytes) * 8 / bits
	return estimate{seconds(s / goodputHigh), seconds(s / goodputLow)}
}

// atLineRate is how long bytes take at the full rate of a line, in bits a second.
func atLineRate(bytes int64, bits float64) time.Duration {
	if bits <= 0 {
		return 0
	}
	return seconds(float64(bytes) * 8 / bits)
}

var copyTime = &checks.Check{
	ID: "copy-time", Title: "The copy ends in time", Group: checks.GroupTime,
	Doc: "Takes the slowest of three: how fast the disk reads, what the link carries, and how fast the share took " +
		"the trial's writes. To the bytes at that rate it adds the measured time that a small file takes, for each " +
		"file. Beside it stand what your uplink would need instead, and the battery of the appliance.",
	Fix:   "Keep everything on mains power and on a cable, and start early enough.",
	Rules: []*checks.Rule{batteryTooShort, wirelessLink, slowLink, slowSource, onBattery},
	Begin: func(*checks.Pass) any { return &sample{} },
	Visit: func(pass *checks.Pass, d *walk.Dir) { pass.State.(*sample).see(pass, d) },
	Finish: func(ctx context.Context, pass *checks.Pass) error {
		n := &pass.Tally().Copy
		job := pass.Job
		if job.Uplink > 0 {
			d := atLineRate(n.Bytes, job.Uplink)
			pass.Fact("uplink_seconds", d.Seconds(), "Over the uplink of %s instead: %s", checks.LineRate(job.Uplink), checks.Span(d))
		}
		p := paces{bytes: n.Bytes, files: n.Files, link: job.Link}
		m := checks.StateOf[shareState](pass, ShareMounted)
		if m != nil && m.Facts != nil && m.Usable {
			if bits := judgeLinkTo(ctx, pass, m.Facts); p.link == 0 {
				p.link = bits
			}
		}
		p.source = speedOf(ctx, pass, pass.State.(*sample))
		if err := ctx.Err(); err != nil {
			return err
		}
		judgeSource(pass, &p)
		if battery, known := share.OnBattery(); known {
			pass.Fact("computer_on_battery", battery, "%s", choose(battery, "This computer runs on its battery", "This computer is on mains power"))
			if battery && job.StandIn == nil {
				pass.FlagJob(onBattery, "this computer is not plugged in")
			}
		}
		// A stand-in's rate is that of a folder on this computer and says nothing of a share.
		if got := checks.StateOf[share.Result](pass, shareWrites); got != nil && got.Rate > 0 && job.StandIn == nil {
			p.trial = got
		}
		e, limit := p.estimate()
		if p.trial == nil && p.link == 0 {
			planWire(pass, &p)
			if job.Share == "" {
				return errors.New("no share chosen yet")
			}
			if job.StandIn != nil {
				return errors.New("a stand-in has no rate that says anything about a share")
			}
			return errors.New("nothing was measured on the share, and the rate of the link is not known")
		}
		pass.Fact("limited_by", limit, "%s", limitText[limit])
		pass.Fact("estimate_low_seconds", e.Low.Seconds(), "Estimate: %s", e)
		pass.Fact("estimate_high_seconds", e.High.Seconds(), "At the slow end: %s", checks.Span(e.High))
		if p.link > 0 {
			w := onWire(n.Bytes, p.link)
			pass.Fact("link_bits_per_second", p.link, "The link of %s carries it in %s", checks.LineRate(p.link), w)
		}
		pass.Summarize("%s. %s.", checks.Capitalize(e.String()), limitText[limit])
		if job.Battery > 0 {
			safe := time.Duration(float64(job.Battery) * batteryShare)
			pass.Fact("battery_seconds", job.Battery.Seconds(), "Battery of the appliance: %s, of which %s are safe", checks.Span(job.Battery), checks.Span(safe))
			if e.High > safe {
				pass.FlagJob(batteryTooShort, "the copy takes up to %s, 80 %% of the battery is %s", checks.Span(e.High), checks.Span(safe))
			}
		}
		if job.Share == "" {
			planWire(pass, &p)
			return errors.New("no share chosen yet")
		}
		return nil
	},
}

// What a copy's time depends on.
const (
	limitSource = "source"
	limitLink   = "link"
	limitShare  = "share"
)

var limitText = map[string]string{
	limitSource: "The source disk is the slowest part",
	limitLink:   "The link to the share is the slowest part",
	limitShare:  "The share is the slowest part, by what the write trial measured",
}

// paces are the rates of everything that a copy goes through; what is not known is zero.
type paces struct {
	bytes, files int64
	source       sourceSpeed
	link         float64       // bits a second
	trial        *share.Result // what was measured on the share
}

// estimate tells how long the copy takes, as the slowest part does it, and which part that is.
func (p *paces) estimate() (e estimate, limit string) {
	slower := func(by estimate, what string) {
		if by.High > e.High {
			limit = what
		}
		e.Low, e.High = max(e.Low, by.Low), max(e.High, by.High)
	}
	if p.trial != nil {
		calls := float64(p.files) * p.trial.PerFile.Seconds()
		fast, slow := p.trial.RateHigh, p.trial.RateLow
		if fast <= 0 {
			fast = p.trial.Rate
		}
		if slow <= 0 {
			slow = p.trial.Rate
		}
		slower(estimate{seconds(float64(p.bytes)/fast + calls), seconds(float64(p.bytes)/slow + calls)}, limitShare)
	}
	if p.link > 0 {
		// No copy is faster than its cable: what a short trial measured may be a cache's rate.
		slower(onWire(p.bytes, p.link), limitLink)
	}
	if rate := p.sourceRate(); rate > 0 {
		d := seconds(float64(p.bytes) / rate)
		slower(estimate{d, d}, limitSource)
	}
	return e, cmp.Or(limit, limitShare)
}

// sourceRate is how fast the disk gives bytes at best, a second: as measured, or what its USB link
// carries.
func (p *paces) sourceRate() float64 {
	if p.source.rate > 0 {
		return p.source.rate
	}
	return p.source.usb / 8
}

// judgeSource compares the disk with the link to the share and tells which of cable, port and disk holds
// the copy up.
func judgeSource(pass *checks.Pass, p *paces) {
	s := &p.source
	if s.usb > 0 {
		pass.Fact("source_usb_bits_per_second", s.usb, "The disk's USB link: %s", checks.LineRate(s.usb))
	}
	if s.rate > 0 {
		pass.Fact("source_bytes_per_second", int64(s.rate), "The disk reads %s, by a sample of %s", checks.Rate(s.rate), checks.Bytes(s.bytes))
		d := seconds(float64(p.bytes) / s.rate)
		pass.Fact("source_seconds", d.Seconds(), "The disk alone needs %s", checks.Span(d))
	}
	link := cmp.Or(p.link, gigabit) // the least that is wanted
	carries := link * goodputLow / 8
	switch {
	case s.usb > 0 && s.usb < link:
		pass.FlagJob(slowSource, "its USB link runs at %s, the link to the share at %s: the cable, the port or a hub is the bottleneck", checks.LineRate(s.usb), checks.LineRate(link))
	case s.rate > 0 && s.rate < carries:
		pass.FlagJob(slowSource, "the disk reads %s, the link of %s carries %s: the disk itself is the bottleneck", checks.Rate(s.rate), checks.LineRate(link), checks.Rate(carries))
	}
}

// planWire says what to allow while there is no share to measure.
func planWire(pass *checks.Pass, p *paces) {
	over := func(bits float64) estimate {
		e, _ := (&paces{bytes: p.bytes, source: p.source, link: bits}).estimate()
		return e
	}
	one, ten := over(gigabit), over(tenGigabit)
	pass.Fact("plan_1gbit_seconds", one.High.Seconds(), "At 1 Gb/s: %s", one)
	pass.Fact("plan_10gbit_seconds", ten.High.Seconds(), "At 10 Gb/s: %s", ten)
	uplink := ""
	if u := pass.Job.Uplink; u > 0 {
		uplink = fmt.Sprintf(", or %s over your uplink", checks.Span(atLineRate(p.bytes, u)))
	}
	pass.Summarize("Allow %s at 1 Gb/s, %s at 10 Gb/s%s.", checks.Span(one.High), checks.Span(ten.High), uplink)
}

// judgeLinkTo looks at the interface that leads to the share and returns its rate in bits a second, 0
// if that is unknown.
func judgeLinkTo(ctx context.Context, pass *checks.Pass, f *share.Facts) float64 {
	if !f.Network || f.Invented != "" {
		return 0
	}
	l, err := share.Guard(ctx, pass.Job.Deadline, func() (share.Link, error) { return share.Route(ctx, f.Mount.Server()) })
	if err != nil {
		pass.Fact("interface", "", "The route to the share is not known: %s", err)
		return 0
	}
	pass.Fact("interface", l.Interface, "Route to the share: %s%s", l.Interface, choose(l.Bits > 0, ", "+checks.LineRate(l.Bits), ""))
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
