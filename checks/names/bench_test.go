package names

import (
	"fmt"
	"testing"
)

var (
	sinkTraits Traits
	sinkString string
)

func BenchmarkLook(b *testing.B) {
	for what, name := range map[string]string{
		"ascii": "A001_C002_0415QX_take_2.mov", "nfc": "été_à_la_plage_0042.mov", "nfd": "e\u0301te\u0301_a\u0300_la_plage_0042.mov",
		"cjk": "字幕と映像の素材_0042.mov", "invalid": "\xe9t\xe9_0042.mov",
	} {
		b.Run(what, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				sinkTraits |= Look(name)
			}
		})
	}
}

func BenchmarkFold(b *testing.B) {
	for what, name := range map[string]string{
		"lower": "a001_c002_0415qx_take_2.mov", "upper": "A001_C002_0415QX_TAKE_2.MOV",
		"nfc": "été_à_la_plage_0042.mov", "cjk": "字幕と映像の素材_0042.mov",
	} {
		b.Run(what, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				sinkString = Fold(name)
			}
		})
	}
}

func BenchmarkNFC(b *testing.B) {
	for what, name := range map[string]string{
		"ascii": "A001_C002_0415QX_take_2.mov", "nfd": "e\u0301te\u0301_a\u0300_la_plage_0042.mov",
	} {
		b.Run(what, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				sinkString = NFC(name)
			}
		})
	}
}

func BenchmarkQuote(b *testing.B) {
	for what, name := range map[string]string{"ascii": "A001_C002_0415QX_take_2.mov", "nfc": "été 字幕.mov", "hostile": "a\n\u202eb"} {
		b.Run(what, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				sinkString = Quote(name)
			}
		})
	}
}

func BenchmarkUTF16Len(b *testing.B) {
	for b.Loop() {
		sinkTraits |= Traits(UTF16Len("2024/Été/字幕/A001_C002_0415QX.mov"))
	}
}

// Time for a whole folder; the number of names is in the title.
func BenchmarkTwins(b *testing.B) {
	for _, n := range []int{10, 1000, 1_000_000} {
		for what, format := range map[string]string{"lower": "clip_%07d.mov", "upper": "CLIP_%07d.MOV", "nfc": "été_%07d.mov"} {
			names, traits := make([]string, n), make([]Traits, n)
			for i := range names {
				names[i] = fmt.Sprintf(format, i)
				traits[i] = Look(names[i])
			}
			b.Run(fmt.Sprintf("%s-%d", what, n), func(b *testing.B) {
				b.ReportAllocs()
				var finder Twins
				for b.Loop() {
					finder.Find(n, func(i int) string { return names[i] }, func(i int) Traits { return traits[i] },
						func(TwinKind, []int) { b.Fatal("twins in a clean folder") })
				}
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/name")
			})
		}
	}
}
