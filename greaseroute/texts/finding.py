"""A mistake in a machine type, told by where it is and not by a line."""

from dataclasses import dataclass

from greaseroute.texts.toml_places import KeyPath


@dataclass(frozen=True, slots=True)
class Finding:
    """``path`` leads to the key at fault, ``value`` is what is there, ``do`` the next step."""

    path: KeyPath
    value: str
    allowed: str
    do: str

    def under(self, prefix: KeyPath) -> "Finding":
        """The same finding seen from further out."""
        return Finding(prefix + self.path, self.value, self.allowed, self.do)
