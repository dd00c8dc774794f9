"""A file is whole or not there: full disks, folders that vanish, Ctrl-C and kill."""

import errno
import json
import os
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path
from typing import NoReturn

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimwise.exchange import writing
from rimwise.terms.errors import OutputFailed


def _left_over(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_file_is_written_and_replaced_whole(tmp_path: Path) -> None:
    path = tmp_path / "a.json"
    writing.write_bytes(path, b"one")
    path.chmod(0o640)
    writing.write_bytes(path, b"two")
    assert path.read_bytes() == b"two"
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert _left_over(tmp_path) == ["a.json"]


def test_a_new_file_has_the_rights_that_the_users_mask_leaves(tmp_path: Path) -> None:
    old = os.umask(0o027)
    try:
        writing.write_bytes(tmp_path / "a.json", b"one")
    finally:
        os.umask(old)
    assert stat.S_IMODE((tmp_path / "a.json").stat().st_mode) == 0o640


def test_a_link_is_followed_and_a_device_is_written_to(tmp_path: Path) -> None:
    (tmp_path / "real.json").write_text("old")
    (tmp_path / "link.json").symlink_to("real.json")
    writing.write_bytes(tmp_path / "link.json", b"new")
    assert (tmp_path / "real.json").read_text() == "new"
    assert (tmp_path / "link.json").is_symlink()
    writing.write_bytes("/dev/null", b"gone")
    assert stat.S_ISCHR(Path("/dev/null").stat().st_mode)


@pytest.mark.parametrize("where", ["missing/a.json", "file/a.json", "folder"])
def test_a_place_that_cannot_be_written_is_one_sentence(tmp_path: Path, where: str) -> None:
    (tmp_path / "file").write_text("x")
    (tmp_path / "folder").mkdir()
    before = _left_over(tmp_path)
    for write in (lambda p: writing.write_bytes(p, b"x"), writing.check_writable):
        with pytest.raises(OutputFailed) as failed:
            write(tmp_path / where)
        assert "\n" not in failed.value.sentence
        assert failed.value.exit_code == 2
    assert _left_over(tmp_path) == before


def test_a_read_only_folder_is_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rights do not bind root, so the system's own refusal is played."""
    monkeypatch.setattr(os, "access", lambda *_: False)
    with pytest.raises(OutputFailed, match="may not be written"):
        writing.check_writable(tmp_path / "a.json")
    with pytest.raises(OutputFailed, match="may not be written"):
        writing.make_folder(tmp_path / "drawings")


@pytest.mark.parametrize("call", ["replace", "fsync"])
@pytest.mark.parametrize("code", [errno.EROFS, errno.ENOSPC, errno.EACCES])
def test_a_disk_that_fails_leaves_the_old_file_and_no_scrap(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str, code: int
) -> None:
    (tmp_path / "a.json").write_text("old")

    def fail(*_: object) -> NoReturn:
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(os, call, fail)
    with pytest.raises(OutputFailed, match=r"a\.json could not be written"):
        writing.write_bytes(tmp_path / "a.json", b"new")
    assert (tmp_path / "a.json").read_text() == "old"
    assert _left_over(tmp_path) == ["a.json"]


def test_ctrl_c_while_writing_leaves_the_old_file_and_no_scrap(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a.json").write_text("old")

    def stop(*_: object) -> NoReturn:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", stop)
    with pytest.raises(KeyboardInterrupt):
        writing.write_bytes(tmp_path / "a.json", b"new")
    assert (tmp_path / "a.json").read_text() == "old"
    assert _left_over(tmp_path) == ["a.json"]


def test_a_kill_at_any_moment_leaves_a_whole_file(tmp_path: Path) -> None:
    """A process that writes two contents in turn is killed, thrice; the name shows one of them."""
    path = tmp_path / "a.bin"
    program = (
        "import sys\nfrom rimwise.exchange.writing import write_bytes\n"
        "while True:\n"
        "    for letter in (b'a', b'b'):\n"
        "        write_bytes(sys.argv[1], letter * 3_000_000)\n"
    )
    for _ in range(3):
        writer = subprocess.Popen([sys.executable, "-c", program, str(path)])
        deadline = time.monotonic() + 20.0
        while not path.exists() and time.monotonic() < deadline:
            time.sleep(0.01)
        time.sleep(0.1)
        writer.send_signal(signal.SIGKILL)
        writer.wait()
        content = path.read_bytes()
        assert len(content) == 3_000_000
        assert len(set(content)) == 1
        path.unlink()


def test_nothing_that_was_given_to_be_read_is_written_over(tmp_path: Path) -> None:
    picture = tmp_path / "eye.png"
    picture.write_bytes(b"x")
    (tmp_path / "alias.png").symlink_to(picture)
    for output in (picture, tmp_path / "alias.png", tmp_path / "new.TOML"):
        with pytest.raises(OutputFailed, match="never written over"):
            writing.check_not_input(output, [picture])
    for output in (None, "-", tmp_path / "eye.json"):
        writing.check_not_input(output, [picture])


FINITE = st.floats(allow_nan=False, allow_infinity=False)
JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | FINITE | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=20,
)  # fmt: skip


@settings(max_examples=40)
@given(st.dictionaries(st.text(), JSON_VALUES))
def test_the_json_that_is_written_is_the_document(document: dict[str, object]) -> None:
    assert json.loads(writing.json_text(document)) == document


def test_standard_output_takes_a_dash(capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    writing.write_json("-", {"a": "±"})
    assert capfdbinary.readouterr().out == '{"a": "±"}\n'.encode()
