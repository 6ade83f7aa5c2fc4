from __future__ import annotations

import math
from pathlib import Path

import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook.errors import RecordError

HEAD = (
    "study,kind,quantity,unit,effect,level,against,level_mean,level_sd,level_coupons,"
    "against_mean,against_sd,against_coupons,estimate,std_error,source"
)
GOOD = "A,total,impact energy,J,ratio,dry ice,none,12,2,6,10,2,6,,,paper"


def written(folder: Path, *rows: str, head: str = HEAD) -> Path:
    path = folder / "evidence.csv"
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def mistakes(folder: Path, *rows: str, head: str = HEAD) -> str:
    with pytest.raises(RecordError) as caught:
        qb.read_evidence(written(folder, *rows, head=head))
    return str(caught.value)


def test_a_study_without_the_file_has_an_empty_table(tmp_path: Path) -> None:
    assert len(qb.read_evidence(tmp_path)) == 0


def test_a_row_keeps_what_the_source_does_not_tell_as_not_told(tmp_path: Path) -> None:
    (row,) = qb.read_evidence(written(tmp_path, GOOD.replace("12,2,6", "12,,6"))).rows
    assert math.isnan(row.level_arm.sd)
    assert row.furnace_loads == 0
    assert row.coupons == 12


def test_energies_in_foot_pounds_are_kept_in_joule(tmp_path: Path) -> None:
    (row,) = qb.read_evidence(
        written(tmp_path, GOOD.replace(",J,ratio", ",ft lbf,difference"))
    ).rows
    assert row.unit == "J"
    assert row.level_arm.mean == pytest.approx(12 * 1.3558179, rel=1e-7)  # NIST SP 811


def test_furnace_conditions_are_read_in_their_units(tmp_path: Path) -> None:
    head = f"{HEAD},temper (degF),delay"
    (row,) = qb.read_evidence(written(tmp_path, f"{GOOD},400,1 h", head=head)).rows
    assert row.settings["temper_c"] == pytest.approx(204.44, abs=0.01)
    assert row.settings["delay_minutes"] == 60


def test_decimal_commas_are_read(tmp_path: Path) -> None:
    path = written(
        tmp_path, "A;total;wear;mg;ratio;dry ice;none;1,25;0,2;6;1,5;0,3;6;;;paper",
        head=HEAD.replace(",", ";"),
    )  # fmt: skip
    assert qb.read_evidence(path).rows[0].level_arm.mean == 1.25


def test_all_mistakes_of_a_file_stand_in_one_message(tmp_path: Path) -> None:
    text = mistakes(
        tmp_path,
        GOOD,
        GOOD,
        "B,totl,impact energy,J,ratio,dry ice,none,12,2,6,10,2,6,,,paper",
        "C,total,impact energy,J,ratio,dry ice,none,12,2,,10,-2,6,,,paper",
        "D,total,impact energy,J,ratio,dry ice,none,0,2,6,10,2,x,,,",
        "E,total,impact energy,J,ratio,dry ice,none,,,,,,,3.1,,paper",
        "F,total,impact energy,J,ratio,dry ice,none,12,,6,10,,6,0.1,0.1,paper",
    )
    for words in (
        "evidence.csv row 3, A: the same study, kind and comparison stand in row 2 too",
        "row 4, B: kind is 'totl'. Did you mean total?",
        "row 5, C: level_coupons is empty",
        "row 5, C: against_sd is -2",
        "row 6, D: source is empty",
        "row 6, D: level_mean is 0, a ratio needs values above zero",
        "row 6, D: against_coupons is 'x', not a number",
        "row 7, E: has an estimate without a standard error above zero",
        "row 7, E: estimate is 3.1; of a ratio it is the natural logarithm",
        "row 8, F: has means of the arms and an estimate too",
    ):
        assert words in text


def test_an_unknown_column_is_named_with_the_nearest_known_one(tmp_path: Path) -> None:
    text = mistakes(tmp_path, f"{GOOD},7", head=f"{HEAD},furnace_load")
    assert "the column 'furnace_load' is not known here. Did you mean furnace_loads?" in text


def test_differences_of_one_quantity_need_one_unit(tmp_path: Path) -> None:
    text = mistakes(
        tmp_path,
        "A,total,wear,mg,difference,dry ice,none,12,2,6,10,2,6,,,paper",
        "B,total,wear,mm3,difference,dry ice,none,12,2,6,10,2,6,,,paper",
    )
    assert "the difference is in 'mm3', in row 2 in 'mg'" in text


def test_ratios_in_different_units_belong_together(tmp_path: Path) -> None:
    table = qb.read_evidence(
        written(tmp_path, GOOD.replace("J", "mg"), GOOD.replace("A,", "B,").replace("J", "mm3"))
    )
    assert len(table.comparisons()) == 1


def test_the_table_of_the_demonstration_says_that_it_is_invented() -> None:
    table = qb.read_evidence(ROOT / "data" / "plane_irons")
    assert len(table) == 8
    assert all("invented" in row.study and "invented" in row.source for row in table.rows)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("dry ice", "dryice", "level is 'dryice', which is almost 'dry ice'. Write dry ice; "),
        (",J,", ",kJ,", "the unit 'kJ' of impact energy is not known. Write J or ft lbf."),
        (
            "impact energy,J",
            "hardness,J",
            "the unit 'J' of hardness is a unit of energy. Write HRC.",
        ),
    ],
)
def test_a_level_or_unit_that_is_no_known_one_is_named(
    tmp_path: Path, old: str, new: str, message: str
) -> None:
    assert message in mistakes(tmp_path, GOOD.replace(old, new))


def test_rows_of_one_comparison_the_other_way_round_are_named(tmp_path: Path) -> None:
    turned = "B,total,impact energy,J,ratio,none,dry ice,10,2,6,12,2,6,,,paper"
    assert (
        "evidence.csv row 3, B: compares none with dry ice; row 2 compares dry ice with none. "
        "Write all rows of a comparison the same way round: "
    ) in mistakes(tmp_path, GOOD, turned)


def test_other_units_and_other_levels_are_nobodys_mistake(tmp_path: Path) -> None:
    rows = (
        "A,total,wear,mg,difference,deep cold,none,1.25,0.2,6,1.5,0.3,6,,,paper",
        "B,total,hardness,HV,difference,deep cold,none,800,20,6,790,20,6,,,paper",
    )
    assert len(qb.read_evidence(written(tmp_path, *rows))) == 2


@pytest.mark.parametrize(
    ("question", "level", "message"),
    [
        ("tuff", "dry ice", "'tuff' is not the key of a question of this study"),
        ("peak_moves", "liquid nitrogen", "the question 'peak_moves' compares"),
        ("tough", "freezer", "compares freezer with no cold step; the question 'tough' compares"),
        ("peak_none", "dry ice", "the question 'peak_none' compares no two levels."),
    ],
)
def test_a_question_that_compares_something_else_is_named(
    tmp_path: Path, question: str, level: str, message: str
) -> None:
    study = qb.read_study(ROOT / "data" / "plane_irons")
    row = GOOD.replace("dry ice,none", f"{level},no cold step") + f",{question}"
    path = written(tmp_path, row, head=HEAD + ",question")
    with pytest.raises(RecordError) as caught:
        qb.read_evidence(path, study)
    assert message in str(caught.value)
