"""greaseroute: the morning walk that greases every pin joint due on a site's mixed fleet."""

__version__ = "0.1.0"
