"""What every test shares: fixed randomness, the practice pictures, skips that cannot be missed."""

import os
from collections import Counter
from collections.abc import Generator
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import HealthCheck, settings
from practice import AWAY, FOLDER

# The same examples on every machine and every run; RIMWISE_EXPLORE=1 looks for new ones.
settings.register_profile(
    "steady",
    derandomize=True,
    deadline=None,
    database=None,
    print_blob=True,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile("explore", deadline=None, max_examples=1000)
settings.load_profile("explore" if os.environ.get("RIMWISE_EXPLORE") else "steady")

# In the gate (.ci/run) a test that would be skipped for a user fails, unless its reason is AWAY.
REQUIRE_ALL = os.environ.get("RIMWISE_REQUIRE_ALL") == "1"


class PracticePhoto(NamedTuple):
    """A practice photograph, its sheet and its truth."""

    jpg: Path
    toml: Path
    truth: Path


@pytest.fixture(scope="session")
def practice_photos() -> list[PracticePhoto]:
    """Every practice photograph, in the order of its name."""
    folder = FOLDER / "photos"
    if not folder.is_dir():
        pytest.skip(AWAY)
    return [
        PracticePhoto(jpg, jpg.with_suffix(".toml"), jpg.with_suffix(".truth.json"))
        for jpg in sorted(folder.glob("*.jpg"))
    ]


def _reason(report: pytest.TestReport | pytest.CollectReport) -> str:
    text = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
    return text.removeprefix("Skipped: ")


def _fail_if_all_is_required(report: pytest.TestReport | pytest.CollectReport) -> None:
    if not (REQUIRE_ALL and report.skipped) or hasattr(report, "wasxfail"):
        return
    reason = _reason(report)
    if reason != AWAY:
        report.outcome = "failed"
        report.longrepr = f"the gate skips nothing, but this test was skipped: {reason}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    _fail_if_all_is_required(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    report = yield
    _fail_if_all_is_required(report)
    return report


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say which groups of tests did not run, and why."""
    reasons = Counter(_reason(report) for report in terminalreporter.stats.get("skipped", []))
    if not reasons:
        return
    terminalreporter.section("NOT TESTED HERE", sep="!", yellow=True, bold=True)
    for reason, count in sorted(reasons.items()):
        tests = "test" if count == 1 else "tests"
        terminalreporter.write_line(f"{count} {tests}: {reason}", yellow=True)
