"""Lists the files of a folder as objects that were sent in parts, with checksums that this script makes by itself.

usage: objects.py FOLDER OUT PREFIX PLAN
PLAN is JSON: {"path": {"part": bytes or null, "flip": offset or null, "as": "md5"|"sha256"|"sha1"|"crc32"|"whole-sha1"|"whole-crc32"|"none"}}
Writes OUT.csv, OUT.json, OUT.xml, OUT.txt with the modules of Python.
"""
import base64, csv, hashlib, json, os, sys, zlib
import xml.etree.ElementTree as ET

folder, out, prefix, plan = sys.argv[1], sys.argv[2], sys.argv[3], json.loads(sys.argv[4])


def digest(kind, data):
    if kind == "crc32":
        return zlib.crc32(data).to_bytes(4, "big")
    return hashlib.new(kind, data).digest()


rows = []
for path in sorted(plan):
    p = plan[path]
    with open(os.path.join(folder, path), "rb") as f:
        data = bytearray(f.read())
    if p.get("flip") is not None:
        data[p["flip"]] ^= 1
    kind, part = p["as"], p.get("part")
    row = {"Key": prefix + path, "Size": len(data), "ETag": "", "Checksum": "", "ChecksumAlgorithm": "", "ChecksumType": ""}
    if kind == "none":
        pass
    elif kind.startswith("whole-"):
        row["ChecksumAlgorithm"] = kind[6:].upper()
        row["Checksum"] = base64.b64encode(digest(kind[6:], bytes(data))).decode()
        row["ChecksumType"] = "FULL_OBJECT"
    elif part is None:
        row["ETag"] = '"' + digest(kind, bytes(data)).hex() + '"'
    else:
        parts = [digest(kind, bytes(data[i:i + part])) for i in range(0, len(data), part)] or [digest(kind, b"")]
        both = digest(kind, b"".join(parts))
        if kind == "md5":
            row["ETag"] = '"%s-%d"' % (both.hex(), len(parts))
        else:
            row["ChecksumAlgorithm"] = kind.upper()
            row["Checksum"] = base64.b64encode(both).decode() + "-%d" % len(parts)
            row["ChecksumType"] = "COMPOSITE"
    rows.append(row)

with open(out + ".csv", "w", newline="") as f:
    w = csv.DictWriter(f, list(rows[0]))
    w.writeheader()
    w.writerows(rows)
with open(out + ".json", "w") as f:
    json.dump({"Listing": {"Name": "an archive", "Contents": [{k: v for k, v in r.items() if v != ""} for r in rows]}}, f, indent=1)
root = ET.Element("ListResult")
for r in rows:
    one = ET.SubElement(root, "Contents")
    for k, v in r.items():
        if v != "":
            ET.SubElement(one, k).text = str(v)
ET.ElementTree(root).write(out + ".xml", encoding="utf-8", xml_declaration=True)
