package share

import (
	"context"
	"net"

	"golang.org/x/sys/windows"
)

func (l *Link) measure(_ context.Context, iface *net.Interface) {
	row := windows.MibIfRow2{InterfaceIndex: uint32(iface.Index)}
	if err := windows.GetIfEntry2Ex(windows.MibIfEntryNormal, &row); err != nil {
		return // unknown
	}
	// All ones: the interface does not know (MIB_IF_ROW2).
	if row.TransmitLinkSpeed != ^uint64(0) {
		l.Bits = float64(row.TransmitLinkSpeed)
	}
	l.Wireless = row.Type == windows.IF_TYPE_IEEE80211
}
