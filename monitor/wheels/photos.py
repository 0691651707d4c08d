"""Photos kept beside the ledger: opened once, drawn anew, and written as plain JPEG without anything else in them.

What is kept is never the file that came in: pixels only, so no script, location or second file hidden in an
image reaches a browser.  A photo's name is the digest of what is kept.
"""

from __future__ import annotations

import hashlib
import io
import os
import re
import warnings
from pathlib import Path

from PIL import Image, ImageOps

from monitor.errors import LedgerError

LARGEST_BYTES = 20_000_000
LARGEST_PIXELS = 50_000_000
LONGEST_SIDE = 2000
FORMATS = ("JPEG", "PNG", "WEBP")
NAME = re.compile(r"[0-9a-f]{32}\.jpg")


def keep_photo(folder: Path, content: bytes) -> str:
    """Keep a photo in ``folder``; returns the name by which an inspection or ironing names it.

    Raises
    ------
    LedgerError
        It is over 20 MB or 50 megapixels, or is no JPEG, PNG or WebP picture.
    """
    kept = _drawn_anew(content)
    name = hashlib.sha256(kept).hexdigest()[:32] + ".jpg"
    folder.mkdir(parents=True, exist_ok=True)
    part = folder / f".{name}.{os.getpid()}"
    part.write_bytes(kept)
    part.replace(folder / name)
    return name


def photo_path(folder: Path, name: str) -> Path:
    """Where a kept photo is.

    Raises
    ------
    LedgerError
        The name is none that `keep_photo` gives, or there is no such photo.
    """
    path = folder / name
    if not NAME.fullmatch(name) or not path.is_file():
        raise LedgerError(f"there is no photo {name[:60]!r}")
    return path


def _drawn_anew(content: bytes) -> bytes:
    if len(content) > LARGEST_BYTES:
        raise LedgerError(
            f"the photo has {len(content) / 1e6:.0f} MB; {LARGEST_BYTES // 1_000_000} MB is the most"
        )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(content), formats=FORMATS) as picture:
                return _as_jpeg(picture)
    except LedgerError:
        raise
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise LedgerError("that is no JPEG, PNG or WebP picture that can be opened safely") from None


def _as_jpeg(picture: Image.Image) -> bytes:
    if picture.width * picture.height > LARGEST_PIXELS:
        raise LedgerError(f"the photo has {picture.width} x {picture.height} pixels; 50 million is the most")
    upright = ImageOps.exif_transpose(picture).convert("RGB")
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    bare = Image.new("RGB", upright.size)
    bare.paste(upright)
    out = io.BytesIO()
    bare.save(out, "JPEG", quality=85)
    return out.getvalue()
