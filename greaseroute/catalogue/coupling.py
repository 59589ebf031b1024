"""Couplings: where an attachment is hung on a carrier."""

from typing import Literal

from pydantic import Field

from greaseroute.records import Record

CouplingKind = Literal["bucket pins", "loader pins", "attachment plate"]
"""What an attachment and its carrier have in common.

- ``bucket pins``: two pins, at the stick and at the H-link, as on excavators and backhoes;
- ``loader pins``: lift arm pins and tilt link pin, as on wheel loaders;
- ``attachment plate``: a plate with wedges or locks, as on compact loaders and handlers;
"""


class Coupling(Record):
    """A place of a machine type where an attachment may take the place of the link ``replaces``.

    The attachment's frame is that link's: origin at the pin it turns on. ``pin_mm`` is the
    diameter of that pin (of the lower lock for a plate): attachments are made for a range of it.
    ``keeps`` names solids of the link that stay whatever hangs there, such as hinge brackets.
    """

    name: str = Field(min_length=1)
    kind: CouplingKind
    replaces: str
    pin_mm: float = Field(gt=0)
    keeps: tuple[str, ...] = ()
