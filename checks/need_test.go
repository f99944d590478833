package checks

import (
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

// The numbers hold up against arithmetic without limits (math/big), up to sizes that no disk has.
func TestNeed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := Need{Bytes: rapid.Int64Min(0).Draw(t, "bytes"), Largest: rapid.Int64Min(0).Draw(t, "largest")}
		fifty := new(big.Int).Mul(big.NewInt(n.Reserve()), big.NewInt(50))
		over := fifty.Sub(fifty, big.NewInt(n.Bytes))
		if over.Sign() < 0 || over.Cmp(big.NewInt(50)) >= 0 {
			t.Fatalf("2 %% of %d is %d", n.Bytes, n.Reserve())
		}
		if m := n.Margin(); m < n.Reserve() || m < n.Largest || m != n.Reserve() && m != n.Largest {
			t.Fatalf("margin of %+v: %d", n, m)
		}
		room := new(big.Int).Add(big.NewInt(n.Bytes), big.NewInt(n.Margin()))
		if room.IsInt64() != (n.Room() == room.Int64()) || n.Room() < n.Bytes {
			t.Fatalf("room of %+v: %d", n, n.Room())
		}
		unit := rapid.Int64Range(1, 1<<20).Draw(t, "unit")
		size := rapid.Int64Range(0, 1<<50).Draw(t, "size")
		if up := RoundUp(size, unit); up < size || up-size >= unit || up%unit != 0 {
			t.Fatalf("%d in units of %d: %d", size, unit, up)
		}
	})
}
