"""Photos: pixels are kept, nothing else is; what is no picture is refused."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image

from monitor.errors import LedgerError
from monitor.wheels import photos


def picture(kind: str = "JPEG", size: tuple[int, int] = (40, 20), **options: object) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, (120, 90, 40)).save(out, kind, **options)
    return out.getvalue()


def test_a_photo_is_kept_as_pixels_only(tmp_path: Path) -> None:
    """Where it was taken, a comment and a page hidden behind the image are gone."""
    exif = Image.Exif()
    exif[0x010E] = "taken at home"
    dirty = picture(exif=exif, comment=b"<script>alert(1)</script>") + b"<script>alert(2)</script>"
    kept = photos.photo_path(tmp_path, photos.keep_photo(tmp_path, dirty)).read_bytes()
    assert b"script" not in kept
    assert b"home" not in kept
    assert Image.open(io.BytesIO(kept)).size == (40, 20)


def test_a_sideways_photo_is_kept_upright(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x0112] = 6
    name = photos.keep_photo(tmp_path, picture(exif=exif))
    assert Image.open(photos.photo_path(tmp_path, name)).size == (20, 40)


def test_a_large_photo_is_made_smaller(tmp_path: Path) -> None:
    name = photos.keep_photo(tmp_path, picture("PNG", (4000, 1000)))
    assert Image.open(photos.photo_path(tmp_path, name)).size == (2000, 500)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
        b"GIF89a" + bytes(40),
        picture()[:200],
        b"\xff\xd8\xff" + bytes(1000),
        b"\x89PNG\r\n\x1a\n" + bytes(100),
    ],
)
def test_what_is_no_photo_is_refused(tmp_path: Path, content: bytes) -> None:
    with pytest.raises(LedgerError, match="no JPEG, PNG or WebP picture"):
        photos.keep_photo(tmp_path, content)
    assert list(tmp_path.iterdir()) == []


def test_too_much_is_refused(tmp_path: Path) -> None:
    """50 MB, and a small file that would unfold to 100 megapixels."""
    with pytest.raises(LedgerError, match="50 MB"):
        photos.keep_photo(tmp_path, bytes(50_000_000))
    with pytest.raises(LedgerError, match=r"pixels|safely"):
        photos.keep_photo(tmp_path, picture("PNG", (10_000, 10_000)))


def test_a_name_cannot_leave_the_folder(tmp_path: Path) -> None:
    for name in ("../ledger.sqlite", "/etc/passwd", "x.jpg", ""):
        with pytest.raises(LedgerError, match="no photo"):
            photos.photo_path(tmp_path, name)
