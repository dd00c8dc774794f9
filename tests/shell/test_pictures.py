"""What a picture file may be, and in which sentence all else is refused."""

import hashlib
import io
import struct
import zlib
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from rimwise.exchange.pictures import load_picture, picture_from_bytes
from rimwise.terms.errors import NotAPicture, WrongInput


def _codes(path: Path) -> list[str]:
    return [note.code for note in load_picture(path).notes]


def _png_of_size(width_px: int, height_px: int) -> bytes:
    """A PNG whose header promises a size and whose body is empty: 70 bytes."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    header = struct.pack(">IIBBBBB", width_px, height_px, 8, 2, 0, 0, 0)
    chunks = chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"")) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + chunks


def test_pixels_and_hash_are_those_of_the_file(tmp_path: Path, noise: Image.Image) -> None:
    path = tmp_path / "eye.png"
    noise.save(path)
    raster, sha256, notes = load_picture(path)
    np.testing.assert_array_equal(raster.pixels, np.asarray(noise))
    assert sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert (raster.orientation, notes) == (1, ())


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("ending", ["png", "tif", "webp", "jpg"])
def test_the_orientation_tag_is_recorded_and_not_applied(
    tmp_path: Path, noise: Image.Image, orientation: int, ending: str
) -> None:
    """Pillow turns a TIFF while it loads, and only a TIFF: that is undone."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = tmp_path / f"eye.{ending}"
    options = {"lossless": True} if ending == "webp" else {}
    noise.save(path, exif=exif, **options)
    loaded = load_picture(path)
    assert loaded.raster.orientation == orientation
    assert [note.code for note in loaded.notes] == ["orientation-tag"] * (orientation != 1)
    if ending == "jpg":
        assert loaded.raster.pixels.shape == (300, 400, 3)
    else:
        np.testing.assert_array_equal(loaded.raster.pixels, np.asarray(noise))


def test_an_orientation_tag_that_does_not_exist_is_said(tmp_path: Path, noise: Image.Image) -> None:
    exif = Image.Exif()
    exif[0x0112] = 9
    noise.save(tmp_path / "eye.jpg", exif=exif)
    loaded = load_picture(tmp_path / "eye.jpg")
    assert loaded.raster.orientation == 1
    assert [note.code for note in loaded.notes] == ["orientation-tag-unknown"]


@pytest.mark.parametrize("ending", ["png", "tif"])
def test_sixteen_bits_are_scaled_by_the_full_range(tmp_path: Path, ending: str) -> None:
    """65535 becomes 255 and 0 stays 0, in grey and in colour (written by OpenCV)."""
    ramp = np.linspace(0, 65535, 400).round().astype(np.uint16)
    grey = np.broadcast_to(ramp, (300, 400)).copy()
    for name, values in (("grey", grey), ("colour", np.dstack([grey, grey[:, ::-1], grey]))):
        path = tmp_path / f"{name}.{ending}"
        assert cv2.imwrite(str(path), values[..., ::-1] if values.ndim == 3 else values)
        loaded = load_picture(path)
        np.testing.assert_array_equal(loaded.raster.pixels, (values >> 8).astype(np.uint8))
        assert [note.code for note in loaded.notes] == ["sixteen-bit"]
        assert (loaded.raster.pixels.min(), loaded.raster.pixels.max()) == (0, 255)


def test_sixteen_bits_of_which_only_twelve_are_used_are_refused(tmp_path: Path) -> None:
    values = np.random.default_rng(1).integers(0, 4096, (300, 400), dtype=np.uint16)
    assert cv2.imwrite(str(tmp_path / "dark.png"), values)
    with pytest.raises(NotAPicture, match="lowest 12"):
        load_picture(tmp_path / "dark.png")


def test_inks_and_palettes_are_converted_and_said(tmp_path: Path, noise: Image.Image) -> None:
    noise.convert("CMYK").save(tmp_path / "inks.jpg")
    noise.convert("P").save(tmp_path / "palette.png")
    noise.convert("1").save(tmp_path / "line.png")
    for name in ("inks.jpg", "palette.png", "line.png"):
        assert _codes(tmp_path / name) == ["converted"]
    assert load_picture(tmp_path / "inks.jpg").raster.pixels.shape == (300, 400, 3)


def test_opaque_alpha_is_dropped_and_said(tmp_path: Path, noise: Image.Image) -> None:
    path = tmp_path / "eye.png"
    noise.convert("RGBA").save(path)
    np.testing.assert_array_equal(load_picture(path).raster.pixels, np.asarray(noise))
    assert _codes(path) == ["alpha-dropped"]
    noise.convert("LA").save(path)
    assert load_picture(path).raster.pixels.shape == (300, 400)


def _see_through(picture: Image.Image, path: Path) -> None:
    clear = picture.convert("RGBA")
    clear.putalpha(254)
    clear.save(path)


def _key_colour(picture: Image.Image, path: Path) -> None:
    picture.save(path, transparency=tuple(int(v) for v in np.asarray(picture)[0, 0]))


def _cut(picture: Image.Image, path: Path, **options: bool) -> None:
    file = io.BytesIO()
    picture.save(file, "JPEG", **options)
    path.write_bytes(file.getvalue()[: len(file.getvalue()) // 2])


def _several(picture: Image.Image, path: Path) -> None:
    picture.save(path, save_all=True, append_images=[picture.rotate(90)])


BAD: dict[str, tuple[str, Callable[[Image.Image, Path], object], str]] = {
    "text": ("eye.jpg", lambda _, path: path.write_text("an eye"), "not a picture"),
    "empty": ("eye.jpg", lambda _, path: path.write_bytes(b""), "not a picture"),
    "drawing": ("eye.svg", lambda _, path: path.write_text("<svg/>"), "not a picture"),
    "cut JPEG": ("eye.jpg", _cut, "cut short"),
    "cut progressive JPEG": ("eye.jpg", lambda p, f: _cut(p, f, progressive=True), "cut short"),
    "one pixel": ("eye.png", lambda p, f: p.resize((1, 1)).save(f), "1 x 1 px"),
    "small": ("eye.png", lambda p, f: p.resize((319, 240)).save(f), "319 x 240 px"),
    "a line": ("eye.png", lambda p, f: p.resize((2000, 3)).save(f), "2000 x 3 px"),
    "200 megapixels": (
        "eye.png",
        lambda _, f: f.write_bytes(_png_of_size(20000, 10000)),
        "100 meg",
    ),
    "101 megapixels": (
        "eye.png",
        lambda _, f: f.write_bytes(_png_of_size(10100, 10000)),
        "100 meg",
    ),
    "10 gigapixels": ("eye.png", lambda _, f: f.write_bytes(_png_of_size(10**5, 10**5)), "100 meg"),
    "moving GIF": ("eye.gif", _several, "2 frames"),
    "moving PNG": ("eye.png", _several, "2 frames"),
    "pages of a TIFF": ("eye.tif", _several, "2 frames"),
    "see-through": ("eye.png", _see_through, "transparent"),
    "a see-through colour": ("eye.png", _key_colour, "transparent"),
    "decimals": ("eye.tif", lambda p, f: p.convert("F").save(f), "kind 'F'"),
}


@pytest.mark.parametrize("kind", BAD)
def test_what_is_no_measurable_picture_is_refused_by_name(
    tmp_path: Path, noise: Image.Image, kind: str
) -> None:
    name, write, words = BAD[kind]
    write(noise, tmp_path / name)
    with pytest.raises(NotAPicture, match=words) as refused:
        load_picture(tmp_path / name)
    assert name in refused.value.sentence
    assert "\n" not in refused.value.sentence


def test_a_cameras_second_picture_is_left_aside(tmp_path: Path, noise: Image.Image) -> None:
    noise.save(tmp_path / "eye.jpg", "MPO", save_all=True, append_images=[noise.rotate(180)])
    noise.save(tmp_path / "alone.jpg", quality=75)
    assert _codes(tmp_path / "eye.jpg") == ["first-of-several"]
    first, alone = (load_picture(tmp_path / n).raster.pixels for n in ("eye.jpg", "alone.jpg"))
    np.testing.assert_array_equal(first, alone)


def test_missing_files_folders_and_devices_are_wrong_input(tmp_path: Path) -> None:
    for path, words in (
        (tmp_path / "none.jpg", "no file"),
        (tmp_path, "is a folder"),
        (Path("/dev/null"), "not a regular file"),
        (tmp_path / ("x" * 300), "cannot be read"),
        (Path("eye\0.jpg"), "cannot be read"),
    ):
        with pytest.raises(WrongInput, match=words):
            load_picture(path)


STARTS = (b"", b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff", b"II*\0", b"GIF89a", b"RIFF", b"P6")


@given(st.binary(max_size=300), st.sampled_from(STARTS))
def test_any_bytes_are_a_picture_or_refused_in_one_sentence(body: bytes, start: bytes) -> None:
    try:
        picture_from_bytes(start + body, "eye.jpg")
    except NotAPicture as refused:
        assert "\n" not in refused.sentence  # noqa: PT017


@given(st.data())
def test_a_damaged_file_is_a_picture_or_refused_in_one_sentence(data: st.DataObject) -> None:
    kind = data.draw(st.sampled_from(["JPEG", "PNG", "TIFF", "WEBP", "GIF", "BMP"]))
    file = io.BytesIO()
    Image.linear_gradient("L").resize((330, 170)).save(file, kind)
    damaged = bytearray(file.getvalue())
    for _ in range(data.draw(st.integers(1, 4))):
        damaged[data.draw(st.integers(0, len(damaged) - 1))] = data.draw(st.integers(0, 255))
    try:
        picture_from_bytes(bytes(damaged), "eye")
    except NotAPicture as refused:
        assert "\n" not in refused.sentence  # noqa: PT017
