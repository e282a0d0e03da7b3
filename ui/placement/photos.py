"""Pictures as the record keeps them: turned upright, made small, without what the camera wrote into them (place, owner)."""

from __future__ import annotations

from collections.abc import Iterable
from io import BytesIO
from typing import Any

import streamlit as st
from PIL import Image, ImageOps

from diagnose.store.placements import MOST_PHOTO
from shared.errors import ReadingError
from ui.parts import drawer

LONGEST = 1600  # pixels; a nameplate can be read on it
QUALITIES = (78, 60, 40)
MOST_PIXELS = 80_000_000
LARGEST_MB = 25
KINDS = ["jpg", "jpeg", "png", "webp"]


def small(name: str, content: bytes) -> tuple[str, bytes]:
    """(name, JPEG of at most MOST_PHOTO bytes). Raises ReadingError for what is no picture."""
    try:
        with Image.open(BytesIO(content)) as opened:
            if opened.width * opened.height > MOST_PIXELS:
                raise ValueError("too many pixels")
            picture = ImageOps.exif_transpose(opened).convert("RGB")
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        raise ReadingError("photo", given=name, allowed="a JPEG, PNG or WebP picture", do="choose another") from None
    picture.thumbnail((LONGEST, LONGEST))
    for quality in QUALITIES:
        out = BytesIO()
        picture.save(out, "JPEG", quality=quality)
        if len(out.getvalue()) <= MOST_PHOTO:
            return name, out.getvalue()
    raise ReadingError("photo", given=name, allowed=f"up to {MOST_PHOTO} bytes when made small", do="choose another")


def field(key: str) -> None:
    """Draw the drawer in which photos are taken or chosen."""
    if box := drawer("Photo", f"{key}-drawer"):
        with box:
            st.file_uploader("Take or choose photos", type=KINDS, accept_multiple_files=True, key=key,
                             max_upload_size=LARGEST_MB)  # fmt: skip


def held(key: str) -> list[tuple[str, bytes]]:
    """The photos that were chosen, made small. Raises ReadingError."""
    files: Iterable[Any] = st.session_state.get(key) or ()
    return [small(file.name, file.getvalue()) for file in files]
