"""Hashes of the manifest against the examples of FIPS 180-4, SHA-256.

"abc" and the empty message as in NIST's example values.
"""

import pytest

from greaseroute.cli.output_set import hashes_of, sha256

ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
NOTHING = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"


@pytest.mark.parametrize(("content", "known"), [(b"abc", ABC), (b"", NOTHING)])
def test_the_published_examples(content, known, tmp_path):
    (tmp_path / "x").write_bytes(content)
    assert sha256(content).removeprefix("sha256:") == known
    assert hashes_of(tmp_path, ["x"])["x"].removeprefix("sha256:") == known
