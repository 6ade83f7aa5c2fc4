"""Photographs: nothing but pixels leaves the bench, and a missing one is told once."""

from __future__ import annotations

import base64
import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, PngImagePlugin

from quenchbook.errors import ReportError
from quenchbook.report.photos import LONGEST_SIDE, clean_photo, photo_figures
from quenchbook.study.publishing import Photo

WORDS = (b"Hidden", b"Exif", b"GPS")


def _camera_picture(path: Path, size: tuple[int, int] = (90, 60), orientation: int = 6) -> None:
    exif = Image.Exif()
    exif[0x010F] = "HiddenCamera"
    exif[0x0112] = orientation
    place = exif.get_ifd(0x8825)
    place[1], place[2] = "N", (51.0, 30.0, 0.0)
    left = np.zeros((size[1], size[0], 3), dtype=np.uint8)
    left[:, : size[0] // 2] = (250, 0, 0)
    Image.fromarray(left).save(path, exif=exif, comment=b"HiddenComment", quality=95)


def test_a_photograph_loses_place_camera_and_comment_and_is_turned_upright(tmp_path: Path) -> None:
    path = tmp_path / "load.jpg"
    _camera_picture(path)
    assert all(word in path.read_bytes() for word in (b"Hidden", b"Exif"))
    data, kind = clean_photo(path)
    assert kind == "jpeg"
    assert [word for word in WORDS if word in data] == []
    with Image.open(io.BytesIO(data)) as picture:
        assert picture.size == (60, 90)  # EXIF orientation 6: a quarter turn to the right
        assert not picture.getexif()
        assert not set(picture.info) & {"exif", "comment", "icc_profile", "xmp"}
        top, bottom = picture.getpixel((30, 10)), picture.getpixel((30, 80))
    assert top[0] > 200 > 50 > bottom[0]


def test_a_png_loses_its_texts_and_its_transparency(tmp_path: Path) -> None:
    info = PngImagePlugin.PngInfo()
    info.add_text("Author", "HiddenAuthor")
    Image.new("RGBA", (4, 4), (10, 20, 30, 0)).save(tmp_path / "a.png", pnginfo=info)
    data, kind = clean_photo(tmp_path / "a.png")
    assert kind == "png"
    assert b"Hidden" not in data
    with Image.open(io.BytesIO(data)) as picture:
        assert picture.mode == "RGB"
        assert picture.getpixel((0, 0)) == (255, 255, 255)


@pytest.mark.parametrize("mode", ["1", "L", "P", "CMYK", "I;16"])
def test_every_usual_kind_of_picture_is_read(mode: str, tmp_path: Path) -> None:
    end = "jpg" if mode == "CMYK" else "png"
    Image.new(mode, (8, 8)).save(tmp_path / f"a.{end}")
    data, _ = clean_photo(tmp_path / f"a.{end}")
    with Image.open(io.BytesIO(data)) as picture:
        assert picture.mode in ("L", "RGB")


def test_a_grey_picture_of_16_bits_keeps_its_tones(tmp_path: Path) -> None:
    # of 16 bits the upper 8: 0, 100 * 256 and 65535 become 0, 100 and 255
    values = np.array([[0, 100 * 256, 65535]], dtype=np.uint16)
    Image.fromarray(values).save(tmp_path / "a.png")
    with Image.open(tmp_path / "a.png") as given:
        assert given.mode.startswith("I")
    with Image.open(io.BytesIO(clean_photo(tmp_path / "a.png")[0])) as picture:
        assert [picture.getpixel((x, 0)) for x in range(3)] == [0, 100, 255]


def _with_swapped_profile() -> bytes:
    """Profile as sRGB, but with the colorants of red and green exchanged."""
    from PIL import ImageCms

    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    place = {}
    for number in range(int.from_bytes(profile[128:132], "big")):
        start = 132 + 12 * number
        place[bytes(profile[start : start + 4])] = start
    red, green = place[b"rXYZ"], place[b"gXYZ"]
    profile[red : red + 4], profile[green : green + 4] = b"gXYZ", b"rXYZ"
    return bytes(profile)


@pytest.mark.parametrize("mode", ["RGB", "RGBA", "P"])
def test_colours_of_a_profile_are_those_that_are_shown(mode: str, tmp_path: Path) -> None:
    # a profile that says red is green (tag table of ICC.1:2010, 7.3): red pixels must come out green
    picture = Image.new("RGB", (8, 8), (255, 0, 0)).convert(mode)
    picture.save(tmp_path / "a.png", icc_profile=_with_swapped_profile())
    with Image.open(io.BytesIO(clean_photo(tmp_path / "a.png")[0])) as clean:
        assert "icc_profile" not in clean.info
        red, green, blue = clean.getpixel((4, 4))
    assert red < 10
    assert green > 245
    assert blue < 10


@pytest.mark.parametrize("mode", ["L", "RGB"])
def test_a_damaged_profile_is_passed_over(mode: str, tmp_path: Path) -> None:
    colour = 100 if mode == "L" else (100, 0, 0)
    Image.new(mode, (8, 8), colour).save(tmp_path / "a.png", icc_profile=b"no profile")
    with Image.open(io.BytesIO(clean_photo(tmp_path / "a.png")[0])) as clean:
        assert clean.getpixel((0, 0)) == colour


def test_a_big_photograph_is_scaled_down_and_a_small_one_is_not_blown_up(tmp_path: Path) -> None:
    _camera_picture(tmp_path / "big.jpg", (4000, 1000), orientation=1)
    _camera_picture(tmp_path / "small.jpg", (40, 20), orientation=1)
    sizes = {}
    for name in ("big", "small"):
        with Image.open(io.BytesIO(clean_photo(tmp_path / f"{name}.jpg")[0])) as picture:
            sizes[name] = picture.size
    assert sizes == {"big": (LONGEST_SIDE, LONGEST_SIDE // 4), "small": (40, 20)}


def test_the_same_photograph_gives_the_same_bytes(tmp_path: Path) -> None:
    _camera_picture(tmp_path / "a.jpg")
    assert clean_photo(tmp_path / "a.jpg") == clean_photo(tmp_path / "a.jpg")


def test_every_missing_or_broken_photograph_is_told_at_once_with_the_study_file(
    tmp_path: Path,
) -> None:
    study = tmp_path / "study"
    study.mkdir()
    (study / "words.jpg").write_text("no picture")
    _camera_picture(tmp_path / "outside.jpg")
    (study / "link.jpg").symlink_to(tmp_path / "outside.jpg")
    photos = [
        Photo(f"{name}.jpg", "Caption.", "An alternative text.")
        for name in ("gone", "words", "link")
    ]
    with pytest.raises(ReportError) as error:
        photo_figures(photos, study)
    told = [str(problem) for problem in error.value.problems]
    assert len(told) == 3
    assert all(text.startswith("study.toml, photos of [publishing]: ") for text in told)
    assert "'gone.jpg' is not in the study folder" in told[0]
    assert "'words.jpg' cannot be read as a JPEG or PNG picture" in told[1]
    assert "'link.jpg' cannot be shown: it leads out of the study folder" in told[2]


def test_too_many_pixels_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    _camera_picture(tmp_path / "a.jpg")
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 100)
    with pytest.raises(ValueError, match="too many pixels"):
        clean_photo(tmp_path / "a.jpg")


def test_a_figure_of_a_photograph_carries_caption_alt_and_kind(tmp_path: Path) -> None:
    _camera_picture(tmp_path / "a.jpg")
    (figure,) = photo_figures([Photo("a.jpg", "Load 3.", "Eight packets in a row.")], tmp_path)
    assert (figure.finding, figure.alt, figure.bitmap) == (
        "Load 3.",
        "Eight packets in a row.",
        "jpeg",
    )
    assert base64.b64decode(figure.png_base64).startswith(b"\xff\xd8")
