"""Coupons that are said to be lost, also while other records still have mistakes."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.as_run import lost_coupons
from quenchbook.records.corrections import tables_as_corrected
from quenchbook.records.deviations import differences
from quenchbook.records.headers import table_kind
from quenchbook.records.labels import Labels
from quenchbook.records.moved_coupons import with_moves
from quenchbook.records.reading import DEVIATION_FRAME
from quenchbook.records.tables import Table


def coupons_said_lost(tables: Sequence[Table], matrix: CouponMatrix) -> set[str]:
    """Codes of the coupons that are said to be lost, alone or with their load or batch.

    By the rules of `read_records`; rows with a mistake say nothing.

    Parameters
    ----------
    tables : sequence of Table
    matrix : CouponMatrix
    """
    others = tables_as_corrected(tables)
    logs, told = (
        [own for own in others if table_kind(own) == kind] for kind in ("log", "deviations")
    )
    rows = differences(logs, told, matrix, Labels(matrix)).rows
    deviations = pd.DataFrame(rows, columns=list(DEVIATION_FRAME), dtype=object)
    return {str(own["coupon"]) for own in lost_coupons(with_moves(matrix, deviations)[0], rows)}
