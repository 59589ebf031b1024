"""What comes back from a round: booked once, corrected by a later export, refused where wrong."""

import json
import shutil
from datetime import datetime
from pathlib import Path

import pytest

from greaseroute.cli.main import entry
from greaseroute.cli.on_record import on_record
from greaseroute.ledger.receipt import AS_PLANNED, Ticked, WalkTold, receipt_text
from greaseroute.ledger.store import FILE, open_ledger
from greaseroute.plan.handed_out import plan_handed_out, round_id
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import RoundRequest
from greaseroute.site.folder import read_site
from tests.ledger.cards import card_of, could_not, written

YARD = Path(__file__).parent.parent.parent / "sites_demo" / "three_machines"
BOOKED_AT = ["--at", "2026-03-03T08:00"]
NEXT = "2026-03-04T05:00"
HEAD = ("BF-1", "head pulley bearing", "right")


@pytest.fixture(scope="module")
def plan():
    site = read_site(YARD)
    return plan_round(site, RoundRequest(site.planned_for))


@pytest.fixture
def yard(tmp_path):
    folder = tmp_path / "yard"
    shutil.copytree(YARD, folder)
    return folder


@pytest.fixture
def book(yard, tmp_path, capsys):
    """Book a card; gives (exit code, what was printed, what was told of errors)."""

    def booked(*cards, options=BOOKED_AT):
        files = [
            str(card)
            if isinstance(card, str | Path)
            else str(written(card, tmp_path / f"{k}.json"))
            for k, card in enumerate(cards)
        ]
        code = entry(["record", str(yard), *files, *options])
        out = capsys.readouterr()
        return code, out.out, out.err

    return booked


def due(yard, capsys, at=NEXT):
    assert entry(["due", str(yard), "--format", "json", "--at", at]) == 0
    items = json.loads(capsys.readouterr().out)["items"]
    return {(i["unit"], i["joint"]): i for i in items}


def site_now(yard, at):
    site, _ = on_record(read_site(yard), yard, datetime.fromisoformat(at))
    return {unit.unit: unit for unit in site.units}


def owed(items):
    return {key for key, item in items.items() if item["due"]}


def test_what_is_booked_is_not_due_the_next_morning(plan, yard, book, capsys):
    before = owed(due(yard, capsys))
    code, out, _ = book(card_of(plan))
    assert code == 0
    assert "Taken over from last_services.csv: 5." in out
    assert "6 new" not in out  # 6 fittings and the cartridge that was put in
    assert "7 new" in out
    assert "greased 6, cartridges fitted 1" in out
    # The next morning every machine has 8 h more. Greased at 05:40 with the meters of the fleet
    # list: 8 of 50 h on the pulleys and the screen. Not greased: BF-1's slide, 16 of 10 h, and
    # BF-2's tail pulley, 38 of 50 h.
    after = due(yard, capsys)
    assert owed(after) == {("BF-1", "take-up slide")}
    assert before - owed(after) == {(u, j) for u, j, _ in _pumped(plan)}
    assert after["BF-1", "take-up slide"]["since_h"] == pytest.approx(16)
    assert after["BF-1", "head pulley bearing"]["since_h"] == pytest.approx(8)
    assert after["BF-2", "tail pulley bearing"]["since_h"] == pytest.approx(38)


def _pumped(plan):
    stops = [stop for t in plan.technicians for stop in t.stops]
    return {(s.unit, f.joint, f.fitting) for s in stops for a in s.stands for f in a.fittings}


def test_the_next_due_without_a_moment_is_for_the_morning_after_the_work(plan, yard, book, capsys):
    book(card_of(plan))
    assert entry(["due", str(yard)]) == 0
    assert capsys.readouterr().out.startswith("Three machines, 2026-03-04 05:00")


def test_a_card_booked_twice_is_booked_once(plan, yard, book):
    book(card_of(plan))
    with open_ledger(yard / FILE) as ledger:
        before = ledger.events(in_force=False)
    code, out, _ = book(card_of(plan))
    assert code == 0
    assert "0 new, 7 booked before" in out
    with open_ledger(yard / FILE) as ledger:
        assert ledger.events(in_force=False) == before


def test_a_later_export_changes_and_takes_back(plan, yard, book):
    book(card_of(plan))
    later = card_of(plan, told_after=9000.0, skip=[HEAD])
    slide = next(e for e in later["events"] if e["joint"] == "take-up slide")
    slide.update(strokes=9, id="00000000000000aa")
    code, out, _ = book(later)
    assert code == 0
    assert "0 new, 5 booked before, 1 changed since an earlier export" in out
    assert "1 no longer ticked and taken back" in out
    with open_ledger(yard / FILE) as ledger:
        greased = {(e.unit, e.joint, e.fitting): e for e in ledger.events(kinds=["greased"])}
    assert HEAD not in greased
    assert greased["BF-2", "take-up slide", "right"].strokes == 9
    # The earlier export, sent once more, is older than what is booked and changes nothing.
    _, out, _ = book(card_of(plan))
    assert "1 older than what is booked and left out" in out


def test_a_tick_set_changed_and_set_back_is_booked_as_it_is_now(plan, yard, book):
    book(card_of(plan))
    other = card_of(plan, told_after=8000.0)
    other["events"][0].update(strokes=9, id="00000000000000aa")
    book(other)
    code, _, _ = book(card_of(plan, told_after=9000.0))
    assert code == 0
    with open_ledger(yard / FILE) as ledger:
        now = {e.unit + e.joint + e.fitting: e.strokes for e in ledger.events(kinds=["greased"])
               if e.plan}  # fmt: skip
    assert sorted(now.values()) == [3, 3, 4, 4, 5, 5]


def test_another_phone_takes_nothing_back(plan, yard, book):
    book(card_of(plan, skip=[("BF-2", "take-up slide")]))
    only_slide = card_of(plan, told_after=9000.0, device="c3d4")
    only_slide["events"] = [e for e in only_slide["events"] if e["joint"] == "take-up slide"]
    _, out, _ = book(only_slide)
    assert "taken back" not in out
    with open_ledger(yard / FILE) as ledger:
        assert len([e for e in ledger.events(kinds=["greased"]) if e.plan]) == 6


def test_one_fitting_left_leaves_that_fitting_due(plan, yard, book, capsys):
    rear = ("RB-1", "crank bearing", "rear")
    card = could_not(card_of(plan), rear, "does not take grease")
    book(card)
    item = due(yard, capsys)["RB-1", "crank bearing"]
    assert (item["due"], item["fittings"], item["due_fittings"]) == (True, 1, ["rear"])
    assert "1 of 2 fittings: rear" in item["reason"]


def test_cards_of_format_1_are_taken(plan, yard, book, capsys):
    card = card_of(plan)
    del card["technician"], card["device"]
    card["format"] = "greaseroute card 1"
    for event in card["events"]:
        del event["gun"], event["planned_strokes"], event["put_in"]
    code, out, _ = book(card)
    assert code == 0
    assert "6 new" in out
    assert owed(due(yard, capsys)) == {("BF-1", "take-up slide")}


WRONG = {
    "another site": (
        lambda c: c.update(site="Quarry"),
        "site = 'Quarry'; allowed: a card of 'Three machines'; book it in the folder of its own",
    ),
    "unknown unit": (
        lambda c: c["events"][0].update(unit="BF-9"),
        ":10: greased of unit BF-9: unit = 'BF-9'; allowed: one of 'BF-1', 'RB-1', 'BF-2'; did",
    ),
    "unknown joint": (
        lambda c: c["events"][0].update(joint="tail pully bearing"),
        "joint = 'tail pully bearing'; allowed: one of 'head pulley bearing'",
    ),
    "unknown fitting": (
        lambda c: c["events"][0].update(fitting="left"),
        "fitting = 'left'; allowed: one of 'right'",
    ),
    "the future": (
        lambda c: c["events"][0].update(at="2026-03-03T09:00:00+01:00"),
        "at = '2026-03-03 09:00'; allowed: not after 2026-03-03 08:00; correct the date, or the",
    ),
    "a meter that ran back": (
        lambda c: c.update(meters=[_meter("BF-1", 1059.0)]),
        "meter_read of unit BF-1: meter_h = '1059'; allowed: at least the 1060 h of "
        "2026-03-03 05:00; is it so?",
    ),
    "a field that no card has": (
        lambda c: c["events"][0].update(colour="red"),
        "events 1: colour = 'red'; allowed: the fields id, at",
    ),
    "no reason": (
        lambda c: c["events"][0].update(done=False),
        "allowed: a reason where it was not done",
    ),
    "cut off": (
        lambda c: c.clear(),
        "0.json:1: card: exported_at = 'nothing'; allowed: a value; add it",
    ),
}


def _meter(unit, meter_h, **more):
    return {"unit": unit, "meter_h": meter_h, "at": "2026-03-03T05:50:00+01:00", **more}


@pytest.mark.parametrize("case", WRONG)
def test_what_is_wrong_is_told_and_nothing_of_it_is_booked(case, plan, yard, book):
    spoil, says = WRONG[case]
    book(card_of(plan, skip=[HEAD]))
    with open_ledger(yard / FILE) as ledger:
        before = ledger.events(in_force=False)
    card = card_of(plan, told_after=9000.0)
    spoil(card)
    if case == "cut off":
        card["x"] = "greaseroute card 2"
        card = {"format": "greaseroute card "}
    code, _, err = book(card)
    assert code == 2
    assert says in err
    with open_ledger(yard / FILE) as ledger:
        assert ledger.events(in_force=False) == before


def test_a_wrong_card_keeps_a_good_one_of_the_same_command_out(plan, yard, book):
    bad = card_of(plan, told_after=9000.0, site="Quarry")
    code, _, _ = book(card_of(plan), bad)
    assert code == 2
    with open_ledger(yard / FILE) as ledger:
        assert len(ledger) == 0


def test_a_plan_that_was_never_handed_out_is_refused(plan, yard, book, tmp_path):
    (tmp_path / "round.json").write_text(plan.model_dump_json(), encoding="utf-8")
    given = ["--plan", str(tmp_path / "round.json")]
    assert book(card_of(plan), options=[*BOOKED_AT, *given])[0] == 0
    code, _, err = book(card_of(plan, round="0123456789abcdef"))
    assert code == 2
    assert "round = 'plan 0123456789abcdef'; allowed: one of the 1 plans handed out here" in err
    assert "--plan" in err


def test_an_unlikely_meter_is_taken_where_it_is_said_to_be_so(plan, yard, book, capsys):
    book(card_of(plan, meters={"BF-1": 1061.0}))
    jump = card_of(plan, told_after=9000.0, meters={"BF-1": 1200.0})
    code, _, err = book(jump)
    assert code == 2
    assert "no more than 24 h a day from the 1061 h of 2026-03-03 06:5" in err
    jump["meters"][0]["sure"] = True
    assert book(jump)[0] == 0


def test_events_typed_and_read_from_tables(yard, book, capsys, tmp_path):
    table = tmp_path / "events.csv"
    table.write_text(
        "kind;at;unit;joint;old_h;new_h;until\n"
        "greased;2026-03-02 12:00;RB-1;crank bearing;;;\n"
        "meter_replaced;2026-03-02 13:00;BF-1;;1056,5;2;\n"
        "away;2026-03-03 04:00;BF-2;;;;2026-03-05 04:00\n",
        encoding="utf-8",
    )
    code, out, _ = book(str(table))
    assert code == 0
    assert "greased 1, meters replaced 1, away 1" in out
    assert "Nothing new" in book(str(table))[1]
    found = due(yard, capsys)
    assert not found["RB-1", "crank bearing"]["due"]
    assert {unit for unit, _ in found} == {"BF-1", "RB-1"}  # BF-2 is away
    # The fleet list still shows the old meter, 1060 h: 2 h and a day and a half of work are on the
    # new one, which the old one's figure does not undo.
    assert site_now(yard, NEXT)["BF-1"].meter_h == pytest.approx(2 + 8 + 1.5)
    back = due(yard, capsys, at="2026-03-06T05:00")
    # One day of work, the 5th, since it came back; it was due before it left.
    assert back["BF-2", "head pulley bearing"]["since_h"] == pytest.approx(55 + 8)


def test_an_export_read_back_gives_the_same_events(plan, yard, book, tmp_path):
    book(could_not(card_of(plan), HEAD, "other", '=under the conveyor; "asleep"\u2603'))
    for name in ("record.jsonl", "record.csv"):
        assert book(options=["--export", str(tmp_path / name)])[0] == 0
        other = tmp_path / name.replace(".", "-")
        shutil.copytree(YARD, other)
        (other / "last_services.csv").unlink()
        fleet = (other / "fleet.csv").read_text(encoding="utf-8")
        (other / "fleet.csv").write_text(fleet, encoding="utf-8")
        assert entry(["record", str(other), str(tmp_path / name), *BOOKED_AT]) == 0
        with open_ledger(yard / FILE) as one, open_ledger(other / FILE) as two:
            first = [e for e in one.events(in_force=False) if not e.source.startswith("site.toml")]
            told = {e.id: e for e in two.events(in_force=False)}
            assert [told[e.id] for e in first] == first


def test_a_moved_machine_stands_there_until_the_fleet_list_is_written_anew(yard, book):
    moved = ["--event", "moved", "unit=RB-1", "at=2026-03-02T15:00", "x_m=31", "y_m=22"]
    assert book(options=[*BOOKED_AT, *moved])[0] == 0
    unit = site_now(yard, NEXT)["RB-1"]
    assert (unit.x_m, unit.y_m) == (31, 22)
    fleet = (yard / "fleet.csv").read_text(encoding="utf-8").replace(",30,21.25,", ",32,21.25,")
    (yard / "fleet.csv").write_text(fleet, encoding="utf-8")
    unit = site_now(yard, NEXT)["RB-1"]
    assert (unit.x_m, unit.y_m) == (32, 21.25)


def test_words_that_are_no_file_and_empty_files_are_told(yard, book, tmp_path):
    code, _, err = book("nowhere.json")
    assert (code, "no such file" in err) == (2, True)
    (tmp_path / "empty.json").write_text("", encoding="utf-8")
    code, _, err = book(str(tmp_path / "empty.json"))
    assert (code, "empty; allowed: the export of a card" in err.replace("'", "")) == (2, True)
    assert not (yard / FILE).exists()


def test_the_round_books_that_its_plan_went_out(plan, yard, book, tmp_path):
    book()
    assert entry(["round", str(yard), "--out", str(tmp_path / "out")]) == 0
    with open_ledger(yard / FILE) as ledger:
        (handed_out,) = ledger.events(kinds=["plan_handed_out"])
    (walk,) = handed_out.walks
    told = {(s.unit, f.joint, f.fitting) for s in walk.stops for f in s.fittings}
    assert told == _pumped(plan)


def _receipt(plan, *, told_min=120, otherwise=()):
    """The receipt of the yard's walk, all done as planned but ``otherwise`` by place."""
    (walk,) = plan_handed_out(plan).walks
    count = sum(len(stop.fittings) for stop in walk.stops)
    ticked = [Ticked(AS_PLANNED)] * count
    for place, each in otherwise:
        ticked[place] = each
    return receipt_text(
        WalkTold(
            plan=round_id(plan),
            walk=0,
            device="a1b2",
            told_min=told_min,
            fittings=tuple(ticked),
            checks=(),
            minutes=(5, 15, 25),
            meters=((1060.5, False), None, (2030.4, False)),
        )
    )


def _with_plan(plan, tmp_path):
    (tmp_path / "round.json").write_text(plan.model_dump_json(), encoding="utf-8")
    return [*BOOKED_AT, "--plan", str(tmp_path / "round.json")]


def test_a_receipt_is_booked_as_the_file_would_be(plan, yard, book, capsys, tmp_path):
    message = f"Imke, Three machines: {_receipt(plan)}"
    code, out, _ = book(message, options=_with_plan(plan, tmp_path))
    assert code == 0
    assert "greased 6" in out
    assert "meters read 2" in out
    assert owed(due(yard, capsys)) == {("BF-1", "take-up slide")}
    # The file of the same card, handed in later, tells nothing new.
    meters = {"BF-1": 1060.5, "BF-2": 2030.4}
    _, out, _ = book(card_of(plan, meters=meters))
    assert "0 new, 9 booked before" in out


def test_a_receipt_without_its_plan_or_changed_is_refused(plan, yard, book, tmp_path):
    receipt = _receipt(plan)
    code, _, err = book(receipt)
    assert code == 2
    assert "give the round.json of its plan with --plan" in err
    assert not (yard / FILE).exists()
    code, _, err = book(receipt[:40] + "QQ" + receipt[42:], options=_with_plan(plan, tmp_path))
    assert code == 2
    assert "letters that do not fit their check sum" in err
    assert not (yard / FILE).exists()


def test_a_picture_of_the_code_is_read(plan, yard, book, tmp_path):
    segno = pytest.importorskip("segno")
    pytest.importorskip("zxingcpp")
    picture = tmp_path / "photo.png"
    segno.make(_receipt(plan), error="m").save(str(picture), scale=6)
    code, out, _ = book(str(picture), options=_with_plan(plan, tmp_path))
    assert code == 0
    assert "greased 6" in out
    segno.make("another code").save(str(picture), scale=6)
    code, _, err = book(str(picture))
    assert code == 2
    assert "no code of a card" in err
    picture.write_bytes(b"\x89PNG\r\n\x1a\nnot a picture")
    code, _, err = book(str(picture))
    assert (code, "a picture that can be opened" in err) == (2, True)


def _planned(out):
    plan = json.loads((out / "round.json").read_text(encoding="utf-8"))
    return {
        (stop["unit"], task["joint"], task["fitting"])
        for technician in plan["technicians"]
        for stop in technician["stops"]
        for stand in stop["stands"]
        for task in stand["fittings"]
    }, plan


def test_the_round_after_a_booking_plans_what_is_due_then(plan, yard, book, tmp_path):
    book(card_of(plan, skip=[HEAD]))
    out = tmp_path / "out"
    assert entry(["round", str(yard), "--out", str(out)]) == 0
    planned, found = _planned(out)
    assert planned == {HEAD, ("BF-1", "take-up slide", "right")}
    assert found["at"].startswith("2026-03-04T05:00")


def test_the_same_file_tells_a_round_under_way_how_far_it_has_come(plan, yard, tmp_path):
    # Exported at 05:15: BF-1 is done, of RB-1 the rear one, its front one takes no grease.
    card = card_of(plan, told_after=900.0, skip=[("BF-2", "take-up slide"), ("BF-2", HEAD[1])])
    could_not(card, ("RB-1", "crank bearing", "front"), "does not take grease")
    for entry_ in card["events"]:
        entry_["at"] = "2026-03-03T05:14:00+01:00"
    file = written(card, tmp_path / "card.json")
    (tmp_path / "round.json").write_text(plan.model_dump_json(), encoding="utf-8")
    out = tmp_path / "out"
    asked = ["--done-so-far", str(file), "--plan", str(tmp_path / "round.json")]
    assert entry(["round", str(yard), "--out", str(out), *asked]) == 1  # one fitting is left out
    planned, found = _planned(out)
    assert planned == {("BF-2", "take-up slide", "right"), ("BF-2", "head pulley bearing", "right")}
    assert [(x["joint"], x["fitting"], x["reason"]) for x in found["left"]] == [
        ("crank bearing", "front", "does not take grease")
    ]
    # Imke starts where she ticked the last fitting, at RB-1's front, not at the lube box.
    walked_m = found["technicians"][0]["walk_m"]
    assert walked_m < 55 - 28


def test_a_card_of_another_plan_or_morning_tells_nothing_of_this_round(
    plan, yard, tmp_path, capsys
):
    (tmp_path / "round.json").write_text(plan.model_dump_json(), encoding="utf-8")
    asked = ["--plan", str(tmp_path / "round.json"), "--out", str(tmp_path / "out")]
    wrong = {
        "plan 0123456789abcdef": card_of(plan, told_after=900.0, round="0123456789abcdef"),
        "exported_at = '2026-03-03 07:00'": card_of(plan),
    }
    for says, card in wrong.items():
        for entry_ in card["events"]:
            entry_["at"] = "2026-03-03T05:14:00+01:00"
        file = written(card, tmp_path / "card.json")
        assert entry(["round", str(yard), *asked, "--done-so-far", str(file)]) == 2
        assert says in capsys.readouterr().err


def test_cartridges_fitted_and_received_move_the_stock(plan, yard, book):
    counted = ["--event", "stock_counted", "grease=EP 2 lithium complex", "cartridges=5",
               "at=2026-03-03T04:00"]  # fmt: skip
    received = ["--event", "stock_received", "grease=EP 2 lithium complex", "cartridges=10",
                "at=2026-03-03T07:30"]  # fmt: skip
    assert book(card_of(plan), options=[*BOOKED_AT, *counted, *received])[0] == 0
    site, _ = on_record(read_site(yard), yard, datetime.fromisoformat(NEXT))
    assert [g.stock_cartridges for g in site.greases] == [5 - 1 + 10]
    unknown = ["--event", "stock_counted", "grease=EP", "cartridges=1", "at=2026-03-03"]
    code, _, err = book(options=[*BOOKED_AT, *unknown])
    assert (code, "grease = 'EP'; allowed: one of 'EP 2 lithium complex'" in err) == (2, True)
