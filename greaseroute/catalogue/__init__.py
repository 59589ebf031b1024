"""What a machine type is: links, postures, joints, outline; and machines placed on the site.

A type is one TOML file (``types/*.toml`` here, ``types/`` in a site folder), read by ``shelf``.
To write one by hand, in this order, each step checked by ``greaseroute check``:

1. ``name``, ``family``, ``title``, ``origin`` (where the figures come from), mass, cautions.
2. ``[[links]]``: the first is what stands on the ground, its frame is the machine's (x forward,
   y left, z up, origin on the ground). Every other link names its ``parent``, its ``pivot_m`` in
   the parent's frame and its ``axis``; mark ``on_oil`` what comes down when oil is lost. Give
   solids in the link's own frame: boxes, profiles drawn out sideways, or hulls.
3. ``[[cylinders]]`` with both pins and the shortest and longest length; ``[[four_bars]]`` where a
   linkage closes: their dependent links get no angle, it is solved.
4. ``[[postures]]``: ``parked`` and ``greasing`` at least, implements on the ground.
5. ``[[joints]]`` with fittings on the surface of a solid, dose, interval, grease wanted. A remote
   fitting stands where its bank is; ``feeds_m`` is where its line ends.
6. ``[[looks]]``, ``[[decks]]`` and ``[[attachments]]`` where there are any.
"""
