"""Work sheets: what, why, with which kit, what to confirm, and what to write down."""

from __future__ import annotations

import re
from types import ModuleType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pivotlife.dashboards.sheet_names import sheet_path
from pivotlife.dashboards.sheets import CAUTIONS, FINDINGS, REMINDERS, build_sheets


def text(page: str) -> str:
    plain = re.sub(r"<(style)\b.*?</\1>", " ", page, flags=re.DOTALL)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", plain).replace("\u00a0", " "))


@pytest.fixture(scope="module")
def sheets(factory: ModuleType) -> dict[str, str]:
    return {name: text(page) for name, page in build_sheets(factory.make_inputs()).items()}


def test_every_unit_with_work_has_one(sheets: dict[str, str]) -> None:
    assert sorted(sheets) == [f"sheets/MD-{n}.html" for n in ("014", "077", "090")]


def test_it_says_what_why_with_which_kit(sheets: dict[str, str]) -> None:
    sheet = sheets["sheets/MD-014.html"]
    assert "axle 1 left fixed-eye threaded, limit 3.2 mm Replace (must)" in sheet
    assert "Play 3.40 mm (0.134 in) was over the 3.2 mm limit" in sheet
    assert "KIT-TFE-4, driver 1.75 (on the shelf)" in sheet
    assert "Measure before ordering: the bushing outside diameter decides." in sheet
    assert "side-bar centre distance" in sheet
    assert "on record 101.60 mm (4.000 in) measured" in sheet


def test_a_parked_unit_says_so_first(sheets: dict[str, str]) -> None:
    sheet = sheets["sheets/MD-077.html"]
    assert sheet.index("PARK NOW") < sheet.index("What to do")
    assert "PARK NOW" not in sheets["sheets/MD-014.html"]


def test_findings_come_back_through_the_records(sheets: dict[str, str]) -> None:
    for sheet in sheets.values():
        assert f"one of: {', '.join(FINDINGS)}. It comes back as teardown_finding" in sheet
        for blank in ("Took grease", "Alignment checked", "Returned to service", "signature"):
            assert blank in sheet
    assert set(FINDINGS) == {
        *("ok", "split", "extruded", "seized", "rough", "rust-in-purge", "loose-fit"),
        *("part-missing", "cracked", "broken", "axle-shifted"),
    }


def test_what_is_put_off_is_not_asked_for(factory: ModuleType) -> None:
    tables = factory.small_tables()
    rows = tables["shortlist"]
    rows["postponed"] = ["no", "yes", "no", "no", ""]
    sheet = text(build_sheets(factory.make_inputs(tables))["sheets/MD-014.html"])
    assert "Renewals put off beyond this visit: axle 1 left shackle-lower." in sheet
    assert "bushing outside diameter decides" not in sheet


def test_cautions_name_every_danger() -> None:
    told = " ".join(CAUTIONS).lower()
    for word in (
        *("local codes", "maker's procedure", "qualified", "jacks", "chock", "force", "eye"),
        *("refuses grease", "alignment", "both sides", "u-bolts", "out of service", "record"),
    ):
        assert word in told
    asked = " ".join(REMINDERS).lower()
    for word in ("ribbed", "smooth", "drive tool", "collar", "shim", "5,000 to 10,000", "kit"):
        assert word in asked


def test_a_long_reason_ends_at_a_sentence(factory: ModuleType) -> None:
    tables = factory.small_tables()
    tables["shortlist"].loc[0, "reason"] = "One short sentence. " + "word " * 80
    sheet = text(build_sheets(factory.make_inputs(tables))["sheets/MD-014.html"])
    assert "One short sentence. (More on the fleet page.)" in sheet


def test_who_is_renewed_for_company_is_told_first(factory: ModuleType) -> None:
    tables = factory.small_tables()
    tables["shortlist"].loc[0, "reason"] = "Chance of failing 2 %. " + "word " * 80
    tables["shortlist"].loc[0, "joined_because"] = "joins the job on right fixed-eye"
    sheet = text(build_sheets(factory.make_inputs(tables))["sheets/MD-014.html"])
    assert "Joins the job on right fixed-eye. Chance of failing 2 %. (More on" in sheet


@given(st.lists(st.text(min_size=1, max_size=12), min_size=2, max_size=8, unique=True))
def test_file_names_are_safe_and_never_shared(units: list[str]) -> None:
    paths = [sheet_path(unit) for unit in units]
    assert len({path.lower() for path in paths}) == len(units)
    assert all(re.fullmatch(r"sheets/[A-Za-z0-9_.-]+\.html", path) for path in paths)
    assert all(".." not in path for path in paths)


@pytest.mark.parametrize(
    ("unit", "plain"), [("MD-014", True), ("md-014", False), ("../x", False), ("CON", False)]
)
def test_only_plain_ids_stand_as_they_are(unit: str, plain: bool) -> None:
    assert (sheet_path(unit) == f"sheets/{unit}.html") is plain


def test_another_type_is_a_choice_before_parts_are_ordered(factory: ModuleType) -> None:
    tables = factory.small_tables()
    shortlist = tables["shortlist"].astype({"fit_instead": object, "fit_instead_kit_id": object})
    chosen = shortlist.index[(shortlist["unit_id"] == "MD-014") & (shortlist["pivot_id"] != "")]
    shortlist.loc[chosen[:1], ["fit_instead", "fit_instead_kit_id"]] = ["roller", "MK-44"]
    sheet = text(
        build_sheets(factory.make_inputs(tables | {"shortlist": shortlist}))["sheets/MD-014.html"]
    )
    told = "To decide before ordering: roller on the whole of axle 1 would cost less until the"
    assert sheet.count(told) == 1
    assert sheet.count("Or roller: MK-44.") == 1
