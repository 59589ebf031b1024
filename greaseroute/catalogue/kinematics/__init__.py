"""Where the links, solids and fittings of a machine are in a posture."""
