"""Writes one archive's listing in every shape, with encoders of Python's standard library.

shapes.py FOLDER: expect.json there says what each file lists: keys (hexadecimal), sizes and digests.
"""
import base64, csv, gzip, hashlib, io, json, os, random, sys, urllib.parse, zlib
import xml.etree.ElementTree as ET

out = sys.argv[1]
rng = random.Random(7)

# Every character that begins or goes on differently in UTF-8, each control character, and what the shapes
# themselves use. A key cannot hold NUL, as no file name can.
marks = [chr(c) for c in range(1, 0x100)]
marks += [chr(c) for c in (0x7FF, 0x800, 0xFFF, 0x1000, 0x2028, 0xD7FF, 0xE000, 0xFEFF, 0xFFFD, 0xFFFE, 0xFFFF, 0x10000, 0x1F3AC, 0x3FFFF, 0x40000, 0x10FFFF)]
marks += [chr(c << 6) for c in range(2, 0x40)]  # the other lead bytes of two and three
keys = []
for i, m in enumerate(marks):
    keys += ["archive/day1/a%sb%d.mov" % (m, i), "archive/%s/%d" % (m, i) if m != "/" else "archive/x/%d" % i]
keys += [
    "archive/a b+c%20d.mov", "archive/100%.mov", "archive/50%25.mov", "archive/a,b;c|d\te.wav", 'archive/"quoted"', 'archive/"', 'archive/""a"" b',
    "archive/crlf\r\nin name", "archive/lf\n", "archive/Icon\r", "archive/back\\slash\\n", "archive/ lead", "archive/trail ", "archive/two  spaces.mov",
    "archive/&amp;<b>]]>", "archive/caf\u00e9", "archive/cafe\u0301", "archive/{json}[0]", "archive/#hash", "archive/1234", "archive/2031-05-04",
    "archive/" + "deep/" * 30 + "file", "archive/=1+1", "archive/PRE x", "archive/0123456789abcdef0123456789abcdef",
]
objects = []
for i, k in enumerate(dict.fromkeys(keys)):
    raw = k.encode()
    objects.append(dict(key=k, size=rng.choice([0, 1, rng.randrange(1 << 20), rng.randrange(1 << 45), 1234567890]), md5=hashlib.md5(raw), sha256=hashlib.sha256(raw), sha1=hashlib.sha1(raw), crc=zlib.crc32(raw), parts=(i % 7 == 3)))
rng.shuffle(objects)
expect = {}

def name(o): return o["key"]
def tag(o): return '"%s%s"' % (o["md5"].hexdigest(), "-12" if o["parts"] else "")
date = "2031-05-04T03:02:01.000Z"
def b64(b): return base64.b64encode(b).decode()

def save(file, data, objs=None, sums="md5", size=True, encoding="utf-8", known=True):
    if isinstance(data, str):
        data = data.encode(encoding)
    with open(os.path.join(out, file), "wb") as f:
        f.write(data)
    expect[file] = dict(objects=[[o["key"].encode().hex(), o["size"] if size else -1, sums if isinstance(sums, str) else "", (o[sums].hexdigest() if sums in ("md5", "sha1", "sha256") else "%08x" % o["crc"] if sums == "crc32" else "")] for o in (objs if objs is not None else objects)])

def table(delimiter, header, row, objs=None, **kw):
    s = io.StringIO(newline="")
    w = csv.writer(s, delimiter=delimiter, **kw)
    if header:
        w.writerow(header)
    for o in objs if objs is not None else objects:
        w.writerow(row(o))
    return s.getvalue()

full = lambda o: ["bucket", o["key"], o["size"], date, tag(o), "STANDARD"]
head = ["Bucket", "Key", "Size", "LastModified", "ETag", "StorageClass"]
for label, d in (("comma", ","), ("tab", "\t"), ("semicolon", ";"), ("bar", "|")):
    save("header-%s.csv" % label, table(d, head, full))
    save("header-%s-all-quoted.csv" % label, table(d, head, full, quoting=csv.QUOTE_ALL))
    save("header-%s-lf.csv" % label, table(d, head, full, lineterminator="\n"))
    save("bare-%s.csv" % label, table(d, None, full, quoting=csv.QUOTE_ALL))
    save("bare-minimal-%s.csv" % label, table(d, None, full))
for label, quote in (("raw", None), ("percent", lambda k: urllib.parse.quote(k)), ("plus", lambda k: urllib.parse.quote_plus(k, safe="/"))):
    save("keys-%s.csv" % label, table(",", ["key", "size", "md5"], lambda o: [quote(o["key"]) if quote else o["key"], o["size"], o["md5"].hexdigest()]))
save("sha256-base64.csv", table(",", ["Object Name", "Bytes", "ChecksumSHA256"], lambda o: [o["key"], o["size"], b64(o["sha256"].digest())]), sums="sha256")
save("sha1.csv", table(",", ["path", "size", "sha-1"], lambda o: [o["key"], o["size"], o["sha1"].hexdigest().upper()]), sums="sha1")
save("crc32-hex.csv", table(",", ["path", "size", "crc32"], lambda o: [o["key"], o["size"], "%08x" % o["crc"]]), sums="crc32")
save("crc32-base64.csv", table(",", ["path", "size", "checksum_crc32"], lambda o: [o["key"], o["size"], b64(o["crc"].to_bytes(4, "big"))]), sums="crc32")
save("crc32-decimal.csv", table(",", ["path", "size", "CRC32"], lambda o: [o["key"], o["size"], o["crc"]]), sums="crc32")
save("algorithm.csv", table(",", ["path", "size", "checksum", "checksum_algorithm"], lambda o: [o["key"], o["size"], b64(o["crc"].to_bytes(4, "big")), "CRC32"]), sums="crc32")
save("utf16le.csv", b"\xff\xfe" + table(",", head, full).encode("utf-16-le"))
save("utf16be.csv", b"\xfe\xff" + table("\t", head, full).encode("utf-16-be"))
save("mark.csv", b"\xef\xbb\xbf" + table(",", head, full).encode())
save("header.csv.gz", gzip.compress(table(",", head, full).encode()))
save("members.csv.gz", gzip.compress(table(",", head, full).encode()[:1000]) + gzip.compress(table(",", head, full).encode()[1000:]))
save("float.csv", table(",", ["key", "size", "md5"], lambda o: [o["key"], "%d.0" % o["size"], o["md5"].hexdigest()]))
versions = []
for i, o in enumerate(objects):
    versions.append(["b", o["key"], "v%d" % i, "true", "false", o["size"], tag(o)])
    if i % 3 == 0:
        versions.append(["b", o["key"], "w%d" % i, "false", "false", o["size"] + 1, '"%s"' % hashlib.md5(b"old").hexdigest()])
    if i % 5 == 0:
        versions.append(["b", o["key"], "x%d" % i, "false", "true", "", ""])
s = io.StringIO(newline=""); w = csv.writer(s)
w.writerow(["Bucket", "Key", "VersionId", "IsLatest", "IsDeleteMarker", "Size", "ETag"]); w.writerows(versions)
save("versions.csv", s.getvalue())

def record(o): return {"Key": o["key"], "LastModified": date, "ETag": tag(o), "Size": o["size"], "StorageClass": "STANDARD", "Owner": {"DisplayName": "somebody", "ID": "1"}, "ChecksumAlgorithm": ["CRC32"]}
for label, ascii in (("escaped", True), ("utf8", False)):
    save("lines-%s.json" % label, "".join(json.dumps(record(o), ensure_ascii=ascii) + "\n" for o in objects))
    save("document-%s.json" % label, json.dumps({"Name": "bucket", "Prefix": "", "IsTruncated": False, "Contents": [record(o) for o in objects]}, ensure_ascii=ascii, indent=2))
    save("array-%s.json" % label, json.dumps([record(o) for o in objects], ensure_ascii=ascii))
save("nested.json", json.dumps({"result": {"pages": [{"items": [{"name": o["key"], "size": str(o["size"]), "md5Hash": b64(o["md5"].digest()), "metadata": {"a": "b"}} for o in objects[k::3]]} for k in range(3)]}}))
save("below.json", json.dumps([{"path": o["key"], "stat": {"size": o["size"]}, "Hashes": {"MD5": o["md5"].hexdigest()}, "IsDir": False} for o in objects] + [{"path": "archive/day1", "Size": -1, "IsDir": True}]))
save("marks.json", json.dumps({"Versions": [dict(record(o), IsLatest=True) for o in objects] + [dict(record(o), Size=5, IsLatest=False) for o in objects[:9]], "DeleteMarkers": [{"Key": o["key"], "IsLatest": False} for o in objects[:9]]}))
save("utf16.json", b"\xff\xfe" + json.dumps([record(o) for o in objects], ensure_ascii=False).encode("utf-16-le"))

# XML 1.0 has no characters below U+0020 but tab, LF and CR, and not the last two of each plane.
legal = [o for o in objects if all(c in "\t\n\r" or " " <= c <= "\ud7ff" or "\ue000" <= c <= "\ufffd" or c >= "\U00010000" for c in o["key"])]
def fill(parent, o, quote=lambda k: k):
    for n, v in (("Key", quote(o["key"])), ("LastModified", date), ("ETag", tag(o)), ("Size", str(o["size"])), ("StorageClass", "STANDARD")):
        ET.SubElement(parent, n).text = v
    ET.SubElement(ET.SubElement(parent, "Owner"), "DisplayName").text = "somebody"
def xml(root, **kw):
    # ElementTree writes CR as it stands, which a reader must take for LF (XML 1.0 section 2.11).
    return ET.tostring(root, **kw).replace(b"\r", b"&#13;")
def listed(objs, quote=lambda k: k):
    root = ET.Element("{http://example.org/list/}Result")
    ET.SubElement(root, "Name").text = "bucket"
    ET.SubElement(root, "Prefix")
    ET.SubElement(root, "IsTruncated").text = "false"
    for o in objs:
        fill(ET.SubElement(root, "Contents"), o, quote)
    return root
save("plain.xml", xml(listed(legal), encoding="utf-8", xml_declaration=True), legal)
save("ascii.xml", xml(listed(legal), encoding="us-ascii"), legal)
save("coded.xml", xml(listed(objects, urllib.parse.quote_plus), encoding="utf-8"))
indented = listed(legal); ET.indent(indented)
save("indented.xml", xml(indented, encoding="utf-8"), legal)
save("utf16.xml", b"\xff\xfe" + ET.tostring(listed(legal), encoding="unicode").replace("\r", "&#13;").encode("utf-16-le"), legal)
root = ET.Element("objects")
for o in legal:
    ET.SubElement(root, "object", {"key": o["key"], "size": str(o["size"]), "md5": o["md5"].hexdigest()})
save("attributes.xml", ET.tostring(root, encoding="utf-8").replace(b"\r", b"&#13;").replace(b"\t", b"&#09;"), legal)
root = ET.Element("Results")
for o in legal:
    b = ET.SubElement(ET.SubElement(root, "Entries") if root.find("Entries") is None else root.find("Entries"), "Entry")
    ET.SubElement(b, "Name").text = o["key"]
    p = ET.SubElement(b, "Properties")
    ET.SubElement(p, "Content-Length").text = str(o["size"])
    ET.SubElement(p, "Content-MD5").text = b64(o["md5"].digest())
ET.SubElement(root, "NextMarker")
save("properties.xml", xml(root, encoding="utf-8"), legal)
cdata = "<r>" + "".join("<o><key><![CDATA[%s]]></key><size>%d</size><md5>%s</md5></o>" % (o["key"].replace("]]>", "]]]]><![CDATA[>"), o["size"], o["md5"].hexdigest()) for o in legal if "\r" not in o["key"]) + "</r>"
save("cdata.xml", cdata, [o for o in legal if "\r" not in o["key"]])

def gnu(k):
    e = k.replace("\\", "\\\\").replace("\n", "\\n").replace("\r", "\\r")
    return ("\\" if e != k else ""), e
save("sums.sha256", "".join("%s%s  %s\n" % (gnu(o["key"])[0], o["sha256"].hexdigest(), gnu(o["key"])[1]) for o in objects), sums="sha256", size=False)
save("sums-crlf.md5", "".join("%s%s *%s\r\n" % (gnu(o["key"])[0], o["md5"].hexdigest(), gnu(o["key"])[1]) for o in objects), size=False)
save("sums.bsd", "".join("%sSHA1 (%s) = %s\n" % (gnu(o["key"])[0], gnu(o["key"])[1], o["sha1"].hexdigest()) for o in objects), sums="sha1", size=False)

lines = [o for o in objects if "\n" not in o["key"]]
save("aligned.txt", "".join("2031-05-04 03:02:01 %10d %s\n" % (o["size"], o["key"]) for o in lines) + "\nTotal Objects: %d\n   Total Size: 1234\n" % len(lines), lines, sums="none")
save("aligned-crlf.txt", "".join("2031-05-04 03:02:01 %10d %s\r\n" % (o["size"], o["key"]) for o in lines), lines, sums="none")
save("aligned-size-first.txt", "".join("%12d  2031-05-04T03:02:01Z  %s\n" % (o["size"], o["key"]) for o in lines) + "TOTAL: %d objects, 99 bytes (99 B)\n" % len(lines), lines, sums="none")
save("aligned-zone.txt", "".join("%12d 2031-05-04 03:02:01.123 +0200 %s\n" % (o["size"], o["key"]) for o in lines), lines, sums="none")
save("aligned-sizes.txt", "".join("%d %s\n" % (o["size"], o["key"]) for o in lines), lines, sums="none")
tabless = [o for o in lines if "\t" not in o["key"] and not o["key"].startswith('"')]
save("find.txt", "".join("%d\t%s\n" % (o["size"], o["key"]) for o in tabless), tabless, sums="none")
save("find-path-first.txt", "".join("%s\t%d\n" % (o["key"], o["size"]) for o in tabless), tabless, sums="none")

with open(os.path.join(out, "expect.json"), "w") as f:
    json.dump(expect, f)
