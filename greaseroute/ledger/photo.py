"""The code on a card, read from a picture; needs the extra ``photo``."""

import io
from typing import Final

from greaseroute.errors import Fault
from greaseroute.ledger.receipt import MARK

PICTURES: Final = (b"\x89PNG", b"\xff\xd8\xff", b"RIFF", b"GIF8", b"BM", b"II*\x00", b"MM\x00*")
"""How files of pictures begin: PNG, JPEG, WebP, GIF, BMP, TIFF."""


def is_picture(data: bytes) -> bool:
    """Whether a file is a picture by its first bytes."""
    return data.startswith(PICTURES)


def receipt_in_picture(data: bytes, file: str) -> tuple[str | None, list[Fault]]:
    """The receipt in the picture of a card's code; or None and what is wrong."""
    try:
        import zxingcpp
        from PIL import Image, UnidentifiedImageError
    except ImportError:
        value, do = "the extra 'photo' is not installed", "pip install 'greaseroute[photo]'"
        allowed = "a text or a file, or a picture where the extra is installed"
        return None, [Fault(file, 1, "picture", "-", value, allowed, f"{do}, or send the text")]
    try:
        picture = Image.open(io.BytesIO(data)).convert("L")
    except (UnidentifiedImageError, OSError, Image.DecompressionBombError) as error:
        texts = (" ".join(str(error).split())[:60], "a picture that can be opened", "take it again")
        return None, [Fault(file, 1, "picture", "-", *texts)]
    codes = zxingcpp.read_barcodes(picture)
    texts_found = [code.text for code in codes if code.text.startswith(MARK)]
    if len(texts_found) == 1:
        return texts_found[0], []
    value = "no code of a card" if not texts_found else f"{len(texts_found)} codes"
    do = "take it again, closer, straight, without glare; or send the receipt as text"
    return None, [Fault(file, 1, "picture", "code", value, "one code, sharp and whole", do)]
