"""Attachments: what is hung on a machine and what it changes about it."""

from collections.abc import Mapping
from typing import Any, TypeVar

from pydantic import Field

from greaseroute.catalogue.joint import Joint, LookPoint
from greaseroute.catalogue.link import Link
from greaseroute.catalogue.linkage import Cylinder
from greaseroute.catalogue.posture import Posture
from greaseroute.records import Record


class Attachment(Record):
    """Something hung on a machine type that adds or replaces links and joints.

    Parameters
    ----------
    links, cylinders, joints, looks, postures : tuple
        Added; one that carries the name of an existing one takes its place. A posture of an
        existing name is laid over it: only the angles that differ need to be given.
    takes_place_of : dict
        Old link name to new: the old link goes, and cylinders, four-bars, joints, looks and
        postures that spoke of it speak of the new one (which stands in ``links``).
    drops : tuple of str
        Names of joints, looks and cylinders that go.
    """

    name: str = Field(min_length=1)
    title: str = ""
    links: tuple[Link, ...] = ()
    cylinders: tuple[Cylinder, ...] = ()
    joints: tuple[Joint, ...] = ()
    looks: tuple[LookPoint, ...] = ()
    postures: tuple[Posture, ...] = ()
    takes_place_of: dict[str, str] = Field(default_factory=dict)
    drops: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


_LINK_FIELDS = ("parent", "link", "head_link", "rod_link", "ground", "crank", "coupler", "rocker")
_R = TypeVar("_R", bound=Record)


def renamed(record: _R, names: Mapping[str, str]) -> _R:
    """A copy in which every mention of an old link name is the new one."""
    old = dict(record)
    new: dict[str, Any] = {
        field: names[old[field]] for field in _LINK_FIELDS if old.get(field) in names
    }
    if "links" in old:
        new["links"] = tuple(names.get(link, link) for link in old["links"])
    if "fittings" in old:
        new["fittings"] = tuple(renamed(fitting, names) for fitting in old["fittings"])
    if "angles_deg" in old:
        new["angles_deg"] = {names.get(k, k): angle for k, angle in old["angles_deg"].items()}
    return record.model_copy(update=new)
