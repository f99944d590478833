package fix

import (
	"bytes"
	"encoding/binary"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf16"
)

// What an empty HFS+ volume needs, all numbers big-endian: a volume header with a copy of it, a map
// of used blocks, an empty tree of extents, and a catalog tree with the root folder and its thread.
// Debian 12 has no program that makes one. Source: Apple Technical Note TN1150, HFS Plus Volume
// Format, from memory; blkid(8) reads what is made here, and the kernel in the rig mounts it.
const (
	hfsBlock       = 4096
	hfsNode        = 4096 // of a tree
	hfsExtentNodes = 64
	hfsCatalog     = 256        // nodes
	hfsEpoch       = 2082844800 // seconds from 1904 to 1970
)

type (
	hfsFork struct {
		Size          uint64
		Clump, Blocks uint32
		Extents       [8]struct{ Start, Count uint32 }
	}
	hfsHeader struct {
		Signature, Version                                 uint16
		Attributes                                         uint32
		LastMounted                                        [4]byte
		Journal, Created, Modified, Backup, Checked        uint32
		Files, Folders, BlockSize, Blocks, Free, Next      uint32
		ResourceClump, DataClump, NextCatalogID, Writes    uint32
		Encodings                                          uint64
		Finder                                             [8]uint32
		Allocation, Extents, Catalog, Attributes2, StartUp hfsFork
	}
	hfsNodeHead struct {
		Next, Prev uint32
		Kind       int8
		Height     uint8
		Records    uint16
		_          uint16
	}
	hfsTree struct {
		Depth                     uint16
		Root, Leaves, First, Last uint32
		NodeSize, LongestKey      uint16
		Nodes, FreeNodes          uint32
		_                         uint16
		Clump                     uint32
		Kind, KeyCompare          uint8
		Attributes                uint32
		_                         [16]uint32
	}
	hfsFolder struct {
		Record, Flags                                  uint16
		Valence, ID                                    uint32
		Created, Content, Attributes, Accessed, Backup uint32
		Owner, Group                                   uint32
		AdminFlags, OwnerFlags                         uint8
		Mode                                           uint16
		Special                                        uint32
		Finder                                         [8]uint32
		Encoding, _                                    uint32
	}
)

func bigEndian(parts ...any) []byte {
	var b bytes.Buffer
	for _, p := range parts {
		if err := binary.Write(&b, binary.BigEndian, p); err != nil {
			panic(err)
		}
	}
	return b.Bytes()
}

// hfsName is a name as the disk holds it: its length in UTF-16 units, then those.
func hfsName(s string) []byte {
	u := utf16.Encode([]rune(s))
	return bigEndian(uint16(len(u)), u)
}

func hfsKey(parent uint32, name string) []byte {
	key := bigEndian(parent, hfsName(name))
	return bigEndian(uint16(len(key)), key)
}

// hfsTreeNode is one node: its head, records, and behind all where they begin, last first.
func hfsTreeNode(kind int8, height uint8, records ...[]byte) []byte {
	b := make([]byte, hfsNode)
	at := copy(b, bigEndian(hfsNodeHead{Kind: kind, Height: height, Records: uint16(len(records))}))
	for i, r := range append(records, nil) {
		binary.BigEndian.PutUint16(b[hfsNode-2*(i+1):], uint16(at))
		at += copy(b[at:], r)
	}
	return b
}

// setBits sets the first bits of a map, the highest of a byte first.
func setBits(m []byte, from, to int) {
	for i := from; i < to; i++ {
		m[i/8] |= 0x80 >> (i % 8)
	}
}

func hfsTreeHead(tree hfsTree, used int) []byte {
	tree.NodeSize, tree.Clump = hfsNode, tree.Nodes*hfsNode
	tree.FreeNodes = tree.Nodes - uint32(used)
	head := bigEndian(tree)
	nodes := make([]byte, hfsNode-14-len(head)-128-8)
	setBits(nodes, 0, used)
	return hfsTreeNode(1, 0, head, make([]byte, 128), nodes)
}

// makeHFSPlus writes an empty volume to a file: HFS+, whose names know no case, or HFSX, whose do.
func makeHFSPlus(t testing.TB, path string, mib int, label string, caseSensitive bool) {
	t.Helper()
	now := uint32(time.Now().Unix() + hfsEpoch)
	blocks := mib << 20 / hfsBlock
	mapBlocks := (blocks/8 + hfsBlock - 1) / hfsBlock
	next := 1 // block 0 holds the volume header
	fork := func(n int) hfsFork {
		f := hfsFork{Size: uint64(n * hfsBlock), Clump: uint32(n * hfsBlock), Blocks: uint32(n)}
		f.Extents[0] = struct{ Start, Count uint32 }{uint32(next), uint32(n)}
		next += n
		return f
	}
	h := hfsHeader{
		Signature: 0x482b, Version: 4, Attributes: 1 << 8, LastMounted: [4]byte{'1', '0', '.', '0'}, // unmounted
		Created: now, Modified: now, Checked: now, BlockSize: hfsBlock, Blocks: uint32(blocks),
		ResourceClump: 65536, DataClump: 65536, NextCatalogID: 16, Writes: 1, Encodings: 1,
		Allocation: fork(mapBlocks), Extents: fork(hfsExtentNodes), Catalog: fork(hfsCatalog),
	}
	h.Next, h.Free = uint32(next), uint32(blocks-next-1) // the last block holds the other header
	catalog := hfsTree{
		Depth: 1, Root: 1, Leaves: 2, First: 1, Last: 1, LongestKey: 516, Nodes: hfsCatalog,
		KeyCompare: 0xcf, Attributes: 6, // keys of any length, with two bytes for it
	}
	if caseSensitive {
		h.Signature, h.Version, catalog.KeyCompare = 0x4858, 5, 0xbc
	}
	const rootParent, root = 1, 2
	folder := hfsFolder{Record: 1, ID: root, Created: now, Content: now, Attributes: now, Accessed: now, Mode: 0o40755}
	thread := bigEndian(uint16(3), uint16(0), uint32(rootParent), hfsName(label))
	used := make([]byte, mapBlocks*hfsBlock)
	setBits(used, 0, next)
	setBits(used, blocks-1, blocks)

	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	at := func(f hfsFork) int { return int(f.Extents[0].Start) * hfsBlock }
	size := blocks * hfsBlock
	if err := f.Truncate(int64(size)); err != nil {
		t.Fatal(err)
	}
	for _, w := range []struct {
		at   int
		data []byte
	}{
		{1024, bigEndian(h)},
		{size - 1024, bigEndian(h)},
		{at(h.Allocation), used},
		{at(h.Extents), hfsTreeHead(hfsTree{LongestKey: 10, Nodes: hfsExtentNodes, Attributes: 2}, 1)},
		{at(h.Catalog), hfsTreeHead(catalog, 2)},
		{at(h.Catalog) + hfsNode, hfsTreeNode(-1, 1,
			append(hfsKey(rootParent, label), bigEndian(folder)...), append(hfsKey(root, ""), thread...))},
	} {
		if _, err := f.WriteAt(w.data, int64(w.at)); err != nil {
			t.Fatal(err)
		}
	}
}

// TestHFSPlusVolume: blkid(8), which finds the label by way of the volume header and the catalog's
// tree, reads both kinds.
func TestHFSPlusVolume(t *testing.T) {
	for _, sensitive := range []bool{false, true} {
		image := filepath.Join(t.TempDir(), "image")
		makeHFSPlus(t, image, 16, "TRAVEL 7", sensitive)
		out, err := exec.Command("blkid", "--probe", "--output", "export", image).CombinedOutput()
		if err != nil {
			t.Fatalf("blkid: %v\n%s", err, out)
		}
		for _, want := range []string{"\nTYPE=hfsplus\n", "\nLABEL=TRAVEL\\ 7\n"} {
			if !strings.Contains("\n"+string(out), want) {
				t.Errorf("blkid does not say %q:\n%s", want, out)
			}
		}
	}
}
