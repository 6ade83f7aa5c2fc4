"""The bench page in Chromium at 360 px: filled, reloaded, saved, read back by the reader."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

import quenchbook as qb
from quenchbook.plan.labels import CHARACTERS, all_codes, nearest_codes
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.report.phone_page import write_phone_page
from quenchbook.study.definition import Layout, Response, Study
from quenchbook.study.factors import Factor

pytestmark = pytest.mark.browser

START = "2026-11-25T08:00:00Z"
SMALLEST_TARGET = 44  # CSS px; WCAG 2.2, success criterion 2.5.5 (AAA)
LEAST_CONTRAST = 4.5  # WCAG 2.2, success criterion 1.4.3 (AA)
HOSTILE = "</script><img src=x onerror=alert(1)><script>alert(2)</script>"


@pytest.fixture
def address(plane_irons_matrix: CouponMatrix, tmp_path: Path) -> str:
    return write_phone_page(plane_irons_matrix, tmp_path / "phone.html").as_uri()


@pytest.fixture
def phone(browser: Browser) -> Iterator[BrowserContext]:
    """A phone of 360 px whose clock the test moves; any request or error fails the test."""
    context = browser.new_context(
        viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True, timezone_id="UTC"
    )
    context.set_default_timeout(5000)
    context.clock.install(time=START)
    asked: list[str] = []
    wrong: list[str] = []
    context.on("request", lambda request: asked.append(request.url))
    context.on("weberror", lambda error: wrong.append(str(error.error)))
    context.on(
        "console", lambda message: wrong.append(message.text) if message.type == "error" else None
    )
    context.on("dialog", lambda dialog: wrong.append(dialog.message))
    context.route("**/*", lambda route: route.continue_() if route.request.url.startswith("file:") else route.abort())  # fmt: skip
    yield context
    context.close()
    assert [url for url in asked if not re.match(r"(file:.*/\w+\.html|blob:)", url)] == []
    assert wrong == []


@pytest.fixture
def page(phone: BrowserContext, address: str) -> Page:
    page = phone.new_page()
    page.goto(address)
    return page


def otherwise_built_study(held: dict[str, str]) -> Study:
    """A soak, a quenchant and a temper that are varied; each coupon has its own wait."""
    factors = (
        Factor("austenitize", "austenitize_c", (800.0, 830.0), "temperature", "furnace_load"),
        Factor("soak", "soak_minutes", (10.0, 30.0), "time", "furnace_load", "linear"),
        Factor("quenchant", "quenchant", ("oil", "plates"), "", "furnace_load"),
        Factor("cold_route", "cold_route", ("none", "freezer"), "", "cold_batch"),
        Factor("temper", "temper_c", (150.0, 175.0), "temperature", "temper_batch"),
        Factor("delay", "delay_minutes", (0.0, 60.0), "time", "coupon", "levels", "cold_route", ("freezer",)),
    )  # fmt: skip
    hardness = Response("hardness_hrc", "hardness", "HRC", "hardness")
    return Study(
        "other", "Built otherwise (invented)", "?", "invented", "2026-01-01", "CC-BY-4.0", factors,
        (hardness,), (), Layout(8, 8, coupons_per_temper_batch=8), held_constant=held,
    )  # fmt: skip


def press(page: Page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()


def stamp(page: Page, name: str) -> None:
    press(page, f"{name}: tap to stamp the time")


def wait(page: Page, minutes: float) -> None:
    page.clock.run_for(1)
    page.clock.fast_forward(round(minutes * 60_000) - 1)
    page.clock.run_for(1000 if minutes >= 1 else 0)


def saved(page: Page, folder: Path) -> dict[str, bytes]:
    """Press every button that saves a CSV file, twice; what was saved."""
    folder.mkdir(exist_ok=True)
    press(page, "Save")
    files = {}
    for own in page.get_by_role("button", name=re.compile(r"^Save .*\.csv$")).all():
        contents = []
        for _ in range(2):
            with page.expect_download() as download:
                own.click()
            path = folder / download.value.suggested_filename
            download.value.save_as(path)
            contents.append(path.read_bytes())
        assert contents[0] == contents[1]
        files[path.name] = contents[0]
    return files


def fill_two_loads(page: Page) -> None:
    for load, actual in ((1, "1028,5"), (2, "968.5")):
        setting = {1: "1030\u00a0°C", 2: "970\u00a0°C"}[load]
        stamp(page, f"in, Furnace load {load}")
        wait(page, 30)
        stamp(page, f"at {setting}, Furnace load {load}")
        wait(page, 21.5)
        stamp(page, f"out, soak 20\u00a0min, Furnace load {load}")
        page.get_by_label(f"Austenitize that was really run, Furnace load {load}").fill(actual)
        if load == 1:
            press(page, "Next furnace load")


def test_what_was_typed_survives_a_reload_and_is_read_back(
    page: Page, plane_irons_matrix: CouponMatrix, tmp_path: Path
) -> None:
    fill_two_loads(page)
    page.get_by_label("Note on Furnace load 2").fill('door "open"; for a minute, twice')
    press(page, "Previous furnace load")
    stamp(page, "quenched, DDDF")
    wait(page, 2)
    stamp(page, "quenched, AYPR")
    wait(page, 63)
    stamp(page, "into the cold, Cold batch 1-4")
    page.get_by_label("Wait that was really run, Cold batch 1-1, minutes").fill("3,5")
    page.locator("li", has_text="CTFT").locator("summary").click()
    page.get_by_label("Is CTFT lost?").select_option("cracked")
    page.get_by_label("Note on CTFT").fill("from a corner")
    page.locator("li", has_text="R9HH").locator("summary").click()
    page.get_by_label("Note on R9HH").fill("1,5 mm of scale")  # no number of this table

    typed = {"4FTD": ["64,7", "64.2", "63,9", "64", "63.95"], "EC9T": ["61,4", "", "61.7", "", ""]}
    press(page, "Test")
    for code, values in typed.items():
        for number, text in enumerate(values, start=1):
            page.get_by_label(f"Indent {number} of {code}").fill(text)
        page.get_by_role("button", name="Next: ").click()
    page.get_by_label("Note on EXFP").fill("scale left on")
    press(page, "impact energy")
    page.get_by_label("Impact energy of PCRF").fill("15,5")

    page.reload()
    assert page.get_by_label("Impact energy of PCRF").input_value() == "15,5"
    press(page, "hardness")
    page.get_by_label("Choose coupon").select_option(label="1 4FTD \u2713")
    values = [page.get_by_label(f"Indent {n} of 4FTD").input_value() for n in range(1, 6)]
    assert values == typed["4FTD"]
    press(page, "Furnace")
    page.get_by_label("Choose furnace load").select_option(label="Furnace load 2")
    assert (
        page.get_by_label("Austenitize that was really run, Furnace load 2").input_value()
        == "968.5"
    )

    files = saved(page, tmp_path / "records")
    assert sorted(files) == [
        "deviations_phone_3db02e10.csv", "furnace_log_phone_3db02e10.csv",
        "hardness_phone_3db02e10.csv", "impact_phone_3db02e10.csv",
    ]  # fmt: skip
    first = f"# plan {plane_irons_matrix.plan_hash}\n".encode()
    assert all(data.startswith(first) for data in files.values())
    records = qb.read_records(tmp_path / "records", plane_irons_matrix)
    read = {
        (row.response, row.coupon, row.reading): row.value for row in records.readings.itertuples()
    }
    assert read == {
        **{("hardness_hrc", "4FTD", n): v for n, v in enumerate([64.7, 64.2, 63.9, 64, 63.95], 1)},
        ("hardness_hrc", "EC9T", 1): 61.4,
        ("hardness_hrc", "EC9T", 3): 61.7,
        ("impact_j", "PCRF", 1): 15.5,
    }
    told = {(row.what, row.which, row.item): row for row in records.deviations.itertuples()}
    assert told["furnace_load", "1", "austenitize"].actual == 1028.5
    assert told["furnace_load", "2", "austenitize"].actual == 968.5
    assert told["cold_batch", "1-4", "delay"].actual == pytest.approx(63, abs=0.1)
    assert told["cold_batch", "1-1", "delay"].actual == 3.5
    assert told["furnace_load", "2", "note"].note.endswith('; door "open"; for a minute, twice')
    assert "soak 21.5 min" in told["furnace_load", "1", "note"].note
    assert told["coupon", "EXFP", "note"].note == "scale left on"
    assert told["coupon", "R9HH", "note"].note == "1,5 mm of scale"
    assert records.lost[["coupon", "reason"]].to_numpy().tolist() == [
        ["CTFT", "cracked; from a corner"]
    ]


def test_a_misread_code_is_a_proposal_and_never_changed_in_silence(page: Page) -> None:
    box = page.get_by_label("Check a code as read")
    box.fill("r9hk")
    expect(page.get_by_text("R9HK is not in this plan.")).to_be_visible()
    assert box.input_value() == "r9hk"
    press(page, "Yes, it is R9HH")
    assert box.input_value() == "R9HH"
    expect(page.get_by_text("R9HH: right, number 1 here.")).to_be_visible()
    box.fill("7XPX")
    expect(
        page.get_by_text(re.compile(r"7XPX belongs to furnace load \d+, not here"))
    ).to_be_visible()


def test_the_tester_is_led_to_the_coupon_in_hand(page: Page) -> None:
    press(page, "Test")
    box = page.get_by_label("Check a code as read")
    box.fill("4FTD")
    expect(page.get_by_text("4FTD: right, this one is its turn.")).to_be_visible()
    box.fill("EXFP")
    expect(page.get_by_text("EXFP is number 3 of the order, not this one.")).to_be_visible()
    press(page, "Go to EXFP")
    expect(page.get_by_label("Indent 1 of EXFP")).to_be_visible()


def test_codes_of_the_script_are_those_of_python(
    page: Page, plane_irons_matrix: CouponMatrix
) -> None:
    for length in (4, 5):
        made = page.evaluate(
            "([characters, length]) => allCodes(characters, length)", [CHARACTERS, length]
        )
        assert tuple(made) == all_codes(length)
    codes = plane_irons_matrix.frame["coupon"].tolist()
    read = [code[:2] + "X" + code[3:] for code in all_codes(4)]
    found = page.evaluate(
        "([read, codes]) => read.map((own) => nearestCodes(own, codes))", [read, codes]
    )
    assert found == [nearest_codes(own, codes) for own in read]


def test_timers_rest_on_stamped_times_and_survive_a_reload(page: Page) -> None:
    stamp(page, "at 1030\u00a0°C, Furnace load 1")
    wait(page, 12)
    timer = page.locator(".timer").first
    assert timer.inner_text() == "soak: 7:59 left of 20\u00a0min"
    page.reload()
    wait(page, 6)
    assert re.fullmatch("soak: 1:5[78] left of 20\u00a0min", timer.inner_text())
    wait(page, 4)
    assert re.fullmatch("soak: 2:0[34] over 20\u00a0min", timer.inner_text())
    assert "over" in (timer.get_attribute("class") or "")
    stamp(page, "out, soak 20\u00a0min, Furnace load 1")
    assert re.fullmatch("soak: 22:0[34], planned 20\u00a0min", timer.inner_text())


def test_the_end_of_a_soak_is_said(page: Page) -> None:
    stamp(page, "at 1030\u00a0°C, Furnace load 1")
    press(page, "Next furnace load")
    wait(page, 19)
    said = page.locator("#said")
    assert "time is up" not in said.inner_text()
    wait(page, 1.1)
    assert said.inner_text() == "Furnace load 1, soak: time is up."


def test_a_stamp_is_not_stamped_over_and_can_be_corrected(page: Page) -> None:
    stamp(page, "in, Furnace load 1")
    press(page, "change the time of in, Furnace load 1")
    page.get_by_label("in, Furnace load 1: day and time").fill("2026-11-25T07:30:10")
    assert page.locator(".stamped b").first.inner_text() == "07:30:10"
    press(page, "change the time of in, Furnace load 1")
    press(page, "Remove this time")
    page.get_by_role("button", name="Remove it? Press once more").click()  # a bounce: at once
    assert page.locator(".stamped").count() == 1
    wait(page, 0.02)
    press(page, "Remove it? Press once more")
    assert page.locator(".stamped").count() == 0


def test_an_impossible_reading_is_told_kept_and_not_saved(page: Page, tmp_path: Path) -> None:
    press(page, "Test")
    field = page.get_by_label("Indent 1 of 4FTD")
    field.fill("612")
    field.blur()
    words = "612: expected 0 to 70. Was the decimal point lost (61.2)?"
    expect(page.get_by_text(words)).to_be_visible()
    assert field.get_attribute("aria-invalid") == "true"
    press(page, "Save")
    expect(page.get_by_text(f"4FTD, indent 1: {words}")).to_be_visible()
    assert page.get_by_role("button", name="Save hardness_phone_3db02e10.csv").is_disabled()
    page.reload()
    press(page, "Test")
    press(page, "Previous coupon")
    assert page.get_by_label("Indent 1 of 4FTD").input_value() == "612"


def test_a_temperature_read_in_fahrenheit_is_saved_with_its_unit(
    page: Page, plane_irons_matrix: CouponMatrix, tmp_path: Path
) -> None:
    field = page.get_by_label("Austenitize that was really run, Furnace load 1")
    field.fill("1886")
    field.blur()
    expect(page.get_by_text("1886: expected 790 to 1180, °C.")).to_be_visible()
    press(page, "Read in °C: change to °F")
    expect(page.get_by_text("expected 790")).to_be_hidden()
    saved(page, tmp_path / "records")
    records = qb.read_records(tmp_path / "records", plane_irons_matrix)
    assert records.deviations["actual"].tolist() == [pytest.approx(1030, abs=1e-6)]


def test_what_the_clock_says_is_written_where_nothing_was_typed(
    phone: BrowserContext, tmp_path: Path
) -> None:
    held = {"temper_cycles": "2", "temper_time": "2 h"}
    matrix = qb.coupon_matrix(otherwise_built_study(held), seed=1)
    page = phone.new_page()
    page.goto(write_phone_page(matrix, tmp_path / "other.html").as_uri())
    load = matrix.frame[matrix.frame["furnace_load"] == 1]
    cold = load[load["delay_minutes"] == 60]["coupon"].tolist()
    page.get_by_role("button", name=re.compile("^at 8.0.°C, Furnace load 1")).click()
    wait(page, 11.5)
    stamp(page, "out, Furnace load 1")
    page.get_by_label("Quenchant that was really run").select_option("plates")
    stamp(page, f"quenched, {cold[0]}")
    wait(page, 58)
    stamp(page, f"into the cold, {cold[0]}")
    press(page, "Temper")
    for cycle in ("temper 1", "temper 2"):
        page.get_by_role("button", name=re.compile(rf"^in, Temper batch 1, {cycle}")).click()
        wait(page, 130)
    page.get_by_label("Temper that was really run, Temper batch 1").fill("151,5")
    saved(page, tmp_path / "records")
    records = qb.read_records(tmp_path / "records", matrix)
    told = {(row.what, row.which, row.item): row.actual for row in records.deviations.itertuples()}
    assert told["furnace_load", "1", "soak"] == pytest.approx(11.5, abs=0.1)
    assert told["furnace_load", "1", "quenchant"] == "plates"
    assert told["coupon", cold[0], "delay"] == pytest.approx(58, abs=0.1)
    assert told["temper_batch", "1", "temper"] == 151.5
    [note] = records.deviations.query("what == 'temper_batch' and item == 'note'")["note"]
    assert re.fullmatch(r"temper 1 in 2026-11-25 09:09:3\d; temper 2 in 11:19:3\d", note)


def test_clear_asks_twice_and_a_bounce_does_not_answer(page: Page) -> None:
    page.get_by_label("Note on Furnace load 1").fill("kept")
    press(page, "Save")
    press(page, "Clear this phone")
    page.get_by_role("button", name="Delete all 1 values of this plan?").click()
    expect(page.get_by_role("button", name="Delete all 1 values of this plan?")).to_be_visible()
    wait(page, 0.02)
    press(page, "Delete all 1 values of this plan?")
    wait(page, 0.02)
    page.reload()
    press(page, "Furnace")
    assert page.get_by_label("Note on Furnace load 1").input_value() == "kept"
    press(page, "Save")
    for words in (
        "Clear this phone",
        "Delete all 1 values of this plan?",
        "Sure? Press once more to delete",
    ):
        press(page, words)
        wait(page, 0.02)
    press(page, "Furnace")
    assert page.get_by_label("Note on Furnace load 1").input_value() == ""


def test_a_saved_copy_is_taken_up_by_another_phone(
    page: Page, browser: Browser, address: str, tmp_path: Path
) -> None:
    fill_two_loads(page)
    press(page, "Save")
    with page.expect_download() as download:
        press(page, "Save backup_phone_3db02e10.json")
    copy = tmp_path / "copy.json"
    download.value.save_as(copy)
    other = browser.new_context(viewport={"width": 360, "height": 740}).new_page()
    other.goto(address)
    other.get_by_label("Austenitize that was really run, Furnace load 1").fill("1001")
    press(other, "Save")
    wrong = tmp_path / "wrong.json"
    wrong.write_text(json.dumps({**json.loads(copy.read_text()), "plan": "f" * 64}))
    other.get_by_label("Take up a saved copy").set_input_files(wrong)
    expect(
        other.get_by_text("The copy belongs to plan ffffffff, this page to 3db02e10.")
    ).to_be_visible()
    other.get_by_label("Take up a saved copy").set_input_files(copy)
    press(other, "Take the 7 that are not here")
    press(other, "Furnace")
    other.get_by_label("Choose furnace load").select_option(label="Furnace load 1")
    own = other.get_by_label("Austenitize that was really run, Furnace load 1")
    assert own.input_value() == "1001"  # what is on this phone is not replaced unasked
    assert other.locator(".stamped").count() == 3
    other.context.close()


def test_two_open_tabs_lose_nothing_of_each_other(
    phone: BrowserContext, page: Page, address: str
) -> None:
    second = phone.new_page()
    second.goto(address)
    page.get_by_label("Note on Furnace load 1").fill("first tab")
    second.get_by_label("Austenitize that was really run, Furnace load 1").fill("1029")
    page.reload()
    assert page.get_by_label("Note on Furnace load 1").input_value() == "first tab"
    assert (
        page.get_by_label("Austenitize that was really run, Furnace load 1").input_value() == "1029"
    )


def test_a_browser_that_keeps_nothing_says_so(phone: BrowserContext, address: str) -> None:
    phone.add_init_script("Storage.prototype.setItem = () => { throw new Error('full'); };")
    page = phone.new_page()
    page.goto(address)
    assert "This browser keeps nothing" in page.get_by_role("alert").inner_text()
    page.get_by_label("Note on Furnace load 1").fill("still usable")
    press(page, "Save")
    press(page, "Furnace")
    assert page.get_by_label("Note on Furnace load 1").input_value() == "still usable"


def test_the_tester_sees_nothing_of_the_treatment(
    page: Page, plane_irons_matrix: CouponMatrix
) -> None:
    fill_two_loads(page)
    words = re.compile(
        r"freezer|dry ice|nitrogen|no cold|\bwait\b|°C|\bload|\bbatch|temper\b", re.IGNORECASE
    )
    assert words.search(page.locator("main").inner_text())
    press(page, "Test")
    press(page, "Hide the furnace screens from the tester")
    for _ in range(3):
        wait(page, 1)
        seen = page.locator("body").inner_text().replace(plane_irons_matrix.study.title, "")
        assert not words.search(seen), words.search(seen)
        assert page.locator("#screens button").all_inner_texts() == ["Test", "Save"]
        page.get_by_role("button", name="Next coupon").click()
    press(page, "Save")
    assert page.get_by_text("show as text").count() == 0
    press(page, "Show the furnace screens")
    wait(page, 0.02)
    press(page, "Are all tests done? Then press once more")
    assert page.locator("#screens button").all_inner_texts() == [
        "Furnace",
        "Temper",
        "Test",
        "Save",
    ]


@pytest.mark.parametrize("width", [320, 360])
def test_nothing_is_wider_than_the_phone(page: Page, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 640})
    fill_two_loads(page)
    press(page, "change the time of in, Furnace load 2")
    for screen in ("", "Furnace", "Temper", "Test", "Save"):
        if screen:
            press(page, screen)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        inner = page.evaluate(WIDEST)
        assert inner <= width - 16  # nothing reaches into the margin


def test_every_control_has_a_name_and_room_for_a_glove(page: Page) -> None:
    fill_two_loads(page)
    for screen in ("Furnace", "Temper", "Test", "Save"):
        press(page, screen)
        controls = page.evaluate(
            """() => [...document.querySelectorAll('button, input, select, textarea, summary')]
            .filter((own) => own.checkVisibility())
            .map((own) => [own.getAttribute('aria-label') || own.labels?.[0]?.innerText ||
              own.innerText, own.getBoundingClientRect().height, own.getBoundingClientRect().width])"""
        )
        assert len(controls) > 10
        assert [own for own in controls if not own[0].strip()] == []
        assert [own for own in controls if min(own[1:]) < SMALLEST_TARGET] == []
        ids = page.evaluate("[...document.querySelectorAll('[id]')].map((own) => own.id)")
        assert len(ids) == len(set(ids))
        levels = page.evaluate(
            "[...document.querySelectorAll('h1, h2, h3, h4')].map((own) => Number(own.tagName[1]))"
        )
        assert all(after - before <= 1 for before, after in pairwise(levels))


WIDEST = """() => Math.max(...[...document.querySelectorAll('main *')]
  .filter((own) => own.checkVisibility()).map((own) => own.getBoundingClientRect().right))"""


CONTRASTS = """() => {
  const light = (text) => {
    const [r, g, b] = text.match(/[\\d.]+/g).map(Number).map((own) => own / 255)
      .map((own) => own <= 0.04045 ? own / 12.92 : ((own + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ground = (own) => {
    const colour = getComputedStyle(own).backgroundColor;
    return colour !== 'rgba(0, 0, 0, 0)' || !own.parentElement ? colour : ground(own.parentElement);
  };
  return [...document.querySelectorAll('body *')]
    .filter((own) => own.checkVisibility() && !own.disabled && own.tagName !== 'OPTION')
    .filter((own) => [...own.childNodes].some((node) => node.nodeType === 3 && node.data.trim()) ||
      ['INPUT', 'SELECT'].includes(own.tagName))
    .map((own) => {
      const [a, b] = [light(getComputedStyle(own).color), light(ground(own))];
      return [own.textContent.slice(0, 40), (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05)];
    });
}"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_stand_out_from_their_ground(page: Page, scheme: str) -> None:
    page.emulate_media(color_scheme=scheme)
    fill_two_loads(page)
    page.get_by_label("Check a code as read").fill("R9HK")
    wait(page, 60)
    for screen in ("", "Temper", "Test", "Save"):
        if screen:
            press(page, screen)
        found = page.evaluate(CONTRASTS)
        assert len(found) > 10
        assert [own for own in found if own[1] < LEAST_CONTRAST] == []


def test_the_keyboard_is_enough(page: Page) -> None:
    page.get_by_role("button", name="in, Furnace load 1: tap to stamp the time", exact=True).focus()
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == (
        "change the time of in, Furnace load 1"
    )
    page.get_by_role("button", name="Test", exact=True).focus()
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.tagName") == "H2"
    page.get_by_label("Indent 1 of 4FTD").focus()
    for text in ("64.1", "64.2", "64.3", "64.4", "64.5"):
        page.keyboard.type(text)
        page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.innerText") == "Next: 2 EC9T"
    page.keyboard.press("Enter")
    expect(page.get_by_label("Indent 1 of EC9T")).to_be_visible()


def test_the_page_cannot_ask_for_anything(browser: Browser, address: str) -> None:
    page = browser.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(address)
    told: list[str] = []
    page.on("console", lambda message: told.append(message.text))
    wanted = "() => fetch('https://example.org/').then(() => 'sent', () => 'refused')"
    assert page.evaluate(wanted) == "refused"
    assert "violates the following Content Security Policy directive" in told[0]
    assert asked == [address]
    page.close()


def test_hostile_words_of_a_study_run_nothing(
    phone: BrowserContext, plane_irons_matrix: CouponMatrix, tmp_path: Path
) -> None:
    study = plane_irons_matrix.study
    factors = tuple(
        own if own.is_numeric else replace(own, words=dict.fromkeys(map(str, own.levels), HOSTILE))
        for own in study.factors
    )
    study = replace(study, title=HOSTILE, factors=factors, held_constant={"wrap": HOSTILE})
    path = write_phone_page(replace(plane_irons_matrix, study=study), tmp_path / "hostile.html")
    page = phone.new_page()
    page.goto(path.as_uri())
    assert page.locator("h1").inner_text() == HOSTILE
    assert page.locator("li").first.inner_text().count(HOSTILE) == 1
    assert page.locator("img").count() == 0
