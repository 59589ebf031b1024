"""Which grease designations and words a type file may use for what a joint wants."""

import re

NLGI = ("000", "00", "0", "1", "2", "3", "4", "5", "6")

# The shapes of the two designations; what their letters mean is the matter of the dose stage.
_DIN_51825 = re.compile(
    r"(OG|K|G|M)[PF]*(FK|HC|PG|PH|SI|E|X)?[PF]*(000|00|[0-6])[C-HKMNPR-U]?(-\d{2})?"
)
_ISO_6743_9 = re.compile(r"(ISO-)?L-X[A-E][A-G][A-I][AB](000|00|[0-6])")


def readable(code: str) -> bool:
    """Tell whether a designation has the shape of one after DIN 51825 or ISO 6743-9.

    Blanks, letter case and leading words such as ``DIN 51825`` do not matter.
    """
    plain = re.sub(r"\s+", "", code).upper()
    plain = re.sub(r"^DIN5(1825|1502)[-:]?", "", plain)
    return bool(_DIN_51825.fullmatch(plain) or _ISO_6743_9.fullmatch(plain))
