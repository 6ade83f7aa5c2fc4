"""Breaches of one kind on paper: one sentence with the number and the minutes of each batch."""

from __future__ import annotations

from quenchbook.bench.breach_groups import breach_sentences
from quenchbook.bench.timetable import Breach


def late(which: str, minutes: int, side: str = "late") -> Breach:
    words = f"Cold batch {which} goes into the cold too {side}."
    return Breach("delay", "cold_batch", which, "cold in", minutes, words, "A helper.")


def test_breaches_of_one_kind_are_one_sentence_that_names_each() -> None:
    found = breach_sentences([late("1-1", 4), late("2-1", 90), late("3-1", 5, "early")])
    assert found == (
        "Cold batches go into the cold too late, beyond what may be missed by: "
        "1-1 (4\u00a0min), 2-1 (90\u00a0min). A helper.",
        "Cold batch 3-1 goes into the cold too early. A helper.",
    )


def test_a_single_breach_keeps_its_own_words() -> None:
    assert breach_sentences([late("1-1", 4)]) == (str(late("1-1", 4)),)


def test_a_kind_that_only_the_check_knows_keeps_its_words() -> None:
    own = [Breach("furnace", "furnace_load", n, "load", 7, f"Load {n} overlaps.") for n in "12"]
    assert breach_sentences(own) == ("Load 1 overlaps. Load 2 overlaps.",)
