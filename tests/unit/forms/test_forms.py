"""The widgets driven from Python: what a person types, what is then shown and written."""

from __future__ import annotations

import asyncio
import re
import shutil
from pathlib import Path
from typing import Any

import nbformat
import pytest
from nbconvert import HTMLExporter
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook import writing
from quenchbook.forms import planning
from quenchbook.forms.entering import EntryForm
from quenchbook.forms.later import Later
from quenchbook.forms.plan_preview import PlanPreview
from quenchbook.forms.planning import PlanForm
from quenchbook.steps import new_study


def demonstration(folder: Path) -> Path:
    """The demonstration without records."""
    source = ROOT / "data" / "plane_irons"
    shutil.copy(source / "study.toml", folder)
    shutil.copytree(source / "plan", folder / "plan")
    return folder


def contents(folder: Path) -> dict[Path, bytes]:
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return demonstration(tmp_path)


@pytest.fixture
def new_folder(tmp_path: Path) -> Path:
    new_study(tmp_path / "own")
    return tmp_path / "own"


def described(box: Any) -> list[str]:
    """Descriptions of every field of a form that takes input."""
    if hasattr(box, "children"):
        return [own for child in box.children for own in described(child)]
    is_input = type(box).__name__ in ("Text", "Dropdown", "Checkbox", "Button")
    return [box.description] if is_input else []


def test_a_changed_value_is_previewed_and_saved(new_folder: Path) -> None:
    form = PlanForm(new_folder)
    form.fields["layout.furnace_loads"].value = "6"
    assert "24 coupons in 6 furnace loads" in form.finding.value
    assert "24 coupons in 6 furnace loads" in form.view.value  # words of the picture
    assert "1 change, not saved yet." in form.status.value
    form.save.click()
    assert "Saved study.toml" in form.status.value
    assert qb.read_study(new_folder).layout.furnace_loads == 6


def test_a_bad_value_has_the_readers_message_beside_it_and_is_not_saved(new_folder: Path) -> None:
    form = PlanForm(new_folder)
    before, preview = (new_folder / "study.toml").read_bytes(), form.view.value
    form.fields["responses.hardness.equivalence_margin"].value = "half"
    assert "no unit" in form.messages["responses.hardness.equivalence_margin"].value
    assert 'role="alert"' in form.messages["responses.hardness.equivalence_margin"].value
    form.save.click()
    assert (new_folder / "study.toml").read_bytes() == before
    assert form.view.value == preview
    form.undo.click()
    assert not any(message.value for message in form.messages.values())


def test_loads_that_hold_no_plan_are_told_in_place_of_the_preview(new_folder: Path) -> None:
    form = PlanForm(new_folder)
    form.fields["layout.furnace_loads"].value = "2"
    assert "There is no plan like this" in form.status.value
    assert "A furnace load has one temperature: add loads" in form.view.value


def test_a_change_after_the_plan_is_saved_only_with_the_box_ticked(new_folder: Path) -> None:
    qb.plan_study(new_folder, seed=1)
    form = PlanForm(new_folder)
    form.fields["responses.hardness.equivalence_margin"].value = "0.3 HRC"
    assert "exploratory" in form.exploratory.value
    form.save.click()
    assert "Not saved" in form.status.value
    form.although.value = True
    form.save.click()
    assert qb.read_study(new_folder).equivalence_margin("hardness_hrc") == 0.3


def test_a_plan_kept_after_the_form_came_brings_the_box_to_tick(new_folder: Path) -> None:
    form = PlanForm(new_folder)
    qb.plan_study(new_folder, seed=1)
    form.fields["responses.hardness.equivalence_margin"].value = "0.3"
    form.save.click()
    assert "Tick the box" in form.status.value
    assert "although_planned" not in form.status.value
    assert form.although.description in described(form.form.box)
    form.although.value = True
    form.save.click()
    assert qb.read_study(new_folder).equivalence_margin("hardness_hrc") == 0.3


def test_levels_that_a_question_misses_are_told_at_the_change_and_at_the_question(
    new_folder: Path,
) -> None:
    form = PlanForm(new_folder)
    levels = form.messages["factors.austenitize.levels"]
    form.fields["factors.austenitize.levels"].value = "1450 degF, 1475 degF, 1500 degF, 1525 degF"
    for words in ("Page Questions", "820 degC", "is not a level", "Known: 1450", "1525 degF"):
        assert words in levels.value
    assert "Page Questions, Question 2" in form.status.value
    form.fields["costs.coupon"].value = "7"
    assert not form.messages["costs.coupon"].value  # another change is not to blame
    assert "820 degC" in levels.value
    compared = form.fields["questions.freezer_when_hot.change.austenitize"]
    assert compared.value == "820 degC, 790 degC"
    compared.value = "1525 degF, 1450 degF"
    assert not levels.value
    form.save.click()
    assert "Saved study.toml" in form.status.value
    assert len(qb.read_study(new_folder).factor("austenitize").levels) == 4


def test_what_a_question_compares_goes_along_with_levels_that_keep_their_number(
    new_folder: Path,
) -> None:
    form = PlanForm(new_folder)
    form.fields["factors.austenitize.levels"].value = "790, 805, 830"
    name = "questions.freezer_when_hot.change.austenitize"
    assert "Changed with the levels: 830 degC, 790 degC." in form.messages[name].value
    form.save.click()
    assert form.fields[name].value == "830 degC, 790 degC"
    assert not form.messages[name].value


def test_changes_that_are_not_saved_are_told_and_outlive_the_form(new_folder: Path) -> None:
    form = PlanForm(new_folder)
    form.fields["layout.furnace_loads"].value = "6"
    form.fields["costs.coupon"].value = "7"
    assert "2 changes are not saved: a plan made now would not have them" in form.unsaved.value
    again = PlanForm(new_folder)
    assert again.fields["layout.furnace_loads"].value == "6"
    assert "are taken up" in again.unsaved.value
    again.save.click()
    assert "not saved" not in again.unsaved.value
    assert PlanForm(new_folder).fields["costs.coupon"].value == "7"
    assert qb.read_study(new_folder).layout.furnace_loads == 6


def test_changes_to_a_file_that_was_changed_meanwhile_are_told_and_not_taken_up(
    new_folder: Path,
) -> None:
    PlanForm(new_folder).fields["layout.furnace_loads"].value = "6"
    path = new_folder / "study.toml"
    path.write_bytes(path.read_bytes() + b"# mine\n")
    again = PlanForm(new_folder)
    assert again.fields["layout.furnace_loads"].value == "9"
    assert "not taken up: Furnace loads: 6." in again.status.value


def test_a_bare_number_has_the_unit_of_its_field(new_folder: Path) -> None:
    form = PlanForm(new_folder)
    form.fields["responses.hardness.equivalence_margin"].value = "1"
    form.fields["responses.hardness.noise.coupon"].value = "0,4"
    form.save.click()
    assert "Saved" in form.status.value
    assert form.fields["responses.hardness.equivalence_margin"].value == "1 HRC"
    assert qb.read_study(new_folder).equivalence_margin("hardness_hrc") == 1.0


def test_a_file_changed_meanwhile_is_said_and_kept(new_folder: Path) -> None:
    form = PlanForm(new_folder)
    path = new_folder / "study.toml"
    path.write_bytes(path.read_bytes() + b"# mine\n")
    form.fields["costs.indent"].value = "0,2"
    form.save.click()
    assert "changed on disk" in form.status.value
    assert "Your changes: One indent: 0.2." in form.status.value
    assert path.read_bytes().endswith(b"# mine\n")


@pytest.mark.parametrize("then", ["save", "a bad value"])
def test_questions_about_curves_are_worked_out_whatever_is_done_meanwhile(
    folder: Path, then: str
) -> None:
    shutil.rmtree(folder / "plan")

    async def typed() -> None:
        form = PlanForm(folder)
        form.fields["costs.coupon"].value = "7"
        if then == "save":
            form.save.click()
        else:
            form.fields["costs.coupon"].value = "dear"
        for _ in range(600):
            await asyncio.sleep(0.1)
            if "Calculating" not in form.view.value:
                break
        assert "Calculating" not in form.view.value
        assert form.preview is not None
        assert form.preview.curves is not None

    asyncio.run(typed())


@pytest.mark.parametrize("broken", ["preview_of_edits", "with_curves"])
def test_a_calculation_that_breaks_off_is_told(
    folder: Path, broken: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.rmtree(folder / "plan")
    form = PlanForm(folder)

    def breaks(*_: Any) -> None:
        raise ZeroDivisionError("no coupons")

    place = PlanPreview if broken == "with_curves" else planning
    monkeypatch.setattr(place, broken, breaks)

    async def typed() -> None:
        asyncio.get_running_loop().set_exception_handler(lambda *_: None)  # told, then raised
        form.fields["costs.coupon"].value = "7"
        for _ in range(300):
            await asyncio.sleep(0.1)
            if "ZeroDivisionError" in form.view.value:
                break

    asyncio.run(typed())
    assert "could not be worked out (ZeroDivisionError: no coupons)" in form.view.value
    assert "Calculating" not in form.view.value + form.status.value


def test_a_full_disk_is_told_and_what_was_typed_stays(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plan, form = PlanForm(folder), EntryForm(qb.entry_book(folder))

    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device", "records/.part")

    monkeypatch.setattr(writing, "_part", full)
    for cell in form.cells:
        cell.value = "62"
    form.which.value, form.item.value, form.actual.value = "EC9T", "lost", "cracked"
    plan.fields["costs.coupon"].value, plan.although.value = "7", True
    for button, status, words in (
        (form.accept, form.status, "Not accepted"),
        (form.deviate, form.status, "Not entered"),
        (plan.save, plan.status, "Not saved"),
    ):
        button.click()
        assert f"{words}. The file could not be written: No space left" in status.value
        assert 'role="alert"' in status.value
    assert [cell.value for cell in form.cells] == ["62"] * 5
    assert form.actual.value == "cracked"


def test_a_correction_on_a_full_disk_is_told(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    book = qb.entry_book(folder)
    book.enter("impact", "PCRF", ["20"])
    form = EntryForm(book)

    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device", "records/.part")

    monkeypatch.setattr(writing, "_part", full)
    form.label.value = "PCRF"
    form.place.value = form.place.options[1][1]
    form.right.value, form.why.value = "12", "slip"
    form.correct.click()
    assert "Not corrected. The file could not be written" in form.status.value
    assert form.right.value == "12"


def test_a_coupon_is_typed_checked_and_kept(folder: Path) -> None:
    form = EntryForm(qb.entry_book(folder))
    code = form.coupon.value
    for cell in form.cells:
        cell.value = "621"
    assert all("decimal point lost" in message.value for message in form.cell_messages)
    for cell in form.cells:
        cell.value = "62,1"
    assert not any(message.value for message in form.cell_messages)
    form.accept.click()
    assert "Kept in hardness_entered_1.csv" in form.status.value
    assert form.coupon.value != code
    assert [cell.value for cell in form.cells] == [""] * 5
    assert set(qb.read_folder(folder)[2].readings["coupon"]) == {code}


def test_other_parts_of_the_entry_write_deviations_and_corrections(folder: Path) -> None:
    form = EntryForm(qb.entry_book(folder))
    form.response.value, form.unit.value = "impact_j", "ft lbf"
    form.cells[0].value = "11"
    code = form.coupon.value
    form.accept.click()
    form.parts.value = "Went differently"
    form.which.value, form.item.value, form.actual.value = "EC9T", "lost", "cracked"
    form.deviate.click()
    assert "Kept in deviations_entered_1.csv" in form.status.value
    form.parts.value = "Correct an entry"
    form.label.value = code
    form.place.value = next(own for _, own in form.place.options if own[2] == "impact_ftlbf")
    form.right.value, form.why.value = "12", "slip"
    form.correct.click()
    records = qb.read_folder(folder)[2]
    assert records.lost["coupon"].tolist() == ["EC9T"]
    assert records.readings["value"].tolist() == pytest.approx([12 * 1.3558179])


def test_the_last_reading_counts_while_its_field_still_has_the_cursor(folder: Path) -> None:
    form = EntryForm(qb.entry_book(folder))
    assert all(cell.continuous_update for cell in form.cells)  # each key is sent, not the last word


def test_what_was_refused_on_one_part_is_not_said_on_another(folder: Path) -> None:
    form = EntryForm(qb.entry_book(folder))
    form.cells[0].value = "61"
    form.accept.click()
    assert "Not accepted" in form.status.value
    form.parts.value = "Went differently"
    assert "Not accepted" not in form.status.value


def test_a_message_comes_beside_a_reading_when_typing_pauses(folder: Path) -> None:
    async def typed() -> None:
        form = EntryForm(qb.entry_book(folder))
        form.cells[0].value = "6"
        assert not form.cell_messages[0].value
        form.cells[0].value = "621"
        await asyncio.sleep(1.2)
        assert "decimal point lost" in form.cell_messages[0].value

    asyncio.run(typed())


def test_the_summary_below_the_cell_is_renewed_when_a_coupon_is_kept(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shown: list[tuple[str, str]] = []

    def display(data: Any, *, raw: bool, display_id: str = "", **_: Any) -> None:
        shown.append((display_id, data.get("text/html", "")))

    monkeypatch.setattr("IPython.display.display", display)
    monkeypatch.setattr("IPython.display.update_display", display)
    form = EntryForm(qb.entry_book(folder))
    form.form._ipython_display_()
    for cell in form.cells:
        cell.value = "62"
    form.accept.click()
    (name, before), _, (renewed, after) = shown
    assert name == renewed
    assert "0 of 96 coupons have readings" in before
    assert "1 of 96 coupons have readings" in after
    assert "hardness_entered_1.csv" in after
    assert "when this cell was run" not in after


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Both forms as they are first shown, with what the folder held before."""
    folder = demonstration(tmp_path_factory.mktemp("shown"))
    before = contents(folder)
    plan, entry = PlanForm(folder), EntryForm(qb.entry_book(folder))
    bundles = {
        "plan_form": plan.form.bundles(), "entry_form": entry.form.bundles(),
    }  # fmt: skip
    return {"folder": folder, "before": before, "forms": (plan, entry), "bundles": bundles}


def test_showing_the_forms_writes_nothing(both: dict[str, Any]) -> None:
    assert contents(both["folder"]) == both["before"]


def test_every_field_has_its_label(both: dict[str, Any]) -> None:
    found: list[str] = []
    for form in both["forms"]:
        for part in form.parts.options:
            form.parts.value = part
            found += described(form.form.box)
    assert len(found) > 50
    assert all(found)


@pytest.mark.parametrize(
    ("name", "words"),
    [("plan_form", "96 coupons in 12 furnace loads"), ("entry_form", "0 of 96 coupons")],
)
def test_an_export_shows_a_summary_and_loads_nothing(
    both: dict[str, Any], name: str, words: str
) -> None:
    outputs = [nbformat.v4.new_output("display_data", own) for own in both["bundles"][name]]
    assert "application/vnd.jupyter.widget-view+json" in outputs[1].data  # live, the form is shown
    cell = nbformat.v4.new_code_cell("form", outputs=outputs)
    page, _ = HTMLExporter(template_name="basic").from_notebook_node(
        nbformat.v4.new_notebook(cells=[cell])
    )
    assert words in page
    assert "A form, as it was when this cell was run" in page
    assert "Loading widget" not in page
    assert not re.findall(r"(?:src|href)=\"https?:", page)


def test_the_newest_change_is_worked_out_and_older_ones_are_not() -> None:
    done: list[tuple[str, str]] = []

    async def typed(slow: bool) -> None:
        later = Later()
        for word in ("a", "ab", "abc"):
            later.ask(
                lambda word=word: word,  # type: ignore[misc]
                lambda result: done.append(("shown", result)),
                lambda _: None,
                slow=slow,
            )
        await asyncio.sleep(0.6)

    for slow in (False, True):
        asyncio.run(typed(slow))
    assert done == [("shown", "abc")] * 2
