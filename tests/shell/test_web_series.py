"""The page about a series: filters that say what they leave out, comparison, sharing, casebook."""

import csv
import io
import json
import zipfile
from typing import Any

import numpy as np
import pytest
from workbench import OWN, Browser, csrf

from rimwise.store.book import Who
from rimwise.terms.cautions import CAUTIONS
from rimwise.web.keeping import Keeping


def table(eyes: int = 60, torn: int = 2) -> bytes:
    """An invented series of two techniques and three surgeons."""
    rng = np.random.default_rng(4)
    rows = ["person,side,technique,surgeon,operation_day,least_cover_mm,complete,complications"]
    for eye in range(eyes):
        cover = rng.normal(0.3, 0.2)
        rows.append(
            f"P-{eye // 2},{('left', 'right')[eye % 2]},{('guided', 'manual')[eye % 4 > 1]},"
            f"S-{eye % 3},{eye},{cover:.3f},{str(cover > 0).lower()},"
            f"{'torn rim' if eye < torn else ''}"
        )
    return ("\n".join(rows) + "\n").encode("utf-8")


def sent(inside: Browser, data: bytes | None = None) -> str:
    files = [("table", ("eyes.csv", table() if data is None else data, "text/csv"))]
    answer = inside.post("/series", data={"csrf": csrf(inside)}, files=files, headers=OWN)
    assert answer.status_code == 303, answer.text
    return answer.headers["location"]


def again(inside: Browser, path: str, **told: str) -> Any:
    return inside.post(path, data={"csrf": csrf(inside)} | told, headers=OWN)


def shown(inside: Browser, path: str, **told: str) -> str:
    answer = again(inside, path, **told)
    assert answer.status_code == 303, answer.text
    return inside.get(answer.headers["location"]).text


def test_a_table_is_audited_and_filters_say_what_they_leave_out(inside: Browser) -> None:
    path = sent(inside)
    page = inside.get(path).text
    assert "60 eyes of 30 persons" in page
    assert "No eye is left out." in page
    assert CAUTIONS[0] in page
    kept = shown(inside, path, **{"only-technique": "manual", "only-surgeon": "S-1"})
    assert "10 eyes of 10 persons" in kept
    assert "30: technique is not manual" in kept
    assert "20: surgeon is not S-1" in kept
    # The next filter starts from all rows again.
    assert "60 eyes of 30 persons" in shown(inside, path)
    assert "30: second eye of a person" in shown(inside, path, eyes="first")


def test_a_filter_that_the_series_does_not_offer_is_not_looked_at(inside: Browser) -> None:
    told = {"only-technique": "<b>", "funnel": "code", "compare": "99", "eyes": "three"}
    assert "60 eyes of 30 persons" in shown(inside, sent(inside), **told)


def test_two_groups_surgeons_and_charts(inside: Browser) -> None:
    told = {"compare": "0", "funnel": "surgeon", "charts": "yes", "bare": "5"}
    page = shown(inside, sent(inside), **told)
    for words in ("manual less guided", "Each surgeon about all eyes", "Charts in the order of"):
        assert words in page
    pairs = shown(inside, sent(inside), compare="0")
    assert "p (Holm)" in pairs
    wrong = again(inside, sent(inside), bare="many")
    assert wrong.status_code == 422
    assert "A percentage from 0 to 100 is needed" in wrong.text


def test_pairs_that_are_none_are_told_on_the_page(inside: Browser) -> None:
    answer = again(inside, sent(inside), compare="0", paired="yes")
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    assert "0 persons have one eye in each group" in answer.text


def test_sharing_withholds_small_numbers_in_page_and_files(inside: Browser) -> None:
    path = sent(inside)
    assert "torn rim" in inside.get(path).text
    assert "2 of 60" in inside.get(path).text
    answer = again(inside, path, share="yes", charts="yes", compare="0")
    place = answer.headers["location"]
    page = inside.get(place).text
    assert "2 of 60" not in page
    assert "withheld" in page
    name = place.rpartition("/")[2]
    document = json.loads(inside.get(f"/document/{name}").text)["results"][0]
    told = {one["name"]: one for part in document["parts"] for one in part["figures"]}
    assert told["torn rim"]["count"] is None
    assert document["differences"] == []
    packed = zipfile.ZipFile(io.BytesIO(inside.get(f"{place}/tables.zip").content))
    rows = list(csv.DictReader(packed.read("complications.csv").decode("utf-8").splitlines()))
    assert [one["count"] for one in rows if one["name"] == "torn rim"] == [""]


def test_tables_come_as_the_same_bytes_again(inside: Browser) -> None:
    one, two = sent(inside), sent(inside)
    files = [inside.get(f"{path}/tables.zip").content for path in (one, two)]
    assert files[0] == files[1]
    names = zipfile.ZipFile(io.BytesIO(files[0])).namelist()
    assert {"cover.csv", "flow.csv", "complications.csv"} <= set(names)


def test_what_is_no_table_is_told(inside: Browser) -> None:
    files = [("table", ("eyes.csv", b"a,b\n1,2\n", "text/csv"))]
    answer = inside.post("/series", data={"csrf": csrf(inside)}, files=files, headers=OWN)
    assert answer.status_code == 422
    assert "has no heading that an audit knows" in answer.text
    empty = inside.post("/series", data={"csrf": csrf(inside)}, headers=OWN)
    assert "no table came" in empty.text
    assert inside.get("/audited/none/tables.zip").status_code == 404


def test_the_casebook_is_audited(inside: Browser, keeping: Keeping) -> None:
    nothing = inside.post("/series", data={"csrf": csrf(inside), "book": "yes"}, headers=OWN)
    assert nothing.status_code == 422
    assert "no eye with an operation sheet" in nothing.text
    who = Who("S-2")
    book = keeping.book()
    for number in range(6):
        code = f"E-{number}"
        book.add_eye(code, "left", who)
        book.set_consent(code, ("care",), who)
        told = {"day": number, "technique": "manual", "surgeon": f"S-{number % 2}"}
        book.put(code, "operation", told, who)
        cover = {"cover": {"complete": False, "width_mm": [0.3] * 350 + [-0.1] * 10}}
        book.put(code, "cover", cover, who, slot="a")
    answer = inside.post("/series", data={"csrf": csrf(inside), "book": "yes"}, headers=OWN)
    page = inside.get(answer.headers["location"]).text
    assert "6 eyes of 6 persons" in page
    assert "Cover by direction, all eyes over each other" in page
    kept = shown(inside, answer.headers["location"], **{"only-surgeon": "S-1"})
    assert "3 eyes of 3 persons" in kept
    assert "3: surgeon is not S-1" in kept


@pytest.mark.parametrize("told", [{"csrf": "wrong"}, {}])
def test_only_forms_of_this_session_are_heeded(inside: Browser, told: dict[str, str]) -> None:
    path = sent(inside)
    assert inside.post(path, data=told, headers=OWN).status_code == 400
