from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
import xlsxwriter

import quenchbook as qb
from quenchbook.columns import meaning
from quenchbook.errors import RecordError
from quenchbook.plan.entry_tables import reading_columns
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.mistakes import record_mistakes
from quenchbook.records.reading import Records, read_records

Put = Callable[..., Path]
WIDE = "order,coupon,hardness_hrc_1,hardness_hrc_2\n"
D = "what,which,item,actual,note\n"
C = "file,row,column,found,corrected,reason\n"


def values(records: Records, response: str = "hardness_hrc") -> dict[tuple[str, int], float]:
    frame = records.frame(response)
    keys = zip(frame["coupon"], frame["indent"], strict=True)
    return dict(zip(keys, frame["value"], strict=True))


def ods(rows: list[list[str]]) -> bytes:
    cells = "".join(
        "<table:table-row>"
        + "".join(
            '<table:table-cell office:value-type="string">'
            f"<text:p>{cell}</text:p></table:table-cell>"
            for cell in row
        )
        + "</table:table-row>"
        for row in rows
    )
    names = "".join(
        f' xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"'
        for name in ("office", "table", "text")
    )
    content = (
        f'<?xml version="1.0"?><office:document-content{names}><office:body><office:spreadsheet>'
        f'<table:table table:name="hardness">{cells}</table:table>'
        "</office:spreadsheet></office:body></office:document-content>"
    )
    manifest = (
        '<?xml version="1.0"?><manifest:manifest '
        'xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"/>'
    )
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("META-INF/manifest.xml", manifest)
        archive.writestr("content.xml", content)
    return target.getvalue()


@pytest.mark.parametrize(
    "content",
    [
        WIDE + "1,K7TX,62.5,62.1\n",
        "order;coupon;hardness_hrc_1;hardness_hrc_2\r\n1;K7TX;62,5;62,1\r\n",
        "order\tcoupon\thardness_hrc_1\thardness_hrc_2\n1\tK7TX\t62.5\t62.1\n",
        "order|coupon|hardness_hrc_1|hardness_hrc_2\n1|K7TX|62,5|62,1\n",
        ("\ufeff" + WIDE + "1,K7TX,62.5,62.1\n").encode(),
        (WIDE + "1,K7TX,62.5,62.1\n").encode("utf-16"),
        ("coupon;note;hardness_hrc_1;hardness_hrc_2\nK7TX;größer;62,5;62,1\n").encode("cp1252"),
        "coupon,reading,hardness_hrc\nK7TX,1,62.5\nK7TX,2,62.1\n",
        "coupon,hardness_hrc\nK7TX,62.5\nK7TX,62.1\n",
        "coupon,indent_1_hrc,indent_2_hrc\nk7tx,62.5,62.1\n",
        "Coupon,Hardness (HRC) 1,Hardness (HRC) 2\nK7TX,62.5,62.1\n",
        "coupon,hardness_1,hardness_2\nK7TX,62.5 HRC,62.1 HRC\n",
        'coupon,hardness_hrc_1,hardness_hrc_2,note\nK7TX,62.5,62.1,"chipped, a little"\n',
        "# plan {plan}\n" + WIDE + "1,K7TX,62.5,62.1\n",
        '"# plan {plan}",,,\n' + WIDE + "1,K7TX,62.5,62.1\n",
        WIDE + ",,,\n\n1,K7TX,62.5,62.1\n2,K9AD\n3,,,\n",
    ],
)
def test_a_table_is_read_however_it_was_saved(
    matrix: CouponMatrix, put: Put, content: str | bytes
) -> None:
    if isinstance(content, str):
        content = content.replace("{plan}", matrix.plan_hash)
    records = read_records(put({"any name.csv": content}), matrix)
    assert values(records) == {("K7TX", 1): 62.5, ("K7TX", 2): 62.1}


def test_an_ods_sheet_is_read(matrix: CouponMatrix, put: Put) -> None:
    data = ods([["coupon", "hardness_hrc_1", "hardness_hrc_2"], ["K7TX", "62,5", "62,1"]])
    records = read_records(put({"bench.ods": data}), matrix)
    assert values(records) == {("K7TX", 1): 62.5, ("K7TX", 2): 62.1}
    assert set(records.readings["file"]) == {"bench.ods, sheet hardness"}


def test_numbers_of_a_workbook_keep_all_digits_beside_texts_with_decimal_commas(
    matrix: CouponMatrix, put: Put
) -> None:
    target = io.BytesIO()
    workbook = xlsxwriter.Workbook(target, {"in_memory": True})
    sheet = workbook.add_worksheet("one")
    sheet.write_row(0, 0, ["coupon", "hardness_hrc_1", "hardness_hrc_2"])
    sheet.write_row(1, 0, ["K7TX", 62.123456789012, "62,5"])
    workbook.close()
    records = read_records(put({"b.xlsx": target.getvalue()}), matrix)
    assert values(records) == {("K7TX", 1): 62.123456789012, ("K7TX", 2): 62.5}


def test_energy_in_foot_pounds_becomes_joules(matrix: CouponMatrix, put: Put) -> None:
    files = {"i.csv": "coupon,impact_ftlbf\nK7TX,10\n4E79,10 J\n"}
    read = values(read_records(put(files), matrix), "impact_j")
    assert read["K7TX", 1] == pytest.approx(13.5582, abs=5e-5)
    assert read["4E79", 1] == 10.0


def test_a_thousands_mark_is_read_by_the_other_numbers_of_the_file(
    matrix: CouponMatrix, put: Put
) -> None:
    log = "furnace_load;austenitize_actual_degF\n1;1.778,4\n2;1.886\n"
    records = read_records(put({"log.csv": log}), matrix)
    assert records.deviations["actual"].tolist() == pytest.approx([970.2222, 1030.0], abs=1e-4)


@pytest.mark.parametrize("word", ["", "?", "lost", "-", "\u2013", "n/a", " N/A "])
def test_a_missing_reading_is_listed_and_no_mistake(
    matrix: CouponMatrix, put: Put, word: str
) -> None:
    records = read_records(put({"h.csv": WIDE + f"1,K7TX,62.5,{word}\n"}), matrix)
    assert values(records) == {("K7TX", 1): 62.5}
    row = records.missing.iloc[0]
    assert (row["coupon"], row["reading"], row["file"], row["row"]) == ("K7TX", 2, "h.csv", 2)


def test_a_blank_form_beside_a_filled_one_hides_nothing(matrix: CouponMatrix, put: Put) -> None:
    files = {"a.csv": WIDE + "1,K7TX,,\n", "b.csv": WIDE + "1,K7TX,62.5,62.1\n"}
    records = read_records(put(files), matrix)
    assert len(values(records)) == 2
    assert records.missing.empty


def test_an_accepted_correction_changes_the_text_and_is_listed(
    matrix: CouponMatrix, put: Put
) -> None:
    wrong = "# a comment\n" + WIDE + "1,K7QX,612,62.1\n"
    correction = (
        C + "h.csv,3,coupon,K7QX,K7TX,misread\nh.csv,3,hardness_hrc_1,612,61.2,point lost\n"
    )
    folder = put({"h.csv": wrong, "corrections.csv": correction})
    records = read_records(folder, matrix)
    assert values(records) == {("K7TX", 1): 61.2, ("K7TX", 2): 62.1}
    assert records.corrections["corrected"].tolist() == ["K7TX", "61.2"]
    assert (
        "2 corrections accepted: h.csv row 3, coupon 'K7QX' is 'K7TX' (misread)" in records.notes[0]
    )
    assert (folder / "h.csv").read_text(encoding="utf-8") == wrong


def test_a_suggested_correction_can_be_pasted(matrix: CouponMatrix, put: Put) -> None:
    target = io.BytesIO()
    workbook = xlsxwriter.Workbook(target, {"in_memory": True})
    sheet = workbook.add_worksheet("hardness")
    sheet.write_row(0, 0, ["coupon", "hardness_hrc_1", "hardness_hrc_2"])
    sheet.write_row(1, 0, ["K7QX", 62.5, 62.1])
    workbook.close()
    folder = put({"b.xlsx": target.getvalue()})
    with pytest.raises(RecordError) as caught:
        read_records(folder, matrix)
    line = caught.value.problems[0].remedy.split("corrections.csv: ")[1]
    put({"corrections.csv": C + line + "\n"})
    assert set(read_records(folder, matrix).readings["coupon"]) == {"K7TX"}


def test_a_furnace_that_ran_hot_is_analysed_as_it_was(matrix: CouponMatrix, put: Put) -> None:
    files = {
        "h.csv": WIDE + "1,K7TX,62.5,62.1\n2,AXKF,63,63.2\n",
        "log.csv": "furnace_load,austenitize_actual_degF\n1,1778\n2,1908\n",
    }
    records = read_records(put(files), matrix)
    frame = records.frame("hardness_hrc").drop_duplicates("coupon").set_index("coupon")
    assert frame["austenitize_c"].tolist() == pytest.approx([970.0, 1042.2222], abs=1e-4)
    assert frame["austenitize_c_planned"].tolist() == [970.0, 1030.0]
    assert records.notes[0] == (
        "Austenitize of furnace load 2 was 1042.2\u00a0°C, planned 1030\u00a0°C: analysed as it was run."
    )


@pytest.mark.parametrize(
    ("actual", "analysed"), [("85 min", 60.0), ("20 h", 1440.0), ("2 min", 0.0), ("2,5 h", 60.0)]
)
def test_a_slipped_delay_is_analysed_as_the_nearest_declared_level(
    matrix: CouponMatrix, put: Put, actual: str, analysed: float
) -> None:
    files = {
        "h.csv": WIDE + "1,4E79,62.5,62.1\n",
        "d.csv": D + f'cold_batch,1-3,delay,"{actual}",\n',
    }
    records = read_records(put(files), matrix)
    frame = records.frame("hardness_hrc")
    assert frame["delay_minutes"].tolist() == [analysed] * 2
    assert frame["delay_minutes_planned"].tolist() == [60.0] * 2
    assert records.notes[0].startswith("Delay of cold batch 1-3 was ")
    assert records.notes[0].endswith("the nearest declared level.")


def test_the_note_on_a_slipped_delay_says_what_it_is_analysed_as(
    matrix: CouponMatrix, put: Put
) -> None:
    files = {
        "h.csv": WIDE + "1,4E79,62.5,62.1\n",
        "d.csv": D + "cold batch,1-3,delay,85 min,late\n",
    }
    assert read_records(put(files), matrix).notes[0] == (
        "Delay of cold batch 1-3 was 85\u00a0min, planned 60\u00a0min: analysed as 60\u00a0min, "
        "the nearest declared level."
    )


HARD = WIDE + "".join(f"{n},{code},62.5,62.1\n" for n, code in enumerate(("K7TX", "K9AD"), 1))


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (
            "temper_batch,1,temper,162.5 degC,",  # as far from both
            "d.csv row 2, temper batch 1: temper: 162.5\u00a0°C is 12.5\u00a0°C from the nearest "
            "declared level 150\u00a0°C. Mistyped? If it was really run, record the coupons of that "
            "temper batch as lost for this comparison (deviations.csv: temper_batch,1,lost,temper "
            'was 162.5 degC,), or declare the factor with shape = "linear".',
        ),
        (
            "temper_batch,1,temper,250 degC,",
            "d.csv row 2, temper batch 1: temper: 250\u00a0°C is 75\u00a0°C from the nearest "
            "declared level 175\u00a0°C. Mistyped? If it was really run, record the coupons of that "
            "temper batch as lost for this comparison (deviations.csv: temper_batch,1,lost,temper "
            'was 250 degC,), or declare the factor with shape = "linear".',
        ),
        (
            "coupon,4E79,delay,10 min,",
            "d.csv row 2, coupon 4E79: delay: 10\u00a0min is 10\u00a0min from the nearest declared "
            "level 0\u00a0min on the log scale. Mistyped? If it was really run, record that coupon as lost for this "
            "comparison (deviations.csv: coupon,4E79,lost,delay was 10 min,), or declare the factor "
            'with shape = "quadratic".',
        ),
    ],
)
def test_a_level_far_from_every_declared_one_is_a_mistake(
    matrix: CouponMatrix, put: Put, row: str, message: str
) -> None:
    with pytest.raises(RecordError) as caught:
        read_records(put({"h.csv": HARD, "d.csv": D + row + "\n"}), matrix)
    assert [str(problem) for problem in caught.value.problems] == [message]


@pytest.mark.parametrize(
    ("actual", "analysed"), [("158.3", 150.0), ("166.7", 175.0), ("183.3", 175.0), ("141.7", 150.0)]
)
def test_a_third_of_the_way_to_the_next_level_still_counts(
    matrix: CouponMatrix, put: Put, actual: str, analysed: float
) -> None:
    files = {"h.csv": HARD, "d.csv": D + f"temper_batch,1,temper,{actual} degC,\n"}
    frame = read_records(put(files), matrix).frame("hardness_hrc").set_index("coupon")
    assert set(frame.loc["K7TX", "temper_c"]) == {analysed}


def test_coupons_lost_far_from_every_level_are_left_out_and_told(
    matrix: CouponMatrix, put: Put
) -> None:
    rows = "temper_batch,1,temper,250 degC,\ntemper_batch,1,lost,temper was 250 degC,\n"
    records = read_records(put({"h.csv": HARD, "d.csv": D + rows}), matrix)
    assert set(records.frame("hardness_hrc")["coupon"]) == {"K9AD"}
    assert len(records.readings) == 4
    assert records.notes[0] == (
        "Temper of temper batch 1: 250\u00a0°C is 75\u00a0°C from the nearest declared level "
        "175\u00a0°C. Nothing of its 4 lost coupons is analysed."
    )
    assert not any("the readings are used" in note for note in records.notes)


def test_what_is_told_for_single_coupons_can_settle_a_far_level(
    matrix: CouponMatrix, put: Put
) -> None:
    rows = "cold_batch,1-3,delay,10 min,\ncoupon,4E79,delay,1 h,\n"
    records = read_records(put({"h.csv": HARD, "d.csv": D + rows}), matrix)
    frame = records._as_run.set_index("coupon")
    assert frame.loc["4E79", "delay_minutes"] == 60.0


@pytest.mark.parametrize(
    ("actual", "outside"), [("1061", True), ("1059", False), ("939", True), ("941", False)]
)
def test_a_curve_is_told_when_it_is_left(
    matrix: CouponMatrix, put: Put, actual: str, outside: bool
) -> None:
    files = {"h.csv": HARD, "d.csv": D + f"furnace_load,1,austenitize,{actual} degC,\n"}
    note = read_records(put(files), matrix).notes[0]
    assert note.startswith(f"Austenitize of furnace load 1 was {actual}\u00a0°C, planned 970")
    words = "outside the tested range (970\u00a0°C to 1030\u00a0°C)."
    assert note.endswith(words if outside else "analysed as it was run.")


def test_small_differences_are_told_in_one_line_and_large_ones_singly(
    matrix: CouponMatrix, put: Put
) -> None:
    files = {
        "h.csv": HARD,
        "log.csv": "furnace_load,austenitize_actual_degC\n1,972\n2,1042\n",
        "d.csv": D
        + "".join(f"cold_batch,{b},delay,{t} min,\n" for b, t in (("1-3", 63), ("2-3", 64)))
        + "temper_batch,1,temper,152 degC,\ntemper_batch,2,temper,181 degC,\n",
    }
    records = read_records(put(files), matrix)
    assert [note.replace("\u00a0", " ") for note in records.notes[:5]] == [
        "Austenitize was not exactly as planned in 2 furnace loads, at most 12 °C off (furnace load "
        "2): analysed as it was run.",
        "Austenitize of furnace load 2 was 1042 °C, planned 1030 °C: analysed as it was run.",
        "Temper was not exactly as planned in 2 temper batches, at most 6 °C off (temper batch 2): "
        "analysed as the nearest declared level.",
        "Temper of temper batch 2 was 181 °C, planned 175 °C: analysed as 175 °C, the nearest "
        "declared level.",
        "Delay was not exactly as planned in 2 cold batches, at most 4 min off (cold batch 2-3): "
        "analysed as the nearest declared level.",
    ]
    assert len(records.deviations) == 6


def test_lines_that_begin_with_a_hash_and_a_blank_are_not_read(
    matrix: CouponMatrix, put: Put
) -> None:
    files = {
        "h.csv": "# readings of Monday\n" + WIDE + "# example: 1,K7TX,20,20\n1,K7TX,62.5,62.1\n#\n",
        "d.csv": D + "# example: coupon,K7TC,lost,cracked,seen after the quench\n",
        "c.csv": C + "# example: h.csv,6,coupon,K7TX,K7TC,misread\n",
    }
    records = read_records(put(files), matrix)
    assert values(records) == {("K7TX", 1): 62.5, ("K7TX", 2): 62.1}
    assert records.deviations.empty
    assert records.corrections.empty


def test_a_file_of_another_plan_is_one_mistake_and_the_others_are_still_read(
    matrix: CouponMatrix, put: Put
) -> None:
    other = "# plan " + "0" * 64 + "\n"
    files = {
        "a.csv": other + WIDE + "1,QQQQ,62.5,62.1\n2,ZZZZ,612,62.1,7\n",
        "b.csv": other + C + "x.csv,1,y,z,w,\n",
        "h.csv": WIDE + "1,K7TX,612,62.1\n",
    }
    with pytest.raises(RecordError) as caught:
        read_records(put(files), matrix)
    assert [problem.where for problem in caught.value.problems] == [
        "a.csv row 1", "b.csv row 1", "h.csv row 2, coupon K7TX",
    ]  # fmt: skip
    assert caught.value.problems[0].problem.startswith("belongs to plan 00000000")


def test_what_is_told_for_a_coupon_goes_before_what_is_told_for_its_batch(
    matrix: CouponMatrix, put: Put
) -> None:
    files = {
        "h.csv": WIDE + "1,K7TX,62.5,62.1\n2,4E79,62,62\n",
        "d.csv": D + "coupon,4E79,temper,175 degC,\ntemper_batch,1,temper,152 degC,\n",
    }
    frame = read_records(put(files), matrix).frame("hardness_hrc").drop_duplicates("coupon")
    assert frame["temper_c"].tolist() == [150.0, 175.0]


def test_a_coupon_in_the_wrong_bath_takes_its_route_and_its_delay(
    matrix: CouponMatrix, put: Put
) -> None:
    files = {
        "h.csv": WIDE + "1,K7TX,62.5,62.1\n2,K9AD,62,62\n",
        "d.csv": D
        + "coupon,K7TX,cold_route,dry ice,\ncoupon,K7TX,delay,1 h,\ncoupon,K9AD,cold_route,none,\n",
    }
    frame = read_records(put(files), matrix).frame("hardness_hrc").drop_duplicates("coupon")
    assert frame["cold_route"].tolist() == ["dry_ice", "none"]
    assert frame["delay_minutes"].tolist()[0] == 60.0
    assert frame["delay_minutes"].isna().tolist() == [False, True]


def test_a_lost_coupon_is_told_with_its_reason(matrix: CouponMatrix, put: Put) -> None:
    files = {
        "h.csv": WIDE + "1,K7TX,62.5,62.1\n2,CRDH,,\n3,K9AD,61,\n",
        "d.csv": D + "coupon,CRDH,lost,cracked,seen before hardness\ncoupon,K9AD,lost,dropped,\n",
    }
    records = read_records(put(files), matrix)
    assert records.lost["coupon"].tolist() == ["CRDH", "K9AD"]
    assert records.summary().splitlines()[0] == (
        "3 readings of hardness on 2 coupons in 1 furnace load; not there: "
        "2 of CRDH (lost: cracked; seen before hardness), 1 of K9AD (lost: dropped). "
        "5 planned coupons have none."
    )
    assert "1 coupon recorded as lost but read for hardness; the readings are used: K9AD." in (
        records.notes
    )


def test_nothing_is_said_to_be_complete_that_is_not(matrix: CouponMatrix, put: Put) -> None:
    whole = WIDE + "".join(f"{n},{c},62.5,62.1\n" for n, c in enumerate(matrix.frame["coupon"], 1))
    assert "; nothing was left out." in read_records(put({"h.csv": whole}), matrix).summary()
    gap = whole.replace("3,4E79,62.5,62.1", "3,4E79,62.5,")
    assert "Nothing else was left out." in read_records(put({"h.csv": gap}), matrix).summary()
    # a batch at a temper that is no level: its coupons are lost for the comparison
    far = {
        "h.csv": whole,
        "d.csv": D + "temper_batch,2,temper,163 degC,\ntemper_batch,2,lost,oven stuck,\n",
    }
    words = read_records(put(far), matrix).summary()
    assert "Nothing of its 4 lost coupons is analysed." in words
    assert "; 4 lost coupons of these are not analysed." in words
    assert "nothing was left out" not in words


def test_coupons_without_readings_and_beyond_the_plan_are_notes(
    matrix: CouponMatrix, put: Put
) -> None:
    files = {"i.csv": "coupon,impact_j\nK7TX,13.5\nK9AD,12\n4E79,14\nPHCT,15\n"}
    records = read_records(put(files), matrix)
    assert records.notes == (
        "1 coupon without impact energy: AXKF.",
        "1 coupon read for impact energy beyond the plan; the readings are used: K9AD.",
    )
    assert "No readings of hardness yet." in records.summary()


def test_notes_beside_readings_are_kept(matrix: CouponMatrix, put: Put) -> None:
    files = {"h.csv": "coupon,hardness_hrc_1,note\nK7TX,62,chipped edge\n"}
    row = read_records(put(files), matrix).deviations.iloc[0]
    assert (row["what"], row["which"], row["item"], row["note"]) == (
        "coupon", "K7TX", "note", "chipped edge",
    )  # fmt: skip


def test_files_that_are_no_tables_are_left_alone(matrix: CouponMatrix, put: Put) -> None:
    files = {
        "h.csv": WIDE + "1,K7TX,62.5,62.1\n",
        "~$h.xlsx": b"lock",
        ".hidden.csv": "x",
        "photo.jpg": b"\xff",
        "old.xls": b"\xd0",
    }
    records = read_records(put(files), matrix)
    assert records.notes[-1] == "old.xls was not read: save it as .xlsx, .ods or .csv."


def test_a_frame_has_every_column_of_the_plan_in_furnace_order(
    matrix: CouponMatrix, put: Put
) -> None:
    files = {"h.csv": WIDE + "1,PHCT,62.5,62.1\n2,K7TX,61,61.5\n"}
    records = read_records(put(files), matrix)
    frame = records.frame("hardness_hrc")
    planned = {f"{factor.column}_planned" for factor in matrix.study.factors}
    assert set(frame.columns) == {*matrix.frame.columns, *planned, "indent", "value"}
    assert frame["coupon"].tolist() == ["K7TX", "K7TX", "PHCT", "PHCT"]
    assert frame["indent"].tolist() == [1, 2, 1, 2]
    assert frame.index.tolist() == [0, 1, 2, 3]
    assert frame["delay_minutes"].isna().tolist() == [True, True, False, False]
    assert frame["temper_batch"].dtype == matrix.frame["temper_batch"].dtype


def test_reading_changes_neither_the_plan_nor_earlier_records(
    matrix: CouponMatrix, put: Put
) -> None:
    before = matrix.frame.copy()
    files = {"h.csv": WIDE + "1,K7TX,62.5,62.1\n", "d.csv": D + "coupon,4E79,temper,175 degC,\n"}
    records = read_records(put(files), matrix)
    for frame in (records.frame("hardness_hrc"), records.to_frame()):
        frame["value"] = 0.0
    pd.testing.assert_frame_equal(matrix.frame, before)
    assert values(records)["K7TX", 1] == 62.5


def test_words_of_people_are_escaped_in_a_notebook(matrix: CouponMatrix, put: Put) -> None:
    nasty = "<script>alert(1)</script>"
    files = {
        "h.csv": WIDE + "1,K7TX,62.5,62.1\n2,CRDH,,\n",
        "d.csv": D + f"coupon,CRDH,lost,{nasty},{nasty}\ncoupon,K7TX,note,,{nasty}\n",
    }
    page = read_records(put(files), matrix)._repr_html_()
    assert "<script>" not in page
    assert "&lt;script&gt;" in page


def test_records_of_a_published_study_are_read(coated_bars_matrix: CouponMatrix) -> None:
    folder = coated_bars_matrix.study.folder / "records"
    records = read_records(folder, coated_bars_matrix)
    frame = records.frame("resistance")
    assert len(frame) == 24
    written = pd.read_csv(folder / "resistance.csv", comment="#", index_col="coupon")["resistance"]
    assert frame.set_index("coupon")["value"].to_dict() == written.to_dict()
    assert records.summary().startswith("24 readings of resistance on 24 bars in 6 furnace heats;")


def test_mistakes_are_a_table_and_a_text(matrix: CouponMatrix, put: Put) -> None:
    folder = put({"a.csv": WIDE + "1,K7TX,612,62\n2,K9AD,hard,62\n", "b.csv": ""})
    mistakes = record_mistakes(folder, matrix)
    frame = mistakes.to_frame()
    assert frame["file"].tolist() == ["a.csv", "a.csv", "b.csv"]
    assert frame["row"].tolist()[:2] == [2, 3]
    assert frame["row"].isna().tolist() == [False, False, True]
    assert frame["column"].tolist() == ["hardness_hrc_1", "hardness_hrc_1", ""]
    assert frame["problem"].tolist()[0] == "coupon K7TX: hardness_hrc is 612, expected 0 to 70"
    assert frame["remedy"].tolist()[0] == "Was the decimal point lost (61.2)?"
    assert repr(mistakes) == "<Mistakes: 3 mistakes in 2 files>"
    assert mistakes._repr_html_().count("<tr") == 4
    assert all(meaning(str(column))[0] for column in frame)
    assert mistakes.summary() == (
        "3 mistakes in 2 files\n"
        "a.csv\n"
        "  row 2, coupon K7TX: hardness_hrc is 612, expected 0 to 70. "
        "Was the decimal point lost (61.2)?\n"
        "  row 3, coupon K9AD: hardness_hrc is 'hard', not a number in HRC. "
        "Write the reading, or leave the cell empty.\n"
        "b.csv\n"
        "  is empty. Fill it in, or delete it."
    )


def test_good_records_have_no_mistakes(matrix: CouponMatrix, put: Put) -> None:
    mistakes = record_mistakes(put({"a.csv": WIDE + "1,K7TX,62,62\n"}), matrix)
    assert len(mistakes) == 0
    assert mistakes.to_frame().empty
    assert mistakes.summary() == "No mistake found in the records."


def test_the_records_of_the_demo_are_read_with_one_line_for_small_differences(
    plane_irons_matrix: CouponMatrix,
) -> None:
    records = read_records(plane_irons_matrix.study.folder / "records", plane_irons_matrix)
    assert records.readings["response"].value_counts().to_dict() == {
        "hardness_hrc": 475, "impact_j": 48,
    }  # fmt: skip
    assert not any("lies" in note for note in records.notes)
    logged = [note for note in records.notes if note.startswith("Austenitize")]
    assert len(logged) == 2
    assert logged[1].startswith("Austenitize of furnace load 7 was 982\u00a0°C")
    frame = records.frame("hardness_hrc")
    late = frame.loc[frame["cold_batch"] == "1-4", "delay_minutes"]
    assert set(late) == {60.0}


@pytest.mark.parametrize("header", ["crack_free_percent", "crack_free (%)", "crack_free (percent)"])
def test_a_response_in_per_cent_is_read_from_the_table_its_plan_asks_for(
    header: str, tmp_path: Path
) -> None:
    text = """
format = 1
key = "cracks"
title = "Cracks"
question = "Which oil cracks least?"
author = "invented in a test"
date = "2026-01-01"

[factors.oil]
levels = ["slow", "fast"]
set_for = "furnace_load"

[responses.crack_free]
unit = "%"

[layout]
furnace_loads = 4
coupons_per_load = 2
"""
    (tmp_path / "records").mkdir()
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    matrix, _ = qb.plan_study(tmp_path, seed=3)
    (response,) = matrix.study.responses
    assert reading_columns(response) == ("crack_free_percent",)
    rows = "".join(f"{code},80\n" for code in matrix.frame["coupon"])
    table = f"# plan {matrix.plan_hash}\ncoupon,{header}\n{rows}"
    (tmp_path / "records" / "c.csv").write_text(table, encoding="utf-8")
    _, _, records = qb.read_folder(tmp_path)
    assert (records.frame("crack_free_percent")["value"] == 80.0).all()
