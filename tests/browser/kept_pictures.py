"""Small pictures of pages, kept in the project, and how far a new one may be from them.

A picture is made small and grey, so that the edges of letters do not matter, and is compared in
bands: each band of one picture must be found in the other near its place, with the ink where it was.
A page that grew by a line passes, a lost figure, a blank page or words over the edge do not.

To renew the pictures after a change that is meant, look at the pages and run
``RENEW_PICTURES=1 .venv/bin/python -m pytest -q -m browser tests/browser/test_look.py``.
"""

from __future__ import annotations

import io
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageFilter

KEPT: Final = Path(__file__).parent / "kept"
WIDTH: Final = 60  # px of a kept picture; a page for a phone is kept half as wide
BAND: Final = 12  # rows compared at once
DRIFT: Final = (
    0.04  # of the height: how far from its place a band may be, and how much a page may grow
)
FARTHEST: Final = 0.4
"""Share of the ink of a band that may be elsewhere. Measured in `test_look.py`: letters set a little
wider 0.04, a lost figure 0.59, pale ink 0.68, a blank page 0.71, words over the edge 1."""
FAINT: Final = 0.02  # grey of a band that counts as empty: edges of single letters
RENEW: Final = "RENEW_PICTURES"

Grey = NDArray[np.float64]


def small(picture: Image.Image, width: int = WIDTH) -> Image.Image:
    """Picture in grey, `width` px wide, each px the mean of what it stands for."""
    height = max(1, round(picture.height * width / picture.width))
    return picture.convert("L").resize((width, height), Image.Resampling.BOX)


def stacked(pictures: Sequence[Image.Image], gap: int = 2) -> Image.Image:
    """Pictures of one size under each other, with a dark line between them."""
    width, height = pictures[0].size
    sheet = Image.new("L", (width, (height + gap) * len(pictures) - gap), 60)
    for number, picture in enumerate(pictures):
        sheet.paste(picture, (0, number * (height + gap)))
    return sheet


def farthest_band(kept: Image.Image, new: Image.Image, drift: float = DRIFT) -> float:
    """Largest share of a band's ink that is nowhere near its place in the other picture."""
    if kept.width != new.width:
        return 1.0
    if abs(kept.height - new.height) > drift * kept.height + 1:
        return 1.0
    paper = float(np.median(np.asarray(kept))) / 255
    old, own = _ink(kept, paper), _ink(new, paper)
    reach = round(drift * kept.height)
    return max(_farthest(old, own, reach), _farthest(own, old, reach))


def differs_from_kept(name: str, new: Image.Image, drift: float = DRIFT) -> str:
    """Empty if a picture is near its kept one; else a sentence. Renews it if that was asked for."""
    path = KEPT / f"{name}.png"
    if os.environ.get(RENEW):
        KEPT.mkdir(exist_ok=True)
        path.write_bytes(_png(new))
    if not path.is_file():
        return f"{path} is missing; {RENEW}=1 makes it."
    with Image.open(path) as kept:
        distance = farthest_band(kept.convert("L"), new, drift)
        sizes = f"kept {kept.size}, new {new.size}"
    if distance <= FARTHEST:
        return ""
    seen = Path("/tmp") / f"quenchbook_look_{name}.png"
    seen.write_bytes(_png(new))
    return f"{name} is {distance:.3f} from {path.name} ({sizes}); the new one: {seen}"


def _png(picture: Image.Image) -> bytes:
    written = io.BytesIO()
    picture.save(written, "PNG", optimize=True)
    return written.getvalue()


def _ink(picture: Image.Image, paper: float) -> Grey:
    """Difference to the paper, over the neighbours."""
    return np.asarray(picture.filter(ImageFilter.BoxBlur(1)), dtype=float) / 255 - paper


def _farthest(kept: Grey, new: Grey, reach: int) -> float:
    farthest = 0.0
    for top in range(0, max(1, kept.shape[0] - BAND + 1), BAND):
        band = kept[top : top + BAND]
        places = range(max(0, top - reach), min(new.shape[0] - len(band), top + reach) + 1)
        found = (_moved(band, new[at : at + len(band)]) for at in places)
        farthest = max(farthest, min(found, default=1.0))
    return farthest


def _moved(band: Grey, other: Grey) -> float:
    ink = max(float(np.abs(band).mean()), float(np.abs(other).mean()))
    return float(np.abs(band - other).mean()) / (ink + FAINT)
