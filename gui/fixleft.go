package gui

import (
	"loadline/checks"
	"loadline/checks/fix"
	"loadline/checks/names"
	"loadline/gui/kit"
)

func (p *fixPage) chooseLeft(l *fix.Left) {
	p.old.Set(names.Quote(l.Path), "")
	why := capitalize(l.Why) + "."
	if l.Fix != "" {
		why += " " + l.Fix
	}
	p.why.Set(why, kit.ColMuted)
	for _, b := range []*kit.Button{p.doSkip, p.doLink, p.doArchive, p.archive} {
		b.Hide()
	}
	for _, o := range l.Offers {
		switch o {
		case fix.OfferSkip:
			p.doSkip.SetOn(p.skip[l.Path])
			p.doSkip.Show()
		case fix.OfferReplace:
			p.doLink.SetOn(p.makes[l.Path])
			p.doLink.Show()
		case fix.OfferArchive:
			p.doArchive.SetOn(p.makes[l.Card.Path])
			p.doArchive.Show()
			p.archive.Show()
		}
	}
	p.offers.Show()
}

func (p *fixPage) chosenLeft() *fix.Left {
	if r := p.table.Chosen; p.plan != nil && p.left && r >= 0 && r < len(p.plan.Left) {
		return &p.plan.Left[r]
	}
	return nil
}

func (p *fixPage) skipIt() {
	if l := p.chosenLeft(); l != nil && !p.busy {
		p.skip[l.Path] = !p.skip[l.Path]
		if !p.skip[l.Path] {
			delete(p.skip, l.Path)
		}
		p.plan.Skip(l.Path, p.skip[l.Path])
		p.doSkip.SetOn(p.skip[l.Path])
		p.table.Renew()
	}
}

func (p *fixPage) replaceLink() {
	if l := p.chosenLeft(); l != nil && !p.busy {
		p.make(p.doLink, l.Path, p.plan.Replace)
	}
}

func (p *fixPage) archiveCard() {
	if l := p.chosenLeft(); l != nil && l.Card != nil && !p.busy {
		p.make(p.doArchive, l.Card.Path, p.plan.Archive)
	}
}

// make puts a copy or an archive into the plan, or takes it out.
func (p *fixPage) make(b *kit.Button, path string, plan func(string, bool) error) {
	on := !p.makes[path]
	if err := plan(path, on); err != nil {
		p.w.tell(checks.Warned, capitalize(err.Error())+".")
		return
	}
	if on {
		p.makes[path] = true
	} else {
		delete(p.makes, path)
	}
	b.SetOn(on)
	p.recount()
}

func (p *fixPage) copyArchive() {
	if l := p.chosenLeft(); l != nil && l.Card != nil {
		p.w.desktop.Copy(l.Card.Command())
		p.w.tellWhile(p.w.onThisPage(), checks.Passed, "The command is on the clipboard, in case you want the archive elsewhere. Run it in the source folder: it puts the whole card into one file and leaves the card as it is.")
	}
}
