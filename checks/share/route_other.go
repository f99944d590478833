//go:build !linux && !darwin && !windows

package share

import (
	"context"
	"net"
)

func (l *Link) measure(context.Context, *net.Interface) {}
