package sums

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"testing"
)

// The first four are the examples of FIPS 180-4 as NIST publishes them (SHA256.pdf) and the empty
// string; all from memory, and each was compared with sha256sum of coreutils 9.1.
func TestSHA256Vectors(t *testing.T) {
	for _, tc := range []struct{ in, want string }{
		{"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"},
		{"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"},
		{"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq", "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"},
		{strings.Repeat("a", 1_000_000), "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"},
	} {
		if got := Of(MD5|SHA1|CRCs, []byte(tc.in)); hex.EncodeToString(got.SHA256[:]) != tc.want {
			t.Errorf("SHA-256 of %d bytes = %x, want %s", len(tc.in), got.SHA256, tc.want)
		}
	}
}

// RFC 1321 appendix A.5, the test suite (from memory, compared with md5sum).
func TestMD5Vectors(t *testing.T) {
	for in, want := range map[string]string{
		"":                           "d41d8cd98f00b204e9800998ecf8427e",
		"a":                          "0cc175b9c0f1b6a831c399e269772661",
		"abc":                        "900150983cd24fb0d6963f7d28e17f72",
		"message digest":             "f96b697d7cb7938d525a2f31aaf161d0",
		"abcdefghijklmnopqrstuvwxyz": "c3fcd3d76192e4007dfb496cca67e13b",
		"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789": "d174ab98d277d9f5a5611c2c9f419d9f",
		strings.Repeat("1234567890", 8):                                  "57edf4a22be3c955ac49da2e2107b67a",
	} {
		if got := Of(MD5|SHA1|CRCs, []byte(in)); hex.EncodeToString(got.MD5[:]) != want || got.Has&MD5 == 0 {
			t.Errorf("MD5(%q) = %x, want %s", in, got.MD5, want)
		}
	}
}

// RFC 3720 appendix B.4 gives its examples least significant byte first (from memory); the last is
// the usual check value.
func TestCRC32CVectors(t *testing.T) {
	up, down := make([]byte, 32), make([]byte, 32)
	for i := range 32 {
		up[i], down[i] = byte(i), byte(31-i)
	}
	for _, tc := range []struct {
		in   []byte
		want uint32
	}{
		{make([]byte, 32), 0x8a9136aa},
		{[]byte(strings.Repeat("\xff", 32)), 0x62a8ab43},
		{up, 0x46dd794e},
		{down, 0x113fdb5c},
		{[]byte("123456789"), 0xe3069283},
	} {
		if got := Of(MD5|SHA1|CRCs, tc.in); got.CRC32C != tc.want {
			t.Errorf("CRC-32C(%x) = %08x, want %08x", tc.in, got.CRC32C, tc.want)
		}
	}
}

// However a stream is cut, its sums are the same, whether MD5 runs beside or not at all.
func TestSumsOfPieces(t *testing.T) {
	data := make([]byte, 3*besideFrom+17)
	for i := range data {
		data[i] = byte(i * 7)
	}
	want := Of(MD5|SHA1|CRCs, data)
	if want.SHA256 != sha256.Sum256(data) {
		t.Fatal("SHA-256 of one piece is wrong")
	}
	for _, at := range []int{0, 1, besideFrom - 1, besideFrom, besideFrom + 1, len(data)} {
		if got := Of(MD5|SHA1|CRCs, data[:at], data[at:]); got != want {
			t.Errorf("cut at %d: %+v, want %+v", at, got, want)
		}
	}
	plain := New(CRC32C)
	plain.Write(data)
	if got := plain.Sums(); got.Has != CRC32C || got.SHA256 != want.SHA256 || got.CRC32C != want.CRC32C || got.CRC32 != 0 {
		t.Errorf("CRC-32C only: %+v", got)
	}
	plain.Begin(0)
	plain.Write([]byte("abc"))
	if got := plain.Sums(); fmt.Sprintf("%x", got.SHA256[:4]) != "ba7816bf" || got.Has != 0 || got.CRC32C != 0 {
		t.Errorf("a second file starts anew: %+v", got)
	}
}

// The usual check values of the CRCs (common practice: the CRC of "123456789"), and FIPS 180-4's SHA-1 of
// "abc" (from memory, compared with sha1sum).
func TestCheckValues(t *testing.T) {
	got := Of(MD5|SHA1|CRCs, []byte("1234"), []byte("56789"))
	if got.CRC32 != 0xcbf43926 || got.CRC32C != 0xe3069283 || got.CRC64NVME != 0xae8b14860a799888 {
		t.Errorf("CRC-32 %08x, CRC-32C %08x, CRC-64/NVME %016x", got.CRC32, got.CRC32C, got.CRC64NVME)
	}
	if got := Of(SHA1, []byte("abc")); fmt.Sprintf("%x", got.SHA1) != "a9993e364706816aba3e25717850c26c9cd0d89d" {
		t.Errorf("SHA-1 %x", got.SHA1)
	}
}

// What hashing costs on one core, MB/s: the ground for which digests are made in one pass.
func BenchmarkSums(b *testing.B) {
	block := make([]byte, 1<<20)
	for name, set := range map[string]Set{"SHA256": 0, "SHA256+CRCs": CRCs, "SHA256+CRCs+MD5": CRCs | MD5, "SHA256+SHA1": SHA1} {
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(len(block)))
			s := New(set)
			for b.Loop() {
				s.Write(block)
			}
		})
	}
}
