"""Where a site in local metres lies on the earth: the points that are known both ways."""

from pydantic import Field

from greaseroute.records import Record, about


class AnchorPoint(Record):
    """A point known in the site's metres and in longitude and latitude (WGS 84)."""

    x_m: float = about("east coordinate, as in the files of the site")
    y_m: float = about("north coordinate, as in the files of the site")
    lon: float = Field(ge=-180, le=180, description="longitude of the same point, WGS 84")
    lat: float = Field(gt=-89, lt=89, description="latitude of the same point, WGS 84")


class Anchor(Record):
    """Where a site in local metres lies on the earth, by two or more points known both ways."""

    points: tuple[AnchorPoint, ...] = Field(
        min_length=2, description="points well apart, such as two corners of the boundary"
    )
