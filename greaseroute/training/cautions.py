"""The cautions of a first day, by the learner's clock: the walk is slower than the round it is."""

from greaseroute.plan.first_day import FirstDay
from greaseroute.rounds.check_ins import check_ins
from greaseroute.rounds.place_cautions import with_cautions
from greaseroute.site.model import Site


def with_learner_cautions(first: FirstDay, site: Site) -> FirstDay:
    """The day with the cautions of its legs and places, and its check-ins."""
    (walk,) = first.round.technicians
    paced = [
        stop.model_copy(update={"arrive": own.arrive, "leave": own.leave})
        for stop, own in zip(walk.stops, first.stops, strict=True)
    ]
    walk = walk.model_copy(update={"stops": tuple(paced), "finish": first.finish})
    told = with_cautions(walk, site, check_ins=check_ins(walk, (walk,), site))
    stops = tuple(
        own.model_copy(
            update={"way_cautions": stop.way_cautions, "place_cautions": stop.place_cautions}
        )
        for own, stop in zip(first.stops, told.stops, strict=True)
    )
    more = {"stops": stops, "home_cautions": told.home_cautions, "check_ins": told.check_ins}
    return first.model_copy(update=more)
