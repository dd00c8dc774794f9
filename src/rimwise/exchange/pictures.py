"""One picture file, decoded safely into a raster; what was done to it is said in notes.

Pillow decodes everything; the size stands in the header and is checked before any pixel is read.
"""

import hashlib
import stat
import warnings
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from rimwise.picture.raster import Raster, UInt8Array
from rimwise.records.cover import Reason
from rimwise.terms.errors import NotAPicture, WrongInput

if TYPE_CHECKING:
    from PIL import Image

ORIENTATION_TAG = 0x0112
FORMATS = ("JPEG", "PNG", "TIFF", "BMP", "WEBP", "GIF", "JPEG2000", "PPM")
FORMATS_IN_WORDS = "JPEG, PNG, TIFF, BMP, WebP, JPEG 2000 or PNM"


@dataclass(frozen=True, slots=True)
class PictureLimits:
    """What is taken as a picture that can be measured.

    100 megapixels is above every camera on a slit lamp or microscope and decodes to 300 MB;
    under 320 px an optic of 6 mm is too few pixels for a tenth of a millimetre.
    """

    most_px: int = 100_000_000
    least_long_side_px: int = 320
    least_short_side_px: int = 160
    most_bytes: int = 400_000_000
    darkest_full_scale: int = 16


LIMITS = PictureLimits()


class LoadedPicture(NamedTuple):
    """A decoded picture, the SHA-256 of its file, and what was done on the way in."""

    raster: Raster
    sha256: str
    notes: tuple[Reason, ...]


def load_picture(path: Path | str) -> LoadedPicture:
    """What does this picture file hold?

    Parameters
    ----------
    path : path
        A still picture: JPEG, PNG, TIFF, BMP, WebP, JPEG 2000 or PNM, up to 100 megapixels.

    Returns
    -------
    LoadedPicture
        ``(raster, sha256, notes)``; pixels as stored, the orientation tag recorded on the raster.

    Raises
    ------
    WrongInput
        The file is missing, a directory, unreadable or too large.
    NotAPicture
        The file is no picture that can be measured.
    """
    path = Path(path)
    return picture_from_bytes(_read_file(path), path.name)


def picture_from_bytes(data: bytes, name: str) -> LoadedPicture:
    """What does this picture hold, when its bytes have been read already?

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        How to call it in a sentence.

    Raises
    ------
    NotAPicture
        The bytes are no picture that can be measured.
    """
    from PIL import Image, UnidentifiedImageError  # noqa: PLC0415

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        # Pillow only warns up to twice its own limit: ours is checked on the header below.
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        try:
            with _open(data) as image:
                return _decoded(image, data, name)
        except (Image.DecompressionBombError, Image.DecompressionBombWarning):
            raise _too_large(name) from None
        except UnidentifiedImageError:
            raise NotAPicture(
                f"{name} is not a picture that can be read; give a {FORMATS_IN_WORDS} file"
            ) from None
        except (OSError, SyntaxError, ValueError, EOFError, IndexError, TypeError) as error:
            # The decoders' own ways of saying that the bytes end early or contradict themselves.
            raise NotAPicture(
                f"{name} is damaged or cut short ({_first_words(error)}); "
                "copy it again from the camera"
            ) from None


def _open(data: bytes) -> "Image.Image":
    from PIL import Image  # noqa: PLC0415

    with warnings.catch_warnings():
        # The header alone: the limit is ours, and no pixel has been decoded yet.
        warnings.simplefilter("ignore", Image.DecompressionBombWarning)
        return Image.open(BytesIO(data), formats=FORMATS)


def check_file(path: Path | str) -> None:
    """Refuse what is no readable file of a sensible size, before anything else is looked at.

    Raises
    ------
    WrongInput
        The file is missing, a folder, no regular file, or too large.
    """
    path = Path(path)
    try:
        status = path.stat()
    except (OSError, ValueError) as error:
        raise _unreadable(path, error) from None
    if stat.S_ISDIR(status.st_mode):
        raise WrongInput(
            f"{path} is a folder, and one picture file is allowed here; "
            f"give the pictures in it, as in {path}/*.jpg"
        )
    if not stat.S_ISREG(status.st_mode):
        raise WrongInput(f"{path} is not a regular file; copy the picture to a file first")
    if status.st_size > LIMITS.most_bytes:
        raise WrongInput(
            f"{path} has {status.st_size / 1e6:.0f} MB and up to "
            f"{LIMITS.most_bytes / 1e6:.0f} MB are read; save it as JPEG or PNG"
        )


def _read_file(path: Path) -> bytes:
    check_file(path)
    try:
        return path.read_bytes()
    except OSError as error:
        raise _unreadable(path, error) from None


def _unreadable(path: Path, error: Exception) -> WrongInput:
    if isinstance(error, FileNotFoundError | NotADirectoryError):
        return WrongInput(f"there is no file {path}; check the name and the folder")
    return WrongInput(
        f"{path} cannot be read ({_first_words(error)}); check the name and its permissions"
    )


def _decoded(image: "Image.Image", data: bytes, name: str) -> LoadedPicture:
    _check_size(image, name)
    notes = _check_frames(image, name)
    # Before anything that may load the pixels: the raw kind is forgotten then.
    sixteen_bit = _is_sixteen_bit(image)
    orientation, tag_notes = _orientation(image, name)
    image.load()
    stored = _as_stored(image, orientation)
    plain, mode_notes = _plain(stored, name)
    raster = Raster(_pixels(plain, sixteen_bit, name), orientation)
    if sixteen_bit:
        sentence = f"{name} has 16 bits a value; the upper 8 are used (65535 becomes 255)"
        mode_notes.append(Reason("sixteen-bit", sentence))
    digest = hashlib.sha256(data).hexdigest()
    return LoadedPicture(raster, digest, (*notes, *tag_notes, *mode_notes))


def _check_size(image: "Image.Image", name: str) -> None:
    width_px, height_px = image.size
    if width_px * height_px > LIMITS.most_px:
        raise _too_large(name, f"{width_px} x {height_px} px")
    long_px, short_px = max(image.size), min(image.size)
    if long_px < LIMITS.least_long_side_px or short_px < LIMITS.least_short_side_px:
        raise NotAPicture(
            f"{name} is {width_px} x {height_px} px, and at least {LIMITS.least_long_side_px} by "
            f"{LIMITS.least_short_side_px} px are needed to measure; give the picture in full size"
        )


def _too_large(name: str, size: str = "far over 100 megapixels") -> NotAPicture:
    return NotAPicture(
        f"{name} is {size}, and up to {LIMITS.most_px // 1_000_000} megapixels are read; "
        "cut out or scale down the eye"
    )


def _check_frames(image: "Image.Image", name: str) -> list[Reason]:
    frames = int(getattr(image, "n_frames", 1))
    if frames <= 1:
        return []
    if image.format == "MPO":
        # A camera's JPEG with a preview behind it: the first picture is the photograph itself.
        sentence = f"{name} holds {frames} pictures, as some cameras write; the first is used"
        return [Reason("first-of-several", sentence)]
    raise NotAPicture(
        f"{name} holds {frames} frames, and a photograph has one; "
        "save the frame to be measured as a file of its own"
    )


def _orientation(image: "Image.Image", name: str) -> tuple[int, list[Reason]]:
    tag = image.getexif().get(ORIENTATION_TAG)
    if tag is None or tag == 1:
        return 1, []
    if tag not in range(1, 9):
        sentence = f"{name} has the orientation tag {tag!r}, and 1 to 8 exist; taken as 1"
        return 1, [Reason("orientation-tag-unknown", sentence)]
    sentence = (
        f"{name} has the orientation tag {tag}: the sheet's superior direction is taken as that "
        "of the picture as displayed, and pixel results are in the picture as stored"
    )
    return int(tag), [Reason("orientation-tag", sentence)]


def _as_stored(image: "Image.Image", orientation: int) -> "Image.Image":
    """Undo the turn that Pillow gives a TIFF, and only a TIFF, while loading it."""
    from PIL import Image  # noqa: PLC0415

    if image.format != "TIFF" or orientation == 1:
        return image
    turn = Image.Transpose
    back = {
        2: turn.FLIP_LEFT_RIGHT,
        3: turn.ROTATE_180,
        4: turn.FLIP_TOP_BOTTOM,
        5: turn.TRANSPOSE,
        6: turn.ROTATE_90,
        7: turn.TRANSVERSE,
        8: turn.ROTATE_270,
    }
    return image.transpose(back[orientation])


def _is_sixteen_bit(image: "Image.Image") -> bool:
    if image.mode.startswith("I;16"):
        return True
    arguments = image.tile[0].args if image.tile else ""
    raw = arguments[0] if isinstance(arguments, tuple) and arguments else arguments
    return ";16" in str(raw)


def _plain(image: "Image.Image", name: str) -> tuple["Image.Image", list[Reason]]:
    """Turn palettes, inks and opaque alpha into red, green, blue or grey, and say so."""
    if "transparency" in image.info:
        image = image.convert("RGBA")
    if image.mode in ("RGBA", "LA", "PA", "RGBa", "La"):
        if image.getchannel("A").getextrema()[0] < 255:
            raise NotAPicture(
                f"{name} is partly transparent, and what lies behind is not known; "
                "save it without transparency"
            )
        note = Reason("alpha-dropped", f"{name} has an opaque alpha channel; it is left out")
        return image.convert("L" if image.mode in ("LA", "La") else "RGB"), [note]
    if image.mode in ("L", "RGB") or image.mode.startswith("I;16"):
        return image, []
    if image.mode == "1":
        return image.convert("L"), [Reason("converted", f"{name} is black and white only")]
    if image.mode in ("P", "CMYK", "YCbCr", "LAB", "HSV", "RGBX"):
        sentence = f"{name} is stored as {image.mode}; it is converted to red, green and blue"
        return image.convert("RGB"), [Reason("converted", sentence)]
    raise NotAPicture(
        f"{name} has pixels of the kind {image.mode!r}, and 8- or 16-bit grey or colour is "
        "allowed; save it as PNG"
    )


def _pixels(image: "Image.Image", sixteen_bit: bool, name: str) -> UInt8Array:
    import numpy as np  # noqa: PLC0415

    values = np.asarray(image)
    if values.dtype != np.uint8:
        values = (values.astype(np.uint16) >> 8).astype(np.uint8)
    if sixteen_bit and int(values.max()) < LIMITS.darkest_full_scale:
        raise NotAPicture(
            f"{name} has 16 bits a value and uses only the lowest 12; "
            "scale it to the full range, or save it with 8 bits"
        )
    return np.ascontiguousarray(values)


def _first_words(error: Exception) -> str:
    words = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return " ".join(str(words).split())[:80]
