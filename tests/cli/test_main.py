"""The command line: verbs, exit codes, one-line errors."""

import importlib
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from greaseroute import __version__
from greaseroute.cli import main
from greaseroute.cli.main import COMMANDS, entry
from greaseroute.errors import BadInput, Fault, UnknownName

ROOT = Path(__file__).parents[2]
HEAVY = {"numpy", "pydantic", "networkx", "ortools", "numba", "shapely", "scipy", "jinja2", "rich"}


def imported(*words: str) -> set[str]:
    """Modules that a command line imports, told by the interpreter itself."""
    run = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "greaseroute", *words],
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=True,
    )
    return {line.rsplit("|", 1)[-1].strip() for line in run.stderr.splitlines()}


@pytest.fixture
def verb(monkeypatch):
    """A verb ``probe`` whose run is given by the test."""

    def install(run):
        module = type(sys)("greaseroute.cli.probe")
        module.add_arguments = lambda parser: None
        module.run = run
        monkeypatch.setitem(sys.modules, "greaseroute.cli.probe", module)
        monkeypatch.setitem(COMMANDS, "probe", "a verb for tests")

    return install


def test_every_verb_exists_and_its_help_is_the_one_listed():
    for name, text in COMMANDS.items():
        module = importlib.import_module("greaseroute.cli." + name.replace("-", "_"))
        assert text == module.HELP, name


def test_top_help_lists_every_verb(capsys):
    assert entry(["--help"]) == 0
    shown = capsys.readouterr().out
    for name, text in COMMANDS.items():
        assert f"  {name}" in shown
        assert text in shown
    assert "exit codes: 0 good, 1 the plan has findings, 2 misuse or bad input" in shown


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_help_of_a_verb_answers_without_heavy_imports(name):
    found = imported(name, "--help")
    assert found & HEAVY == set()
    assert "argparse" in found  # the probe sees imports


def test_top_help_answers_in_time():
    # The promise is 0.3 s; a bare interpreter on the same loaded machine is the yardstick.
    def best(*words):
        spans = []
        for _ in range(3):
            start = time.perf_counter()
            subprocess.run([sys.executable, *words], cwd=ROOT, capture_output=True, check=True)
            spans.append(time.perf_counter() - start)
        return min(spans)

    bare = best("-c", "import argparse")
    assert best("-m", "greaseroute", "--help") < bare + 0.25


def test_version(capsys):
    assert entry(["--version"]) == 0
    assert capsys.readouterr().out == f"greaseroute {__version__}\n"


def test_nothing_said_prints_the_help(capsys):
    assert entry([]) == 0
    alone = capsys.readouterr()
    assert entry(["--help"]) == 0
    assert (alone.out, alone.err) == (capsys.readouterr().out, "")
    assert "verbs:" in alone.out


@pytest.mark.parametrize(
    ("words", "same"),
    [(["help"], ["--help"]), (["help", "round"], ["round", "--help"])],
)
def test_help_of_a_verb_and_of_all(capsys, words, same):
    assert entry(words) == 0
    asked = capsys.readouterr().out
    assert entry(same) == 0
    assert asked == capsys.readouterr().out


def test_help_of_what_is_no_verb(capsys):
    assert entry(["help", "rond"]) == 2
    assert "there is no verb 'rond'; did you mean round?" in capsys.readouterr().err


def test_unknown_verb_is_misuse_with_a_guess(capsys):
    assert entry(["rond"]) == 2
    verbs = ", ".join(COMMANDS)
    line = f"greaseroute: there is no verb 'rond'; did you mean round?; verbs are {verbs}\n"
    assert capsys.readouterr().err == line


def test_unknown_option_is_misuse_with_a_guess(capsys):
    assert entry(["schema", "--debugg"]) == 2
    assert capsys.readouterr().err == (
        "greaseroute schema: unrecognized arguments: --debugg; did you mean --debug?; "
        "see greaseroute schema --help\n"
    )


def test_shortened_options_are_not_taken(capsys):
    # argparse would read --see as --seed; a typing slip must not become an option.
    assert entry(["round", "site", "--out", "x", "--see", "3"]) == 2
    assert "unrecognized arguments: --see 3; did you mean --seed?" in capsys.readouterr().err


def test_wrong_choice_is_misuse_with_a_guess(capsys):
    assert entry(["round", "site", "--out", "x", "--format", "jsn"]) == 2
    err = capsys.readouterr().err
    assert "argument --format: invalid choice: 'jsn'" in err
    assert "; did you mean json?; see greaseroute round --help" in err
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (
            ["--at", "noon"],
            "argument --at: 'noon' is not a local date and time such as 2026-11-25T05:00",
        ),
        (
            ["--at", "0001-01-01T00:00+23:00"],
            "argument --at: '0001-01-01T00:00+23:00' is not a local date and time such as "
            "2026-11-25T05:00, from 1971 to 2199",
        ),
        (["--seed", "-1"], "argument --seed: '-1' is not a whole number from 0 up"),
        (["--seed", "1.5"], "argument --seed: '1.5' is not a whole number from 0 up"),
        (["--limit-s", "0"], "argument --limit-s: '0' is not a number of seconds above 0"),
        (["--limit-s", "nan"], "argument --limit-s: 'nan' is not a number of seconds above 0"),
    ],
)
def test_bad_option_values_are_told_in_one_line(capsys, words, text):
    assert entry(["round", "site", "--out", "x", *words]) == 2
    assert capsys.readouterr().err == (f"greaseroute round: {text}; see greaseroute round --help\n")


def test_missing_out_is_told(capsys):
    assert entry(["round", "site"]) == 2
    assert "the following arguments are required: --out" in capsys.readouterr().err


def test_the_verbs_code_is_the_exit_code(verb):
    verb(lambda args: 1)
    assert entry(["probe"]) == 1


def test_faults_of_an_input_come_one_a_line(capsys, verb):
    faults = [Fault("fleet.csv", n, f"unit {n}", "type", "x", "a type", "mend it") for n in (3, 2)]

    def run(args):
        raise BadInput("site", faults)

    verb(run)
    assert entry(["probe"]) == 2
    assert capsys.readouterr().err == (
        "fleet.csv:2: unit 2: type = 'x'; allowed: a type; mend it\n"
        "fleet.csv:3: unit 3: type = 'x'; allowed: a type; mend it\n"
    )


def test_an_error_of_ours_is_one_line_and_no_traceback(capsys, verb):
    def run(args):
        raise UnknownName("unit", "'EX-9'", limit="EX-1", next_step="name one of these")

    verb(run)
    assert entry(["probe"]) == 2
    assert capsys.readouterr().err == (
        "greaseroute: unit: 'EX-9'; allowed: EX-1; name one of these\n"
    )


def test_an_error_of_the_disk_names_the_file(capsys, verb, tmp_path):
    verb(lambda args: (tmp_path / "none").read_text())
    assert entry(["probe"]) == 2
    line = f"greaseroute: {tmp_path / 'none'}: No such file or directory\n"
    assert capsys.readouterr().err == line


def test_a_fault_of_the_program_is_one_line_and_debug_shows_where(capsys, verb):
    def run(args):
        raise ValueError("two\nlines")

    verb(run)
    assert entry(["probe"]) == 2
    line = "greaseroute: fault in the program: ValueError: two lines; see --debug\n"
    assert capsys.readouterr().err == line
    assert entry(["probe", "--debug"]) == 2
    err = capsys.readouterr().err
    assert err.startswith("Traceback (most recent call last):")
    assert err.endswith(line)


def test_interrupted_is_130(capsys, verb):
    def run(args):
        raise KeyboardInterrupt

    verb(run)
    assert entry(["probe"]) == 130
    assert capsys.readouterr().err == "greaseroute: interrupted\n"


def test_a_reader_that_leaves_is_no_error():
    command = f"{sys.executable} -m greaseroute schema | head -1; echo ${{PIPESTATUS[0]}}"
    run = subprocess.run(["bash", "-c", command], cwd=ROOT, capture_output=True, text=True)
    assert run.stdout == "{\n0\n"
    assert run.stderr == ""


def test_module_and_entry_are_the_same_program():
    run = subprocess.run(
        [sys.executable, "-m", "greaseroute", "rond"], cwd=ROOT, capture_output=True, env=os.environ
    )
    assert run.returncode == 2
    assert main.entry(["rond"]) == 2


def test_schema_is_itself_a_schema(capsys):
    from jsonschema import Draft202012Validator

    assert entry(["schema"]) == 0
    schema = json.loads(capsys.readouterr().out)
    Draft202012Validator.check_schema(schema)
    promised = {"site", "at", "seed", "technicians", "cartridges", "left", "bound", "cautions"}
    assert promised <= set(schema["properties"])


PROBE = """
import os, signal, sys, time
from greaseroute.cli.interrupt import leave_on_interrupt, stoppable
leave_on_interrupt()
{body}
"""


def interrupted(body, *, twice=False):
    """Exit code and stderr of a program that is interrupted once it says that it is ready."""
    run = subprocess.Popen(
        [sys.executable, "-c", PROBE.format(body=body)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    )
    for _ in range(1 + twice):
        assert run.stdout.readline() == "ready\n"
        run.send_signal(signal.SIGINT)
    _, err = run.communicate(timeout=60)
    return run.returncode, err


def test_ctrl_c_that_a_library_would_swallow_leaves_all_the_same():
    body = """
try:
    print("ready", flush=True)
    time.sleep(600)
except BaseException:
    time.sleep(600)
"""
    assert interrupted(body) == (130, "greaseroute: interrupted\n")


def test_where_a_plan_is_under_way_ctrl_c_is_an_exception():
    body = """
with stoppable():
    try:
        print("ready", flush=True)
        time.sleep(600)
    except KeyboardInterrupt:
        sys.exit(7)
"""
    assert interrupted(body) == (7, "")


def test_a_second_ctrl_c_leaves_at_once():
    body = """
with stoppable():
    try:
        print("ready", flush=True)
        time.sleep(600)
    except KeyboardInterrupt:
        print("ready", flush=True)
        time.sleep(600)
"""
    assert interrupted(body, twice=True) == (130, "greaseroute: interrupted\n")


def test_ctrl_c_that_was_ignored_from_the_start_stays_ignored():
    body = """
signal.signal(signal.SIGINT, signal.SIG_IGN)
leave_on_interrupt()
print("ready", flush=True)
time.sleep(1)
sys.exit(5)
"""
    assert interrupted(body) == (5, "")


@pytest.mark.parametrize(
    ("words", "code"), [("check sites_demo/three_machines", 0), ("check nowhere", 2), ("rond", 2)]
)
@pytest.mark.parametrize("closed", [">&-", "2>&-", "<&-", ">&- 2>&- <&-"])
def test_closed_streams_change_no_exit_code(words, code, closed):
    command = f"{sys.executable} -m greaseroute {words} {closed}"
    run = subprocess.run(["bash", "-c", command], cwd=ROOT, capture_output=True, text=True)
    assert run.returncode == code
    assert "Traceback" not in run.stderr


def test_a_character_that_the_terminal_lacks_is_written_as_an_escape(tmp_path):
    command = f"{sys.executable} -m greaseroute check 'L\u00f6ffel'"
    env = {**os.environ, "PYTHONIOENCODING": "ascii"}
    run = subprocess.run(["bash", "-c", command], cwd=ROOT, capture_output=True, env=env)
    assert run.returncode == 2
    assert b"L\\xf6ffel" in run.stdout + run.stderr


def test_the_completion_of_each_shell_knows_verbs_and_options(capsys):
    for shell in ("bash", "zsh", "tcsh"):
        assert entry(["completion", shell]) == 0
        script = capsys.readouterr().out
        assert all(word in script for word in ("round", "warm-up", "seed"))
    found = subprocess.run(
        ["bash", "-c", f"{bash_script()}\nCOMP_WORDS=(greaseroute rou); COMP_CWORD=1\n"
         "_shtab_greaseroute greaseroute rou greaseroute; echo ${COMPREPLY[@]}"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert "round" in found.stdout.split()


def bash_script():
    run = subprocess.run(
        [sys.executable, "-m", "greaseroute", "completion", "bash"],
        cwd=ROOT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return run.stdout


@pytest.mark.parametrize("value", ["0", "-1", "two", "1.5", ""])
def test_threads_of_numba_that_would_end_in_a_traceback(monkeypatch, capsys, tmp_path, value):
    monkeypatch.setenv("NUMBA_NUM_THREADS", value)
    out = str(tmp_path / "out")
    assert entry(["round", str(ROOT / "sites_demo/three_machines"), "--out", out]) == 2
    told = capsys.readouterr().err
    assert "environment variable NUMBA_NUM_THREADS" in told
    assert told.endswith("allowed: a whole number from 1 up; correct it, or unset it\n")


@pytest.mark.parametrize("verb", ["round", "week", "first-day"])
def test_a_bad_out_is_told_before_anything_is_read(capsys, tmp_path, verb):
    (tmp_path / "file").write_text("x")
    assert entry([verb, "nowhere", "--out", str(tmp_path / "file")]) == 2
    assert "file: a file; allowed: a folder, new or old" in capsys.readouterr().err
    assert entry([verb, "nowhere", "--out", ""]) == 2
    assert "give the name of a folder" in capsys.readouterr().err
    assert entry([verb, "nowhere", "--out", "-"]) == 2
    assert "--out -: standard output; allowed: a folder" in capsys.readouterr().err
