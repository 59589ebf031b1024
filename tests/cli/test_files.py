"""Files are written whole or not at all."""

import os
import stat

import pytest

from greaseroute.cli import files
from greaseroute.cli.files import write_bytes, write_text


def test_folder_is_made_and_text_is_kept_to_the_byte(tmp_path):
    target = tmp_path / "a" / "b.csv"
    write_text(target, "é\r\n", encoding="utf-8-sig")
    assert target.read_bytes() == b"\xef\xbb\xbf\xc3\xa9\r\n"


def test_a_write_that_fails_leaves_the_old_file_and_no_scrap(tmp_path, monkeypatch):
    target = tmp_path / "round.json"
    write_bytes(target, b"old")

    def broken(handle):
        raise OSError("disk full")

    monkeypatch.setattr(files.os, "fsync", broken)
    with pytest.raises(OSError, match="disk full"):
        write_bytes(target, b"new")
    assert target.read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["round.json"]


def test_the_content_is_on_disk_before_the_name_is_given(tmp_path, monkeypatch):
    calls = []
    sync, swap = os.fsync, os.replace
    monkeypatch.setattr(files.os, "fsync", lambda h: (calls.append("fsync"), sync(h)))
    monkeypatch.setattr(files.os, "replace", lambda a, b: (calls.append("rename"), swap(a, b)))
    write_bytes(tmp_path / "x", b"1")
    assert calls == ["fsync", "rename", "fsync"]  # the file, its name, the folder


def test_others_may_read_it_as_the_mask_allows(tmp_path):
    before = os.umask(0o027)
    try:
        write_bytes(tmp_path / "x", b"1")
        after = os.umask(0o027)
    finally:
        os.umask(before)
    assert after == 0o027  # the mask is as it was
    assert stat.S_IMODE((tmp_path / "x").stat().st_mode) == 0o640
