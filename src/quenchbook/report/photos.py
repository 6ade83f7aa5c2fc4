"""Photographs of a study: scaled down, and without anything but the picture itself."""

from __future__ import annotations

import base64
import io
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from quenchbook.errors import Problem, ReportError
from quenchbook.report.blocks import FigureBlock
from quenchbook.study.publishing import Photo

if TYPE_CHECKING:
    from PIL.Image import Image

LONGEST_SIDE: Final = 1600  # px: 117 mm in print at 350 dots an inch, two screens of a phone
_QUALITY: Final = 82
_FORMATS: Final = (
    "JPEG",
    "PNG",
)  # with JPEG come those that hold a second picture, as some phones write
_WHITE: Final = (255, 255, 255)


class _UnusableError(ValueError):
    """Why a file cannot be shown, in words for the author."""


def photo_figures(photos: Sequence[Photo], folder: str | Path) -> list[FigureBlock]:
    """Figures of a report from photographs, in their order.

    A photograph is turned upright as its camera noted, made no longer than `LONGEST_SIDE` and
    written anew from its pixels: place, time, camera, comments and thumbnails do not come along.

    Parameters
    ----------
    photos : sequence of Photo
    folder : path-like
        Folder of the study.

    Raises
    ------
    ReportError
        Naming every file that is missing, outside the folder or no picture.
    """
    figures, problems = [], []
    for number, photo in enumerate(photos, start=1):
        try:
            data, kind = clean_photo(_inside(photo.file, Path(folder)))
        except (OSError, ValueError) as error:
            problems.append(_problem(photo.file, error))
            continue
        figures.append(
            FigureBlock(
                key=f"photo_{number}",
                svg="",
                png_base64=base64.b64encode(data).decode("ascii"),
                finding=photo.caption,
                alt=photo.alt,
                bitmap=kind,
            )
        )
    if problems:
        raise ReportError(problems)
    return figures


def clean_photo(path: Path) -> tuple[bytes, str]:
    """Pixels of a photograph as a new file.

    Parameters
    ----------
    path : Path
        JPEG or PNG.

    Returns
    -------
    data : bytes
    kind : str
        ``jpeg``, or ``png`` where the file was one.
    """
    import PIL.Image
    from PIL import ImageOps

    with warnings.catch_warnings():
        warnings.simplefilter("error", PIL.Image.DecompressionBombWarning)
        try:
            with PIL.Image.open(path, formats=list(_FORMATS)) as opened:
                kind = "png" if opened.format == "PNG" else "jpeg"
                opened.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))  # reads a big JPEG at less cost
                picture = _on_white(_in_srgb(_eight_bits(ImageOps.exif_transpose(opened))))
        except (PIL.Image.DecompressionBombError, PIL.Image.DecompressionBombWarning):
            raise _UnusableError("it has too many pixels to be a photograph") from None
    picture.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    # only pixels: what Pillow keeps of comments and profiles stays behind with the old object
    bare = PIL.Image.frombytes(picture.mode, picture.size, picture.tobytes())
    page = io.BytesIO()
    if kind == "png":
        bare.save(page, "PNG", optimize=True)
    else:
        bare.save(page, "JPEG", quality=_QUALITY, optimize=True, progressive=True)
    return page.getvalue(), kind


def _eight_bits(picture: Image) -> Image:
    """Picture of 16 bits a pixel as one of 8; Pillow itself cuts off what is brighter than 255."""
    import numpy as np
    import PIL.Image

    if not picture.mode.startswith("I"):
        return picture
    values = np.asarray(picture).astype(np.int64) >> 8
    grey = PIL.Image.fromarray(values.clip(0, 255).astype(np.uint8))
    grey.info["icc_profile"] = picture.info.get("icc_profile")
    return grey


def _in_srgb(picture: Image) -> Image:
    """Picture in the colours that a page without a profile shows; its own profile stays behind."""
    from PIL import ImageCms

    profile = picture.info.get("icc_profile")
    if not profile:
        return picture
    clear = "transparency" in picture.info or picture.mode in ("PA", "RGBa")
    if clear or picture.mode == "P":
        picture = picture.convert("RGBA" if clear else "RGB")
    if picture.mode not in ("L", "RGB", "RGBA", "CMYK"):
        return picture
    try:
        done = ImageCms.profileToProfile(
            picture,
            ImageCms.ImageCmsProfile(io.BytesIO(profile)),
            ImageCms.createProfile("sRGB"),
            outputMode="RGBA" if picture.mode == "RGBA" else "RGB",
        )
    except (ImageCms.PyCMSError, OSError, ValueError):
        return picture  # a profile that is damaged, or of another kind of picture, says nothing
    return picture if done is None else done


def _on_white(picture: Image) -> Image:
    """Picture in plain colours; what is transparent becomes white."""
    import PIL.Image

    if picture.mode in ("LA", "PA", "RGBA", "RGBa") or "transparency" in picture.info:
        clear = picture.convert("RGBA")
        ground = PIL.Image.new("RGB", clear.size, _WHITE)
        ground.paste(clear, mask=clear.getchannel("A"))
        return ground
    return picture.convert("L" if picture.mode in ("1", "L") else "RGB")


def _inside(file: str, folder: Path) -> Path:
    path = folder / file
    if not path.resolve().is_relative_to(folder.resolve()):
        raise _UnusableError("it leads out of the study folder")
    return path


def _problem(file: str, error: Exception) -> Problem:
    if isinstance(error, FileNotFoundError):
        what = "is not in the study folder"
    elif isinstance(error, _UnusableError):
        what = f"cannot be shown: {error}"
    else:  # Pillow's own words speak of its insides
        what = "cannot be read as a JPEG or PNG picture"
    return Problem(
        "study.toml, photos of [publishing]",
        f"'{file}' {what}",
        "Put the picture there, or take its entry out of study.toml.",
    )
