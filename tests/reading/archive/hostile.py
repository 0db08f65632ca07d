"""An archive with everything that can be wrong, and the code that each of its files deserves."""

from __future__ import annotations

import os
import stat
import struct
import zipfile
import zlib
from pathlib import Path

from reading.archive.names import shown

DEEP = 30


def make(root: Path, sound: bytes, *, tiny: int = 0) -> dict[str, str | None]:
    """Make the archive, and give what each name should be coded; None for what can be read.

    Parameters
    ----------
    root : Path
        A folder, made if need be.
    sound : bytes
        A photo that can be read, as JPEG.
    tiny : int
        So many more files of one byte each.
    """
    root.mkdir(parents=True, exist_ok=True)
    wanted: dict[str, str | None] = {}

    def put(name: str, data: bytes, code: str | None) -> Path:
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
        wanted[shown(name)] = code
        return path

    put("sound.jpg", sound, None)
    put("a/b/c/sound.JPG", sound, None)
    put("/".join(["deep"] * DEEP) + "/sound.jpg", sound, None)
    put("zero.jpg", b"", "empty_file")
    put("cut short.jpg", sound[: len(sound) // 2], "unusable_file")
    put("a png.jpg", png(64, 48, (b"\0" + bytes(64)) * 48), "no_gauge")
    put("huge.png", png(60_000, 60_000, b""), "unusable_file")
    put("huge.jpg", jpeg_head(65_500, 65_500), "unusable_file")
    put("words.jpg", b"this is no photo", "not_a_photo")
    put("sidecar.xmp", b"<x/>", "not_a_photo")
    put("new\nline\t.jpg", sound, None)
    put(os.fsdecode(b"not utf-8 \xff\xe9.jpg"), sound, None)
    put("back\\slash.jpg", sound, None)
    put("=1+1.jpg", sound, None)
    put("\u202egpj.exe.jpg", sound, None)
    kept = put("kept from us.jpg", sound, "not_permitted")
    kept.chmod(0)
    put("locked/inside.jpg", sound, None)
    (root / "locked").chmod(0)
    if os.access(kept, os.R_OK):  # as root, whom permissions do not bind
        wanted["kept from us.jpg"] = None
    else:
        del wanted["locked/inside.jpg"]
        wanted["locked"] = "folder_unreadable"
    (root / "loop").symlink_to(root)
    wanted["loop"] = "linked_folder"
    (root / "itself.jpg").symlink_to(root / "itself.jpg")
    wanted["itself.jpg"] = "broken_link"
    (root / "nowhere.jpg").symlink_to(root / "not there.jpg")
    wanted["nowhere.jpg"] = "broken_link"
    (root / "linked.jpg").symlink_to(root / "sound.jpg")
    wanted["linked.jpg"] = None
    os.mkfifo(root / "pipe.jpg")
    wanted["pipe.jpg"] = "not_ordinary"
    put("zip.jpg", zip_of({"x.jpg": sound}), "not_a_photo")
    put("no.zip", b"PK\x05\x06", "zip_unreadable")
    _zips(root, sound, wanted)
    for number in range(tiny):
        put(f"tiny/{number:05d}.jpg", bytes([number % 256]), "not_a_photo")
    return wanted


def _zips(root: Path, sound: bytes, wanted: dict[str, str | None]) -> None:
    """Make the ZIPs."""
    with zipfile.ZipFile(root / "good.zip", "w") as packed:
        packed.writestr("L07/sound.jpg", sound)
        packed.writestr("L07/Größe.jpg", sound)
        packed.writestr("../slip.jpg", sound)
        packed.writestr("/etc/slip.jpg", sound)
        packed.writestr("c:\\slip.jpg", sound)
        packed.writestr("inner.zip", zip_of({"x.jpg": sound}))
        link = zipfile.ZipInfo("link.jpg")
        link.external_attr = (stat.S_IFLNK | 0o777) << 16
        packed.writestr(link, "/etc/passwd")
        packed.writestr("folder/", b"")
    wanted |= {"good.zip/L07/sound.jpg": None, "good.zip/L07/Größe.jpg": None}
    wanted |= dict.fromkeys(
        ("good.zip/../slip.jpg", "good.zip//etc/slip.jpg", "good.zip/c:\\\\slip.jpg"),
        "zip_unsafe_name",
    )
    wanted |= {"good.zip/inner.zip": "zip_in_zip", "good.zip/link.jpg": "zip_link"}
    with zipfile.ZipFile(root / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as packed:
        with packed.open("bomb.jpg", "w", force_zip64=True) as file:
            for _ in range(40):
                file.write(bytes(1_000_000))
        packed.writestr("beside.jpg", sound)
    wanted |= {"bomb.zip/bomb.jpg": "zip_bomb", "bomb.zip/beside.jpg": None}
    (root / "overlap.zip").write_bytes(overlapping(30_000_000))
    wanted["overlap.zip"] = "zip_bomb"
    data = bytearray(zip_of({"x.jpg": sound}))
    data[60] ^= 0xFF  # within the member's own bytes
    (root / "spoilt.zip").write_bytes(data)
    wanted["spoilt.zip/x.jpg"] = "unusable_file"


def zip_of(members: dict[str, bytes]) -> bytes:
    """Pack members without squeezing them."""
    import io

    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as packed:
        for name, content in members.items():
            packed.writestr(name, content)
    return data.getvalue()


def overlapping(claimed: int) -> bytes:
    """Make a ZIP of which many members are one and the same run of bytes (APPNOTE 4.3.12)."""
    data = bytearray(zip_of({"x.jpg": bytes(100)}))
    at = data.rfind(b"PK\x01\x02")
    end = data.rfind(b"PK\x05\x06")
    entry = bytearray(data[at:end])
    struct.pack_into("<I", entry, 24, claimed)
    count = 50
    listed = bytes(entry) * count
    tail = bytearray(data[end:])
    struct.pack_into("<HHI", tail, 8, count, count, len(listed))
    return bytes(data[:at]) + listed + bytes(tail)


def png(width: int, height: int, rows: bytes) -> bytes:
    """Write a grey PNG of any claimed size (ISO/IEC 15948, 5.3 and 11.2.2)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        check = zlib.crc32(kind + data)
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", check)

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    body = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body


def jpeg_head(width: int, height: int) -> bytes:
    """Write the start of a grey JPEG of any claimed size (ITU-T T.81, B.2.2)."""
    frame = struct.pack(">HBHHB3B", 11, 8, height, width, 1, 1, 0x11, 0)
    return b"\xff\xd8\xff\xc0" + frame + b"\xff\xd9"
