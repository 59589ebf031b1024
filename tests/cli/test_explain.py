"""Schemas of what is read, and a sentence for every word."""

import json
import tomllib
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from greaseroute.catalogue.shelf import shelf_names, shelf_text
from greaseroute.cli.explain import entries
from greaseroute.cli.fields import PARTS, models, nested, sentence
from greaseroute.cli.main import entry
from greaseroute.site.files.features import RECORDS

ROOT = Path(__file__).parents[2]
DEMOS = sorted(p for p in (ROOT / "sites_demo").iterdir() if (p / "site.toml").is_file())


def schema(part, capsys):
    assert entry(["schema", part]) == 0
    return json.loads(capsys.readouterr().out)


@pytest.mark.parametrize("part", [*PARTS, "round"])
def test_every_field_has_a_sentence(part):
    silent = [f"{record.__name__}.{field}" for model in models(part).values()
              for record in nested(model) for field in record.model_fields
              if not sentence(record, field)]  # fmt: skip
    assert silent == []


@pytest.mark.parametrize("part", PARTS)
def test_every_schema_is_one_and_its_numbers_have_bounds(part, capsys):
    found = schema(part, capsys)
    Draft202012Validator.check_schema(found)
    text = json.dumps(found)
    assert '"description"' in text
    assert '"minimum"' in text


def test_bounds_units_and_usual_values_stand_in_the_schema(capsys):
    gun = schema("site", capsys)["$defs"]["Gun"]["properties"]["stroke_s"]
    assert (gun["minimum"], gun["maximum"], gun["unit"], gun["usual"], gun["default"]) == (
        0.05, 60.0, "s", [0.3, 5.0], 1.5,
    )  # fmt: skip
    assert gun["description"] == "time of one stroke"


@pytest.mark.parametrize("folder", DEMOS, ids=lambda p: p.name)
def test_the_demo_sites_keep_to_the_schemas(folder, capsys):
    site = tomllib.loads((folder / "site.toml").read_text(encoding="utf-8"))
    plain = json.loads(json.dumps(site, default=lambda moment: moment.isoformat()))
    Draft202012Validator(schema("site", capsys)).validate(plain)
    ground = json.loads((folder / "ground.geojson").read_text(encoding="utf-8"))
    checker = Draft202012Validator(schema("ground", capsys))
    checker.validate(ground)
    ground["features"][0]["properties"]["role"] = "boundry"
    assert not checker.is_valid(ground)


def test_the_shelf_keeps_to_the_schema(capsys):
    checker = Draft202012Validator(schema("type", capsys))
    for name in shelf_names():
        checker.validate(tomllib.loads(shelf_text(name)))


def test_every_role_and_field_is_explained():
    words = {e["word"] for e in entries()}
    assert set(RECORDS) <= words
    assert {"unit", "stroke_cm3", "heading_deg", "gap_pct", "isolation", "meter_h"} <= words


@pytest.mark.parametrize("word", ["look-ahead", "Look ahead", "look_ahead"])
def test_a_word_is_found_however_it_is_written(word, capsys):
    assert entry(["explain", word]) == 0
    assert "treat as due today" in capsys.readouterr().out


def test_a_field_is_told_with_unit_bounds_and_default(capsys):
    assert entry(["explain", "isolation_s"]) == 0
    assert (
        "isolation_s (site.toml, WorkingRules): time to isolate a unit: engine off, key out, "
        "locked and tagged; in s; 0 to 7200; usual 20 to 900; default " in capsys.readouterr().out
    )


def test_a_word_that_is_none_is_answered_with_the_nearest(capsys):
    assert entry(["explain", "isolaton_s"]) == 2
    assert "did you mean 'isolation_s'?" in capsys.readouterr().err


def test_the_shelf_is_listed(capsys):
    assert entry(["explain", "types", "--format", "json"]) == 0
    assert [e["word"] for e in json.loads(capsys.readouterr().out)] == list(shelf_names())
