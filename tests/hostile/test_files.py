"""Files that are no photos, or are made to harm: one typed error of one line, and nothing else."""

from __future__ import annotations

import os
import struct
import subprocess
import sys
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from vision.photo import PhotoError, load

KINDS = ["jpeg", "png", "tiff", "webp", "bmp", "heic"]


def picture(folder, kind, size=(160, 120), **options):
    """Write a picture with something in every corner and give its path."""
    rng = np.random.default_rng(0)
    pixels = rng.integers(0, 256, (size[1], size[0], 3)).astype(np.uint8)
    path = folder / f"a.{kind}"
    if kind == "heic":
        pillow_heif = pytest.importorskip("pillow_heif")
        pillow_heif.from_pillow(Image.fromarray(pixels)).save(path)
    else:
        Image.fromarray(pixels).save(path, **options)
    return path


def refused(path, capfd, **options):
    """Load what must not load; give the message, one line that starts with the file's path."""
    with pytest.raises(PhotoError) as caught:
        load(path, **options)
    message = str(caught.value)
    assert len(message.splitlines()) == 1
    assert message.isprintable()
    assert capfd.readouterr() == ("", "")
    return message


def chunk(kind, body):
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def png(width, height, data):
    """Write a grey PNG (ISO/IEC 15948:2004) that claims a size."""
    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", data) + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "empty"),
        (b"\xff", "not a photo"),
        (b"Reading: 7.78 mm\n" * 40, "not a photo"),
        (b'<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg"/>', "not a photo"),
        (b"GIF89a" + bytes(60), "not a photo"),
        (b"\x00\x00\x00\x1cftypavif" + bytes(60), "not a photo"),
        (b"\xff\xd8\xff", "damaged"),
        (b"\xff\xd8\xff\xd9", "damaged"),
        (b"\xff\xd8\xff\xda\x00\x08" + bytes(500) + b"\xff\xd9", "damaged"),
        (b"\xff\xd8\xff\xe0\x00\x00" + bytes(90), "damaged"),
        (b"\x89PNG\r\n\x1a\n" + bytes(90), "damaged"),
        (b"II*\x00" + bytes(90), "damaged"),
        (b"II*\x00\xff\xff\xff\xff", "damaged"),
        (b"RIFF\x40\x00\x00\x00WEBP" + bytes(90), "damaged"),
        (b"BM" + bytes(90), "damaged"),
    ],
)
def test_what_is_no_photo(tmp_path, capfd, content, says):
    path = tmp_path / "a.jpg"
    path.write_bytes(content)
    message = refused(path, capfd)
    assert message.startswith(f"{path}: ")
    assert says in message


def test_folders_missing_files_and_pipes(tmp_path, capfd):
    assert "folder" in refused(tmp_path, capfd)
    assert "no such file" in refused(tmp_path / "b.jpg", capfd)
    assert "can't be read" in refused(tmp_path / ("b" * 300), capfd)
    assert "can't be read" in refused(Path("b\0.jpg"), capfd)
    os.mkfifo(tmp_path / "pipe.jpg")
    assert "not an ordinary file" in refused(tmp_path / "pipe.jpg", capfd)
    (tmp_path / "loop.jpg").symlink_to(tmp_path / "loop.jpg")
    assert "can't be read" in refused(tmp_path / "loop.jpg", capfd)


def test_a_file_that_may_not_be_read(tmp_path, capfd, monkeypatch):
    path = picture(tmp_path, "png")

    def deny(*_args, **_options):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", deny)
    assert "may not be read" in refused(path, capfd)


def test_a_name_of_two_lines_stays_one_line(tmp_path, capfd):
    path = tmp_path / "a\nb\x1b[31m.jpg"
    path.write_bytes(b"no photo")
    refused(path, capfd)


def test_a_file_longer_than_any_photo_is_not_read(tmp_path, capfd):
    with (tmp_path / "a.bmp").open("wb") as file:
        file.truncate(10**10)
    assert "10000 MB" in refused(tmp_path / "a.bmp", capfd)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("share", [0.02, 0.3, 0.5, 0.98])
def test_a_file_cut_short(tmp_path, capfd, kind, share):
    path = picture(tmp_path, kind)
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * share)])
    assert "damaged" in refused(path, capfd)


def test_a_progressive_jpeg_cut_short(tmp_path, capfd):
    path = picture(tmp_path, "jpeg", progressive=True)
    path.write_bytes(path.read_bytes()[:-2000])
    assert "cut short" in refused(path, capfd)


def test_a_jpeg_with_blocks_lost_in_the_middle(tmp_path, capfd):
    path = picture(tmp_path, "jpeg")
    data = path.read_bytes()
    middle = len(data) // 2
    path.write_bytes(data[:middle] + data[middle + 2000 :])
    assert "damaged" in refused(path, capfd)


@pytest.mark.parametrize(
    ("kind", "compression"),
    [(kind, None) for kind in KINDS]
    + [("tiff", way) for way in ("tiff_lzw", "jpeg", "tiff_adobe_deflate")],
)
def test_random_damage_never_escapes(tmp_path, capfd, kind, compression):
    path = picture(
        tmp_path, kind, (80, 60), **({"compression": compression} if compression else {})
    )
    sound, rng = path.read_bytes(), np.random.default_rng(1)
    refusals = 0
    for _ in range(60):
        data = bytearray(sound)
        start = int(rng.integers(0, 200)) if rng.random() < 0.5 else int(rng.integers(len(data)))
        data[start : start + 8] = rng.bytes(8)
        path.write_bytes(data)
        try:
            load(path)
        except PhotoError:
            refusals += 1
    assert refusals > 0
    assert capfd.readouterr() == ("", "")


def claims_of_size(folder):
    """Make small files that claim to be huge."""
    yield "1.2 gigapixels", png(40000, 30000, zlib.compress(bytes(40001 * 300)))
    jpeg = picture(folder, "jpeg", (16, 16)).read_bytes()
    at = jpeg.index(b"\xff\xc0") + 5
    yield "jpeg", jpeg[:at] + struct.pack(">HH", 30000, 30000) + jpeg[at + 4 :]
    bmp = picture(folder, "bmp", (16, 16)).read_bytes()
    yield "bmp", bmp[:18] + struct.pack("<ii", 30000, 30000) + bmp[26:]
    vp8x = b"VP8X" + struct.pack("<I", 10) + bytes(4) + (16382).to_bytes(3, "little") * 2
    yield "webp", b"RIFF" + struct.pack("<I", 4 + len(vp8x)) + b"WEBP" + vp8x
    tiff = bytearray(picture(folder, "tiff", (16, 16)).read_bytes())
    with Image.open(folder / "a.tiff") as image:
        entries = image.tag_v2._offset
    for entry in range(entries + 2, entries + 26, 12):  # width and length come first, TIFF 6.0
        if tiff[entry : entry + 2] in (b"\x00\x01", b"\x01\x01"):
            tiff[entry + 2 : entry + 12] = struct.pack("<HII", 4, 1, 30000)
    yield "tiff", bytes(tiff)


def test_huge_claims_are_refused_before_any_decode(tmp_path, capfd):
    for name, content in claims_of_size(tmp_path):
        path = tmp_path / name
        path.write_bytes(content)
        message = refused(path, capfd)
        if name != "webp":  # its decoder looks for a frame before it tells the size
            assert "at most 64 million allowed" in message, name


def test_memory_stays_bounded(tmp_path):
    resource = pytest.importorskip("resource")
    assert resource.RLIMIT_AS
    paths = []
    for name, content in claims_of_size(tmp_path):
        paths.append(tmp_path / name)
        paths[-1].write_bytes(content)
    code = (
        "import resource, sys\n"
        "from pathlib import Path\n"
        "from vision.photo import PhotoError, load\n"
        "before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "for name in sys.argv[1:]:\n"
        "    try: load(Path(name))\n"
        "    except PhotoError: pass\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *map(str, paths)],
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stderr == ""
    assert int(done.stdout) < 100_000  # KiB; one grey copy of 30000 x 30000 px takes 880,000
