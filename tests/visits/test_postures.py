from greaseroute.visits.reach import fewest_moves

ORDER = ("parked", "greasing", "raised", "swung")


def moves(served, wanted):
    return fewest_moves(served, now="parked", wanted=wanted, order=ORDER)


def test_what_is_in_reach_as_it_stands_asks_for_no_move():
    assert moves({"parked": {1, 2}, "greasing": {1, 2}}, {1, 2}) == ()


def test_one_posture_that_serves_both_is_taken_instead_of_two():
    served = {"parked": {1}, "greasing": {2}, "raised": {3}, "swung": {2, 3}}
    assert moves(served, {1, 2, 3}) == ("swung",)


def test_two_moves_in_catalogue_order_where_one_does_not_do():
    served = {"parked": set(), "raised": {3}, "greasing": {1, 2}}
    assert moves(served, {1, 2, 3}) == ("greasing", "raised")


def test_what_no_posture_serves_asks_for_no_move():
    assert moves({"parked": {1}, "greasing": {1}}, {1, 9}) == ()
