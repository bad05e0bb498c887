"""What `manage.py test` needs is brought, or named in words somebody can act on."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from config import testbed
from config.testbed import CannotPrepare, Need

ABSENT = Need("somebase", ("no-such-program-here",), "the second engine")
PRESENT = Need("coreutils", ("ls",), "listing")


def test_only_what_is_missing_counts_as_missing() -> None:
    assert ABSENT.missing() and not PRESENT.missing()
    assert not Need("either", ("no-such-program-here", "ls"), "one of two is enough").missing()


def test_nothing_is_done_when_nothing_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "/nowhere")
    testbed.bring_packages([])


def test_without_root_the_packages_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    with pytest.raises(CannotPrepare) as told:
        testbed.bring_packages([ABSENT])
    assert "somebase (the second engine)" in str(told.value)
    assert "apt-get install --no-install-recommends somebase" in str(told.value)


def test_without_debian_the_packages_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "/nowhere")
    with pytest.raises(CannotPrepare, match="somebase"):
        testbed.bring_packages([ABSENT])


def test_the_command_ends_with_status_1_when_it_cannot_prepare(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    monkeypatch.setattr(testbed, "NEEDS", (ABSENT,))
    assert testbed.main([]) == 1
    assert "somebase" in capsys.readouterr().err


def test_services_are_kept_from_starting_only_while_packages_are_installed(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(testbed, "POLICY", tmp_path / "policy-rc.d")
    with testbed._no_services():
        assert os.access(testbed.POLICY, os.X_OK) and "exit 101" in testbed.POLICY.read_text()
    assert not testbed.POLICY.exists()
    testbed.POLICY.write_text("somebody else's")
    with testbed._no_services():
        pass
    assert testbed.POLICY.read_text() == "somebody else's"
