"""Records as tables for pandas and geopandas, where these are installed."""

import importlib
from collections.abc import Iterable, Mapping, Sequence
from types import ModuleType
from typing import Any

from greaseroute.errors import UnknownName


def library(name: str) -> ModuleType:
    """The library of that name. Raises UnknownName with what to install."""
    try:
        return importlib.import_module(name)
    except ImportError as error:
        raise UnknownName(
            "library", name, limit="an installed library", next_step=f"pip install {name}"
        ) from error


def frame_of(rows: Iterable[Mapping[str, object]], columns: Sequence[str]) -> Any:  # noqa: ANN401
    """A pandas DataFrame of ``rows`` with these columns. Raises UnknownName without pandas."""
    return library("pandas").DataFrame(list(rows), columns=list(columns))


def geo_frame_of(collection: Mapping[str, Any], *, lonlat: bool) -> Any:  # noqa: ANN401
    """A geopandas GeoDataFrame of a GeoJSON FeatureCollection; in WGS 84 if ``lonlat``.

    Raises UnknownName without geopandas.
    """
    frame = library("geopandas").GeoDataFrame.from_features(collection["features"])
    return frame.set_crs("EPSG:4326") if lonlat else frame


def table_named(name: str, known: Iterable[str]) -> UnknownName:
    """The error for a table that there is not."""
    return UnknownName("table", repr(name), limit=", ".join(known), next_step="name one of these")
